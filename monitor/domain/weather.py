"""Weather over steps, of one member or many."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.domain.terms import Bools, Floats, WindBasis

WEATHER_VALUES = (
    "rain_mm",
    "wind_mps",
    "gust_mps",
    "wind_from_deg",
    "temp_c",
    "dew_point_c",
    "cloud_pct",
    "thunder",
)
"""The (member, step) arrays of Weather, in the order of a weather record's columns."""


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """Weather over steps, for one or more members, in canonical units.

    Parameters
    ----------
    starts, ends : (step,) seconds since 1970-01-01T00:00Z, half-open, rising, no overlap;
        gaps are allowed and mean not known.
    rain_mm : (member, step) depth over the step on the horizontal, snow as melted [mm]
    wind_mps : (member, step) mean over the step at `wind_height_m` [m/s]
    gust_mps : (member, step) greatest gust in the step at `wind_height_m` [m/s]
    wind_from_deg : (member, step) [deg]
    temp_c, dew_point_c, cloud_pct : (member, step) [C, C, %]
    thunder : (member, step) 1 yes, 0 no, NaN not known
    weights : (member,) sums to 1
    forecast : (step,) True where the step is a forecast's (charged with hourly_margin), False
        where it is a record or a measurement; (member, step) where members differ in it
    feed_of : (member,) index of the feed of each member, for pooling
    """

    starts: Floats
    ends: Floats
    rain_mm: Floats
    wind_mps: Floats
    gust_mps: Floats
    wind_from_deg: Floats
    temp_c: Floats
    dew_point_c: Floats
    cloud_pct: Floats
    thunder: Floats
    weights: Floats
    forecast: Bools
    wind_basis: WindBasis = "open"
    wind_height_m: float = 10.0
    source: str = ""
    credit: str = ""
    issued_at: datetime | None = None
    fetched_at: datetime | None = None
    members: tuple[str, ...] = ("0",)
    feed_of: tuple[int, ...] = (0,)
    dropped: tuple[str, ...] = ()
    cut_from_hours: Floats | None = None
    """(step,) length of the step each was cut from [h], (member, step) where members have
    steps of their own; None: nothing was cut
    """
    cut_from_starts: Floats | None = None
    """(member, step) begin of each member's own step [s]; None: all have these steps"""
    feeds: tuple[str, ...] = ()
    """Names by the numbers in `feed_of`; empty: one feed, named `source`"""
    shares: Floats | None = None
    """(member, step) share of each member in each step, 1 in all: the past, where members are
    pooled step by step. None: members run whole
    """
    measured: Bools | None = None
    """(variable, step) in the order of WEATHER_VALUES, True where a value was measured on site;
    None: not told
    """

    @property
    def whole_hours(self) -> Floats:
        """Length of each step as it was issued (step,) or (member, step) [h]: dry thresholds
        and the hourly margin go by it.
        """
        return self.hours if self.cut_from_hours is None else self.cut_from_hours

    @property
    def hours(self) -> Floats:
        """Length of each step (step,) [h]."""
        return (self.ends - self.starts) / 3600.0

    def between(self, start_s: float, end_s: float) -> Weather:
        """The steps that start in [start_s, end_s), whole."""
        return self.take(np.flatnonzero((self.starts >= start_s) & (self.starts < end_s)))

    def take(self, index: NDArray[np.intp]) -> Weather:
        """The steps at `index`, in that order."""
        columns = {name: getattr(self, name)[:, index] for name in WEATHER_VALUES}
        for name in ("cut_from_hours", "cut_from_starts", "shares", "measured"):
            told: NDArray[Any] | None = getattr(self, name)
            columns[name] = None if told is None else told[..., index]
        return replace(
            self,
            starts=self.starts[index],
            ends=self.ends[index],
            forecast=self.forecast[..., index],
            **columns,
        )
