"""The crew of a rehearsal: those who are planned for a job do it when it is called, and log it.

Where those are not there, others on site do it who hold the tickets; where nobody can, it is
not done.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from monitor.domain import Action, Alert, EntryKind, LogEntry, Position, Weather
from monitor.evaluation import HORIZON_S
from monitor.exposure.rig import Rig
from monitor.exposure.steps import cut
from monitor.planning.daylight import dark_spans
from monitor.planning.hands import ANONYMOUS, Hand, Leg
from monitor.planning.on_site import hands
from monitor.planning.workable import Span, finish_s, gust_spans, thunder_spans, workable_s
from monitor.units import SECONDS_PER_MINUTE, to_moment

_LOGGED_AS: dict[str, EntryKind] = {
    "cover": "covered",
    "bring-in": "brought-in",
    "isolate": "isolated",
    "uncover": "uncovered",
    "clean": "cleaned",
}


@dataclass(frozen=True, slots=True)
class Worked:
    """One job the simulated crew did: its minutes do not count pauses."""

    position: str
    action: Action
    fixtures: tuple[str, ...]
    people: int
    minutes: float
    begun_at: datetime
    done_at: datetime


class SimulatedCrew:
    """Who has what in hand, and what they did."""

    def __init__(self, rig: Rig, weather: Weather) -> None:
        self._show, self._weather = rig.show, weather
        self._busy: dict[str, float] = {}
        """Until when each fixture is in somebody's hands."""
        self._at_work: dict[str, list[tuple[float, float]]] = {}
        """When each of the crew has something in hand."""
        self.worked: list[Worked] = []

    def follow(self, alert: Alert, now_s: float) -> list[LogEntry]:
        """Act on an alert that says start, be it late; what is logged when its minutes are over."""
        if alert.stage != "start" or alert.action is None or alert.position is None:
            return []
        fresh = [f for f in alert.fixtures if self._busy.get(f, now_s) <= now_s]
        if alert.minutes is None or not fresh:
            return []
        show = self._show
        position = show.positions[alert.position]
        minutes = alert.minutes
        if len(fresh) < len(alert.fixtures) and alert.count:
            share = sum(show.fixture(f).count for f in fresh) / alert.count
            minutes = position.setup_minutes + share * (minutes - position.setup_minutes)
        legs = tuple(self._legs(alert, position, minutes, self._closed(position, now_s), now_s))
        if not legs:
            return []
        begins_s, done_s = legs[0].start_s, legs[-1].end_s
        for leg in legs:
            for name in leg.who:
                self._at_work.setdefault(name, []).append((leg.start_s, leg.end_s))
        self._busy.update(dict.fromkeys(fresh, done_s))
        self.worked.append(
            Worked(
                position.id,
                alert.action,
                tuple(fresh),
                alert.people,
                minutes,
                to_moment(begins_s),
                to_moment(done_s),
            )
        )
        return [
            LogEntry(
                at=to_moment(done_s),
                entry=_LOGGED_AS[alert.action],
                fixture=fixture,
                by="simulated crew",
            )
            for fixture in fresh
        ]

    def _closed(self, position: Position, now_s: float) -> list[Span]:
        """When nobody may work there, as the record has it."""
        show, policy = self._show, self._show.policy
        steps = cut(self._weather.between(now_s, now_s + HORIZON_S), (), policy)
        closed = list(thunder_spans(steps, policy.risk))
        if position.access != "none":
            closed += gust_spans(steps, position, show.site, policy.risk)
        if position.access != "none" and position.daylight:
            closed += dark_spans(show.site, now_s, now_s + HORIZON_S)
        return closed

    def _legs(
        self,
        alert: Alert,
        position: Position,
        minutes: float,
        closed: Sequence[Span],
        now_s: float,
    ) -> list[Leg]:
        """Who works it from when to when; nothing where these people never get it done."""
        show, until_s = self._show, now_s + HORIZON_S
        found = hands(show.crew, show.site.timezone, now_s, until_s)
        named = not isinstance(found, int)
        always = ((-math.inf, math.inf),)
        crew = (
            tuple(Hand(ANONYMOUS.format(n + 1), frozenset(), always) for n in range(found))
            if isinstance(found, int)
            else found
        )
        asked = position.tickets if named and alert.action != "isolate" else ()
        wanted = _Wanted(
            alert.people if named else 1,
            frozenset(asked),
            not named or position.access == "none" or position.access in show.crew.alone,
        )
        at_work = [span for hand in crew for span in self._at_work.get(hand.name, ())]
        edges = {now_s, until_s, *(t for hand in crew for span in hand.there for t in span)}
        edges |= {t for span in at_work for t in span}
        moments = sorted(t for t in edges if now_s <= t <= until_s)
        legs: list[Leg] = []
        left_s = minutes * SECONDS_PER_MINUTE
        for start_s, end_s in pairwise(moments):
            there = [h for h in crew if any(a <= start_s < b for a, b in h.there)]
            free = [h for h in there if not self._has_work(h.name, start_s)]
            lone = len(there) == 1 and not wanted.alone_ok
            before = (legs[-1].who,) if legs else ()
            who = None if lone else wanted.party(free, (*before, *_planned(alert)))
            if who is None:
                continue
            ends_s = finish_s(closed, start_s, left_s / SECONDS_PER_MINUTE)
            if legs and legs[-1].who == who and legs[-1].end_s == start_s:
                start_leg_s = legs.pop().start_s
            else:
                start_leg_s = start_s
            legs.append(Leg(who, start_leg_s, min(ends_s, end_s)))
            if ends_s <= end_s:
                return legs
            left_s -= workable_s(closed, start_s, end_s)
        return []

    def _has_work(self, name: str, moment_s: float) -> bool:
        return any(a <= moment_s < b for a, b in self._at_work.get(name, ()))


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What a job takes."""

    people: int
    tickets: frozenset[str]
    alone_ok: bool

    def party(
        self, free: Sequence[Hand], first: Sequence[tuple[str, ...]]
    ) -> tuple[str, ...] | None:
        """One of the parties named first, if it is there; else whoever can do it."""
        by_name = {hand.name: hand for hand in free}
        for names in first:
            them = [by_name[name] for name in names if name in by_name]
            if len(them) == len(names) == self.people and self.tickets <= _held(them):
                return names
        # Those with the fewest tickets to spare; a ticket that is missing is looked for first.
        left = sorted(free, key=lambda hand: len(hand.tickets))
        who: list[Hand] = []
        while len(who) < self.people and left:
            missing = self.tickets - _held(who)
            best = max(left, key=lambda hand: len(hand.tickets & missing))
            who.append(best)
            left.remove(best)
        enough = len(who) == self.people and self.tickets <= _held(who)
        return tuple(hand.name for hand in who) if enough else None


def _held(who: Sequence[Hand]) -> frozenset[str]:
    return frozenset[str]().union(*(hand.tickets for hand in who))


def _planned(alert: Alert) -> Iterator[tuple[str, ...]]:
    """Who is planned to begin it, then who is to carry on."""
    for names in (alert.facts.who, alert.facts.handed_to):
        if names:
            yield names
