"""What to do next, as cards: every open order, those that are late first, then by start-by."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.alerts import words as said
from monitor.domain import Alert, Answered, Show
from monitor.planning.job import Job, Plan
from monitor.units import to_moment

if TYPE_CHECKING:
    from monitor.service.escalation import Standing

Press = Literal["now", "start", "plan", "any-time"]
"""How pressing: late or live and wet, to be started, ahead, and what has no deadline"""

_ORDER: dict[Press, int] = {"now": 0, "start": 1, "plan": 1, "any-time": 2}
_NAMED_AT_MOST = 8
NEAR = timedelta(hours=3)
"""What is to be started within this is shown whole, the rest in a line."""
WHOLE_AT_MOST = 7
"""More than these nobody begins at once; the rest are whole on the pages of their positions."""


@dataclass(frozen=True, slots=True)
class Card:
    """One order."""

    alert: Alert
    press: Press
    place: str
    start_by: datetime | None
    done_by: datetime | None
    """When hands are off: the deadline, or before it the closing of the access"""
    closes_at: datetime | None
    """Where that is the closing of the access, not the water"""
    counts_to: datetime | None
    """What the clock on it counts down to"""
    counts_what: Literal["start", "done"]
    fixtures: tuple[str, ...]
    and_more: int
    answered: Answered | None
    """The last word on it as it is asked"""
    answered_other: Answered | None
    """The last word, where it was said to what the alert asked for before"""
    awaited: bool
    """Nobody has answered"""
    can_be_done: bool
    """Done by one tap; an inspection needs its result"""
    held: str | None
    """Nobody starts there now: what blocks it, in words; empty where it is the stop"""
    held_until: datetime | None
    chance: float | None
    late: bool
    shown: int
    """The number of the alert's change that this is: an answer is to that and no other"""

    @property
    def id(self) -> str:
        """Of its alert."""
        return self.alert.id


@dataclass(frozen=True, slots=True)
class Ahead:
    """A job that nobody has been told of yet."""

    job: Job
    place: str
    start_by: datetime | None
    do_by: datetime | None
    cannot_until: datetime | None = None
    """Somebody said that it cannot be done, until then; None beside `cannot`: until further word"""

    @property
    def cannot(self) -> str | None:
        """Why it cannot be done and who says so; None: nobody does."""
        return None if self.job.cannot is None else self.job.cannot.says

    @property
    def begins_by(self) -> float:
        """Where it stands among what comes later [s since 1970]; infinite: nobody can tell."""
        when = self.start_by or self.do_by
        if self.cannot is not None:
            until = self.cannot_until
            when = None if until is None or when is None else max(until, when)
        return math.inf if when is None else when.timestamp()


def cards(
    standing: Sequence[Standing], plan: Plan | None, show: Show, now: datetime
) -> tuple[Card, ...]:
    """Every order that stands, but for the stops."""
    stopped = any(s.alert.kind == "stop" and s.alert.position is None for s in standing) or (
        plan is not None and plan.thunder is not None
    )
    closed = {
        s.alert.position: s.alert.facts.blocked_until
        for s in standing
        if s.alert.position is not None and said.says_stop(s.alert, now)
    }
    found = [
        _card(stands, show, now, _held(stands.alert, plan, closed, stopped=stopped))
        for stands in standing
        if stands.alert.kind == "work" and not said.says_stop(stands.alert, now)
    ]
    return tuple(sorted(found, key=_order))


def _order(card: Card) -> tuple[float, float, str]:
    when = _first(card)
    return (
        _ORDER[card.press],
        math.inf if when is None else when.timestamp(),
        card.alert.id,
    )


def _card(
    stands: Standing,
    show: Show,
    now: datetime,
    held: tuple[str, datetime | None] | None,
) -> Card:
    alert = stands.alert
    answered, other = _answered(stands)
    done_by = said.hands_off_by(alert)
    start_ahead = alert.start_by is not None and alert.start_by > now
    return Card(
        alert=alert,
        press=_press(alert),
        place=place_name(show, alert.position),
        start_by=alert.start_by,
        done_by=done_by,
        closes_at=done_by if done_by is not None and done_by != alert.do_by else None,
        counts_to=alert.start_by if start_ahead or done_by is None else done_by,
        counts_what="start" if start_ahead or done_by is None else "done",
        fixtures=alert.fixtures[:_NAMED_AT_MOST],
        and_more=max(0, len(alert.fixtures) - _NAMED_AT_MOST),
        answered=answered,
        answered_other=other,
        awaited=stands.is_waiting,
        can_be_done=alert.action not in (None, "inspect"),
        held=None if held is None else held[0],
        held_until=None if held is None else held[1],
        chance=alert.probability,
        late=alert.facts.late,
        shown=stands.stored.change_id,
    )


