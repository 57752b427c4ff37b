"""Location forecast and nowcast of MET Norway: records, stamps at the start of what they cover."""

from __future__ import annotations

import json

import pytest
from sheet_tables import assert_golden, assert_table, document, sample

from monitor.feeds.decode import Rejected, decode
from monitor.feeds.sheet import builtin_sheet


def test_location_forecast_table_by_hand(tmp_path):
    # 10:00 and 11:00 have a period of 1 hour and one of 6: the hour is taken, nothing is added
    # up. 12:00 and 18:00 have 6 hours only: steps of 6 hours, kept whole. 00:00 has none and
    # ends it. Moments are averaged over both ends of a step: wind (3 + 5) / 2, (5 + 6) / 2,
    # (6 + 4) / 2, (4 + 2) / 2. Gusts: the greater end; none is given from 18:00 on.
    # Thunder by the symbol of the same period: heavyrainshowersandthunder_day.
    rows = [
        ("2026-06-01T10:00:00Z", 60, "0", 0.0, 4, 9, 200, 13.5, 11.2, 70, "no"),
        ("2026-06-01T11:00:00Z", 60, "0", 1.4, 5.5, 12, 200, 12.5, 11.2, 90, "yes"),
        ("2026-06-01T12:00:00Z", 360, "0", 2.8, 5, None, 200, 11, 10, 95, "no"),
        ("2026-06-01T18:00:00Z", 360, "0", 0.6, 3, None, 200, 9.5, 8.5, 70, "no"),
    ]
    assert_golden(
        "met-norway",
        tmp_path,
        rows,
        issued_at="2026-06-01T09:32:10Z",
        dropped=["steps left out at the end, without rain data: 1"],
    )


def test_a_missing_hour_is_not_dry():
    # 11:00 without any period: its hour is not known, and 10:00 and 12:00 stay where they are.
    answer = sample("met-norway")
    data = answer["properties"]["timeseries"][1]["data"]
    del data["next_1_hours"], data["next_6_hours"]
    steps = document("met-norway", answer)["steps"]
    assert [s["starts_at"][11:13] for s in steps if s["rain_mm"] is not None] == ["10", "12", "18"]
    assert all(s["rain_mm"] is None for s in steps if s["starts_at"][11:13] == "11")


def test_a_compact_answer_has_its_dew_point_from_humidity():
    # Without the dew point: the compact product. The rest of the table is as before.
    answer = sample("met-norway")
    del answer["properties"]["meta"]["units"]["dew_point_temperature"]
    for record in answer["properties"]["timeseries"]:
        del record["data"]["instant"]["details"]["dew_point_temperature"]
    told = document("met-norway", answer)
    # Saturated air has its temperature for a dew point; 82 to 94 % is below it by 1 to 3 degrees.
    for step in told["steps"]:
        assert step["temp_c"] - 3.5 < step["dew_point_c"] < step["temp_c"] - 0.5
    assert "dew_point: not in the answer" in told["dropped"]


def test_units_of_the_location_forecast_are_checked():
    answer = sample("met-norway")
    answer["properties"]["meta"]["units"]["wind_speed"] = "km/h"
    with pytest.raises(Rejected) as caught:
        document("met-norway", answer)
    assert caught.value.reason == "unit"


def test_the_place_is_compared():
    # 59.91 N against 60.91 N is a degree of latitude, 111 km; 112 m against 512 m is 400 m.
    weather = decode(
        json.dumps(sample("met-norway")).encode(),
        builtin_sheet("met-norway"),
        fetched_at=None,
        latitude=60.91,
        longitude=10.75,
        elevation_m=512.0,
    )
    assert [t for t in weather.dropped if t.startswith("place: ")] == [
        "place: the forecast is for a point 111 km from the site",
        "place: the forecast is for a height 400 m below the site",
    ]


NOT_ON_ITS_STEPS = [
    f"{name}: what it covers fits none of the steps of the rain"
    for name in ("wind", "gust", "temp", "direction", "humidity")
]


def test_nowcast_table_by_hand(tmp_path):
    # A rate is held to the next stamp, and the last one for 5 minutes: 6 mm/h x 5/60 h = 0.5 mm,
    # 12 x 5/60 = 1, 3 x 5/60 = 0.25. All else is given for 10:00 alone and is not known at
    # 10:05, so it is not known of any step.
    rest = (None,) * 7
    rows = [
        ("2026-06-01T10:00:00Z", 5, "0", 0.0, *rest),
        ("2026-06-01T10:05:00Z", 5, "0", 6 * 5 / 60, *rest),
        ("2026-06-01T10:10:00Z", 5, "0", 12 * 5 / 60, *rest),
        ("2026-06-01T10:15:00Z", 5, "0", 3 * 5 / 60, *rest),
    ]
    assert_golden(
        "met-norway-nowcast",
        tmp_path,
        rows,
        issued_at="2026-06-01T09:58:40Z",
        dropped=NOT_ON_ITS_STEPS,
    )


def test_nowcast_with_a_stamp_left_out_is_not_stretched():
    # Without the record of 10:10: 6 mm/h holds for a step of 5 minutes, not for 10.
    answer = sample("met-norway-nowcast")
    del answer["properties"]["timeseries"][2]
    rest = (None,) * 7
    rows = [
        ("2026-06-01T10:00:00Z", 5, "0", 0.0, *rest),
        ("2026-06-01T10:05:00Z", 5, "0", 0.5, *rest),
        ("2026-06-01T10:15:00Z", 5, "0", 0.25, *rest),
    ]
    assert_table(document("met-norway-nowcast", answer), rows)


@pytest.mark.parametrize("coverage", ["temporarily unavailable", "no coverage", None])
def test_without_good_radar_the_nowcast_is_of_no_use(coverage):
    answer = sample("met-norway-nowcast")
    if coverage is None:
        del answer["properties"]["meta"]["radar_coverage"]
    else:
        answer["properties"]["meta"]["radar_coverage"] = coverage
    with pytest.raises(Rejected) as caught:
        document("met-norway-nowcast", answer)
    assert caught.value.reason == "error-answer"
    assert caught.value.detail == f"radar coverage: {coverage or 'not stated'}"


def test_nowcast_without_any_rate_is_not_dry():
    answer = sample("met-norway-nowcast")
    for record in answer["properties"]["timeseries"]:
        del record["data"]["instant"]["details"]["precipitation_rate"]
    with pytest.raises(Rejected) as caught:
        document("met-norway-nowcast", answer)
    assert caught.value.reason == "missing-variable"
