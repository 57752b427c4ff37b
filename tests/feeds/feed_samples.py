"""Sheets and answers that several tests of the feeds start from."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.domain import Feed, Site
from monitor.feeds.sheet import read_sheet

SAMPLES = Path(__file__).parent.parent / "samples" / "feeds"
FETCHED_AT = datetime(2026, 6, 1, 6, 10, tzinfo=UTC)
SITE = Site("Meadow", 50.12346, 8.71, 112.4, ZoneInfo("Europe/Berlin"), "II")
FEED = Feed("open-meteo", contact="crew@example.org")


def sample(name: str) -> bytes:
    return (SAMPLES / name).read_bytes()


def own_sheet(extra: str = "", sheet_id: str = "own"):
    return read_sheet(f'extends = "open-meteo"\n{extra}', f"{sheet_id}.toml")


def answer(hours: int = 24, **lists: Any) -> dict[str, Any]:
    """A sound answer of so many hours from 2026-06-01T06:00Z; `lists` replace single ones."""
    hourly: dict[str, Any] = {
        "time": [
            datetime.fromtimestamp(FETCHED_AT.timestamp() - 600 + 3600 * i, UTC).strftime(
                "%Y-%m-%dT%H:%M"
            )
            for i in range(hours)
        ],
        "precipitation": [0.1] * hours,
        "wind_speed_10m": [4.0] * hours,
        "wind_gusts_10m": [7.0] * hours,
        "wind_direction_10m": [200] * hours,
        "temperature_2m": [15.0] * hours,
        "dew_point_2m": [12.0] * hours,
        "cloud_cover": [75] * hours,
        "weather_code": [61] * hours,
    }
    units = {
        "precipitation": "mm",
        "wind_speed_10m": "m/s",
        "wind_gusts_10m": "m/s",
        "wind_direction_10m": "°",
        "temperature_2m": "°C",
        "dew_point_2m": "°C",
        "cloud_cover": "%",
    }
    hourly.update(lists)
    return {
        "utc_offset_seconds": 0,
        "hourly_units": units,
        "hourly": {k: v for k, v in hourly.items() if v is not ...},
    }


def body(answered: Any) -> bytes:
    return json.dumps(answered).encode()
