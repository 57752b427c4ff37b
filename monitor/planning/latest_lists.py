"""Backward list schedules, and a bounded search among their orders."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monitor.planning.board import Board, Frees, Place

Merit = tuple[float, ...]
"""Starts, rising: the one that is larger where two first differ is better."""
Laid = list[tuple[int, Place]]

SEED = 20
"""Of the order in which neighbours are tried: the same tasks always give the same schedule."""


class Lists:
    """List schedules of some of a board's tasks: each laid as late as it can be, in an order."""

    def __init__(self, board: Board, numbers: Sequence[int], effort: int) -> None:
        self.board = board
        self.numbers = tuple(numbers)
        self._until = board.effort + effort
        self.merit: Merit = ()
        self.order: list[int] = []
        self._places: list[Place | None] = []
        self._frees: list[Frees] = [board.empty]

    def search(self) -> None:
        """Try the orders that do well by nature, then neighbours of the best."""
        for order in self._orders():
            self._try(order, 0)
        stale = 0
        rng = np.random.default_rng(SEED)
        while self.board.effort < self._until and len(self.order) > 1:
            moved = self._neighbour(rng)
            stale = 0 if self._try(*moved) else stale + 1

    def laid(self) -> Laid | None:
        """The best list schedule, if it has every task."""
        out = [(n, p) for n, p in zip(self.order, self._places, strict=True) if p is not None]
        return out if len(out) == len(self.numbers) else None

    def _orders(self) -> list[list[int]]:
        works = self.board.works
        alone = {n: self._alone(n) for n in self.numbers}
        return [
            sorted(self.numbers, key=lambda n: (-works[n].cap_s, -works[n].work_s)),
            sorted(self.numbers, key=lambda n: (-alone[n], -works[n].work_s)),
            self._longest_first(),
        ]

    def _alone(self, number: int) -> float:
        place = self.board.latest(number, self.board.empty)
        return -math.inf if place is None else place.start_s

    def _longest_first(self) -> list[int]:
        """Whenever somebody is free: the longest of what may still be under way then."""
        works = self.board.works
        frees = [self.board.until_s] * sum(len(kind) for kind in self.board.roster.members)
        left = set(self.numbers)
        order: list[int] = []
        while left and frees:
            at = min(frees[-1], max(works[n].cap_s for n in left))
            under_way = [n for n in left if works[n].cap_s >= at]
            pick = max(under_way, key=lambda n: (works[n].work_s * works[n].people, -n))
            left.remove(pick)
            order.append(pick)
            for _ in range(min(works[pick].people, len(frees))):
                frees.pop()
            frees += [at - works[pick].work_s] * works[pick].people
            frees.sort()
        return [*order, *sorted(left)]

    def _neighbour(self, rng: np.random.Generator) -> tuple[list[int], int]:
        """One of the earliest starts is laid sooner, or changes place with a task laid sooner."""
        starts = [-math.inf if p is None else p.start_s for p in self._places]
        ranked = sorted(range(len(starts)), key=lambda n: starts[n])
        pick = ranked[min(int(rng.geometric(0.6)) - 1, len(ranked) - 1)]
        if pick == 0:
            pick = int(rng.integers(1, len(starts)))
        to = int(rng.integers(0, pick))
        order = list(self.order)
        if rng.random() < 0.5:
            order.insert(to, order.pop(pick))
        else:
            order[to], order[pick] = order[pick], order[to]
        return order, to

    def _try(self, order: list[int], same: int) -> bool:
        """Lay an order whose first few are as before; keep it if no worse. Says if it is better."""
        frees = self._frees[: same + 1]
        places = self._places[:same]
        for number in order[same:]:
            place = self.board.latest(number, frees[-1])
            places.append(place)
            frees.append(frees[-1] if place is None else self.board.put(frees[-1], place))
        merit = tuple(sorted(-math.inf if p is None else p.start_s for p in places))
        if self.merit and merit < self.merit:
            return False
        better = merit > self.merit
        self.merit, self.order, self._places, self._frees = merit, order, places, frees
        return better
