"""Whoever is on shift takes the place of whoever would have to be called, where no time moves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from monitor.planning.hands import Hand, Leg, Schedule, Task, Turn

_EPS_S = 1e-3
_DEEP = 2
"""So many people change hands at most for one who need not be called."""

Spans = Sequence[tuple[float, float]]
Stretch = tuple[int, int, int, str]
"""A turn, its first and last leg in somebody's hands, and who that is."""


def on_shift_first(
    schedule: Schedule, tasks: Sequence[Task], crew: Sequence[Hand], shifts: Mapping[str, Spans]
) -> Schedule:
    """The same schedule to the second, with fewer people called in.

    Parameters
    ----------
    schedule : of named people
    tasks : that it is made of
    crew : its people, and when they can be there
    shifts : by name, when they are there without being called

    Returns
    -------
    Schedule
        Each of those who would be called changes places with somebody on shift who is free then
        and may do it, or whose own work a third can take who is. Nothing is handed over more
        often than before.
    """
    board = _Swaps(schedule, tasks, crew, shifts)
    called = sorted(s for held in board.held.values() for s in held if not board.on_shift(s[3], s))
    for stretch in called:
        if stretch in board.held[stretch[3]]:
            board.give(stretch, _DEEP, frozenset())
    return replace(schedule, turns=board.turns()) if called else schedule


class _Swaps:
    def __init__(
        self,
        schedule: Schedule,
        tasks: Sequence[Task],
        crew: Sequence[Hand],
        shifts: Mapping[str, Spans],
    ) -> None:
        self._turns, self._shifts = schedule.turns, shifts
        self._tasks = {task.key: task for task in tasks}
        self._hands = {hand.name: hand for hand in crew}
        self._who = [[list(leg.who) for leg in turn.legs] for turn in schedule.turns]
        asked = frozenset[str]().union(*(task.tickets for task in tasks))
        order = {hand.name: n for n, hand in enumerate(crew)}
        self._order = order
        self.held: dict[str, list[Stretch]] = {name: [] for name in order}
        """What each has."""
        for turn in range(len(schedule.turns)):
            for stretch in self._of(turn):
                self.held[stretch[3]].append(stretch)
        self._least = sorted(order, key=lambda n: (len(self._hands[n].tickets & asked), order[n]))
        """Those with fewest tickets that are asked for come first."""

    def _of(self, turn: int) -> Iterator[Stretch]:
        """Who has a turn from when to when."""
        legs = self._who[turn]
        for name in dict.fromkeys(name for who in legs for name in who):
            first: int | None = None
            for n in range(len(legs) + 1):
                has = n < len(legs) and name in legs[n]
                if has and first is None:
                    first = n
                elif not has and first is not None:
                    yield turn, first, n - 1, name
                    first = None

    def on_shift(self, name: str, stretch: Stretch) -> bool:
        return all(_within(self._shifts[name], leg) for leg in self._legs(stretch))

    def give(self, stretch: Stretch, deep: int, asked: frozenset[str]) -> bool:
        """Give a stretch to somebody on shift, if that can be."""
        turn, first, last, name = stretch
        for other in self._least:
            if other == name or other in asked or not self._may(other, stretch):
                continue
            meets = list(self._meets(other, stretch))
            if len(meets) > 1 or (meets and deep < _DEEP):
                continue
            # What the other has is taken over first, by somebody who is free.
            if meets and not self.give(meets[0], deep - 1, asked | {name, other}):
                continue
            for n in range(first, last + 1):
                who = self._who[turn][n]
                who[who.index(name)] = other
            self.held[name].remove(stretch)
            self.held[other].append((turn, first, last, other))
            return True
        return False

    def _may(self, other: str, stretch: Stretch) -> bool:
        """On shift throughout, not at it already, and with the tickets that would be missing."""
        turn, first, last, name = stretch
        if not self.on_shift(other, stretch):
            return False
        task = self._tasks[self._turns[turn].key]
        for n in range(first, last + 1):
            who = self._who[turn][n]
            if other in who or not _within(self._hands[other].there, self._turns[turn].legs[n]):
                return False
            then = [other if one == name else one for one in who]
            if task.tickets - frozenset[str]().union(*(self._hands[o].tickets for o in then)):
                return False
        return True

    def _meets(self, name: str, stretch: Stretch) -> Iterator[Stretch]:
        """What somebody has at the same time."""
        mine = self._legs(stretch)
        for held in tuple(self.held[name]):
            if any(
                a.start_s < b.end_s - _EPS_S and b.start_s < a.end_s - _EPS_S
                for a in self._legs(held)
                for b in mine
            ):
                yield held

    def _legs(self, stretch: Stretch) -> tuple[Leg, ...]:
        turn, first, last, _ = stretch
        return self._turns[turn].legs[first : last + 1]

    def turns(self) -> tuple[Turn, ...]:
        """As they are now; legs in the same hands that touch are one."""
        out = []
        for turn, legs in zip(self._turns, self._who, strict=True):
            joined: list[Leg] = []
            for leg, names in zip(turn.legs, legs, strict=True):
                who = tuple(sorted(names, key=self._order.__getitem__))
                if joined and joined[-1].who == who and joined[-1].end_s >= leg.start_s - _EPS_S:
                    joined[-1] = replace(joined[-1], end_s=leg.end_s)
                else:
                    joined.append(replace(leg, who=who))
            out.append(replace(turn, legs=tuple(joined)))
        return tuple(out)


def _within(spans: Spans, leg: Leg) -> bool:
    return any(a <= leg.start_s + _EPS_S and leg.end_s <= b + _EPS_S for a, b in spans)
