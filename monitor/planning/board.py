"""Tasks laid one by one, each as late as the people and the weather let it be.

A board runs backward in time. Mirrored, it runs forward: "as late as possible" then reads "as
soon as possible", and one set of rules serves both ways.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from monitor.planning.hands import Hand, Task
from monitor.planning.roster import Party, Roster
from monitor.planning.workable import merged
from monitor.units import SECONDS_PER_MINUTE

EPS = 1e-4
"""Seconds that rounding may cost."""
LEAST_S = 1.0
"""No task takes less."""

Frees = tuple[tuple[tuple[float, ...], ...], ...]
"""By period and kind: until when each hand is free in it, rising. What is laid lies later."""


@dataclass(frozen=True, slots=True)
class Held:
    """The party that holds a task in one period."""

    period: int
    party: Party
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Place:
    """Where a task lies, in the board's own time, and who holds it, last first."""

    start_s: float
    end_s: float
    legs: tuple[Held, ...]


@dataclass(frozen=True, slots=True)
class Staffed:
    """A period as one task sees it."""

    start_s: float
    end_s: float
    parties: tuple[Party, ...]


class Work:
    """One task on the board: when it can be worked, and by which parties.

    Workable is what is neither blocked nor without the people for it, from `ready` on.
    """

    def __init__(self, task: Task, board: Board) -> None:
        self.task = task
        self.people = 1 if board.roster.anonymous else task.people
        self.work_s = max(task.minutes * SECONDS_PER_MINUTE, LEAST_S)
        self.first_s = min(task.first_minutes * SECONDS_PER_MINUTE, self.work_s)
        self.cap_s = (
            board.until_s if board.mirrored else min(task.do_by_s - board.now_s, board.until_s)
        )
        periods = [
            Staffed(*board.turned(p.start_s, p.end_s), board.roster.parties(p, task))
            for p in board.roster.periods
        ]
        self.periods = tuple(reversed(periods) if board.mirrored else periods)
        self.starts: list[float] = []
        self.ends: list[float] = []
        self.before: list[float] = []
        """Workable seconds before each piece."""
        sum_s = 0.0
        for start, end in self._pieces(board):
            self.starts.append(start)
            self.ends.append(end)
            self.before.append(sum_s)
            sum_s += end - start
        self.after = [
            b + e - s for b, s, e in zip(self.before, self.starts, self.ends, strict=True)
        ]

    def _pieces(self, board: Board) -> Iterator[tuple[float, float]]:
        task, now_s = self.task, board.now_s
        ready = max(0.0, task.ready_s - now_s)
        shut = [
            board.turned(max(s.start_s - now_s, 0.0), min(s.end_s - now_s, board.until_s))
            for s in merged(task.blocked)
            if s.end_s > now_s and s.start_s - now_s < board.until_s
        ]
        if ready > 0.0:
            shut.append(board.turned(0.0, min(ready, board.until_s)))
        shut += [(p.start_s, p.end_s) for p in self.periods if not p.parties]
        at = 0.0
        for start, end in sorted(shut):
            if start > at + EPS:
                yield at, start
            at = max(at, end)
        if board.until_s > at + EPS:
            yield at, board.until_s

    def workable_s(self, moment_s: float) -> float:
        """Workable seconds up to a moment."""
        n = bisect_right(self.starts, moment_s) - 1
        if n < 0:
            return 0.0
        return self.before[n] + min(moment_s, self.ends[n]) - self.starts[n]

    def begins(self, moment_s: float) -> float | None:
        """The latest moment until then at which enough is left of a piece to begin."""
        for n in range(bisect_right(self.starts, moment_s + EPS) - 1, -1, -1):
            at = min(moment_s, self.ends[n] - self.first_s)
            if at >= self.starts[n] - EPS:
                return max(at, self.starts[n])
        return None

    def begins_turned(self, moment_s: float) -> float | None:
        """The same on a mirrored board, where what begins is the end of a place."""
        for n in range(bisect_left(self.starts, moment_s) - 1, -1, -1):
            at = min(moment_s, self.ends[n])
            if at - self.starts[n] >= self.first_s - EPS:
                return at
        return None

    def end_at(self, worked_s: float) -> float:
        """The earliest moment up to which there is so much workable time."""
        n = bisect_left(self.after, worked_s - EPS)
        return min(self.ends[n], self.starts[n] + max(0.0, worked_s - self.before[n]))

    def start_at(self, worked_s: float) -> float:
        """The latest moment up to which there is so much workable time."""
        n = max(0, bisect_right(self.before, worked_s + EPS) - 1)
        return self.starts[n] + max(0.0, worked_s - self.before[n])


