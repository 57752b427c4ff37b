"""The demo festival on a bad evening, served to a real browser: every page has something on it."""

from __future__ import annotations

import threading
from contextlib import contextmanager
from datetime import timedelta

from page_site import THURSDAY, Stage, demo_folder, hours_until
from werkzeug.serving import WSGIRequestHandler, make_server

from monitor.domain import Answered, LogEntry
from monitor.service.declared import DeclaredSaid, keep_declared
from monitor.store.answers import record_answer
from monitor.store.database import immediate
from monitor.store.devices import link_of, make_link, sign_in

PAGES = {
    "next": "/",
    "rig": "/rig",
    "position": "/rig/downstage-truss",
    "sky": "/sky",
    "history": "/history",
    "feeds": "/feeds",
    "print": "/print",
    "you": "/you",
    "ways-in": "/ways-in",
    "set-up": "/set-up",
    "set-up-place": "/set-up/place?at=downstage-truss",
    "set-up-new": "/set-up/place",
    "set-up-roof": "/set-up/roof?at=stage",
    "set-up-gear": "/set-up/gear?at=tower-a",
    "drill": "/set-up/drill?at=tower-a",
    "refused": "/rig/nowhere",
}
LIKES = {
    f"{theme}-{language}": f"theme={theme}&language={language}"
    for theme in ("light", "dark", "red")
    for language in ("en", "de")
}


def order(stage, alert, position, action, /, **more):
    name = stage.watch.current.show.positions[position].name
    stage.tell(alert, position, action, position_name=name, **more)


def bad_evening(path, members=1):
    """Orders late, now, soon and later; answered and not; covered in part; a place closed."""
    stage = Stage(demo_folder(path), members)
    at = THURSDAY
    stage.log(LogEntry(at - timedelta(hours=8), "covered", position="downstage-truss", by="Ines"))
    stage.log(LogEntry(at - timedelta(hours=3), "isolated", position="bar-canopy", by="Dario"))
    stage.log(LogEntry(at - timedelta(hours=2), "covered", position="tower-b", count=(3, 6)))
    stage.evaluate(*hours_until(at, 2))
    soon = at + timedelta(minutes=20)
    order(
        stage,
        "own-1",
        "tower-a",
        "cover",
        count=3,
        people=2,
        minutes=23.4,
        start_by=soon,
        do_by=soon + timedelta(hours=1),
        who=("Suki Lind", "Dario Penn"),
        covers=(("Clear dome", 3),),
    )
    order(stage, "own-2", "stage-lip", "isolate", stage="overdue", do_by=at - timedelta(minutes=5))
    order(stage, "own-3", "avenue", "inspect", stage="notice", minutes=None)
    order(
        stage,
        "own-4",
        "tower-b",
        "cover",
        stage="stop",
        blocked_by="gust 14 m/s at 9 m, limit 12.5",
        blocked_until=at + timedelta(hours=7),
    )
    stage.tell("delivery-1", None, None, kind="delivery", reason="the mail server is silent")
    with stage.db() as db, immediate(db):
        since = at - timedelta(minutes=1)
        said = Answered(since, "own-1", "cannot", "tower-a", because="no-lift", by="Suki")
        record_answer(db, said)
    with stage.db() as db:
        keep_declared(db, DeclaredSaid("power", "Ines"), stage.watch.current.show, at, str)
    return stage


def thunder(stage):
    """The same, and everybody has to come down."""
    stage.tell(
        "site-1",
        None,
        None,
        kind="stop",
        stage="stop",
        blocked_by="thunder",
        blocked_until=stage.now + timedelta(hours=2),
    )
    stage.tell("weather-1", None, None, kind="weather", reason="the feed is too old")


class _Quiet(WSGIRequestHandler):
    def log(self, *args):
        pass


@contextmanager
def shown(stage):
    """Its address."""
    server = make_server("127.0.0.1", 0, stage.app(), threaded=True, request_handler=_Quiet)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def cookies(stage, url, likes="", role="chief", name="Ines Varga"):
    """What a device has that came in by a link and chose how it likes the page."""
    with stage.db() as db:
        secret = make_link(db, role, f"{role} {stage.viewer.new_id()}", stage.now)
        _, cookie = sign_in(db, link_of(db, secret), name, stage.now)
    return [
        {"name": "duty", "value": cookie, "url": url},
        {"name": "likes", "value": likes, "url": url},
    ]
