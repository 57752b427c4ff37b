"""What a timed drill says: minutes to get there, and minutes to cover each.

Both are rounded up: a plan that leaves a little too early is the better one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.domain import Problem
from monitor.units import SECONDS_PER_MINUTE

STEPS = ("out", "there", "covered")
"""The moments of a drill, in their order: set out, there, all covered"""
LONGEST = timedelta(hours=12)
"""A drill that took longer was forgotten, not timed (judgement)."""
SHORTEST = timedelta(minutes=1)
_AHEAD = timedelta(minutes=1)
_NEAREST_SETUP, _NEAREST_EACH = 0.5, 0.1
MOST_COVERED = 2000


@dataclass(frozen=True, slots=True)
class Drill:
    """The moments that were tapped; a later one is there only with those before it."""

    out: datetime | None = None
    there: datetime | None = None
    covered: datetime | None = None

    @property
    def moments(self) -> tuple[datetime, ...]:
        """Those that were tapped, in their order."""
        return tuple(at for at in (self.out, self.there, self.covered) if at is not None)

    @property
    def next_step(self) -> str | None:
        """What is tapped next; None: all of it was."""
        done = len(self.moments)
        return STEPS[done] if done < len(STEPS) else None

    @property
    def was_tapped_through(self) -> bool:
        """Whether nobody can have covered anything in the time: it was tapped, not timed."""
        return None not in (self.out, self.covered) and (
            self.moments[-1] - self.moments[0] < SHORTEST
        )


@dataclass(frozen=True, slots=True)
class Minutes:
    """What stands in show.toml of the time that a position takes."""

    setup: float
    each: float

    @property
    def values(self) -> dict[str, float]:
        """Key of the file -> value."""
        return {"setup_minutes": self.setup, "cover_minutes_each": self.each}


def believable(drill: Drill, now: datetime) -> bool:
    """Whether its moments can be a drill: in order, none left out, none to come, in one day."""
    said = (drill.out, drill.there, drill.covered)
    moments = drill.moments
    return (
        said[: len(moments)] == moments
        and list(moments) == sorted(moments)
        and all(at <= now + _AHEAD for at in moments)
        and (not moments or moments[-1] - moments[0] <= LONGEST)
    )


def count_of(text: str) -> int | Problem:
    """How many were covered, as typed."""
    typed = text.strip()
    if typed.isascii() and typed.isdigit() and 1 <= int(typed[:9]) <= MOST_COVERED:
        return int(typed)
    says = f'"{typed[:40]}" is not how many were covered.' if typed else "It is not said how many."
    return Problem("form", says, f"Write a count from 1 to {MOST_COVERED}.", key="count")


def minutes_of(drill: Drill, count: int) -> Minutes | None:
    """The minutes that a finished drill took; None: it is not finished."""
    if drill.out is None or drill.there is None or drill.covered is None:
        return None
    return Minutes(
        _up(_minutes(drill.there - drill.out), _NEAREST_SETUP),
        _up(_minutes(drill.covered - drill.there) / count, _NEAREST_EACH),
    )


def scaled(minutes: Minutes, factor: float) -> Minutes:
    """Both times a factor."""
    return Minutes(
        _up(minutes.setup * factor, _NEAREST_SETUP), _up(minutes.each * factor, _NEAREST_EACH)
    )


def _minutes(gap: timedelta) -> float:
    return gap.total_seconds() / SECONDS_PER_MINUTE


def _up(minutes: float, nearest: float) -> float:
    """Up to the next of these, but for what is lost in writing numbers."""
    return round(math.ceil(minutes / nearest - 1e-9) * nearest, 3)
