"""What to save where there is too much for a search to the end: good orders, bounded tries."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.planning.board import Frees, Place
from monitor.planning.give_up import NOTHING, Rescue, Saved
from monitor.planning.latest_lists import SEED, Laid

LEEWAY = 0.06
"""The share of value that an order in hand may at first lose to the next."""


class RescueLists:
    """Forward list schedules: what is late at its turn in the order waits until all others lie.

    The first orders go by what is due soonest; where something would be late, the least value
    per hand-minute so far is given up for it. Then neighbours of the order in hand, which may be
    worth a little less than it, and less and less so as the effort is spent.
    """

    def __init__(self, rescue: Rescue, effort: int) -> None:
        self.rescue = rescue
        self.saved: Saved = NOTHING
        self.laid: Laid = []
        self._effort = effort
        self._until = rescue.board.effort + effort
        self._value = NOTHING[0]
        """In time in the order in hand."""
        self._order: list[int] = []
        self._places: list[Place | None] = []
        self._frees: list[Frees] = [rescue.board.empty]
        works, due = rescue.board.works, rescue.due
        numbers = range(len(works))
        for order in (
            sorted(numbers, key=lambda n: (due[n], works[n].work_s)),
            sorted(numbers, key=lambda n: (due[n] - works[n].work_s, due[n])),
        ):
            kept = self._kept(order)
            given = [n for n in order if n not in set(kept)]
            self._try([*kept, *sorted(given, key=lambda n: -rescue.value[n])], 0)

    def search(self) -> None:
        """Neighbours of the order in hand, until the effort is spent or nothing is late."""
        rng = np.random.default_rng(SEED)
        while self.rescue.board.effort < self._until and len(self._order) > 1:
            waiting = [at for at, place in enumerate(self._places) if place is None]
            if not waiting:
                return
            left = (self._until - self.rescue.board.effort) / self._effort
            less = LEEWAY * left * float(rng.random()) * self.saved[0]
            self._try(*self._neighbour(rng, waiting), less)

    def sooner(self) -> None:
        """What is late, the shortest first, moved as far forward as all in time allow.

        Until now it waited behind all others, those that are not due for long as well.
        """
        board, in_time = self.rescue.board, self.saved[0]
        until = board.effort + self._effort // 2
        order = [n for n, place in self.laid if not self.rescue.late_s(n, place)]
        late = [n for n, place in self.laid if self.rescue.late_s(n, place)]
        for number in sorted(late, key=lambda n: board.works[n].work_s):
            first, last = 0, len(order)
            while first < last and board.effort < until:
                middle = (first + last) // 2
                if self.rescue.of_all(self._lay(order, middle, number))[0] >= in_time:
                    last = middle
                else:
                    first = middle + 1
            order.insert(last, number)
        laid = self._lay(order, len(order))
        missed = set(range(len(board.works))) - set(order)
        saved = self.rescue.of_all([*laid, *((number, None) for number in missed)])
        if saved > self.saved:
            self.saved = saved
            self.laid = [(number, place) for number, place in laid if place is not None]

    def _lay(
        self, order: Sequence[int], at: int, number: int | None = None
    ) -> list[tuple[int, Place | None]]:
        """An order laid forward, with one more task in it."""
        board, frees = self.rescue.board, self.rescue.board.empty
        laid: list[tuple[int, Place | None]] = []
        for n in (*order[:at], *(() if number is None else (number,)), *order[at:]):
            place = board.latest(n, frees)
            laid.append((n, place))
            if place is not None:
                frees = board.put(frees, place)
        return laid

    def _neighbour(self, rng: np.random.Generator, waiting: Sequence[int]) -> tuple[list[int], int]:
        """A task that waits comes sooner, mostly in the place of another; or any two change."""
        order = list(self._order)
        last = len(order) - 1
        at = int(rng.choice(waiting)) if rng.random() < 0.7 else int(rng.integers(0, last + 1))
        to = int(rng.integers(0, last + 1))
        if rng.random() < 0.5:
            order.insert(to, order.pop(at))
        else:
            order[to], order[at] = order[at], order[to]
        return order, min(to, at)

    def _dense(self, number: int) -> float:
        work = self.rescue.board.works[number]
        return self.rescue.value[number] / (work.work_s * work.people)

    def _in_time(self, number: int, frees: Frees) -> Place | None:
        place = self.rescue.board.latest(number, frees)
        return None if place is None or self.rescue.late_s(number, place) else place

    def _kept(self, order: Sequence[int]) -> list[int]:
        """What is left of an order so that all of it is in time."""
        board = self.rescue.board
        waiting = [n for n in reversed(order) if self._in_time(n, board.empty) is not None]
        kept: list[int] = []
        frees = [board.empty]
        while waiting:
            number = waiting.pop()
            place = self._in_time(number, frees[-1])
            if place is not None:
                kept.append(number)
                frees.append(board.put(frees[-1], place))
                continue
            drop = min((number, *kept), key=self._dense)
            if drop != number:
                at = kept.index(drop)
                waiting += [number, *reversed(kept[at + 1 :])]
                del kept[at:], frees[at + 1 :]
        return kept

    def _try(self, order: list[int], same: int, less: float = 0.0) -> None:
        """Lay an order whose first few are as before; keep it if it is worth not much less."""
        board = self.rescue.board
        places, frees = self._places[:same], self._frees[: same + 1]
        for number in order[same:]:
            place = self._in_time(number, frees[-1])
            places.append(place)
            frees.append(frees[-1] if place is None else board.put(frees[-1], place))
        laid = [pair for pair in zip(order, places, strict=True) if pair[1] is not None]
        value = self.rescue.of_all(laid)[0]
        if value < self._value - less:
            return
        self._value, self._order, self._places, self._frees = value, order, places, frees
        if value < self.saved[0]:
            return
        rest = [n for n, place in zip(order, places, strict=True) if place is None]
        at = frees[-1]
        for number in sorted(rest, key=lambda n: board.works[n].work_s):
            place = board.latest(number, at)
            laid.append((number, place))
            if place is not None:
                at = board.put(at, place)
        saved = self.rescue.of_all(laid)
        if saved > self.saved:
            self.saved = saved
            self.laid = [(number, place) for number, place in laid if place is not None]
