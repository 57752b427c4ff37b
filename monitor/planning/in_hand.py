"""The team of a job in hand: it stays at it, and hands over only where a shift ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from monitor.domain import Position
from monitor.planning.hands import Hand, Leg, Task, Turn
from monitor.planning.on_site import joined
from monitor.planning.workable import workable_s
from monitor.units import SECONDS_PER_MINUTE

_LEAST_S = 2.0
"""A stretch with less workable time is nobody's."""
_ROUNDING_S = 0.5


def team_of(
    said: str | None,
    told: Sequence[str],
    crew: Sequence[Hand],
    position: Position,
    people: int,
    stays: tuple[float, float],
) -> tuple[Hand, ...]:
    """Who is at a job: whoever said so, and those who were told that it is theirs.

    Parameters
    ----------
    said : who answered that they are doing it; may be nobody of the crew
    told : who was told last, in that order
    crew : the people
    position : its tickets are kept in the team
    people : it takes
    stays : whoever said so is there from when to when, be their shift over [s]

    Returns
    -------
    At most so many people as it takes
    """
    by_name = {hand.name: hand for hand in crew}
    team = []
    if said is not None and said in by_name:
        hand = by_name[said]
        team.append(replace(hand, there=joined((*hand.there, stays))))
    others = [by_name[n] for n in told if n in by_name and n != said]
    others = [h for h in others if _until_s(h, stays[0]) > stays[0]]
    missing = set(position.tickets).difference(*(hand.tickets for hand in team))
    # Sorting keeps the order in which they were told.
    for hand in sorted(others, key=lambda h: not h.tickets & missing):
        if len(team) < people:
            team.append(hand)
    return tuple(team)


def marked_as(hand: Hand, key: str) -> Hand:
    """Somebody of a team, by a ticket that nobody else holds."""
    return replace(hand, tickets=hand.tickets | {_mark(hand, key)})


def in_stretches(
    rest: Task, team: Sequence[Hand], tickets: frozenset[str], people: int, now_s: float
) -> tuple[Task, ...]:
    """The rest of a job in hand, cut where a shift of somebody in the team ends.

    Until then it is in the hands of the team; after it, of those who are left and others.
    """
    ends = [_until_s(hand, now_s) for hand in team]
    edges = sorted({now_s, rest.do_by_s, *(end for end in ends if now_s < end < rest.do_by_s)})
    found: list[Task] = []
    for start_s, end_s in pairwise(edges):
        worked_s = workable_s(rest.blocked, start_s, end_s)
        last = end_s == rest.do_by_s
        if worked_s < _LEAST_S and not (last and not found):
            continue
        before_s = sum(task.minutes for task in found) * SECONDS_PER_MINUTE
        left_s = rest.minutes * SECONDS_PER_MINUTE - before_s
        stay = {_mark(h, rest.key) for h, until in zip(team, ends, strict=True) if until >= end_s}
        found.append(
            replace(
                rest,
                key=f"{rest.key}/{len(found) + 1}" if found else rest.key,
                minutes=(left_s if last else worked_s - _ROUNDING_S) / SECONDS_PER_MINUTE,
                people=people,
                tickets=tickets | stay,
                do_by_s=end_s,
                ready_s=start_s,
            )
        )
    return tuple(found)


def one_turn(turns: Sequence[Turn]) -> Turn | None:
    """The stretches of a job as one turn again."""
    if not turns:
        return None
    legs: list[Leg] = []
    for leg in (leg for turn in turns for leg in turn.legs):
        if legs and legs[-1].who == leg.who:
            legs[-1] = replace(legs[-1], end_s=leg.end_s)
        else:
            legs.append(leg)
    return replace(turns[0], end_s=turns[-1].end_s, legs=tuple(legs))


def _mark(hand: Hand, key: str) -> str:
    return f"{key} {hand.name}"


def _until_s(hand: Hand, now_s: float) -> float:
    """Until when somebody who is there now stays; minus infinity: they are not there."""
    return next((b for a, b in hand.there if a <= now_s < b), -math.inf)
