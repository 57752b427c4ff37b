"""Bright Sky, the open data of the German weather service: records, stamps at the end."""

from __future__ import annotations

import json

import pytest
from sheet_tables import assert_golden, document, sample

from monitor.feeds.decode import Rejected, decode
from monitor.feeds.sheet import builtin_sheet


def test_table_by_hand(tmp_path):
    # Rain, wind, gust and direction are of the hour before the stamp: 18 km/h = 5 m/s, 36 = 10,
    # 28.8 = 8; gusts 45 km/h = 12.5, 61.2 = 17. Temperature, dew point and cloud are of the
    # moment: (14.2 + 13.6) / 2, (13.6 + 13) / 2; before 06:00 the end stands for the step; cloud
    # is null at 08:00, so the step before it is not known. The condition is of the hour before.
    # 09:00 has no rain and ends it.
    rows = [
        ("2026-06-01T05:00:00Z", 60, "0", 1.4, 18 / 3.6, 45 / 3.6, 250, 14.2, 12.9, 88, "no"),
        ("2026-06-01T06:00:00Z", 60, "0", 0.3, 36 / 3.6, None, 260, 13.9, 13.0, 92, "yes"),
        ("2026-06-01T07:00:00Z", 60, "0", 0, 28.8 / 3.6, 61.2 / 3.6, 270, 13.3, 12.8, None, None),
    ]
    dropped = ["steps left out at the end, without rain data: 1"]
    assert_golden("bright-sky", tmp_path, rows, issued_at=None, dropped=dropped)


def test_an_empty_list_is_not_dry():
    answer = sample("bright-sky") | {"weather": []}
    with pytest.raises(Rejected) as caught:
        document("bright-sky", answer)
    assert caught.value.reason == "empty"


def test_a_far_station_is_told():
    # 50.1 N against 50.0 N is 0.1 degree of latitude, 11.1 km and so no word of the point.
    answer = sample("bright-sky")
    answer["sources"][0]["distance"] = 42_300
    weather = decode(
        json.dumps(answer).encode(),
        builtin_sheet("bright-sky"),
        fetched_at=None,
        latitude=50.0,
        longitude=8.7,
        elevation_m=100.0,
    )
    assert [t for t in weather.dropped if t.startswith("place: ")] == [
        "place: the station is 42 km from the site"
    ]
