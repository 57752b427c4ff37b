"""GeoSphere Austria: totals since the run's start, wind by components, cloud as a fraction."""

from __future__ import annotations

import math

import pytest
from sheet_tables import assert_golden, document, sample

from monitor.feeds.decode import Rejected
from monitor.feeds.sheet import builtin_ids


def parameters(answer):
    return answer["features"][0]["properties"]["parameters"]


def dew_point(temp_c: float, humidity_pct: float) -> float:
    """Magnus formula over water, WMO-No. 8 annex 4.B (tests/sheets/test_sheet_smhi.py)."""
    g = math.log(humidity_pct / 100) + 17.62 * temp_c / (243.12 + temp_c)
    return 243.12 * g / (17.62 - g)


def comes_from(east: float, north: float) -> float:
    """Wind to the east and north comes from the west and south."""
    return math.degrees(math.atan2(-east, -north)) % 360


def test_forecast_table_by_hand(tmp_path):
    # Rain: 0, 0.4, 0.4, 2.9, 2.88 since 06:00, so 0.4, 0, 2.5 and -0.02, which is packing: 0.
    # Wind (3, 4) has 5 m/s, (6, 8) 10, (-4, 3) 5, (0, 5) 5: means 7.5, 7.5, 5, 5. Direction of
    # the mean vector: (4.5, 6), (1, 5.5), (-2, 4), (0, 5). Gust of the hour before: (9, 12) = 15,
    # (0, 16) = 16, (12, 5) = 13, (6, 8) = 10. Temperature 16, 16, 14, 14, 14; no dew point, so
    # Magnus at 80 %. Cloud 0.5, 0.75, 1, 1, 0.25 of 1.
    rows = [
        (
            "2026-06-01T06:00:00Z",
            60,
            "0",
            0.4,
            (5 + 10) / 2,
            15,
            comes_from(4.5, 6),
            16,
            dew_point(16, 80),
            (50 + 75) / 2,
            None,
        ),
        (
            "2026-06-01T07:00:00Z",
            60,
            "0",
            0,
            (10 + 5) / 2,
            16,
            comes_from(1, 5.5),
            15,
            dew_point(15, 80),
            (75 + 100) / 2,
            None,
        ),
        (
            "2026-06-01T08:00:00Z",
            60,
            "0",
            2.5,
            5,
            13,
            comes_from(-2, 4),
            14,
            dew_point(14, 80),
            100,
            None,
        ),
        (
            "2026-06-01T09:00:00Z",
            60,
            "0",
            0,
            5,
            10,
            180,
            14,
            dew_point(14, 80),
            (100 + 25) / 2,
            None,
        ),
    ]
    assert_golden(
        "geosphere",
        tmp_path,
        rows,
        issued_at="2026-06-01T06:00:00Z",
        dropped=[
            "precip: the total falls by packing 1 times, read as 0",
            "dew_point: from temperature and humidity in 4 of 4 steps",
        ],
    )


def test_an_answer_that_begins_within_the_run():
    # Asked later, the answer begins at 07:00 with 0.4 mm since 06:00: that is a step of its own.
    answer = sample("geosphere")
    del answer["timestamps"][0]
    for one in parameters(answer).values():
        del one["data"][0]
    steps = document("geosphere", answer)["steps"]
    assert [(s["starts_at"][11:16], s["minutes"]) for s in steps] == [
        ("06:00", 60),
        ("07:00", 60),
        ("08:00", 60),
        ("09:00", 60),
    ]
    assert [s["rain_mm"] for s in steps] == pytest.approx([0.4, 0, 2.5, 0])


def test_a_total_that_falls_is_no_rain_and_no_dry_hour():
    # 2.9 to 1.2 in one hour: something else than packing, one value in four: refused whole.
    answer = sample("geosphere")
    parameters(answer)["rr_acc"]["data"][-1] = 1.2
    with pytest.raises(Rejected) as caught:
        document("geosphere", answer)
    assert caught.value.reason == "implausible"
    assert "the total falls" in caught.value.detail


@pytest.mark.parametrize(
    ("sheet_id", "name", "unit"),
    [
        ("geosphere", "rr_acc", "m"),
        ("geosphere", "u10m", "km h-1"),
        ("geosphere", "ugust", "kn"),
        ("geosphere", "tcc", "%"),
        ("geosphere", "t2m", "K"),
        ("geosphere-nowcast", "rr", "kg m-2 h-1"),
        ("geosphere-nowcast", "ff", "km h-1"),
    ],
)
def test_other_units_are_refused(sheet_id, name, unit):
    answer = sample(sheet_id)
    parameters(answer)[name]["unit"] = unit
    with pytest.raises(Rejected) as caught:
        document(sheet_id, answer)
    assert caught.value.reason == "unit"


def test_nowcast_table_by_hand(tmp_path):
    # Sums and greatest gusts of the quarter hour before the stamp; moments over both ends, and
    # the end alone before the first stamp: wind 4, (4 + 6) / 2, (6 + 4) / 2.
    rows = [
        ("2026-06-01T10:00:00Z", 15, "0", 0.4, 4, 8, 90, 12, 10, None, None),
        ("2026-06-01T10:15:00Z", 15, "0", 1.2, 5, 11, 90, 11.8, 10.1, None, None),
        ("2026-06-01T10:30:00Z", 15, "0", 0, 5, 9, 90, 11.6, 10.2, None, None),
    ]
    assert_golden("geosphere-nowcast", tmp_path, rows, issued_at="2026-06-01T10:00:00Z", dropped=[])


def test_its_percentiles_are_not_offered_as_members():
    assert [one for one in builtin_ids() if one.startswith("geosphere")] == [
        "geosphere",
        "geosphere-nowcast",
    ]
