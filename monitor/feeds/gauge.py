"""Readings of one station to measured weather. Pure.

Everything is worked out anew from the readings as they were sent: whatever order they came
in, the same readings give the same weather.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

import numpy as np

from monitor.domain import WEATHER_VALUES, CounterResets, Weather
from monitor.feeds.counters import LONGEST_DRY_S, Count, Span, beside, growth_steps, period_steps
from monitor.feeds.gauge_trouble import SILENT_AFTER
from monitor.feeds.heard import AIR, heard
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from monitor.domain import Bools, Floats, Gauge, Reading
    from monitor.feeds.heard import Heard

ONE_TIP_MM = 0.3
"""A tipping bucket tips at 0.2 to 0.3 mm (from memory)."""
COMPANY_S = 3 * SECONDS_PER_HOUR
"""J: a tip with another so near is not alone."""
DRIZZLE_MM_H = 0.05
"""Nor is one that the next follows within the time it takes to fill at this rate, from which on
a forecast's hour counts as wet: 4 h for 0.2 mm, 6 h for 0.3. Steady drizzle tips no faster."""

_KNOWN_SHARE = 0.5
"""J: a mean stands for a step of which at least this share was heard of."""
_TOLD = 50
_ROUND = 1e-9


def measured(readings: Sequence[Reading], gauge: Gauge, zone: tzinfo) -> Weather:
    """The weather that a station measured, as one member.

    Parameters
    ----------
    readings : of this station, in any order; of two of one moment the first counts
    gauge : its settings: how often it is heard of, its wind's height and basis
    zone : the site's, on whose calendar counters reset

    Returns
    -------
    Weather with `forecast` False. A step lies between two readings (or is a period that was
    sent as such) and may be of any length. Where the station was not heard of, or is not
    believed, rain is NaN or there is no step: not known, never dry.

    Notes
    -----
    Rain: `counters.growth_steps` and `counters.period_steps`; counters that reset differently
    are never differenced with each other. A lone tip (up to 0.3 mm with no other rain near) is
    no rain and no dryness: its step is not known, so the forecast decides on it, and it cannot
    raise an alert by itself. The next tip within three hours, or so soon that the two are
    drizzle of 0.05 mm/h, makes both count.

    Wind and temperature are means over the step of what was heard in it, the gust its
    greatest, direction that of the mean vector. A reading speaks for the time since the one
    before, but for no more than the gap (ten minutes, or twice `every_minutes`): in a longer
    silence the amount of rain is known and its wind is not. A value that has not moved to its
    last digit for 24 hours is not known for all that time. Where that goes for all that the
    station says of the air, and not only for a calm, it repeats itself: then a step without
    rain is not known either.
    """
    told: list[str] = []
    said = heard(readings, gauge)
    spans = _rain(said, gauge, zone, told)
    starts = np.array([span.start for span in spans], dtype=np.float64)
    ends = np.array([span.end for span in spans], dtype=np.float64)
    rain = np.array([span.mm for span in spans], dtype=np.float64)
    if spans:
        stale = (rain == 0) & said.repeats[np.searchsorted(said.at, ends)]
        rain[stale | _lone(starts, ends, rain)] = np.nan
    columns: dict[str, Any] = {n: np.full((1, len(spans)), np.nan) for n in WEATHER_VALUES}
    columns["rain_mm"][0] = rain
    for name, values in _air(said, starts, ends).items():
        columns[name][0] = values
    return Weather(
        starts=starts,
        ends=ends,
        weights=np.ones(1),
        forecast=np.zeros(len(spans), dtype=np.bool_),
        wind_basis=gauge.wind_basis,
        wind_height_m=gauge.wind_height_m,
        source=gauge.station,
        dropped=tuple(told[-_TOLD:]),
        **columns,
    )


# ---------------------------------------------------------------- rain


