"""What the weather will do in the coming hours, as one line of steps for words and picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from monitor.exposure.pool import mean_known, reached_at_risk
from monitor.exposure.wind import gust_10m
from monitor.planning.chance import at_risk, unknown_to_all
from monitor.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from monitor.domain import Bools, Floats, Show
    from monitor.exposure.results import Exposure

HOURS = 24.0
"""How far a sheet looks ahead [h]."""


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """The hours from `now_s` to `end_s`, over the forecasts that speak of them.

    Axes are (step,). Rain is the mean of what the forecasts say, the gust the one that the
    show's `risk` reaches at 10 m; NaN is not known.
    """

    now_s: float
    end_s: float
    starts: Floats
    ends: Floats
    rain_mm: Floats
    wet: Bools
    """At `risk` there is rain over the dry threshold"""
    gust_mps: Floats
    thunder: Bools
    rain_known: Bools
    thunder_known: Bools

    @property
    def known_to_s(self) -> float:
        """The rain is known from now to here without a break; `now_s`: not even now."""
        at = self.now_s
        for start, end, known in zip(self.starts, self.ends, self.rain_known, strict=True):
            if start > at or not known:
                break
            at = max(at, float(end))
        return at

    def unknown_spans(self) -> tuple[tuple[float, float], ...]:
        """Stretches of which no forecast says how much it rains [s]."""
        found: list[tuple[float, float]] = []
        at = self.now_s
        for start, end, known in zip(self.starts, self.ends, self.rain_known, strict=True):
            if known:
                if start > at:
                    found.append((at, float(start)))
                at = float(end)
        if at < self.end_s:
            found.append((at, self.end_s))
        return tuple(found)

    def wet_spans(self) -> tuple[tuple[float, float], ...]:
        """Stretches of rain [s]."""
        return spans_of(self.wet, self.starts, self.ends)

    def thunder_spans(self) -> tuple[tuple[float, float], ...]:
        """Stretches of thunder as it is forecast, without the wait after it [s]."""
        return spans_of(self.thunder, self.starts, self.ends)


def outlook(show: Show, ahead: Exposure, now_s: float, hours: float = HOURS) -> Outlook:
    """The coming hours of a forecast.

    Parameters
    ----------
    ahead : exposure of the forecast from now on
    now_s : seconds
    hours : how far to look [h]
    """
    end_s = now_s + hours * SECONDS_PER_HOUR
    steps, weather = ahead.steps, ahead.steps.weather
    keep = np.flatnonzero((weather.ends > now_s) & (weather.starts < end_s))
    starts, ends = np.maximum(weather.starts[keep], now_s), np.minimum(weather.ends[keep], end_s)
    part = (ends - starts) / (weather.ends[keep] - weather.starts[keep])
    shares = np.repeat(weather.weights[:, np.newaxis], len(keep), axis=1)
    risk = show.policy.risk
    rate = steps.rate_mm_h[:, keep]
    dry_or_wet = np.isfinite(rate)
    wet = at_risk(
        (np.nan_to_num(rate) > 0.0).astype(float),
        weather.weights,
        risk,
        dry_or_wet,
        weather.feed_of,
    )
    gust = gust_10m(
        weather.gust_mps,
        weather.wind_mps,
        weather.wind_basis,
        weather.wind_height_m,
        show.site.terrain,
    )[:, keep]
    thunder = weather.thunder[:, keep]
    heard = np.isfinite(thunder)
    return Outlook(
        now_s=now_s,
        end_s=end_s,
        starts=starts,
        ends=ends,
        rain_mm=mean_known(weather.rain_mm[:, keep], shares)[0] * part,
        wet=wet,
        gust_mps=reached_at_risk(gust, shares, risk)[0],
        thunder=at_risk(np.nan_to_num(thunder), weather.weights, risk, heard, weather.feed_of),
        rain_known=~unknown_to_all(~dry_or_wet, weather.feed_of),
        thunder_known=~unknown_to_all(~heard, weather.feed_of),
    )


def spans_of(flags: Bools, starts: Floats, ends: Floats) -> tuple[tuple[float, float], ...]:
    """Steps with a flag as stretches, joined where they touch [s]."""
    found: list[tuple[float, float]] = []
    for start, end in zip(starts[flags].tolist(), ends[flags].tolist(), strict=True):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return tuple(found)
