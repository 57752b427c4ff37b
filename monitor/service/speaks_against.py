"""What speaks against power, or work at height, being declared open; and against switching on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.clock import SiteClock
from monitor.alerts.words import listed, one_line
from monitor.domain import Declared
from monitor.exposure.rig import compile_rig
from monitor.planning.inspection import queue
from monitor.service.after_rain import rain_spells
from monitor.service.possible import hanging
from monitor.store.history import log_entries, open_alerts
from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Alert, LogEntry, Show

MOST_NAMED = 12
"""So many fixtures are named in one sentence."""


def against(db: Database, made: Declared, show: Show, now: datetime) -> Iterator[str]:
    """What speaks against a declaration, each in a sentence."""
    clock = SiteClock(show.site.timezone, now)
    yield from _stops_stand(stops_standing(db, made), show, clock)
    spells = rain_spells(db)
    if spells and spells[-1].over_s is None:
        since = clock.at(to_moment(spells[-1].from_s))
        yield f"The rain that began at {since} is not over on what is known here."
    if made.what == "power":
        yield from _wet_gear(db, made, show, now)


def against_switching_on(
    db: Database, entries: Sequence[LogEntry], show: Show, now: datetime
) -> list[str]:
    """What speaks against the power that was just logged as on, each in a sentence."""
    notes: list[str] = []
    log = log_entries(db)
    for entry in entries:
        if entry.entry != "energised":
            continue
        position = entry.position
        if entry.fixture is not None:
            hangs = hanging(show, log, now).get(entry.fixture)
            position = None if hangs is None else hangs.position
        notes += against(db, Declared(entry.at, "power", entry.by or "", position), show, now)
    return list(dict.fromkeys(notes))


def stops_standing(db: Database, made: Declared) -> list[Alert]:
    """The stops that still stand where something is declared open."""
    stops = (stored.alert for stored in open_alerts(db) if stored.alert.stage == "stop")
    return [stop for stop in stops if touches(stop.position, made)]


def touches(position: str | None, made: Declared) -> bool:
    """Whether a stop speaks of what is declared. Wind at a place closes no power."""
    if position is None:
        return True
    return made.what == "height" and made.position in (None, position)


def _stops_stand(stops: Sequence[Alert], show: Show, clock: SiteClock) -> Iterator[str]:
    """Stops of one cause and end in one sentence."""
    places: dict[str, list[str]] = {}
    for stop in stops:
        where = "the site" if stop.position is None else place_name(show, stop.position)
        facts = stop.facts
        why = f" for {one_line(facts.blocked_by)}" if facts.blocked_by else ""
        until = "" if facts.blocked_until is None else f" until {clock.at(facts.blocked_until)}"
        places.setdefault(f"{why} stands{until}", []).append(where)
    for said, where_ in places.items():
        yield f"The stop at {listed(tuple(dict.fromkeys(where_)))}{said}."
    if places:
        yield "Who is up comes down; nobody starts."


def _wet_gear(db: Database, made: Declared, show: Show, now: datetime) -> Iterator[str]:
    """Gear that people found wet and nobody has found dry, and inspections still asked for."""
    waiting = queue(compile_rig(show), None, log_entries(db), now)
    here = [item for item in waiting if made.position in (None, item.position)]
    inside = tuple(item.fixture for item in here if item.water_inside)
    if inside:
        yield f"Water inside, isolated until found dry: {listed(inside, MOST_NAMED)}."
    wet = tuple(item.fixture for item in here if item.seen_wet and not item.water_inside)
    if wet:
        yield f"Reported wet or found damp, and not found dry since: {listed(wet, MOST_NAMED)}."
    asked = [
        stored.alert
        for stored in open_alerts(db)
        if stored.alert.action == "inspect" and made.position in (None, stored.alert.position)
    ]
    names = dict.fromkeys(place_name(show, a.position) for a in asked if a.position is not None)
    if names:
        yield f"An inspection is still asked for at {listed(tuple(names))}."
    live = [
        stored.alert
        for stored in open_alerts(db)
        if stored.alert.action == "isolate" and made.position in (None, stored.alert.position)
    ]
    names = dict.fromkeys(place_name(show, a.position) for a in live if a.position is not None)
    if names:
        yield f"The order to isolate still stands at {listed(tuple(names))}."


def place_name(show: Show, position: str) -> str:
    """In crew words; its id where the show folder knows it no more."""
    known = show.positions.get(position)
    return position if known is None else one_line(known.name) or position