def _answered(stands: Standing) -> tuple[Answered | None, Answered | None]:
    """The last answer to what an alert asks for, and a later one to what it asked for before.

    An order to cover that becomes one to isolate stays one alert: "cannot" to the first is none
    to the second, and what was done then is not what is to be done now.
    """
    asks, last = stands.alert.action, stands.answers[-1] if stands.answers else None
    if last is None or last.action in (None, asks):
        return last, None
    mine = [one for one in stands.answers if one.action in (None, asks)]
    return (mine[-1] if mine else None), last


def _held(
    alert: Alert,
    plan: Plan | None,
    closed: Mapping[str, datetime | None],
    *,
    stopped: bool,
) -> tuple[str, datetime | None] | None:
    """What keeps hands off it and until when: the site's stop, wind or dark, or a stop there.

    Wind and dark hold up what has to be reached; power is cut from below, but in thunder.
    """
    place = alert.position or ""
    span = None if plan is None else plan.blocked.get(place)
    until = closed.get(place) if span is None else to_moment(span.end_s)
    if stopped:
        return "", until
    if alert.action == "isolate" or (span is None and place not in closed):
        return None
    return "closed" if span is None else span.by, until


def _press(alert: Alert) -> Press:
    if alert.stage == "overdue" or said.isolates_now(alert):
        return "now"
    if alert.stage == "start":
        return "start"
    timed = alert.start_by is not None or alert.do_by is not None
    return "plan" if timed else "any-time"


def ahead(standing: Sequence[Standing], plan: Plan | None, show: Show) -> tuple[Ahead, ...]:
    """Jobs of the plan that no order stands for, in the plan's own order."""
    if plan is None:
        return ()
    told = {(s.alert.position, s.alert.action) for s in standing}
    return tuple(
        Ahead(
            job,
            place_name(show, job.position),
            _moment(job.start_by_s),
            _moment(job.do_by_s),
            None if job.cannot is None else _moment(job.cannot.end_s),
        )
        for job in plan.jobs
        if (job.position, job.action) not in told and not job.not_needed
    )


def apart(found: Sequence[Card], now: datetime) -> tuple[tuple[Card, ...], tuple[Card, ...]]:
    """What is near enough to be shown whole, and the rest."""
    near = [
        card
        for card in found
        if card.press in ("now", "start")
        or (card.press == "plan" and (_first(card) or now) < now + NEAR)
    ]
    near = near[:WHOLE_AT_MOST]
    return tuple(near), tuple(card for card in found if card not in near)


def in_turn(far: Sequence[Card], ahead: Sequence[Ahead]) -> tuple[Card | Ahead, ...]:
    """What comes later, told or not, in one row by when it begins."""
    rows: list[tuple[float, int, Card | Ahead]] = [(_order(card)[1], 0, card) for card in far]
    rows += [(one.begins_by, 1, one) for one in ahead]
    return tuple(one for _, _, one in sorted(rows, key=lambda row: row[:2]))


def _first(card: Card) -> datetime | None:
    return card.start_by or card.done_by


def orders_at(found: Sequence[Card]) -> Mapping[str, tuple[Card, ...]]:
    """The cards of each position."""
    by_place: dict[str, list[Card]] = {}
    for card in found:
        by_place.setdefault(card.alert.position or "", []).append(card)
    return {place: tuple(there) for place, there in by_place.items()}


def place_name(show: Show, position: str | None) -> str:
    """A position in crew words, else its id, else the site."""
    if position is None:
        return said.one_line(show.site.name)
    known = show.positions.get(position)
    return said.one_line("" if known is None else known.name) or position


def _moment(at_s: float | None) -> datetime | None:
    return None if at_s is None or not math.isfinite(at_s) else to_moment(at_s)
