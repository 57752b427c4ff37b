"""Weather laid onto whole hours of UTC, so that forecast and measurement can be compared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.domain import Floats, Terrain, Weather
from monitor.exposure.wind import gust_10m, roughness_coefficient, wind_10m
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

CUT_S = 15 * SECONDS_PER_MINUTE
"""A step may reach over the hour's end only if it is no longer than this: its rain is then
shared by time, which moves it by a few minutes at most. A longer one would be guessed at [s].
"""
_SLACK_S = 1.0
_REFERENCE_M = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """Hours that begin at `starts`; NaN where an hour is not covered by known steps whole."""

    starts: Floats
    """(hour,) whole hours of UTC, rising, without gaps [s]"""
    rain_mm: Floats
    """(member, hour)"""
    wind_mps: Floats
    """(member, hour) mean at 10 m over the site's terrain"""
    gust_mps: Floats
    """(member, hour) greatest, as given, raised to 10 m where measured lower"""


def on_hours(weather: Weather, site: Terrain) -> Hours:
    """Sums, means and greatest gusts of whole hours.

    Parameters
    ----------
    weather : steps of any length
    site : terrain of the site, onto which the wind of every source is brought

    Returns
    -------
    Hours from the first step's to the last's. Steps longer than an hour, or long ones that lie
    across its end, give no hour: what fell when in them is not known.

    Notes
    -----
    Missing: an hour is NaN unless known steps cover all of it. It is never taken as dry.
    """
    if not len(weather.starts):
        none = np.zeros((len(weather.members), 0))
        return Hours(np.zeros(0), none, none, none)
    first = np.floor((weather.starts + _SLACK_S) / SECONDS_PER_HOUR)
    last = np.ceil((weather.ends - _SLACK_S) / SECONDS_PER_HOUR) - 1
    crossing = last > first
    usable = ~crossing | ((weather.ends - weather.starts <= CUT_S + _SLACK_S) & (last == first + 1))
    origin, end = first.min(), last.max()
    count = int(end - origin) + 1
    starts = (origin + np.arange(count)) * SECONDS_PER_HOUR
    # Each usable step in its first hour, and those that reach over the end in the next one too.
    index = np.concatenate([np.flatnonzero(usable), np.flatnonzero(usable & crossing)])
    hour = np.concatenate([first[usable], last[usable & crossing]]) - origin
    spots = hour.astype(np.intp)
    begins = np.maximum(weather.starts[index], starts[spots])
    ends = np.minimum(weather.ends[index], starts[spots] + SECONDS_PER_HOUR)
    seconds = ends - begins
    length = weather.ends[index] - weather.starts[index]
    wind = _site_wind(weather, site)
    gust = _gust(weather, site)
    return Hours(
        starts,
        _summed(weather.rain_mm[:, index] * (seconds / length), seconds, spots, count),
        _summed(wind[:, index] * seconds, seconds, spots, count) / SECONDS_PER_HOUR,
        _greatest(gust[:, index], seconds, spots, count),
    )


def _site_wind(weather: Weather, site: Terrain) -> Floats:
    """Mean wind at 10 m over the site's terrain [m/s]."""
    at_10m = wind_10m(weather.wind_mps, weather.wind_basis, weather.wind_height_m, site)
    if weather.wind_basis == "local":
        return at_10m
    return at_10m * roughness_coefficient(_REFERENCE_M, site)


def _gust(weather: Weather, site: Terrain) -> Floats:
    """Gusts that were given; none is derived from the mean wind here [m/s]."""
    raised = gust_10m(
        weather.gust_mps, weather.wind_mps, weather.wind_basis, weather.wind_height_m, site
    )
    return np.where(np.isfinite(weather.gust_mps), raised, np.nan)


def _covered(values: Floats, seconds: Floats, spots: np.ndarray, count: int) -> np.ndarray:
    """(member, hour) whether known steps cover the hour."""
    covered = np.zeros((len(values), count))
    for row, known in zip(covered, np.isfinite(values), strict=True):
        np.add.at(row, spots[known], seconds[known])
    return covered >= SECONDS_PER_HOUR - _SLACK_S


def _summed(values: Floats, seconds: Floats, spots: np.ndarray, count: int) -> Floats:
    total = np.zeros((len(values), count))
    for row, member in zip(total, values, strict=True):
        known = np.isfinite(member)
        np.add.at(row, spots[known], member[known])
    return np.where(_covered(values, seconds, spots, count), total, np.nan)


def _greatest(values: Floats, seconds: Floats, spots: np.ndarray, count: int) -> Floats:
    most = np.full((len(values), count), -np.inf)
    for row, member in zip(most, values, strict=True):
        known = np.isfinite(member)
        np.maximum.at(row, spots[known], member[known])
    return np.where(_covered(values, seconds, spots, count), most, np.nan)
