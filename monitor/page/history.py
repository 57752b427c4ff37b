"""The event's history in lines: who did, answered and declared what, and what was told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.alerts.clock import SiteClock
from monitor.alerts.headline import subject
from monitor.domain import Alert, Answered, Declared, LogEntry, SetUp, Show
from monitor.page.labels import ACTIONS, ANSWERS, BECAUSE, ENTRIES, RESULTS
from monitor.page.times import Times
from monitor.page.words import Words, later
from monitor.page.work import place_name
from monitor.store.withdrawn import Withdrawal

if TYPE_CHECKING:
    from monitor.store.happened import Happened

_LATE = timedelta(minutes=2)
"""What came in later than this after it happened is said to have."""
_OPENED = {"height": later("work at height"), "power": later("power")}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that happened."""

    at: datetime
    kind: Literal["log", "answer", "declared", "told", "set-up"]
    place: str
    says: str
    by: str = ""
    note: str = ""
    received_at: datetime | None = None
    """When it came in, where that was later"""
    replaced: bool = False
    number: int | None = None
    """Of a log entry that can be taken back"""


def lines_of(found: Sequence[Happened], show: Show, words: Words, times: Times) -> list[Line]:
    """Each in a line, in their order."""
    where = {fixture.id: fixture.position for fixture in show.fixtures}
    return [_line(one, show, words, times, where) for one in found]


def _line(one: Happened, show: Show, words: Words, times: Times, where: dict[str, str]) -> Line:
    what = one.what
    if isinstance(what, LogEntry):
        late = one.received_at is not None and one.received_at - one.at > _LATE
        return Line(
            one.at,
            "log",
            entry_place(what, show, where),
            entry_says(what, show, words),
            what.by or "",
            what.note or "",
            one.received_at if late else None,
            one.replaced,
            None if one.replaced else one.number,
        )
    if isinstance(what, Withdrawal):
        assert one.taken_back is not None
        says = words.say("taken back: {entry}", entry=entry_says(one.taken_back, show, words))
        place = entry_place(one.taken_back, show, where)
        return Line(one.at, "log", place, says, what.by or "", what.note or "")
    if isinstance(what, Answered):
        said = [words.say(ANSWERS[what.answer])]
        if what.action is not None:
            # To which order: an alert that asked to cover may ask to isolate by now.
            order = words.say(ACTIONS[what.action])
            said = [words.say("{answer} to “{order}”", answer=said[0], order=order)]
        said += [words.say(BECAUSE[what.because])] if what.because else []
        said += [words.say("until {time}", time=times.at(what.until))] if what.until else []
        place = place_name(show, what.position)
        return Line(one.at, "answer", place, ", ".join(said), what.by or "", what.note or "")
    if isinstance(what, Declared):
        says = words.say("{what} declared open", what=words.say(_OPENED[what.what]))
        place = place_name(show, what.position)
        return Line(one.at, "declared", place, says, what.by, what.note or "")
    if isinstance(what, SetUp):
        # What changed stays in the words of the file.
        place = place_name(show, what.position)
        return Line(one.at, "set-up", place, words.say("described anew"), what.by, what.says)
    return _told(one, what, show)


def _told(one: Happened, alert: Alert, show: Show) -> Line:
    """What was told stays in the words it was told in."""
    says = subject(alert, SiteClock(show.site.timezone, one.at))
    return Line(one.at, "told", place_name(show, alert.position), says, note=one.reason)


def entry_place(entry: LogEntry, show: Show, where: dict[str, str]) -> str:
    """A position, or a fixture and where it hangs."""
    if entry.fixture is None:
        return place_name(show, entry.position)
    position = where.get(entry.fixture)
    return f"{entry.fixture}, {place_name(show, position)}" if position else entry.fixture


def entry_says(entry: LogEntry, show: Show, words: Words) -> str:
    """`covered, 3 of 15`, `inspected: damp`, `moved to Bar canopy`."""
    says = words.say(ENTRIES[entry.entry])
    if entry.result is not None:
        says += f": {words.say(RESULTS[entry.result])}"
    if entry.to is not None:
        says = words.say("moved to {place}", place=place_name(show, entry.to))
    if entry.count is not None:
        part = words.say("{done} of {all}", done=entry.count[0], all=entry.count[1])
        says += f", {part}"
    readings = [
        f"{words.number(f'{value:g}')} {unit}"
        for value, unit in ((entry.earth_ohm, "Ω"), (entry.insulation_mohm, "MΩ"))
        if value is not None
    ]
    return ", ".join([says, *readings])
