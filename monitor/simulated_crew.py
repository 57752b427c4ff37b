"""The crew of a rehearsal: those who are planned for a job do it when it is called, and log it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from monitor.domain import Action, Alert, EntryKind, LogEntry, Weather
from monitor.evaluation import HORIZON_S
from monitor.exposure.rig import Rig
from monitor.exposure.steps import cut
from monitor.planning.daylight import dark_spans
from monitor.planning.hands import ANONYMOUS
from monitor.planning.on_site import hands
from monitor.planning.workable import finish_s, gust_spans, thunder_spans
from monitor.units import to_moment

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
        self._free_from: dict[str, float] = {}
        """From when each of the crew has nothing in hand."""
        self.worked: list[Worked] = []

    def follow(self, alert: Alert, now_s: float) -> list[LogEntry]:
        """Act on an alert that says start; what is logged when its minutes are over."""
        if alert.stage != "start" or alert.action is None or alert.position is None:
            return []
        fresh = [f for f in alert.fixtures if self._busy.get(f, now_s) <= now_s]
        if alert.minutes is None or not fresh:
            return []
        show = self._show
        position, policy = show.positions[alert.position], show.policy
        minutes = alert.minutes
        if len(fresh) < len(alert.fixtures) and alert.count:
            share = sum(show.fixture(f).count for f in fresh) / alert.count
            minutes = position.setup_minutes + share * (minutes - position.setup_minutes)
        steps = cut(self._weather.between(now_s, now_s + HORIZON_S), (), policy)
        closed = list(thunder_spans(steps, policy.risk))
        if position.access != "none":
            closed += gust_spans(steps, position, show.site, policy.risk)
        if position.access != "none" and position.daylight:
            closed += dark_spans(show.site, now_s, now_s + HORIZON_S)
        party, begins_s = self._party(alert, now_s)
        done_s = finish_s(closed, begins_s, minutes)
        self._free_from.update(dict.fromkeys(party, done_s))
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

    def _party(self, alert: Alert, now_s: float) -> tuple[tuple[str, ...], float]:
        """Who does a job, and from when: those the plan names, once they are there and free."""
        show = self._show
        crew = hands(show.crew, show.site.timezone, now_s, now_s + HORIZON_S)
        if isinstance(crew, int):
            parties = [ANONYMOUS.format(n + 1) for n in range(crew)]
            first = min(parties, key=lambda name: self._free_from.get(name, now_s))
            return (first,), max(now_s, self._free_from.get(first, now_s))
        there = {hand.name: hand.there for hand in crew}
        by_turn = sorted(there, key=lambda name: self._free_from.get(name, now_s))
        party = alert.facts.who or tuple(by_turn[: alert.people])
        begins_s = max(now_s, *(self._free_from.get(name, now_s) for name in party))
        starts = {start for name in party for start, _ in there[name] if start > begins_s}
        for moment in (begins_s, *sorted(starts)):
            if all(any(a <= moment < b for a, b in there[name]) for name in party):
                return party, moment
        return party, begins_s
