"""Who is there to work, what wants doing, and a schedule that joins the two."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.planning.workable import Span

ANONYMOUS = "party {}"
"""What a party is called where the show names no people."""


@dataclass(frozen=True, slots=True)
class Task:
    """Work at one place, done by one working party from start to end."""

    key: str
    minutes: float
    """Set-up and all fixtures, for the whole working party."""
    people: int
    """Hands at once."""
    tickets: frozenset[str]
    """Each held by at least one of them."""
    blocked: tuple[Span, ...]
    """When nobody may work there: the party waits."""
    do_by_s: float
    value: float
    alone_ok: bool
    """May be done by the only person on site; asks nothing while others are there."""
    ready_s: float = -math.inf
    """Not before."""
    first_minutes: float = 0.0
    """Nobody begins where less than this is left before the place closes."""


@dataclass(frozen=True, slots=True)
class Hand:
    """A person, and when on site: on shift, or from the call-out on."""

    name: str
    tickets: frozenset[str]
    there: tuple[tuple[float, float], ...]
    """Half-open [start, end) in seconds."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of a task in the same hands."""

    who: tuple[str, ...]
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Turn:
    """A task in the schedule. Between two legs lies a shift change."""

    key: str
    start_s: float
    end_s: float
    legs: tuple[Leg, ...]

    @property
    def who(self) -> tuple[str, ...]:
        """Who starts it."""
        return self.legs[0].who

    @property
    def handed_over(self) -> bool:
        """Others end it than started it."""
        return any(leg.who != self.who for leg in self.legs)


@dataclass(frozen=True, slots=True)
class Late:
    """A task that is not done in time, and how long after its do-by it is."""

    key: str
    by_s: float
    """Infinite: these people never get it done."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """Who does what from when to when."""

    turns: tuple[Turn, ...]
    """Rising by start."""
    late: tuple[Late, ...]
    """Nothing: every task is done by its do-by."""
    exact: bool
    """Proven best; otherwise the best that was found."""

    @property
    def feasible(self) -> bool:
        """Every task is done by its do-by, as the turns show."""
        return not self.late

    @property
    def first_start_s(self) -> float | None:
        """When somebody has to begin."""
        return self.turns[0].start_s if self.turns else None
