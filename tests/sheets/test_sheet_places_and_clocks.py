"""Every built-in sheet knows an answer for another place and one from another day."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
from sheet_tables import sample

from monitor.feeds.decode import Rejected, decode
from monitor.feeds.sheet import builtin_sheet

# Latitude and longitude that the sample is for, and the first stamp of its rain.
SAID = {
    "bright-sky": (50.1, 8.7, "2026-06-01T06:00Z"),
    "geosphere": (48.2, 16.4, "2026-06-01T06:00Z"),
    "geosphere-nowcast": (48.2, 16.4, "2026-06-01T10:15Z"),
    "met-norway": (59.91, 10.75, "2026-06-01T10:00Z"),
    "met-norway-nowcast": (59.91, 10.75, "2026-06-01T10:00Z"),
    "nws-grid": (40.73, -74.18, "2026-06-01T06:00Z"),
    "open-meteo": (50.1, 8.7, "2026-06-01T06:00Z"),
    "open-meteo-15-minutes": (50.1, 8.7, "2026-06-01T06:00Z"),
    "open-meteo-archive": (50.1, 8.7, "2019-07-20T00:00Z"),
    "open-meteo-ensemble": (50.1, 8.7, "2026-06-01T06:00Z"),
    "smhi": (58.570784, 16.150349, "2026-06-01T07:00Z"),
}


def decoded(sheet_id, fetched_at=None, latitude=None, longitude=None):
    body = json.dumps(sample(sheet_id)).encode()
    return decode(
        body,
        builtin_sheet(sheet_id),
        fetched_at=fetched_at,
        latitude=latitude,
        longitude=longitude,
    )


def places(weather):
    return [sentence for sentence in weather.dropped if sentence.startswith("place: ")]


@pytest.mark.parametrize("sheet_id", SAID)
def test_a_degree_of_latitude_is_111_km(sheet_id):
    # The mean Earth has 2 pi x 6371.0088 km / 360 = 111.195 km a degree.
    latitude, longitude, _ = SAID[sheet_id]
    assert places(decoded(sheet_id, None, latitude, longitude)) == []
    assert places(decoded(sheet_id, None, latitude - 1, longitude)) == [
        "place: the forecast is for a point 111 km from the site"
    ]


@pytest.mark.parametrize("sheet_id", SAID)
def test_an_answer_from_another_day_is_refused(sheet_id):
    first = datetime.fromisoformat(SAID[sheet_id][2]).astimezone(UTC)
    soon = decoded(sheet_id, first + timedelta(minutes=10))
    assert soon.fetched_at == first + timedelta(minutes=10)
    days_later = first + timedelta(days=2)
    if sheet_id == "open-meteo-archive":
        # What is asked of an archive is long past.
        assert decoded(sheet_id, days_later).source == sheet_id
        return
    with pytest.raises(Rejected) as caught:
        decoded(sheet_id, days_later)
    assert caught.value.reason == "time"
