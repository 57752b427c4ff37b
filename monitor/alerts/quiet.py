"""Quiet hours: what wakes whom, and what waits for the morning. Pure.

A stop goes to everybody. An order goes to those on shift or on call, and to a contact that
is nobody's in particular, since silence is never safety. The rest waits.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.planning.on_site import on_shift, shift_on
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from zoneinfo import ZoneInfo

    from monitor.domain import Hours, Message, Person, Show

DRESS_AND_WALK = timedelta(minutes=20)
"""From being woken to being on the way, or at the place for who sleeps on site."""

TURN_BECAUSE = "turn_because"
"""Stands in the data of a word to the next turn, where those before did not act: it wakes."""

Span = tuple[datetime, datetime]

_DAYS = (-1, 0, 1, 2)


def spans(hours: Hours, zone: ZoneInfo, now: datetime) -> list[Span]:
    """Daily hours around `now` in UTC, in order; site time decides, clock changes included."""
    today = now.astimezone(zone).date()
    return [
        (to_moment(start_s), to_moment(end_s))
        for number in _DAYS
        for start_s, end_s in [shift_on(today + timedelta(days=number), hours, zone)]
    ]


def quiet_now(show: Show, now: datetime) -> Span | None:
    """The quiet hours that `now` lies in."""
    hours = show.event.quiet_hours
    if hours is None:
        return None
    return next((s for s in spans(hours, show.site.timezone, now) if s[0] <= now < s[1]), None)


def quiet_next(show: Show, now: datetime) -> Span | None:
    """The quiet hours that begin next."""
    hours = show.event.quiet_hours
    if hours is None:
        return None
    return next((s for s in spans(hours, show.site.timezone, now) if s[0] > now), None)


def on_hand(person: Person, zone: ZoneInfo, at: datetime) -> bool:
    """There, or to be called."""
    return person.call_out_minutes is not None or on_shift(person, zone, to_epoch(at))


def wake_at(person: Person, start_by: datetime, zone: ZoneInfo) -> datetime:
    """When somebody must be woken to be there at a start."""
    return start_by - to_come(person, start_by, zone) - DRESS_AND_WALK


def to_come(person: Person, start_by: datetime, zone: ZoneInfo) -> timedelta:
    """How long they take to come; nothing for who is on shift then."""
    if on_shift(person, zone, to_epoch(start_by)):
        return timedelta(0)
    return timedelta(minutes=person.call_out_minutes or 0.0)


def held_until(
    message: Message,
    people: Sequence[Person],
    show: Show,
    now: datetime,
    *,
    told_tonight: bool,
    somebody_hears: bool,
) -> datetime | None:
    """Until when a message waits for quiet hours to end; None: it does not.

    Parameters
    ----------
    people : whom the contact reaches; none: nobody in particular
    told_tonight : the same recipient was told of the same alert in these quiet hours
    somebody_hears : some contact reaches somebody on shift, on call, or nobody in particular;
        else all are woken
    """
    quiet = quiet_now(show, now)
    if quiet is None or message.kind in {"watch", "test"} or message.stage == "stop":
        return None
    if message.data.get(TURN_BECAUSE):
        return None
    zone, end = show.site.timezone, quiet[1]
    if message.stage == "stood-down":
        # Who was woken for it may sleep again.
        return None if told_tonight else end
    here = [person for person in people if on_hand(person, zone, now)]
    wakes = bool(here) or not people or not somebody_hears
    start_by = start_of(message)
    if message.stage == "notice":
        waits = end if start_by is None or not wakes else min(end, _wake(here, start_by, show))
    elif wakes:
        return None
    else:
        waits = min([end, *_shifts_begin(people, zone, now)])
    return waits if waits > now else None


def start_of(message: Message) -> datetime | None:
    """The start-by of a message that orders or announces work."""
    said = message.data.get("start_by") if message.kind == "work" else None
    return datetime.fromisoformat(said) if isinstance(said, str) else None


def _wake(here: Iterable[Person], start_by: datetime, show: Show) -> datetime:
    """The first of those who are woken; for nobody in particular, as the crew is called."""
    way = timedelta(minutes=show.crew.call_out_minutes)
    zone = show.site.timezone
    return min(
        (wake_at(person, start_by, zone) for person in here),
        default=start_by - way - DRESS_AND_WALK,
    )


def _shifts_begin(people: Iterable[Person], zone: ZoneInfo, now: datetime) -> list[datetime]:
    return [
        start
        for person in people
        for hours in person.shifts
        for start, _ in spans(hours, zone, now)
        if start > now
    ]
