"""Which weather came when: issue and receipt of every run, and what it said of the next day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from monitor.units import SECONDS_PER_HOUR, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Weather
    from monitor.store.runs import StoredRun

_DAY_S = 24 * SECONDS_PER_HOUR
_SLACK_S = 1.0


@dataclass(frozen=True, slots=True)
class Received:
    """One run as it was received."""

    source: str
    issued_at: datetime | None
    received_at: datetime
    last_seen_at: datetime
    times_seen: int
    members: int
    begins_at: datetime | None
    ends_at: datetime | None
    rain_24h_mm: float
    """Mean of its members over the day after its receipt; NaN not known without a gap"""
    gust_24h_mps: float
    """Strongest that a member has in that day; NaN none known"""


def received(runs: Sequence[StoredRun], start_s: float, end_s: float) -> tuple[Received, ...]:
    """The runs that came by the end of a period and reach into it, in order of receipt."""
    return tuple(
        _one(run)
        for run in runs
        if to_epoch(run.received_at) <= end_s
        and (not len(run.weather.ends) or run.weather.ends[-1] >= start_s)
    )


def _one(run: StoredRun) -> Received:
    weather = run.weather
    any_step = len(weather.starts) > 0
    rain, gust = _next_day(weather, to_epoch(run.received_at))
    return Received(
        source=weather.source,
        issued_at=weather.issued_at,
        received_at=run.received_at,
        last_seen_at=run.last_seen_at,
        times_seen=run.times_seen,
        members=len(weather.weights),
        begins_at=to_moment(float(weather.starts[0])) if any_step else None,
        ends_at=to_moment(float(weather.ends[-1])) if any_step else None,
        rain_24h_mm=rain,
        gust_24h_mps=gust,
    )


def _next_day(weather: Weather, at_s: float) -> tuple[float, float]:
    """Rain and strongest gust in the 24 hours from a moment; a step counts by its part in them."""
    within = np.minimum(weather.ends, at_s + _DAY_S) - np.maximum(weather.starts, at_s)
    inside = within > 0.0
    if not inside.any():
        return float("nan"), float("nan")
    part = within[inside] / (weather.ends - weather.starts)[inside]
    rain = weather.rain_mm[:, inside]
    whole = within[inside].sum() >= _DAY_S - _SLACK_S and bool(np.isfinite(rain).all())
    shares = weather.weights / weather.weights.sum()
    mean = float((shares[:, None] * rain * part).sum())
    gust = weather.gust_mps[:, inside]
    strongest = float(np.nanmax(gust)) if np.isfinite(gust).any() else float("nan")
    return (mean if whole else float("nan")), strongest
