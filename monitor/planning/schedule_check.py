"""What is wrong with a schedule, found without the planner's own arithmetic."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from monitor.planning.hands import ANONYMOUS, Hand, Leg, Schedule, Task, Turn
from monitor.planning.workable import workable_s
from monitor.units import SECONDS_PER_MINUTE

SLACK_S = 0.01
"""Seconds that rounding may cost."""


def check(
    schedule: Schedule, tasks: Sequence[Task], crew: Sequence[Hand] | int, now_s: float
) -> tuple[str, ...]:
    """Everything in a schedule that breaks a rule, in plain words; nothing where it keeps all.

    Parameters
    ----------
    schedule : what was planned
    tasks : what was asked for
    crew : named people, or how many parties
    now_s : seconds

    Returns
    -------
    Sentences
    """
    return tuple(_Check(schedule, tasks, crew, now_s).faults())


class _Check:
    def __init__(
        self, schedule: Schedule, tasks: Sequence[Task], crew: Sequence[Hand] | int, now_s: float
    ) -> None:
        self.schedule = schedule
        self.tasks = {task.key: task for task in tasks}
        self.named = not isinstance(crew, int)
        always = ((-math.inf, math.inf),)
        self.hands = (
            {ANONYMOUS.format(n + 1): Hand("", frozenset(), always) for n in range(crew)}
            if isinstance(crew, int)
            else {hand.name: hand for hand in crew}
        )
        self.now_s = now_s
        self.changes = sorted({t for h in self.hands.values() for shift in h.there for t in shift})

    def faults(self) -> Iterator[str]:
        yield from self._complete()
        for turn in self.schedule.turns:
            yield from self._turn(turn, self.tasks[turn.key])
        yield from self._twice()

    def _complete(self) -> Iterator[str]:
        laid = [turn.key for turn in self.schedule.turns]
        late = {entry.key: entry.by_s for entry in self.schedule.late}
        never = [key for key, by_s in late.items() if math.isinf(by_s)]
        if sorted([*laid, *never]) != sorted(self.tasks):
            yield f"planned {sorted(laid)}, never done {sorted(never)}, asked {sorted(self.tasks)}"
        for turn in self.schedule.turns:
            over = turn.end_s - self.tasks[turn.key].do_by_s
            said = late.get(turn.key, 0.0)
            if abs(max(over, 0.0) - said) > SLACK_S:
                yield f"{turn.key} ends {over} s after its do-by, said to be late by {said} s"

    def _turn(self, turn: Turn, task: Task) -> Iterator[str]:
        if turn.start_s < max(self.now_s, task.ready_s) - SLACK_S:
            yield f"{turn.key} starts before it can"
        if (turn.start_s, turn.end_s) != (turn.legs[0].start_s, turn.legs[-1].end_s):
            yield f"{turn.key} is not held from start to end"
        worked = sum(workable_s(task.blocked, leg.start_s, leg.end_s) for leg in turn.legs)
        if worked < task.minutes * SECONDS_PER_MINUTE - SLACK_S:
            yield f"{turn.key} is worked for {worked} s of {task.minutes} min"
        for leg in turn.legs:
            yield from self._leg(leg, task)
        for leg, after in pairwise(turn.legs):
            yield from self._between(leg, after, task)

    def _leg(self, leg: Leg, task: Task) -> Iterator[str]:
        who = [self.hands[name] for name in leg.who]
        if len(set(leg.who)) != (task.people if self.named else 1):
            yield f"{task.key} is in the hands of {leg.who}, wants {task.people}"
        missing = task.tickets - frozenset[str]().union(*(hand.tickets for hand in who))
        if missing and self.named:
            yield f"{task.key} is in the hands of {leg.who} without {sorted(missing)}"
        for hand in who:
            if not _covers(hand.there, leg.start_s, leg.end_s):
                yield f"{hand.name} is not there for {task.key}"
        moments = [t for t in self.changes if leg.start_s < t < leg.end_s - SLACK_S]
        for moment in [leg.start_s, *moments]:
            if self.named and not task.alone_ok and len(self._there(moment)) < 2:
                yield f"{task.key} has somebody alone on site"

    def _between(self, leg: Leg, after: Leg, task: Task) -> Iterator[str]:
        """Hands change at a shift change only, and a task rests only for want of a party."""
        if not any(abs(t - after.start_s) <= SLACK_S for t in self.changes):
            yield f"{task.key} changes hands while nobody comes or goes"
        stops = [leg.end_s, *(t for t in self.changes if leg.end_s < t < after.start_s)]
        for moment in stops:
            if moment < after.start_s - SLACK_S and self._could_do(moment, task):
                yield f"{task.key} is left though there are people for it"

    def _there(self, moment_s: float) -> list[Hand]:
        at = moment_s + SLACK_S
        return [h for h in self.hands.values() if any(a <= at < b for a, b in h.there)]

    def _could_do(self, moment_s: float, task: Task) -> bool:
        there = self._there(moment_s)
        if len(there) == 1 and not task.alone_ok:
            return False
        return any(
            task.tickets <= frozenset[str]().union(*(hand.tickets for hand in who))
            for who in combinations(there, task.people)
        )

    def _twice(self) -> Iterator[str]:
        """Nobody does two things at once."""
        held: dict[str, list[tuple[float, float, str]]] = {}
        for turn in self.schedule.turns:
            for leg in turn.legs:
                for name in leg.who:
                    held.setdefault(name, []).append((leg.start_s, leg.end_s, turn.key))
        for name, spans in held.items():
            spans.sort()
            for (_, end, one), (start, _, other) in pairwise(spans):
                if start < end - SLACK_S:
                    yield f"{name} has {one} and {other} at once"


def _covers(there: Sequence[tuple[float, float]], start_s: float, end_s: float) -> bool:
    """On site without a break."""
    at = start_s
    for a, b in sorted(there):
        if a <= at + SLACK_S and b > at:
            at = b
    return at >= end_s - SLACK_S
