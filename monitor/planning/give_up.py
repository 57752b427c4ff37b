"""What to save where not everything can be done in time.

The board runs mirrored: each task as soon as it can be. What schedule.py proves of backward list
schedules holds of these, read the other way round: no schedule ends any task sooner than the
list schedule of its tasks by their start, so none saves more value, or is less late.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import ge

from monitor.planning.board import EPS, Board, Frees, Place
from monitor.planning.latest_exact import MOST_KEPT
from monitor.planning.latest_lists import Laid

Saved = tuple[float, float, float]
"""Value done in time; tasks never done, negative; lateness in sum [s], negative."""
NOTHING: Saved = (-math.inf, 0.0, 0.0)


class Rescue:
    """Counts what a forward board's places are worth."""

    def __init__(self, board: Board) -> None:
        self.board = board
        now_s = board.now_s
        self.due = [work.task.do_by_s - now_s for work in board.works]
        self.value = [work.task.value for work in board.works]

    def late_s(self, number: int, place: Place) -> float:
        """How long after its do-by a task ends; in time: nothing."""
        late = self.board.until_s - place.start_s - self.due[number]
        return late if late > EPS else 0.0

    def of(self, number: int, place: Place | None) -> Saved:
        """What one task adds."""
        if place is None:
            return (0.0, -1.0, 0.0)
        late = self.late_s(number, place)
        return (0.0, 0.0, -late) if late else (self.value[number], 0.0, 0.0)

    def of_all(self, laid: Sequence[tuple[int, Place | None]]) -> Saved:
        """What they come to, rounded so that the order of summing makes no difference."""
        parts = [(0.0, 0.0, 0.0), *(self.of(number, place) for number, place in laid)]
        return _rounded(*(math.fsum(column) for column in zip(*parts, strict=True)))


def _rounded(value: float, undone: float, late_s: float) -> Saved:
    return (round(value, 6), undone, round(late_s, 3))


class RescueExact:
    """The best of all forward list schedules, by branch and bound.

    A task that no longer has a place is never done, whatever follows, since everybody is free
    later and later. The bound takes every other task at its soonest place; value due by a moment
    is bounded by the hands' time until then as well, tasks cut into parts to fill it.
    """

    def __init__(self, rescue: Rescue, saved: Saved, effort: int) -> None:
        self.rescue = rescue
        self.saved = saved
        self.laid: Laid | None = None
        self.complete = True
        self._until = rescue.board.effort + effort
        self._seen: dict[frozenset[int], list[tuple[tuple[float, ...], Saved]]] = {}
        board = rescue.board
        self._dive(frozenset(range(len(board.works))), board.empty, (0.0, 0.0, 0.0), [])

    def _dive(self, left: frozenset[int], frees: Frees, so_far: Saved, laid: Laid) -> None:
        undone = _rounded(so_far[0], so_far[1] - len(left), so_far[2])
        if undone > self.saved:
            self.saved, self.laid = undone, list(laid)
        if not left:
            return
        if self.rescue.board.effort >= self._until:
            self.complete = False
            return
        if self._known(left, frees, so_far):
            return
        rescue = self.rescue
        branches: list[tuple[int, Place]] = []
        bound = so_far
        in_time: list[int] = []
        for number in sorted(left):
            places = list(rescue.board.places(number, frees))
            soonest = max(places, key=lambda place: place.start_s, default=None)
            add = rescue.of(number, soonest)
            bound = (bound[0] + add[0], bound[1] + add[1], bound[2] + add[2])
            if soonest is not None and not rescue.late_s(number, soonest):
                in_time.append(number)
            branches += [(number, place) for place in places]
        most = so_far[0] + self._by_hands(in_time, frees)
        if _rounded(min(bound[0], most), bound[1], bound[2]) <= self.saved:
            return
        branches.sort(key=lambda branch: self._rank(*branch))
        for number, place in branches:
            add = rescue.of(number, place)
            after = (so_far[0] + add[0], so_far[1] + add[1], so_far[2] + add[2])
            laid.append((number, place))
            self._dive(left - {number}, rescue.board.put(frees, place), after, laid)
            laid.pop()

    def _rank(self, number: int, place: Place) -> tuple[bool, float, float, int]:
        late = self.rescue.late_s(number, place) > 0.0
        return late, self.rescue.due[number], -place.start_s, number

    def _known(self, left: frozenset[int], frees: Frees, so_far: Saved) -> bool:
        flat = tuple(free for period in frees for kind in period for free in kind)
        kept = self._seen.setdefault(left, [])
        for other, saved in kept:
            if saved >= so_far and all(map(ge, other, flat)):
                return True
        if len(kept) < MOST_KEPT:
            kept.append((flat, so_far))
        return False

    def _by_hands(self, numbers: Sequence[int], frees: Frees) -> float:
        """A bound on the value of tasks that could each be in time, from the hands' time."""
        rescue = self.rescue
        works = rescue.board.works
        bound = math.inf
        dense = sorted(
            (n for n in numbers if rescue.value[n] > 0.0),
            key=lambda n: -rescue.value[n] / (works[n].work_s * works[n].people),
        )
        for due in {rescue.due[n] for n in dense}:
            time_left = self._time(frees, due)
            total = 0.0
            for n in dense:
                if rescue.due[n] > due:
                    total += rescue.value[n]
                    continue
                load = works[n].work_s * works[n].people
                share = min(1.0, max(0.0, time_left) / load)
                total += share * rescue.value[n]
                time_left -= load
            bound = min(bound, total)
        return bound if dense else 0.0

    def _time(self, frees: Frees, due_s: float) -> float:
        """Hand-seconds before a moment; everybody at once at most a rounding over."""
        board = self.rescue.board
        from_s = board.until_s - due_s
        hands = 0
        total = EPS
        for (start, _), period in zip(board.periods, frees, strict=True):
            for kind in period:
                hands += len(kind)
                total += sum(max(0.0, free - max(start, from_s)) for free in kind)
        return total + hands * EPS
