"""Who is on site when, and when one shift gives way to the next. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.alerts.quiet import spans

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from monitor.domain import Hours, Person, Show

Stretch = tuple[datetime, datetime]

_LOOK = timedelta(days=2)
"""Shifts come round every day, so this far either side of a moment all of them are seen."""

LATE = timedelta(hours=1)
"""A shift change this long past may still be waiting for both sides to tick."""


@dataclass(frozen=True, slots=True)
class ShiftChange:
    """One shift gives way to the next."""

    at: datetime
    giving: tuple[str, ...]
    """Who leaves; empty: the show folder names nobody"""
    taking: tuple[str, ...]
    """Who comes, or stays on where nobody comes; empty: nobody is known to"""
    there_from: datetime
    """When the first of those who take is there: later than `at` where there is a gap"""


@dataclass(frozen=True, slots=True)
class OnSite:
    """The people of one moment."""

    there: tuple[tuple[Person, datetime | None], ...]
    """Who is on shift, and until when; None: day and night"""
    to_call: tuple[Person, ...]
    """Who is off shift and may be called"""


def next_change(show: Show, now: datetime, taken_at: datetime | None = None) -> ShiftChange | None:
    """The shift change that is to come, or is only just past and not yet ticked for.

    None where the show folder names no shifts and no quiet hours to tell one from.

    Parameters
    ----------
    taken_at : when both sides last ticked
    """
    due = [change for change in shift_changes(show, now) if change.at > now - LATE]
    done = [c for c in due if c.at <= now and taken_at is not None and taken_at > c.at - LATE]
    return next((change for change in due if change not in done), None)


def last_change_before(show: Show, moment: datetime) -> datetime | None:
    """The latest shift change before a moment: when the shift that ends then began."""
    before = [change.at for change in shift_changes(show, moment) if change.at < moment]
    return before[-1] if before else None


def shift_changes(show: Show, around: datetime) -> list[ShiftChange]:
    """Every change within two days of a moment, in order."""
    people = [person for person in show.crew.people if person.shifts]
    if not show.crew.people:
        quiet = show.event.quiet_hours
        if quiet is None:
            return []
        hours = _stretches([quiet], around, show.site.timezone)
        moments = sorted({moment for span in hours for moment in span})
        return [ShiftChange(at, (), (), at) for at in moments]
    there = {p.name: _stretches(p.shifts, around, show.site.timezone) for p in people}
    always = [p.name for p in show.crew.people if not p.shifts]
    ends = sorted({end for when in there.values() for _, end in when})
    latest = around + _LOOK
    return [_change(end, there, always) for end in ends if abs(end - around) <= latest - around]


def on_site(show: Show, now: datetime) -> OnSite:
    """Who is there at a moment, and who may be called."""
    zone = show.site.timezone
    there: list[tuple[Person, datetime | None]] = []
    to_call: list[Person] = []
    for person in show.crew.people:
        if not person.shifts:
            there.append((person, None))
            continue
        there_at = _stretches(person.shifts, now, zone)
        end = next((end for start, end in there_at if start <= now < end), None)
        if end is not None:
            there.append((person, end))
        elif person.call_out_minutes is not None:
            to_call.append(person)
    return OnSite(tuple(there), tuple(to_call))


def shifts_between(show: Show, start: datetime, end: datetime) -> list[tuple[Person, Stretch]]:
    """Every stretch on site that touches a span, in the order they begin."""
    found = [
        (person, stretch)
        for person in show.crew.people
        for stretch in _stretches(person.shifts, start, show.site.timezone)
        if stretch[0] < end and stretch[1] > start
    ]
    return sorted(found, key=lambda one: (one[1], one[0].name))


def _change(at: datetime, there: dict[str, list[Stretch]], always: Sequence[str]) -> ShiftChange:
    giving = tuple(name for name, when in there.items() if any(end == at for _, end in when))
    coming = tuple(name for name, when in there.items() if any(start == at for start, _ in when))
    staying = tuple(
        name for name, when in there.items() if any(start < at < end for start, end in when)
    )
    taking = coming or (*staying, *always)
    if taking:
        return ShiftChange(at, giving, taking, at)
    later = [start for when in there.values() for start, _ in when if start > at]
    if not later:
        return ShiftChange(at, giving, (), at)
    first = min(later)
    names = tuple(n for n, when in there.items() if any(start == first for start, _ in when))
    return ShiftChange(at, giving, names, first)


def _stretches(hours: Iterable[Hours], around: datetime, zone: ZoneInfo) -> list[Stretch]:
    """Daily hours as stretches in UTC for some days either side; those that touch are one."""
    found = {
        stretch
        for daily in hours
        for moment in (around - _LOOK, around + _LOOK)
        for stretch in spans(daily, zone, moment)
    }
    joined: list[Stretch] = []
    for start, end in sorted(found):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined
