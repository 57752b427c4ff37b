"""The four sheets of Open-Meteo: columns, stamps at the end of what they cover."""

from __future__ import annotations

import json
import math

import pytest
from sheet_tables import assert_golden, assert_table, document, sample

from monitor.feeds.decode import Rejected, decode
from monitor.feeds.sheet import builtin_sheet, read_sheet


def test_hourly_table_by_hand(tmp_path):
    # Rain and gust are of the hour before the stamp: stamp 06:00 is step 05:00. What is of a
    # moment is averaged over both ends of the step; before 06:00 nothing is given, so the end
    # stands for step 05:00. Step 06:00: wind (3 + 5) / 2, temperature (14 + 13) / 2, and so on.
    # Its direction is that of the mean of two vectors that point to where the wind comes from, 3
    # to the west (-3 east, 0 north) and 5 to the north (0, 5): (-3, 5) / 2.
    # Thunder (95) at 07:00 touches the steps on both sides. 09:00 has no rain: left out.
    rows = [
        ("2026-06-01T05:00:00Z", 60, "0", 0.2, 3, 6.5, 270, 14, 12, 88, "no"),
        (
            "2026-06-01T06:00:00Z",
            60,
            "0",
            1.4,
            (3 + 5) / 2,
            12.4,
            math.degrees(math.atan2(-3, 5)) + 360,
            (14 + 13) / 2,
            (12 + 12.5) / 2,
            (88 + 100) / 2,
            "yes",
        ),
        (
            "2026-06-01T07:00:00Z",
            60,
            "0",
            0,
            (5 + 4) / 2,
            9,
            0,
            (13 + 13.5) / 2,
            12.5,
            (100 + 96) / 2,
            "yes",
        ),
    ]
    dropped = ["steps left out at the end, without rain data: 1"]
    assert_golden("open-meteo", tmp_path, rows, issued_at=None, dropped=dropped)


def test_15_minutes_table_by_hand(tmp_path):
    # Rain and gust of the quarter hour before the stamp. Cloud is hourly, 80 % at 06:00 and
    # 100 % at 07:00: along the line 85 at 06:15, 90 at 06:30, 95 at 06:45, and each step has
    # the middle of its ends. Before 06:00 only the end is known. Hail and thunder (96) at 06:30
    # touches the steps on both sides.
    rows = [
        ("2026-06-01T05:45:00Z", 15, "0", 0, 4, 7, 180, 15, 13, 80, "no"),
        ("2026-06-01T06:00:00Z", 15, "0", 0.3, 5, 9.5, 180, 14.8, 13.1, (80 + 85) / 2, "no"),
        ("2026-06-01T06:15:00Z", 15, "0", 1.2, 5.5, 11, 180, 14.4, 13.3, (85 + 90) / 2, "yes"),
        ("2026-06-01T06:30:00Z", 15, "0", 0.4, 5, 8, 180, 14.2, 13.4, (90 + 95) / 2, "yes"),
    ]
    assert_golden("open-meteo-15-minutes", tmp_path, rows, issued_at=None, dropped=[])


def ensemble_rows(members):
    # Native steps of 3 hours stay 3 hours long; the first stamp has none before it. Member k:
    # rain 0.3 k, then 0.2 k; wind 2, 4, 3 m/s, each + 0.1 k, so (2 + 4) / 2 and (4 + 3) / 2 on
    # the steps; gust 8 and 7, each + 0.2 k, not given for member 3 at 12:00; 225 degrees;
    # temperature 16, 14, 12; dew point 12, 12, 11; cloud 40, 80, 100. Member 7 has thunder at 12:00.
    first, second = [], []
    for k in members:
        first.append(
            (
                "2026-06-01T06:00:00Z",
                180,
                f"{k}",
                0.3 * k,
                3 + 0.1 * k,
                8 + 0.2 * k,
                225,
                15,
                12,
                60,
                "no",
            )
        )
        second.append(
            (
                "2026-06-01T09:00:00Z",
                180,
                f"{k}",
                0.2 * k,
                3.5 + 0.1 * k,
                None if k == 3 else 7 + 0.2 * k,
                225,
                13,
                11.5,
                90,
                "yes" if k == 7 else "no",
            )
        )
    return first + second


def test_ensemble_table_by_hand(tmp_path):
    # Of 21 members in the sample number 20 has no rain at all and is left out whole.
    assert_golden(
        "open-meteo-ensemble",
        tmp_path,
        ensemble_rows(range(20)),
        issued_at=None,
        members=20,
        dropped=[
            "members left out for want of a required variable: 20",
            "20 members, 40 are usual",
        ],
    )


def test_ensemble_of_too_few_members_is_refused():
    answer = sample("open-meteo-ensemble")
    for key in [k for k in answer["hourly"] if k.endswith("_member19")]:
        del answer["hourly"][key]
    with pytest.raises(Rejected) as caught:
        document("open-meteo-ensemble", answer)
    assert caught.value.reason == "too-few-members"
    assert caught.value.detail == "19 members, at least 20 are needed"


def test_another_ensemble_in_the_lines_its_comment_gives():
    own = read_sheet(
        'extends = "open-meteo-ensemble"\n'
        'request = { params = { models = "ecmwf_ifs025_ensemble" } }\n'
        "members = { expect = 51, at_least = 10 }\n",
        "ecmwf.toml",
    )
    assert own.request.params["models"] == "ecmwf_ifs025_ensemble"
    assert own.request.params["temporal_resolution"] == "native"
    weather = decode(json.dumps(sample("open-meteo-ensemble")).encode(), own, fetched_at=None)
    assert "20 members, 51 are usual" in weather.dropped


def test_archive_table_by_hand(tmp_path):
    # As the hourly one. The null in the middle is not known, and stays; no thunder in it at all.
    rows = [
        ("2019-07-19T23:00:00Z", 60, "0", 0, 2, 5, 90, 21, 16, 60, None),
        ("2019-07-20T00:00:00Z", 60, "0", 6.3, 3, 13.9, 90, 19, 16, 80, None),
        ("2019-07-20T01:00:00Z", 60, "0", None, 4, 11.2, 90, 16.5, 15.5, 100, None),
        ("2019-07-20T02:00:00Z", 60, "0", 0.7, 3, 6, 90, 16, 15, 90, None),
    ]
    assert_golden("open-meteo-archive", tmp_path, rows, issued_at=None, dropped=[])


def test_the_archive_is_no_forecast():
    weather = decode(
        json.dumps(sample("open-meteo-archive")).encode(),
        builtin_sheet("open-meteo-archive"),
        fetched_at=None,
    )
    assert not weather.forecast.any()
    assert builtin_sheet("open-meteo-archive").request.kind == "archive"


@pytest.mark.parametrize(
    ("sheet_id", "units", "name", "unit"),
    [
        ("open-meteo", "hourly_units", "wind_speed_10m", "km/h"),
        ("open-meteo", "hourly_units", "precipitation", "inch"),
        ("open-meteo-15-minutes", "minutely_15_units", "wind_speed_10m", "km/h"),
        ("open-meteo-15-minutes", "minutely_15_units", "temperature_2m", "°F"),
        ("open-meteo-ensemble", "hourly_units", "precipitation", "inch"),
        ("open-meteo-archive", "hourly_units", "wind_gusts_10m", "mp/h"),
    ],
)
def test_other_units_are_refused(sheet_id, units, name, unit):
    answer = sample(sheet_id)
    answer[units][name] = unit
    with pytest.raises(Rejected) as caught:
        document(sheet_id, answer)
    assert caught.value.reason == "unit"


@pytest.mark.parametrize(
    "sheet_id", ["open-meteo", "open-meteo-15-minutes", "open-meteo-ensemble", "open-meteo-archive"]
)
def test_an_error_and_another_clock_are_refused(sheet_id):
    with pytest.raises(Rejected) as caught:
        document(sheet_id, {"error": True, "reason": "Minutely API request limit exceeded."})
    assert caught.value.reason == "error-answer"
    assert caught.value.detail == "Minutely API request limit exceeded."
    with pytest.raises(Rejected) as caught:
        document(sheet_id, sample(sheet_id) | {"utc_offset_seconds": 7200})
    assert caught.value.reason == "time"


def test_trailing_nulls_and_a_short_list_by_hand():
    # Rain to 07:00 only: two steps. The gusts are one short of the stamps: left out, not shifted.
    answer = sample("open-meteo")
    answer["hourly"]["precipitation"] = [0.2, 1.4, None, None]
    answer["hourly"]["wind_gusts_10m"] = [6.5, 12.4, 9.0]
    told = document("open-meteo", answer)
    rows = [
        ("2026-06-01T05:00:00Z", 60, "0", 0.2, 3, None, 270, 14, 12, 88, "no"),
        (
            "2026-06-01T06:00:00Z",
            60,
            "0",
            1.4,
            4,
            None,
            math.degrees(math.atan2(-3, 5)) + 360,
            13.5,
            12.25,
            94,
            "yes",
        ),
    ]
    assert_table(told, rows)
    assert told["dropped"] == [
        "gust: left out where its length is not that of the stamps, 4",
        "steps left out at the end, without rain data: 2",
    ]
