"""Troubles of the stations on the site, told to the crew."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.alerts.losses import Found
from monitor.alerts.show_times import next_morning
from monitor.feeds.gauge_trouble import DRY_S, gauge_trouble, silent_after_s
from monitor.service.telling import follow_trouble
from monitor.store.history import recall, remember
from monitor.units import to_epoch

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Gauge, Message, Show, Weather
    from monitor.service.gauges import GaugesKept

_KNOWN_SHARE = 0.5
_TOLD_KEY = "gauge-troubles"
_NOT_MEASURED = (
    "What it does not measure is not taken as dry: there the forecast counts",
    "Look at it: power, link, a blocked funnel. If it rains on site, tell the monitor",
)
_COUNTS_AS_DRY = (
    "Its word counts: that time is taken as dry, whatever the forecasts had or the crew says",
    "Look at it: a blocked funnel, a bucket that hangs",
    "If it did rain, take it out of show.toml: then the forecast counts, for that time too",
)


def gauge_found(
    kept: GaugesKept, gauge: Gauge, forecast: Weather | None, now: datetime
) -> Found | None:
    """What is wrong with a station now.

    Parameters
    ----------
    forecast : what the forecasts alone had for the time until now, of one member or more
    """
    readings = kept.of(gauge.station)
    trouble = gauge_trouble(readings, gauge, rain_until(forecast, now, DRY_S), now)
    if trouble is None:
        return None
    lines = _COUNTS_AS_DRY if trouble.counts_as_dry else _NOT_MEASURED
    return Found("notice", f"Gauge {gauge.station}: {trouble.says}", lines)


def tell_gauges(
    db: Database, show: Show, kept: GaugesKept, forecast: Weather | None, now: datetime
) -> list[Message]:
    """One step of the troubles of all stations; the messages, if there were any.

    A station is given as long as makes a silence, from when the monitor began to listen to it,
    to be heard of. Until then its silence is neither told nor over.
    """
    steps = []
    for gauge in show.gauges:
        listening = kept.listens_since(gauge.station, now)
        patience = timedelta(seconds=silent_after_s(gauge))
        heard = any(r.at >= now - patience for r in kept.of(gauge.station))
        if heard or now - listening >= patience:
            found = gauge_found(kept, gauge, forecast, now)
            over = f"gauge {gauge.station} measures again"
            steps.append(_follow(db, show, gauge.station, found, now, over))
    stations = [gauge.station for gauge in show.gauges]
    told: Any = recall(db, _TOLD_KEY) or []
    for station in told:
        if station not in stations:
            over = f"gauge {station} is no longer part of the show"
            steps.append(_follow(db, show, station, None, now, over))
    if told != stations:
        remember(db, _TOLD_KEY, stations)
    return [message for message in steps if message is not None]


def _follow(
    db: Database, show: Show, station: str, found: Found | None, now: datetime, over: str
) -> Message | None:
    name = f"gauge-{station}"
    morning = next_morning(show, now)
    return follow_trouble(db, show, name, found, now, over=over, next_word_at=morning)


def rain_until(weather: Weather | None, now: datetime, seconds: float) -> float | None:
    """Rain of the last `seconds` before `now`, mean over members that say it [mm]; None where
    less than half of them is known. A step counts by its part.
    """
    if weather is None:
        return None
    end = to_epoch(now)
    start = end - seconds
    overlap = np.clip(np.minimum(weather.ends, end) - np.maximum(weather.starts, start), 0, None)
    weights = weather.weights[:, np.newaxis] if weather.shares is None else weather.shares
    says = np.where(np.isfinite(weather.rain_mm), weights, 0.0)
    total = says.sum(axis=0)
    known = total > 0
    if (overlap * known).sum() < _KNOWN_SHARE * seconds:
        return None
    rain = (np.nan_to_num(weather.rain_mm) * says).sum(axis=0)
    part = overlap / (weather.ends - weather.starts)
    return float((rain[known] / total[known] * part[known]).sum())