class Board:
    """The tasks, the people, and where the next task can lie. Times are seconds from now."""

    def __init__(
        self,
        tasks: Sequence[Task],
        crew: Sequence[Hand] | int,
        now_s: float,
        mirrored: bool = False,
    ) -> None:
        self.now_s = now_s
        self.mirrored = mirrored
        self.effort = 0
        """Parties tried and twice the tasks: what all searches have cost so far."""
        self.until_s = _until_s(tasks, crew, now_s)
        self.roster = Roster(crew, tasks, now_s, self.until_s)
        self.works = tuple(Work(task, self) for task in tasks)
        periods = self.roster.periods[::-1] if mirrored else self.roster.periods
        self.periods = tuple(self.turned(p.start_s, p.end_s) for p in periods)
        self.empty: Frees = tuple(
            tuple(
                (end,) * len(members) if kind in period.kinds else ()
                for kind, members in enumerate(self.roster.members)
            )
            for period, (_, end) in zip(periods, self.periods, strict=True)
        )

    def turned(self, start_s: float, end_s: float) -> tuple[float, float]:
        """A stretch of time as the board runs."""
        return (self.until_s - end_s, self.until_s - start_s) if self.mirrored else (start_s, end_s)

    def places(self, number: int, frees: Frees) -> Iterator[Place]:
        """The latest place of a task for every party, in every period it may end in."""
        work = self.works[number]
        self.effort += 2
        for n in range(len(work.periods) - 1, -1, -1):
            yield from self._ending_in(work, n, frees)

    def latest(self, number: int, frees: Frees) -> Place | None:
        """The latest place of a task. Of equals, the one that leaves the least hands idle.

        A place that ends in an earlier period starts earlier, so the first period decides.
        """
        work = self.works[number]
        self.effort += 2
        for n in range(len(work.periods) - 1, -1, -1):
            best: Place | None = None
            least = math.inf
            for place in self._ending_in(work, n, frees):
                if best is not None and place.start_s < best.start_s:
                    continue
                free = frees[n]
                idle = sum(
                    count * (free[kind][-count] - place.end_s)
                    for kind, count in place.legs[0].party
                )
                if best is None or place.start_s > best.start_s or idle < least:
                    best, least = place, idle
            if best is not None:
                return best
        return None

    def _ending_in(self, work: Work, n: int, frees: Frees) -> Iterator[Place]:
        period, free = work.periods[n], frees[n]
        if period.start_s >= work.cap_s or not period.parties:
            return
        self.effort += len(period.parties)
        worked_before = work.workable_s(period.start_s)
        found: dict[float, tuple[float, float] | None] = {}
        for party in period.parties:
            end = work.cap_s
            for kind, count in party:
                end = min(end, free[kind][-count])
            if end not in found:
                found[end] = _fit(work, end, worked_before, mirrored=self.mirrored)
            fit = found[end]
            if fit is None:
                continue
            start, end = fit
            if start >= period.start_s:
                yield Place(start, end, (Held(n, party, start, end),))
                continue
            last = Held(n, party, period.start_s, end)
            for legs in self._earlier(work, n, start, frees, party):
                yield Place(start, end, (last, *legs))

    def _earlier(
        self, work: Work, n: int, start_s: float, frees: Frees, party: Party
    ) -> Iterator[tuple[Held, ...]]:
        """Parties for the periods before the last one, each free until its period's end.

        Those with most in common with the last party come first: who stays, stays on.
        """
        choices: list[list[Held]] = []
        for q in range(n - 1, -1, -1):
            period, free = work.periods[q], frees[q]
            if period.end_s <= start_s:
                break
            if not period.parties:
                continue
            able = [
                p
                for p in period.parties
                if all(free[kind][-count] >= period.end_s - EPS for kind, count in p)
            ]
            self.effort += len(period.parties)
            able.sort(key=lambda p: -_shared(p, party))
            choices.append([Held(q, p, max(period.start_s, start_s), period.end_s) for p in able])
        yield from product(*choices)

    def put(self, frees: Frees, place: Place) -> Frees:
        """Until when everybody is free once a task lies there.

        Of one kind the tightest fit is taken: who is free longest stays free.
        """
        left = list(frees)
        for leg in place.legs:
            period = list(left[leg.period])
            for kind, count in leg.party:
                free = period[kind]
                first = min(bisect_left(free, leg.end_s - EPS), len(free) - count)
                rest = (*free[:first], *(leg.start_s,) * count, *free[first + count :])
                period[kind] = tuple(sorted(rest))
            left[leg.period] = tuple(period)
        return tuple(left)


def _fit(
    work: Work, end_s: float, worked_before_s: float, *, mirrored: bool
) -> tuple[float, float] | None:
    """Start and end of work that ends at `end_s` at the latest, and in the same period.

    To begin early enough before a closing only ever moves the start, so what schedule.py proves
    of latest places holds of these.
    """
    last = work.begins_turned(end_s) if mirrored else end_s
    if last is None:
        return None
    worked = work.workable_s(last)
    if worked <= worked_before_s + EPS or worked < work.work_s - EPS:
        return None
    start = work.start_at(worked - work.work_s)
    begins = start if mirrored else work.begins(start)
    return None if begins is None else (begins, min(last, work.end_at(worked)))


def _shared(one: Party, other: Party) -> int:
    counts = dict(other)
    return sum(min(number, counts.get(kind, 0)) for kind, number in one)


def _until_s(tasks: Sequence[Task], crew: Sequence[Hand] | int, now_s: float) -> float:
    """Seconds from now after which nothing changes and everything could be done in turn."""
    edges = [task.do_by_s for task in tasks] + [task.ready_s for task in tasks]
    edges += [
        edge for task in tasks for span in task.blocked for edge in (span.start_s, span.end_s)
    ]
    if not isinstance(crew, int):
        edges += [edge for hand in crew for shift in hand.there for edge in shift]
    last = max((edge - now_s for edge in edges if math.isfinite(edge)), default=0.0)
    return max(last, 0.0) + sum(task.minutes for task in tasks) * SECONDS_PER_MINUTE + 1.0
