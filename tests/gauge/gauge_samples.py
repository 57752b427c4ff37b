"""Readings of an invented mast, and its weather as a table that can be read."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from monitor.domain import Gauge, Reading
from monitor.feeds.gauge import measured

NOON = datetime(2027, 7, 15, 12, 0, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")
MAST = Gauge("mast")


def at(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def count(minutes: float, total: float | None, **more) -> Reading:
    return Reading("mast", at(minutes), rain_total_mm=total, **more)


def counts(*pairs, **more) -> list[Reading]:
    return [count(minutes, total, **more) for minutes, total in pairs]


def table(weather, name: str = "rain_mm") -> list[tuple[float, float, float | None]]:
    """(from, to, value) of each step in minutes after noon; None: not known."""
    values = getattr(weather, name)[0]
    rows = zip(weather.starts, weather.ends, values, strict=True)
    first = NOON.timestamp()
    return [
        (
            round((s - first) / 60, 3),
            round((e - first) / 60, 3),
            None if np.isnan(v) else round(float(v), 6),
        )
        for s, e, v in rows
    ]


def rain(readings, gauge=MAST, zone=LONDON):
    return table(measured(readings, gauge, zone))
