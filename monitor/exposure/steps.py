"""The weather cut at every moment something changes on site."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.domain import WEATHER_VALUES, Bools, Floats, Hours, Policy, Terrain, Weather
from monitor.exposure.pool import Cells, pooled_weather, reached_at_risk
from monitor.exposure.wind import gust_10m, raised_to_10m
from monitor.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, to_moment


class Steps(NamedTuple):
    """Weather over sub-steps. What depends on a step's own length keeps that length."""

    weather: Weather
    """Rain is still a depth, now over the sub-step."""
    hours: Floats
    """(step,) length of the sub-step [h]"""
    middle_s: Floats
    """(step,) middle of the step it was cut from"""
    own_middle_s: Floats
    """The same, (member, step) where members have steps of their own"""
    rate_mm_h: Floats
    """(member, step) rain rate, 0 where it counts as dry, NaN not known [mm/h]"""
    charge: Floats
    """(step,) or (member, step) factor on wetting and used: hourly_margin on forecast steps of
    an hour or more
    """
    unknown: Bools
    """(member, step) True where what a fixture took cannot be known"""


def cut(weather: Weather, moments: Iterable[float], policy: Policy) -> Steps:
    """Cut weather at moments (seconds) that fall inside its steps."""
    inside = np.unique(np.fromiter(moments, dtype=float))
    edges = np.unique(np.concatenate([weather.starts, weather.ends, inside]))
    if not len(weather.starts):
        edges = edges[:0]
    index = np.searchsorted(weather.starts, edges[:-1], side="right") - 1
    covered = index >= 0
    covered[covered] = edges[:-1][covered] < weather.ends[index[covered]]
    index, starts, ends = index[covered], edges[:-1][covered], edges[1:][covered]
    taken = weather.take(index)
    whole_h, taken_h = taken.whole_hours, taken.hours
    hours = (ends - starts) / SECONDS_PER_HOUR
    rate = taken.rain_mm / taken_h
    dry_below = np.where(whole_h <= 1.0, policy.dry_below_mm_h, policy.dry_below_long_mm_h)
    rate = np.where(rate < dry_below, 0.0, rate)
    charge = np.where(taken.forecast & (whole_h >= 1.0), policy.hourly_margin, 1.0)
    unknown = np.isnan(rate) | ((rate > 0.0) & np.isnan(taken.wind_mps))
    middle = own_middle = (taken.starts + taken.ends) / 2
    if taken.cut_from_starts is not None:
        own_middle = taken.cut_from_starts + whole_h * (SECONDS_PER_HOUR / 2)
    cut_weather = replace(
        taken,
        starts=starts,
        ends=ends,
        cut_from_hours=whole_h,
        rain_mm=taken.rain_mm * (hours / taken_h),
    )
    return Steps(cut_weather, hours, middle, own_middle, rate, charge, unknown)


def by_cell(steps: Steps, risk: float, site: Terrain) -> tuple[Steps, Steps, Cells]:
    """Steps whose members are pooled: as one member to read and count, and cell by cell.

    The charge lies on the cells, where a member was a forecast's, and is 1 in what is pooled.
    """
    weather, shares = steps.weather, steps.weather.shares
    assert shares is not None
    source = (weather.wind_basis, weather.wind_height_m, site)
    gust = reached_at_risk(gust_10m(weather.gust_mps, weather.wind_mps, *source), shares, risk)
    one = replace(pooled_weather(weather, risk), gust_mps=gust / raised_to_10m(*source))
    unknown = np.asarray((steps.unknown | (shares <= 0.0)).all(axis=0, keepdims=True))
    together = Steps(
        one,
        steps.hours,
        steps.middle_s,
        steps.middle_s,
        one.rain_mm / steps.hours,
        np.ones(len(steps.hours)),
        unknown,
    )
    cells = Cells.of(shares)
    member, step = cells.member, cells.step
    columns: dict[str, Any] = {
        name: getattr(weather, name)[member, step][np.newaxis] for name in WEATHER_VALUES
    }
    each = Steps(
        replace(
            one,
            starts=weather.starts[step],
            ends=weather.ends[step],
            forecast=np.broadcast_to(weather.forecast, shares.shape)[member, step],
            cut_from_hours=np.broadcast_to(weather.whole_hours, shares.shape)[member, step],
            measured=None,
            **columns,
        ),
        steps.hours[step],
        steps.middle_s[step],
        np.broadcast_to(steps.own_middle_s, shares.shape)[member, step],
        steps.rate_mm_h[member, step][np.newaxis],
        np.broadcast_to(steps.charge, shares.shape)[member, step],
        steps.unknown[member, step][np.newaxis],
    )
    return together, each, cells


def site_day(moments_s: Floats, zone: ZoneInfo, *, from_noon: bool = False) -> NDArray[np.int64]:
    """Number of the site's day of each moment; with `from_noon`, of its night, noon to noon."""
    shift = 0.5 if from_noon else 0.0
    local = np.array(
        [m + _offset_s(m, zone) for m in np.asarray(moments_s, dtype=float)], dtype=float
    )
    return np.floor(local / SECONDS_PER_DAY - shift).astype(np.int64)


def _offset_s(moment_s: float, zone: ZoneInfo) -> float:
    offset = datetime.fromtimestamp(moment_s, tz=zone).utcoffset()
    assert offset is not None
    return offset.total_seconds()


def daily_spans(
    spans: Iterable[Hours], start_s: float, end_s: float, zone: ZoneInfo
) -> list[tuple[float, float]]:
    """Daily spans of site time as moments, over a period."""
    out = []
    day = to_moment(start_s).astimezone(zone).date() - timedelta(days=1)
    last = to_moment(end_s).astimezone(zone).date()
    wanted = tuple(spans)
    while day <= last:
        for span in wanted:
            begin = datetime.combine(day, span.start, tzinfo=zone)
            ends_on = day + timedelta(days=1) if span.end <= span.start else day
            end = datetime.combine(ends_on, span.end, tzinfo=zone)
            # through UTC: a wall-clock span over a clock change keeps its wall-clock ends
            out.append((begin.astimezone(UTC).timestamp(), end.astimezone(UTC).timestamp()))
        day += timedelta(days=1)
    return out
