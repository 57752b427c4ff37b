"""What came of going through past years. Records only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from monitor.domain import Code, Fixture, Part, Position, Show
from monitor.past_years.dates import YearSpan

COMMON_CODES = ("IP20", "IP44", "IP54", "IP65")
"""What is most often for hire; `--instead` names others."""
MOST_UNKNOWN = 0.1
"""A year with more than this share of its hours not known is not counted."""


@dataclass(frozen=True, slots=True)
class Year:
    """One year: what fell, and whether it counts."""

    span: YearSpan
    counted: bool
    rain_mm: float
    """As far as known"""
    wet_hours: float
    unknown_hours: float
    unknown_share: float
    says: str = ""
    """Where its weather is from, or why there is none"""


@dataclass(frozen=True, slots=True)
class Spent:
    """A fixture in one year with nobody acting."""

    used: float
    """Of its allowance, over the whole event"""
    at: datetime | None
    """When the allowance was spent, None never"""


@dataclass(frozen=True, slots=True)
class FixtureYears:
    """A row of fixtures.csv over the counted years."""

    fixture: Fixture
    by_year: Mapping[int, Spent]
    weakest_part: Part = "fixture"
    """What of its chain decided"""

    @property
    def needed(self) -> tuple[int, ...]:
        """Years in which it would have needed covering."""
        return tuple(year for year, spent in self.by_year.items() if spent.at is not None)

    @property
    def worst(self) -> tuple[int, float] | None:
        """(year, used) of the worst; None where no year was counted."""
        if not self.by_year:
            return None
        year = max(self.by_year, key=lambda y: self.by_year[y].used)
        return year, self.by_year[year].used

    def soonest(self, starts: Mapping[int, datetime]) -> tuple[int, datetime, float] | None:
        """(year, moment, hours after load-in) of the earliest spending; None never."""
        found = [
            (year, spent.at, (spent.at - starts[year]).total_seconds() / 3600.0)
            for year, spent in self.by_year.items()
            if spent.at is not None
        ]
        return min(found, key=lambda one: (one[2], one[0]), default=None)


@dataclass(frozen=True, slots=True)
class Work:
    """A position in one year with every start followed."""

    crew_minutes: float
    """Minutes of work times people"""
    jobs: int
    late: int
    """Jobs that came overdue all the same"""


@dataclass(frozen=True, slots=True)
class PositionYears:
    """A position over the counted years."""

    position: Position
    by_year: Mapping[int, Work]

    @property
    def median_minutes(self) -> float | None:
        """Crew minutes of the middle year."""
        return median(w.crew_minutes for w in self.by_year.values()) if self.by_year else None

    @property
    def worst(self) -> tuple[int, float] | None:
        """(year, crew minutes) of the worst."""
        if not self.by_year:
            return None
        year = max(self.by_year, key=lambda y: self.by_year[y].crew_minutes)
        return year, self.by_year[year].crew_minutes

    @property
    def late(self) -> int:
        """Late jobs in all counted years."""
        return sum(work.late for work in self.by_year.values())

    @property
    def late_years(self) -> tuple[int, ...]:
        """Years with a late job."""
        return tuple(year for year, work in self.by_year.items() if work.late)


@dataclass(frozen=True, slots=True)
class InsteadYears:
    """A position whose fixtures all had one code, plugs mated and as good; the rest as it is."""

    position: Position
    code: Code
    needed: tuple[int, ...]
    """Years in which its worst placed fixture would have needed covering"""
    worst_used: float


@dataclass(frozen=True, slots=True)
class PastYears:
    """All of it."""

    show: Show
    asked: int
    years: tuple[Year, ...]
    fixtures: tuple[FixtureYears, ...]
    positions: tuple[PositionYears, ...]
    instead: tuple[InsteadYears, ...]
    source: str
    credit: str
    hourly: bool
    """The weather comes in steps of an hour or more"""

    @property
    def counted(self) -> tuple[int, ...]:
        """Years that count, latest first."""
        return tuple(year.span.year for year in self.years if year.counted)

    @property
    def starts(self) -> dict[int, datetime]:
        """Load-in of each year."""
        return {year.span.year: year.span.start for year in self.years}
