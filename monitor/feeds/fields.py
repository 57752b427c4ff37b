"""The columns of Weather from the samples of one answer: all on the rain's steps."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, TypedDict

import numpy as np

from monitor.exposure.damp import dew_point_c
from monitor.feeds.samples import Drops
from monitor.feeds.steps import (
    direction_over_steps,
    flags_over_steps,
    greatest_over_steps,
    mean_over_steps,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.domain import Floats
    from monitor.feeds.samples import Samples
    from monitor.feeds.sheet_parts import Sheet, Variable

_ROUNDING_MPS = 0.1
"""Mean and gust are rounded each for itself; less than this is no contradiction [m/s]."""

_SATURATED_PCT = 100.0


class Fields(TypedDict):
    """Columns of Weather (member, step), NaN where not known."""

    rain_mm: Floats
    wind_mps: Floats
    gust_mps: Floats
    wind_from_deg: Floats
    temp_c: Floats
    dew_point_c: Floats
    cloud_pct: Floats
    thunder: Floats


def fields(
    series: dict[Variable, Samples], sheet: Sheet, starts: Floats, ends: Floats, told: list[str]
) -> Fields:
    """Everything the answer has, on the steps of its rain."""
    rain = series["precip"].values[:, : len(starts)]
    unknown = np.full(rain.shape, np.nan)

    def laid(
        name: Variable, over: Callable[[Samples, Floats, Floats], Floats] = mean_over_steps
    ) -> Floats:
        if name not in series:
            return unknown
        values = over(series[name], starts, ends)
        if not np.isfinite(values).any() and np.isfinite(series[name].values).any():
            told.append(f"{name}: what it covers fits none of the steps of the rain")
        return values

    def direction(samples: Samples, starts: Floats, ends: Floats) -> Floats:
        return direction_over_steps(samples, series.get("wind"), starts, ends)

    wind = laid("wind")
    gust = _sound(laid("gust", greatest_over_steps), wind, told)
    if "wind" in series:
        gust = _derived(gust, greatest_over_steps(series["wind"], starts, ends), sheet, told)
    temp = laid("temp")
    return {
        "rain_mm": rain,
        "wind_mps": wind,
        "gust_mps": gust,
        "wind_from_deg": laid("direction", direction),
        "temp_c": temp,
        "dew_point_c": _dew(laid("dew_point"), temp, laid("humidity"), told),
        "cloud_pct": laid("cloud"),
        "thunder": laid("thunder", flags_over_steps),
    }


def _sound(gust: Floats, wind: Floats, told: list[str]) -> Floats:
    """A greatest gust below the mean wind cannot be: it is not known."""
    below = gust < wind - _ROUNDING_MPS
    drops = Drops("gust")
    drops.given = int(np.isfinite(gust).sum())
    drops.dropped = Counter({"below the mean wind": int(below.sum())})
    drops.settle(told)
    return np.where(below, np.nan, gust)


def _derived(gust: Floats, wind: Floats, sheet: Sheet, told: list[str]) -> Floats:
    """Gusts that are not known, from the greatest wind in the step, where the sheet allows it."""
    part = sheet.vars.get("gust")
    if part is None or part.fallback is None:
        return gust
    filled = np.isnan(gust) & np.isfinite(wind)
    steps = int(filled.any(axis=0).sum())
    if steps:
        told.append(
            f"gust: derived in {steps} of {gust.shape[1]} steps, "
            f"{part.fallback.factor:g} x the wind, not forecast"
        )
    return np.where(filled, part.fallback.factor * wind, gust)


def _dew(dew: Floats, temp: Floats, humidity: Floats, told: list[str]) -> Floats:
    """Dew points that are not known, from temperature and relative humidity."""
    filled = np.isnan(dew) & np.isfinite(temp) & (humidity > 0)
    if not filled.any():
        return dew
    told.append(
        f"dew_point: from temperature and humidity in {int(filled.any(axis=0).sum())} "
        f"of {dew.shape[1]} steps"
    )
    damp = np.where(filled, np.minimum(humidity, _SATURATED_PCT), _SATURATED_PCT)
    return np.where(filled, dew_point_c(temp, damp), dew)
