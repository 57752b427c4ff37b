"""What was seen of one kind of gear, and what it teaches."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Seen:
    """One inspection of some pieces that had all taken the same."""

    used: float
    """Share of the assumed allowance since they were last found dry [1]; over 0"""
    damp: bool
    """Water was found in one of them at least; else in none"""
    pieces: int = 1


@dataclass(frozen=True, slots=True)
class Learned:
    """What the inspections of one kind say. Figures are multiples of the assumed allowance [1]."""

    pieces: int
    dry: int
    damp: int
    """Inspections in which water was found"""
    median: float
    """Half of the pieces stand more"""
    low: float
    high: float
    """The interval of the median, at 95 %"""
    cautious: float
    """All but one in twenty stand more, by the lower end of the interval"""
    spread: float
    """Standard deviation of ln(allowance)"""


@dataclass(frozen=True, slots=True)
class NotEnough:
    """Too little to say anything."""

    pieces: int
    dry: int
    damp: int
    why: str
