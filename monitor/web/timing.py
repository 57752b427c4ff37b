"""Timing a cover drill by three taps, and keeping the minutes that it took.

The moments are carried in the address: nothing is kept while it runs, and a phone that reloads
the page, or has no script, goes on where it was. Crew time; only a chief keeps.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from flask import Flask, Response, request

from monitor.domain import BadInputError, Problem
from monitor.page.words import later
from monitor.setup.beside import by_field
from monitor.setup.keeping import difference
from monitor.setup.real_jobs import ENOUGH, Offer, offer, real_jobs
from monitor.setup.show_text import item, with_item
from monitor.setup.timed import STEPS, Drill, Minutes, believable, count_of, minutes_of
from monitor.store.answers import answers
from monitor.store.history import log_entries
from monitor.units import iso_utc
from monitor.web.answers import RefusedError
from monitor.web.plain_pages import on_a_page
from monitor.web.set_up import PATH, SHOW_FILE, back_to, faults, kept, sent, set_up_page
from monitor.web.signed_in import MAY_SAY, shown_to

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlite_utils import Database

    from monitor.domain import Position, Show
    from monitor.page.viewer import Viewer
    from monitor.show import ShowFolder
    from monitor.web.place import Place
    from monitor.web.set_up import Sent

DRILL = f"{PATH}/drill"
_NO_PLACE = later("There is no such position in this show.")
_NO_DRILL = later("These times are not those of a drill. Begin again.")
_NOTHING = Problem(
    "nothing-to-keep",
    "There are no minutes to keep; somebody may have kept them meanwhile.",
    "Look below at what is counted with now.",
)
_TAPPED = Problem(
    "tapped-through",
    "It took less than a minute in all: that was tapped, not timed.",
    "Begin again, and tap when it happens.",
)
_WAITED = timedelta(hours=1)
"""A tap that waited longer for a signal counts from when it came."""


def add_to(app: Flask, place: Place) -> None:
    """The page, its taps, and its form."""

    @app.get(DRILL)
    @shown_to(place, *MAY_SAY)
    def drill(db: Database, viewer: Viewer, /) -> Response:
        folder = place.watch.read()
        position = _position(folder.show, request.args.get("at", ""))
        run = _drill(request.args, place.clock())
        if "tap" in request.args and run.next_step == request.args["tap"]:
            return back_to(_after(position.id, run, _tapped(place)))
        return _page(place, db, viewer, folder, position, run, request.args)

    @app.post(DRILL)
    @on_a_page(place)
    def keep_minutes() -> Response:
        with place.opened() as db:
            return _kept(place, db, sent(place, db))


def _position(show: Show, name: str) -> Position:
    if name not in show.positions:
        raise RefusedError(HTTPStatus.NOT_FOUND, _NO_PLACE)
    return show.positions[name]


def _drill(fields: Mapping[str, str], now: datetime) -> Drill:
    """The drill so far, out of an address or a form."""
    moments = [_moment(fields.get(step, "")) for step in STEPS]
    run = Drill(*moments)
    unread = any(fields.get(step) and at is None for step, at in zip(STEPS, moments, strict=True))
    if unread or not believable(run, now):
        raise RefusedError(HTTPStatus.UNPROCESSABLE_ENTITY, _NO_DRILL)
    return run


def _moment(text: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if at.tzinfo is None else at.astimezone(UTC)


def _tapped(place: Place) -> datetime:
    """When the button was tapped, as the page's script says; without it, when that came."""
    now = place.clock()
    said = _moment(request.args.get("tapped", ""))
    return said if said is not None and now - _WAITED <= said <= now else now


def _after(position: str, run: Drill, tapped: datetime) -> str:
    """The address of the drill after one more tap; nobody is there before they set out."""
    moments = (*run.moments, max((tapped, *run.moments)))
    said = {step: iso_utc(at) or "" for step, at in zip(STEPS, moments, strict=False)}
    return f"{DRILL}?{urlencode({'at': position, **said})}"


def _kept(place: Place, db: Database, form: Sent) -> Response:
    folder, fields = form.folder, form.fields
    position = _position(folder.show, fields.get("at", ""))
    run = _drill(fields, place.clock())
    problems: Sequence[Problem] = ()
    found: Minutes | None
    if run.was_tapped_through:
        found, how, problems = None, "", (_TAPPED,)
    elif run.next_step is None:
        count = count_of(fields.get("count", ""))
        if isinstance(count, Problem):
            found, problems = None, (count,)
        else:
            found, how = minutes_of(run, count), f"drill timed, {count} covered"
    else:
        offered = _offer(db, folder.show, position)[1]
        found, how = None, ""
        if offered is None:
            problems = (_NOTHING,)
        else:
            found, how = offered.minutes, f"{offered.jobs} real jobs timed"
    if found is not None:
        try:
            before = item(form.text, "positions", position.id)
            text = with_item(form.text, "positions", position.id, found.values)
            files = {SHOW_FILE: text.encode("utf-8")}
            problems = faults(place, files, folder)
            if not problems:
                says = difference(before, found.values) or "minutes as they were"
                kept(place, db, form, files, f"{how}: {says}", position.id)
                return back_to(f"{DRILL}?{urlencode({'at': position.id, 'kept': 1})}")
        except BadInputError as fault:
            problems = fault.problems
    return _page(place, db, form.viewer, folder, position, run, fields, problems, refused=True)


def _offer(db: Database, show: Show, position: Position) -> tuple[int, Offer | None]:
    """How many real jobs of a position are known, and what they say of its minutes."""
    pieces = {f.id: f.count for f in show.fixtures if f.position == position.id}
    jobs = real_jobs(position.id, pieces, answers(db), log_entries(db))
    return len(jobs), offer(jobs, _planned(position))


def _planned(position: Position) -> Minutes:
    return Minutes(position.setup_minutes, position.cover_minutes_each)


def _page(
    place: Place,
    db: Database,
    viewer: Viewer,
    folder: ShowFolder,
    position: Position,
    run: Drill,
    fields: Mapping[str, str],
    problems: Sequence[Problem] = (),
    *,
    refused: bool = False,
) -> Response:
    show = folder.show
    here = [f for f in show.fixtures if f.position == position.id]
    # Where none takes a cover by the file, whatever hangs there was covered somehow.
    usual = sum(f.count for f in here if f.cover is not None) or sum(f.count for f in here)
    count = count_of(fields.get("count", "")) if fields.get("count") else max(usual, 1)
    if isinstance(count, Problem):
        problems, count = (problems or (count,)), max(usual, 1)
    if run.was_tapped_through and not problems:
        problems = (_TAPPED,)
    jobs, offered = _offer(db, show, position)
    typed = {**fields, "count": fields.get("count", str(count))}
    values: dict[str, Any] = {
        "position": position,
        "run": run,
        "moments": dict(zip(STEPS, run.moments, strict=False)),
        "now": place.clock(),
        "found": minutes_of(run, count),
        "planned": _planned(position),
        "jobs": jobs,
        "enough": ENOUGH,
        "offered": offered,
    }
    return set_up_page(
        place,
        viewer,
        folder,
        "set-up-drill.html.j2",
        position.id,
        typed,
        problems,
        by_field(problems, {}),
        refused=refused,
        said="kept" in fields,
        **values,
    )