def _rain(said: Heard, gauge: Gauge, zone: tzinfo, told: list[str]) -> list[Span]:
    """The steps in order of time; where the station spoke, but not of rain, it is NaN."""
    counts: dict[CounterResets, list[Count]] = {}
    periods = []
    for at, reading in zip(said.at.tolist(), said.readings, strict=True):
        if reading.rain_total_mm is not None:
            counts.setdefault(reading.resets, []).append(Count(at, reading.rain_total_mm))
        elif reading.rain_mm is not None and reading.period_s is not None:
            periods.append(Span(at - reading.period_s, at, reading.rain_mm))
    spans: list[Span] = []
    patience_s = max(LONGEST_DRY_S, SILENT_AFTER * gauge.every_minutes * SECONDS_PER_MINUTE)
    for resets in get_args(CounterResets):
        if resets in counts:
            spans = beside(spans, growth_steps(counts[resets], resets, zone, told, patience_s))
    if periods:
        spans = beside(spans, period_steps(periods, told))
    spoke = np.any([np.isfinite(values) for values in said.values.values()], axis=0)
    rest = zip(said.since[spoke].tolist(), said.at[spoke].tolist(), strict=True)
    return beside(spans, [Span(since, at, np.nan) for since, at in rest])


def _lone(starts: Floats, ends: Floats, rain: Floats) -> Bools:
    """Where a step holds one tip, and no other rain is near."""
    wet = np.flatnonzero(rain > 0)
    apart = starts[wet[1:]] - ends[wet[:-1]]
    smaller = np.minimum(np.minimum(rain[wet[1:]], rain[wet[:-1]]), ONE_TIP_MM)
    fills = smaller / DRIZZLE_MM_H * SECONDS_PER_HOUR
    near = apart < np.maximum(COMPANY_S, fills)
    alone = ~(np.append(False, near) | np.append(near, False))
    lone = np.zeros(len(rain), dtype=np.bool_)
    lone[wet[alone & (rain[wet] <= ONE_TIP_MM + _ROUND)]] = True
    return lone


# ---------------------------------------------------------------- wind and air


def _air(said: Heard, starts: Floats, ends: Floats) -> dict[str, Floats]:
    """What was heard within each step (step,), NaN where less than half of it was heard of."""
    if not len(starts):
        return {}
    values = said.values
    out = {name: _mean(said, values[name], starts, ends) for name in AIR}
    out["gust_mps"] = np.where(
        np.isnan(out["gust_mps"]), np.nan, _greatest(said, values["gust_mps"], starts, ends)
    )
    # Where the wind is not known, or calm, every direction counts alike.
    direction, wind = np.radians(values["wind_from_deg"]), values["wind_mps"]
    weight = np.where(np.isfinite(wind), wind, 0.0) + _ROUND
    east = _mean(said, weight * np.sin(direction), starts, ends)
    north = _mean(said, weight * np.cos(direction), starts, ends)
    # np.degrees leaves 1e-14 on a right angle
    out["wind_from_deg"] = np.round(np.degrees(np.arctan2(east, north)) % 360.0, 9) % 360.0
    return out


def _mean(said: Heard, values: Floats, starts: Floats, ends: Floats) -> Floats:
    known = np.isfinite(values)
    heard_s = _over(said, known.astype(np.float64), starts, ends)
    total = _over(said, np.where(known, values, 0.0), starts, ends)
    mean = np.full(len(starts), np.nan)
    enough = heard_s >= _KNOWN_SHARE * (ends - starts) - _ROUND
    np.divide(total, heard_s, out=mean, where=enough & (heard_s > 0))
    return mean


def _over(said: Heard, values: Floats, starts: Floats, ends: Floats) -> Floats:
    """The integral over each step of what holds from `since` to `at` of each reading."""
    held = np.where(said.at > said.since, values, 0.0)
    edges = np.stack([said.since, said.at], axis=1).ravel()
    sums = np.cumsum(held * (said.at - said.since))
    at_edges = np.stack([np.concatenate([[0.0], sums[:-1]]), sums], axis=1).ravel()
    over: Floats = np.interp(ends, edges, at_edges) - np.interp(starts, edges, at_edges)
    return over


def _greatest(said: Heard, values: Floats, starts: Floats, ends: Floats) -> Floats:
    first = np.searchsorted(said.at, starts, side="right")
    past = np.searchsorted(said.at, ends, side="right")
    padded = np.append(values, np.nan)
    spots = np.stack([first, np.maximum(past, first + 1)], axis=1).ravel()
    greatest: Floats = np.fmax.reduceat(padded, np.minimum(spots, len(values)))[::2]
    return greatest
