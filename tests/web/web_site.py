"""A show folder, its server on a loopback port, and what may be asked of it."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import requests
from service_site import write_show

from monitor.domain import Alert
from monitor.service.watched import FolderWatch
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change
from monitor.store.tokens import make_token
from monitor.web.limits import Allowance
from monitor.web.listening import Listener
from monitor.web.place import Place

OUTSIDE = """
[[gauges]]
station = "mast"

[[gauges]]
station = "lawn"

[page]
listen = "127.0.0.1:0"
"""


@dataclass
class Site:
    """What a client needs."""

    folder: Path
    place: Place
    url: str
    token: str
    headers: dict[str, str] = field(default_factory=dict)

    def get(self, path, *, token=True, **more):
        headers = {**(self.headers if token else {}), **more.pop("headers", {})}
        return requests.get(self.url + path, headers=headers, timeout=10, **more)

    def post(self, path, as_json=None, *, token=True, **more):
        headers = {**(self.headers if token else {}), **more.pop("headers", {})}
        if as_json is not None:
            more["json"] = as_json
        return requests.post(self.url + path, headers=headers, timeout=10, **more)

    @contextmanager
    def db(self):
        with closing(open_database(self.folder / "dryspell.db")) as db:
            yield db

    def contents(self):
        """Every row of every table."""
        with self.db() as db:
            return {
                name: list(db.execute(f"SELECT * FROM {name}")) for name in sorted(db.table_names())
            }

    def rows(self, table):
        with self.db() as db:
            return list(db.query(f"SELECT * FROM {table} ORDER BY id"))


def now():
    return datetime.now(UTC)


def stamp(moment):
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def bearer(token):
    return {"Authorization": f"Bearer {token}"}


def show_folder(path, contacts="", outside=OUTSIDE, feeds=""):
    return write_show(path, feeds=feeds, contacts=contacts + outside)


@contextmanager
def served(folder, *, clock=now, environ=None, **limits):
    """The server alone, without the service."""
    with closing(open_database(folder / "dryspell.db")) as db:
        token = make_token(db, f"test-{os.urandom(4).hex()}", clock())
    watch = FolderWatch(folder, environ or {})
    place = Place(watch, clock, **{name: Allowance(**limit) for name, limit in limits.items()})
    listener = Listener(place, watch.current.show.page)
    listener.start()
    try:
        yield Site(folder, place, listener.url, token, bearer(token))
    finally:
        listener.stop()


def raise_alert(site, alert_id="wash-1", action="cover", kind="work", position="wash", **more):
    at = now()
    alert = Alert(
        id=alert_id,
        kind=kind,
        stage=more.pop("stage", "start"),
        action=action,
        position=position,
        fixtures=more.pop("fixtures", ("WASH",)),
        count=6,
        people=1,
        minutes=11.0,
        isolate_at="Lawn distribution",
        start_by=at + timedelta(minutes=20),
        do_by=at + timedelta(minutes=31),
        members=1,
        probability=None,
        at=at,
        reason="rain",
    )
    with site.db() as db, immediate(db):
        record_change(db, alert, "rain", at)


RUN = [sys.executable, "-c", "from monitor.cli import main; main()", "run", "--show"]


def run_service(folder, **environ):
    """`dryspell run` as a process of its own, on any free port."""
    return subprocess.Popen(
        [*RUN, str(folder)],
        env={**os.environ, "PYTHONUNBUFFERED": "1", **environ},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def listening_at(process):
    """The address it says; the lines before it are read away."""
    for line in process.stdout:
        if line.startswith("Listening at "):
            return line.split()[2]
    raise AssertionError(process.stderr.read())
