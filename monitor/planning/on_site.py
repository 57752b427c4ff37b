"""Who can be there to work, and when: shifts in site time, and who comes when called."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from monitor.domain import Crew, Hours, Person
from monitor.planning.hands import Hand
from monitor.units import SECONDS_PER_MINUTE, to_epoch, to_moment

_ALWAYS = ((-math.inf, math.inf),)


def hands(crew: Crew, timezone: ZoneInfo, now_s: float, until_s: float) -> tuple[Hand, ...] | int:
    """The people, and when each can be on site from now on; or the number of parties.

    Parameters
    ----------
    crew : of the show
    timezone : of the site, which shifts are kept in
    now_s : seconds; who has to be called is called now at the earliest
    until_s : seconds; shifts that begin later are left out

    Returns
    -------
    Hands, or how many parties where the show names nobody

    Notes
    -----
    Whoever may be called is there off shift from now and their way on: at once if they are on
    site, since they can be asked to stay. Whoever may not be called is there on shift only.
    """
    if not crew.people:
        return crew.parties
    return tuple(
        Hand(person.name, frozenset(person.tickets), _there(person, timezone, now_s, until_s))
        for person in crew.people
    )


def shifts_of(
    crew: Crew, timezone: ZoneInfo, from_s: float, until_s: float
) -> dict[str, tuple[tuple[float, float], ...]]:
    """By name: when each is on site without being called."""
    return {p.name: joined(_shifts(p, timezone, from_s, until_s)) for p in crew.people}


def on_shift(person: Person, timezone: ZoneInfo, moment_s: float) -> bool:
    """Whether somebody is on site without being called."""
    spans = _shifts(person, timezone, moment_s, moment_s + 1.0)
    return any(start <= moment_s < end for start, end in spans)


def _there(
    person: Person, timezone: ZoneInfo, now_s: float, until_s: float
) -> tuple[tuple[float, float], ...]:
    shifts = _shifts(person, timezone, now_s, until_s)
    if person.call_out_minutes is None:
        return shifts
    here = any(start <= now_s < end for start, end in shifts)
    comes_s = now_s if here else now_s + person.call_out_minutes * SECONDS_PER_MINUTE
    return joined((*shifts, (comes_s, math.inf)))


def joined(spans: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Spans of time, rising, one where they touch; those that end before they begin left out."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if end <= start:
            continue
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return tuple(out)


def _shifts(
    person: Person, timezone: ZoneInfo, from_s: float, until_s: float
) -> tuple[tuple[float, float], ...]:
    """Shifts that reach into [from, until), rising."""
    if not person.shifts:
        return _ALWAYS
    found = [
        shift
        for day in _days(from_s, until_s, timezone)
        for hours in person.shifts
        if (shift := shift_on(day, hours, timezone))[1] > from_s and shift[0] < until_s
    ]
    return tuple(sorted(found))


def _days(from_s: float, until_s: float, timezone: ZoneInfo) -> Iterator[date]:
    """Every day on the site's calendar, from the one before."""
    day = to_moment(from_s).astimezone(timezone).date() - timedelta(days=1)
    last = to_moment(until_s).astimezone(timezone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)


def shift_on(day: date, hours: Hours, timezone: ZoneInfo) -> tuple[float, float]:
    """Start and end of the shift that begins on a day [s].

    By the clock on the wall: a night on which it is put back is an hour longer. A time that
    comes twice is the first of the two; one that is left out counts from before the change.
    """
    ends_on = day if hours.end > hours.start else day + timedelta(days=1)
    return _at(day, hours.start, timezone), _at(ends_on, hours.end, timezone)


def _at(day: date, clock: time, timezone: ZoneInfo) -> float:
    return to_epoch(datetime.combine(day, clock, tzinfo=timezone))
