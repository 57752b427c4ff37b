"""What the monitor answers to an inspection: its readings beside those of the load-in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.planning.tested import WHO_DECIDES, Tested, baseline, beyond, compared, readings_of
from monitor.store.history import log_entries, recall
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import LogEntry, Show


FIRST_WET_KEY = "rain/first-wet"


def first_wet(db: Database) -> Mapping[str, float] | None:
    """When each fixture first got wet, of those that have (seconds); None: nobody watched.

    As the last evaluation saw it, for wording alone: what counts is computed again each time.
    """
    kept: Any = recall(db, FIRST_WET_KEY)
    return kept if isinstance(kept, dict) else None


def inspection_notes(db: Database, entries: Sequence[LogEntry], show: Show) -> list[str]:
    """Sentences for inspections that were just logged.

    Figures worse than those often used are kept all the same; a `dry` with them is asked back.
    """
    notes: list[str] = []
    for entry in entries:
        if entry.entry == "inspected":
            notes += _readings(db, entry, show)
            notes += _stays(entry)
    return list(dict.fromkeys(notes))


def _readings(db: Database, entry: LogEntry, show: Show) -> list[str]:
    if entry.fixture is None or (entry.earth_ohm is None and entry.insulation_mohm is None):
        return []
    tests = readings_of(entry.fixture, log_entries(db))
    own = Tested(entry.at, entry.earth_ohm, entry.insulation_mohm, entry.result, entry.by)
    first = baseline(tests, _first_wet_s(db, entry.fixture, tests[0].at, show))
    if first is None or first.at >= own.at:
        notes = [f"{entry.fixture}: {compared(own, None)}. Kept as its first readings."]
    else:
        notes = [f"{entry.fixture}: {compared(own, first)}."]
    worse = beyond(entry.earth_ohm, entry.insulation_mohm)
    if worse:
        said = "; ".join(worse)
        notes.append(f"{said[0].upper()}{said[1:]}. {WHO_DECIDES}")
    if worse and entry.result == "dry":
        notes.append(
            f"It is kept as dry, and {entry.fixture} counts as unused again. Is that right? If "
            "not, log inspected once more with what was found."
        )
    return notes


def _first_wet_s(db: Database, fixture: str, first_at: datetime, show: Show) -> float | None:
    """When it first got wet; where nobody watched, load-in is the last moment known as dry."""
    known = first_wet(db)
    if known is not None:
        return known.get(fixture)
    load_in = show.event.load_in_at
    return None if first_at <= load_in else to_epoch(load_in)


def _stays(entry: LogEntry) -> list[str]:
    """What a result other than dry leaves as it is."""
    if entry.result == "water-inside":
        return ["Water inside: keep it isolated and out of service until it is found dry."]
    if entry.result in ("damp", "not-tested"):
        said = entry.result.replace("-", " ")
        return [f"Logged as {said}: used stays as it was, and it stays in the queue."]
    return []
