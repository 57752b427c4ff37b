"""Names put to a schedule: who of each kind has which task, changed as seldom as can be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from monitor.planning.board import EPS, Board, Held, Place
from monitor.planning.hands import Leg, Turn


def named(board: Board, laid: Sequence[tuple[int, Place]]) -> tuple[Turn, ...]:
    """Turns in real time, rising by start.

    Inside a period the hands of a kind are alike, and never more of them are wanted at once than
    there are; so whoever is free may take what begins next. Whoever had a task before a shift
    change and can stay with it does.
    """
    legs: dict[int, list[Leg]] = {number: [] for number, _ in laid}
    busy_until: dict[int, float] = {}
    for start, _, number, end, held in sorted(_legs(board, laid), key=lambda leg: leg[:3]):
        before = set(legs[number][-1].who) if legs[number] else set[str]()
        who: list[int] = []
        for kind, count in held.party:
            free = [
                hand
                for hand in board.roster.members[kind]
                if busy_until.get(hand, 0.0) <= start + EPS
            ]
            free.sort(key=lambda hand: (board.roster.names[hand] not in before, hand))
            who += free[:count]
        busy_until |= dict.fromkeys(who, end)
        people = tuple(board.roster.names[hand] for hand in sorted(who))
        legs[number].append(Leg(people, start + board.now_s, end + board.now_s))
    out = [
        Turn(board.works[number].task.key, found[0].start_s, found[-1].end_s, _joined(found))
        for number, found in legs.items()
    ]
    return tuple(sorted(out, key=lambda turn: (turn.start_s, turn.end_s)))


def _legs(
    board: Board, laid: Sequence[tuple[int, Place]]
) -> Iterator[tuple[float, bool, int, float, Held]]:
    """Each leg by its start; of those that start together, what is under way comes first."""
    for number, place in laid:
        began, _ = board.turned(place.start_s, place.end_s)
        for held in place.legs:
            start, end = board.turned(held.start_s, held.end_s)
            yield start, start <= began, number, end, held


def _joined(legs: Sequence[Leg]) -> tuple[Leg, ...]:
    """Legs in the same hands that touch are one."""
    out: list[Leg] = []
    for leg in legs:
        if out and out[-1].who == leg.who and out[-1].end_s >= leg.start_s - EPS:
            out[-1] = Leg(leg.who, out[-1].start_s, leg.end_s)
        else:
            out.append(leg)
    return tuple(out)
