"""Troubles of the stations on the site, and rain that no forecast has, told to the crew."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.alerts.clock import SiteClock
from monitor.alerts.losses import Found
from monitor.alerts.show_times import next_morning
from monitor.feeds.crew_rain import LIGHT_RAIN_MM_H
from monitor.feeds.gauge_trouble import DRY_S, SILENT_AFTER, gauge_trouble
from monitor.service.telling import follow_trouble
from monitor.store.history import recall, remember
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Gauge, Message, Show, Weather
    from monitor.feeds.crew_rain import Spell
    from monitor.service.gauges import GaugesKept

_KNOWN_SHARE = 0.5
_TOLD_KEY = "gauge-troubles"
_DRY_MM_H = 0.1
"""J: what a forecast has below this nobody on site would call rain."""
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

    A station is given three of its own intervals, from when the monitor began to listen, to
    be heard of. Until then its silence is neither told nor over.
    """
    listening = kept.listens_since(now)
    steps = []
    for gauge in show.gauges:
        patience = timedelta(minutes=SILENT_AFTER * gauge.every_minutes)
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


# ---------------------------------------------------------------- rain that no forecast has


def rain_found(
    spells: Sequence[Spell], runs: Sequence[Weather], show: Show, now: datetime
) -> Found | None:
    """That the crew sees rain where every forecast is dry; None where one of them has it too.

    Parameters
    ----------
    spells : when it rained by the crew's word
    runs : the newest run of each feed
    """
    now_s = to_epoch(now)
    spell = next((s for s in spells if s.start_s <= now_s < s.end_s), None)
    rates = [rate for run in runs if (rate := _rate_at(run, now_s)) is not None]
    if spell is None or not rates or max(rates) >= _DRY_MM_H:
        return None
    clock = SiteClock.named(show.site.timezone.key, now)
    until = clock.at(to_moment(spell.end_s))
    return Found(
        "notice",
        "It is raining on site; no forecast says so",
        (
            f"Until {until} it counts as at least {LIGHT_RAIN_MM_H:g} mm/h where no gauge measures",
            "If it rains on after that, say so again; if it stops before, say that it has stopped",
            "Trust the sky before the forecast while the two disagree",
        ),
    )


def tell_rain(
    db: Database, show: Show, spells: Sequence[Spell], runs: Sequence[Weather], now: datetime
) -> Message | None:
    """One step of that trouble."""
    return follow_trouble(
        db,
        show,
        "rain-unforeseen",
        rain_found(spells, runs, show, now),
        now,
        over="the crew's word on rain has ended, or a forecast has it too",
        next_word_at=next_morning(show, now),
    )


def _rate_at(run: Weather, now_s: float) -> float | None:
    """The greatest rate of any member now [mm/h]."""
    here = np.flatnonzero((run.starts <= now_s) & (run.ends > now_s))
    if not len(here):
        return None
    rates = run.rain_mm[:, here[0]] / run.hours[here[0]]
    known = rates[np.isfinite(rates)]
    return float(known.max()) if len(known) else None
