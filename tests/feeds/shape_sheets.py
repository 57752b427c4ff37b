"""Sheets and answers for the tests of the shapes: the least that each needs."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from monitor.feeds.decode import decode
from monitor.feeds.sheet import read_sheet

HEAD = """\
[feed]
id = "own"
credit = "Invented"
[request]
url = "https://w.example/"
"""
ROWS = HEAD + '[shape]\nkind = "rows"\nrecords = "hours"\n[time]\npath = "at"\nzone = "UTC"\n'
COLUMNS = HEAD + '[shape]\nkind = "columns"\n[time]\npath = "at"\nzone = "UTC"\n'
INTERVALS = HEAD + '[shape]\nkind = "intervals"\n[time]\nformat = "interval"\nzone = "UTC"\n'
RAIN = (
    '[vars.precip]\npath = "rain"\ncover = "preceding"\nperiod = "1h"\nstat = "sum"\nunit = "mm"\n'
)
WIND = '[vars.wind]\npath = "wind"\ncover = "instant"\nstat = "mean"\nunit = "m/s"\n'
GUST = '[vars.gust]\npath = "gust"\ncover = "instant"\nstat = "max"\nunit = "m/s"\n'


def at(hour: float, day: int = 1) -> float:
    """So many hours into that day of June 2026, UTC, as seconds."""
    return datetime(2026, 6, day, tzinfo=UTC).timestamp() + 3600.0 * hour


def stamp(hour: int, day: int = 1) -> str:
    return f"2026-06-{day + hour // 24:02}T{hour % 24:02}:00Z"


def read(sheet_text: str, answer: Any, **more: Any):
    """The weather of an answer by a sheet."""
    body = answer if isinstance(answer, bytes) else json.dumps(answer).encode()
    return decode(body, read_sheet(sheet_text, "own.toml"), **{"fetched_at": None, **more})


def spans(weather, day: int = 1) -> list[tuple[float, float]]:
    """Start and end of each step in hours into that day."""
    zero = at(0, day)
    return [
        ((s - zero) / 3600, (e - zero) / 3600)
        for s, e in zip(weather.starts.tolist(), weather.ends.tolist(), strict=True)
    ]


def row(values) -> list[float | None]:
    """The first member, None where not known, to nine decimals."""
    return [None if v != v else round(v, 9) for v in values[0].tolist()]
