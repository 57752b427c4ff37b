"""What to save where there is too much for a search to the end: a good order, bounded tries."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.planning.board import Frees, Place
from monitor.planning.give_up import NOTHING, Rescue, Saved
from monitor.planning.latest_lists import Laid


class RescueLists:
    """Forward list schedules: what is to be in time, soonest due first, then all the rest.

    Where something is late, the least value per hand-minute among what is laid so far is given
    up; at the end each of those, dearest first, is tried again, also in the place of a cheaper
    one.
    """

    def __init__(self, rescue: Rescue, most_places: int) -> None:
        self.rescue = rescue
        self.saved: Saved = NOTHING
        self.laid: Laid = []
        self._left = most_places
        works, due = rescue.board.works, rescue.due
        numbers = range(len(works))
        for order in (
            sorted(numbers, key=lambda n: (due[n], works[n].work_s)),
            sorted(numbers, key=lambda n: (due[n] - works[n].work_s, due[n])),
        ):
            self._rank = {number: at for at, number in enumerate(order)}
            self._kept: list[int] = []
            self._places: list[Place] = []
            self._frees: list[Frees] = [rescue.board.empty]
            self._keep([number for number in order if self._able(number)])
            self._try_again()
            self._lay_rest()

    def _dense(self, number: int) -> float:
        work = self.rescue.board.works[number]
        return self.rescue.value[number] / (work.work_s * work.people)

    def _able(self, number: int) -> bool:
        """In time if it were all there is to do."""
        place = self.rescue.board.latest(number, self.rescue.board.empty)
        return place is not None and not self.rescue.late_s(number, place)

    def _keep(self, order: Sequence[int]) -> None:
        waiting = list(order)
        while waiting:
            late = self._lay([*self._kept, *waiting], len(self._kept))
            if late is None:
                return
            so_far = [*self._kept, late]
            drop = min(so_far, key=lambda n: (self._dense(n), n != late))
            waiting = waiting[waiting.index(late) :]
            if drop == late:
                waiting = waiting[1:]
            else:
                at = self._kept.index(drop)
                waiting = [*self._kept[at + 1 :], *waiting]
                self._cut(at)

    def _try_again(self) -> None:
        given = [n for n in self._rank if n not in set(self._kept) and self._able(n)]
        for number in sorted(given, key=lambda n: -self.rescue.value[n]):
            own = sum(self._rank[n] < self._rank[number] for n in self._kept)
            for at in sorted({own, max(0, own - 1), max(0, own - 3), 0}, reverse=True):
                if self._left <= 0:
                    return
                order = [*self._kept[:at], number, *self._kept[at:]]
                if self._instead(order, at):
                    break
            else:
                self._swap_in(number)

    def _swap_in(self, number: int) -> None:
        cheaper = [n for n in self._kept if self.rescue.value[n] < self.rescue.value[number]]
        for other in sorted(cheaper, key=lambda n: self.rescue.value[n]):
            if self._left <= 0:
                return
            rest = [n for n in self._kept if n != other]
            at = sum(self._rank[n] < self._rank[number] for n in rest)
            order = [*rest[:at], number, *rest[at:]]
            if self._instead(order, min(at, self._kept.index(other))):
                return

    def _instead(self, order: list[int], same: int) -> bool:
        """Take an order whose first few are as before if all of it is in time."""
        before = self._kept, self._places, self._frees
        self._cut(same)
        if self._lay(order, same) is None:
            return True
        self._kept, self._places, self._frees = before
        return False

    def _cut(self, to: int) -> None:
        self._kept = self._kept[:to]
        self._places = self._places[:to]
        self._frees = self._frees[: to + 1]

    def _lay(self, order: Sequence[int], same: int) -> int | None:
        """Lay an order up to the first task that is late, which is said."""
        board = self.rescue.board
        for number in order[same:]:
            place = board.latest(number, self._frees[-1])
            self._left -= 1
            if place is None or self.rescue.late_s(number, place):
                return number
            self._kept.append(number)
            self._places.append(place)
            self._frees.append(board.put(self._frees[-1], place))
        return None

    def _lay_rest(self) -> None:
        """The shortest first: that makes the sum of lateness small."""
        board, frees = self.rescue.board, self._frees[-1]
        laid: list[tuple[int, Place | None]] = list(zip(self._kept, self._places, strict=True))
        rest = [n for n in self._rank if n not in set(self._kept)]
        for number in sorted(rest, key=lambda n: board.works[n].work_s):
            place = board.latest(number, frees)
            laid.append((number, place))
            if place is not None:
                frees = board.put(frees, place)
        saved = self.rescue.of_all(laid)
        if saved > self.saved:
            self.saved = saved
            self.laid = [(number, place) for number, place in laid if place is not None]
