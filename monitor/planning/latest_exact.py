"""The best of all backward list schedules, by branch and bound."""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import ge

from monitor.planning.board import EPS, Board, Frees, Place
from monitor.planning.latest_lists import Laid, Merit

MOST_KEPT = 200
"""Of one set of laid tasks: so many ways to have laid it are remembered for comparison."""


class LatestExact:
    """Depth first over what is laid next, and by which party.

    A branch ends where even a bound on its merit is no better than the best schedule in hand,
    or where the same tasks were laid before with everybody free as long and no start earlier.
    The bound of a start is its latest place if it were laid next; the first start is bounded by
    the work left against the hands' time left as well.
    """

    def __init__(self, board: Board, numbers: Sequence[int], merit: Merit, effort: int) -> None:
        self.board = board
        self.merit = merit
        """Of the best in hand; nothing: none in hand."""
        self.laid: Laid | None = None
        """A schedule better than the one in hand, if there is one."""
        self.complete = True
        """All was searched or ruled out."""
        self._until = board.effort + effort
        self._seen: dict[frozenset[int], list[tuple[tuple[float, ...], Merit]]] = {}
        self._dive(frozenset(numbers), board.empty, (), [])

    def _dive(self, left: frozenset[int], frees: Frees, starts: Merit, laid: Laid) -> None:
        if not left:
            if not self.merit or starts > self.merit:
                self.merit, self.laid = starts, list(laid)
            return
        if self.board.effort >= self._until:
            self.complete = False
            return
        if self._known(left, frees, starts):
            return
        branches: list[tuple[int, Place]] = []
        bounds: list[float] = []
        for number in left:
            places = list(self.board.places(number, frees))
            if not places:
                return
            bounds.append(max(place.start_s for place in places))
            branches += [(number, place) for place in places]
        first = self._by_hands(left, frees)
        if first < -EPS:
            return
        bound = sorted((*starts, *bounds))
        bound[0] = min(bound[0], first)
        if self.merit and tuple(bound) <= self.merit:
            return
        branches.sort(key=lambda branch: (-branch[1].end_s, -branch[1].start_s, branch[0]))
        for number, place in branches:
            after = tuple(sorted((*starts, place.start_s)))
            laid.append((number, place))
            self._dive(left - {number}, self.board.put(frees, place), after, laid)
            laid.pop()

    def _known(self, left: frozenset[int], frees: Frees, starts: Merit) -> bool:
        flat = tuple(free for period in frees for kind in period for free in kind)
        kept = self._seen.setdefault(left, [])
        for other, merit in kept:
            if merit >= starts and all(map(ge, other, flat)):
                return True
        if len(kept) < MOST_KEPT:
            kept.append((flat, starts))
        return False

    def _by_hands(self, left: frozenset[int], frees: Frees) -> float:
        """A bound on the first start: the work due by a moment fits between the two."""
        works = [self.board.works[number] for number in left]
        bound = math.inf
        for cap in {work.cap_s for work in works}:
            load = sum(work.work_s * work.people for work in works if work.cap_s <= cap)
            bound = min(bound, _filled(self.board.periods, frees, cap, load))
        return bound


def _filled(
    periods: Sequence[tuple[float, float]], frees: Frees, cap_s: float, load_s: float
) -> float:
    """The moment from which all hands, until they are taken or `cap_s`, have so much time."""
    for (start, _), period in zip(reversed(periods), reversed(frees), strict=True):
        if start >= cap_s:
            continue
        free = sorted((min(f, cap_s) - start for kind in period for f in kind), reverse=True)
        in_all = sum(free)
        if in_all < load_s:
            load_s -= in_all
            continue
        total = 0.0
        for number, time in enumerate(free, 1):
            total += time
            level = (total - load_s) / number
            if number == len(free) or level >= free[number]:
                return start + level
    return -math.inf
