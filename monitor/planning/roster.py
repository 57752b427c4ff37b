"""Which working parties can be made of the people on site, from one shift change to the next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.planning.hands import ANONYMOUS, Hand, Task

MOST_PARTIES = 300
"""More parties than this for one task are thinned out; the schedule is then not proven best."""

Party = tuple[tuple[int, int], ...]
"""How many of which kind: (kind, number)."""


@dataclass(frozen=True, slots=True)
class Period:
    """Time between two shift changes, in which the same people are there."""

    start_s: float
    end_s: float
    kinds: tuple[int, ...]


class Roster:
    """People as kinds: hands with the same tickets on the same shifts are one kind.

    Tickets that no task asks for make no difference. Times are seconds from now.
    """

    def __init__(
        self, crew: Sequence[Hand] | int, tasks: Sequence[Task], now_s: float, until_s: float
    ) -> None:
        self.anonymous = isinstance(crew, int)
        hands = _parties(crew) if isinstance(crew, int) else crew
        asked = frozenset[str]().union(*(task.tickets for task in tasks))
        kinds: dict[tuple[frozenset[str], tuple[tuple[float, float], ...]], list[int]] = {}
        for number, hand in enumerate(hands):
            there = _clipped(hand.there, now_s, until_s)
            kinds.setdefault((hand.tickets & asked, there), []).append(number)
        self.names = tuple(hand.name for hand in hands)
        self.tickets = tuple(tickets for tickets, _ in kinds)
        self.members = tuple(tuple(found) for found in kinds.values())
        self.thinned = False
        shifts = [there for _, there in kinds]
        edges = sorted({0.0, until_s, *(t for there in shifts for span in there for t in span)})
        self.periods = tuple(
            Period(
                start,
                end,
                tuple(
                    kind
                    for kind, there in enumerate(shifts)
                    if any(a <= start and end <= b for a, b in there)
                ),
            )
            for start, end in pairwise(edges)
        )
        self._known: dict[tuple[tuple[int, ...], int, frozenset[str], bool], tuple[Party, ...]] = {}

    def parties(self, period: Period, task: Task) -> tuple[Party, ...]:
        """Every party that may do a task in a period, those with fewest tickets to spare first."""
        if self.anonymous:
            return (((0, 1),),) if period.kinds else ()
        asks = (period.kinds, task.people, task.tickets, task.alone_ok)
        if asks not in self._known:
            there = sum(len(self.members[kind]) for kind in period.kinds)
            lone = there == 1 and not task.alone_ok
            self._known[asks] = () if lone else self._made(period.kinds, task)
        return self._known[asks]

    def _made(self, kinds: tuple[int, ...], task: Task) -> tuple[Party, ...]:
        found: list[Party] = []
        for party in self._drawn(kinds, task.people):
            if task.tickets <= frozenset[str]().union(*(self.tickets[k] for k, _ in party)):
                found.append(party)
                if len(found) > MOST_PARTIES:
                    self.thinned = True
                    found = list(self._few(kinds, task))
                    break
        return tuple(sorted(found, key=self._spare))

    def _spare(self, party: Party) -> int:
        return sum(len(self.tickets[kind]) * number for kind, number in party)

    def _drawn(self, kinds: tuple[int, ...], people: int) -> Iterator[Party]:
        if not people:
            yield ()
            return
        if not kinds:
            return
        first, others = kinds[0], kinds[1:]
        for number in range(min(people, len(self.members[first])), -1, -1):
            for rest in self._drawn(others, people - number):
                yield ((first, number), *rest) if number else rest

    def _few(self, kinds: tuple[int, ...], task: Task) -> Iterator[Party]:
        """One party round each kind: holders of what is missing first, then the least ticketed."""
        plain = sorted(kinds, key=lambda kind: len(self.tickets[kind]))
        for lead in kinds:
            drawn = {lead: 1}
            missing = set(task.tickets - self.tickets[lead])
            while missing:
                best = max(kinds, key=lambda kind: len(self.tickets[kind] & missing))
                drawn[best] = drawn.get(best, 0) + 1
                missing -= self.tickets[best]
            start = plain.index(lead)
            for kind in plain[start + 1 :] + plain[: start + 1]:
                short = task.people - sum(drawn.values())
                more = min(short, len(self.members[kind]) - drawn.get(kind, 0))
                if more > 0:
                    drawn[kind] = drawn.get(kind, 0) + more
            if sum(drawn.values()) == task.people:
                yield tuple(sorted(drawn.items()))


def _parties(number: int) -> tuple[Hand, ...]:
    always = ((float("-inf"), float("inf")),)
    return tuple(Hand(ANONYMOUS.format(n + 1), frozenset(), always) for n in range(number))


def _clipped(
    there: Sequence[tuple[float, float]], now_s: float, until_s: float
) -> tuple[tuple[float, float], ...]:
    """Time on site from now on, joined where it touches."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(there):
        a, b = max(start - now_s, 0.0), min(end - now_s, until_s)
        if a >= b:
            continue
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return tuple(out)
