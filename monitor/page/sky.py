"""The sky over some hours, step by step: what fell, what is said to come, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from monitor.briefing.known import Known
from monitor.domain import Bools, Floats, Weather
from monitor.exposure.pool import mean_known, reached_at_risk
from monitor.exposure.steps import Steps
from monitor.exposure.wind import gust_10m
from monitor.planning.chance import MEMBERS_FOR_A_PERCENTAGE, at_risk
from monitor.units import SECONDS_PER_HOUR

PastRain = Literal["measured", "in-part", "as-forecast", "not-known"]
"""Where rain that fell is known from"""

LOW, HIGH = 0.1, 0.9
"""The band of the members: a tenth of them lies below it, a tenth above."""
_MEASURED_RAIN = 0
"""Row of rain in Weather.measured"""
_TOUCHES = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Steps in a row; arrays (step,), NaN not known. Rain as the depth of an hour."""

    starts: Floats
    ends: Floats
    rain_mm_h: Floats
    low_mm_h: Floats
    high_mm_h: Floats
    """Band of the members, NaN where there are too few for one"""
    chance: Floats
    """Share of the members with rain, NaN where there are too few to call it a chance"""
    gust_mps: Floats
    """At 10 m, the one that the show's risk reaches"""
    thunder: Bools
    measured: Bools
    """Rain was measured on site; else it is a forecast's"""


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """Before now and after it."""

    now_s: float
    past: Stretch
    ahead: Stretch
    members: int
    """Forecasts that speak of what comes"""

    def past_from(self, from_s: float) -> PastRain:
        """Where the rain comes from that is shown between a moment and now."""
        past = self.past
        shown = (past.ends > from_s) & (past.starts < self.now_s) & np.isfinite(past.rain_mm_h)
        if not shown.any():
            return "not-known"
        measured = past.measured[shown]
        return "measured" if measured.all() else "in-part" if measured.any() else "as-forecast"


def sky_of(known: Known) -> Sky:
    """All that one evaluation knows of the weather."""
    past, ahead = known.found.past, known.found.ahead
    return Sky(
        known.now_s,
        _stretch(known, None if past is None else past.steps, forecast=False),
        _stretch(known, ahead.steps, forecast=True),
        len(ahead.steps.weather.weights) if len(ahead.steps.weather.starts) else 0,
    )


def _stretch(known: Known, steps: Steps | None, *, forecast: bool) -> Stretch:
    if steps is None:
        none = np.zeros(0)
        return Stretch(none, none, none, none, none, none, none, none > 0, none > 0)
    weather, show = steps.weather, known.show
    count = len(weather.starts)
    shares = np.repeat(weather.weights[:, np.newaxis], count, axis=1)
    rate = weather.rain_mm / steps.hours
    gust = gust_10m(
        weather.gust_mps,
        weather.wind_mps,
        weather.wind_basis,
        weather.wind_height_m,
        show.site.terrain,
    )
    heard = np.isfinite(weather.thunder)
    few = np.full(count, np.nan)
    low = high = chance = few
    if forecast and len(weather.weights) >= MEMBERS_FOR_A_PERCENTAGE:
        low, high = quantile(rate, shares, LOW), quantile(rate, shares, HIGH)
        wet = np.where(np.isfinite(rate), (steps.rate_mm_h > 0.0).astype(float), np.nan)
        chance = mean_known(wet, shares)[0]
    return Stretch(
        weather.starts,
        weather.ends,
        mean_known(rate, shares)[0],
        low,
        high,
        chance,
        reached_at_risk(gust, shares, show.policy.risk)[0],
        at_risk(
            np.nan_to_num(weather.thunder),
            weather.weights,
            show.policy.risk,
            heard,
            weather.feed_of,
        ),
        np.zeros(count, dtype=np.bool_) if forecast else _measured(weather),
    )


def _measured(weather: Weather) -> Bools:
    """(step,) where the rain was measured, or stands in a record."""
    if weather.measured is not None:
        return np.asarray(weather.measured[_MEASURED_RAIN])
    forecast = np.atleast_2d(weather.forecast)
    return np.asarray(~forecast.any(axis=0))


def quantile(values: Floats, shares: Floats, part: float) -> Floats:
    """The least value that the share `part` of the members does not exceed (step,).

    Parameters
    ----------
    values : (member, step); NaN has no share
    shares : (member, step)
    part : 0 to 1
    """
    known = np.isfinite(values) & (shares > 0.0)
    heard = np.where(known, shares, 0.0)
    order = np.argsort(np.where(known, values, np.inf), axis=0, kind="stable")
    ranked = np.take_along_axis(heard, order, axis=0).cumsum(axis=0)
    total = heard.sum(axis=0)
    first = (ranked >= part * total - _TOUCHES).argmax(axis=0)
    found = np.take_along_axis(values, np.take_along_axis(order, first[np.newaxis], 0), 0)[0]
    return np.where(total > 0.0, found, np.nan)


def window(now: datetime, before_h: float, after_h: float) -> tuple[float, float]:
    """From so many hours before a moment to so many after it [s]."""
    now_s = now.timestamp()
    return now_s - before_h * SECONDS_PER_HOUR, now_s + after_h * SECONDS_PER_HOUR


def most_rain(sky: Sky, from_s: float, until_s: float) -> float:
    """The most that a strip shows in an hour, the band of the members included [mm/h]."""
    most = 0.0
    for stretch in (sky.past, sky.ahead):
        inside = (stretch.ends > from_s) & (stretch.starts < until_s)
        for values in (stretch.rain_mm_h[inside], stretch.high_mm_h[inside]):
            known = values[np.isfinite(values)]
            most = max(most, float(known.max(initial=0.0)))
    return most
