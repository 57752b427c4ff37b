"""Weather in equal steps, for scoring."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from monitor.domain import Weather

MIDNIGHT = datetime(2027, 7, 1, tzinfo=UTC)


def at(hours):
    return MIDNIGHT + timedelta(hours=hours)


def steps(rain, *, from_h=0.0, minutes=60, wind=np.nan, gust=np.nan, forecast=False, **changes):
    """Rain (member, step) or (step,)."""
    rain = np.atleast_2d(np.asarray(rain, dtype=float))
    members, count = rain.shape

    def over(values):
        return np.broadcast_to(np.asarray(values, dtype=float), rain.shape).copy()

    starts = at(from_h).timestamp() + 60.0 * minutes * np.arange(count)
    plain = Weather(
        starts=starts,
        ends=starts + 60.0 * minutes,
        rain_mm=rain,
        wind_mps=over(wind),
        gust_mps=over(gust),
        wind_from_deg=over(np.nan),
        temp_c=over(np.nan),
        dew_point_c=over(np.nan),
        cloud_pct=over(np.nan),
        thunder=over(np.nan),
        weights=np.full(members, 1 / members),
        forecast=np.full(count, forecast),
        members=tuple(str(m) for m in range(members)),
        feed_of=(0,) * members,
        source="gauge",
    )
    return replace(plain, **changes)


def run(rain, *, issued_h, fetched_h=None, source="feed", **more):
    """A forecast issued at an hour, that came then unless said otherwise."""
    return steps(
        rain,
        forecast=True,
        issued_at=None if issued_h is None else at(issued_h),
        fetched_at=at(issued_h if fetched_h is None else fetched_h),
        source=source,
        **more,
    )
