"""SMHI snow1g: records with an interval of changing length, rates, octas, marks for missing."""

from __future__ import annotations

import json
import math

import psychrolib
import pytest
from sheet_tables import assert_golden, document, sample

from monitor.feeds.decode import Rejected, decode
from monitor.feeds.sheet import builtin_sheet


def dew_point(temp_c: float, humidity_pct: float) -> float:
    """Magnus formula over water, WMO-No. 8 annex 4.B: ew = 6.112 exp(17.62 t / (243.12 + t)) hPa,
    solved for the t whose ew is the vapour pressure."""
    g = math.log(humidity_pct / 100) + 17.62 * temp_c / (243.12 + temp_c)
    return 243.12 * g / (17.62 - g)


def test_the_formula_against_another_library():
    # Another formula for the same, ASHRAE's: within 0.05 degrees.
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temp, humidity in ((20, 50), (18, 50), (16, 80)):
        other = psychrolib.GetTDewPointFromRelHum(temp, humidity / 100)
        assert dew_point(temp, humidity) == pytest.approx(other, abs=0.05)


def test_table_by_hand(tmp_path):
    # Rain is a mean rate over the interval up to the stamp: 0.4 mm/h x 1 h, 1.5 x 1 h,
    # 0.5 x 6 h = 3 mm, 0 x 6 h; 9999 is missing and ends it. Moments over both ends: wind
    # (4 + 6) / 2, (6 + 2) / 2; greatest gust of both ends, 9999 at 20:00 not known. Cloud in
    # octas x 12.5: 8 = 100 %, 6 = 75, 4 = 50, 0 = 0. No dew point is given: Magnus from the
    # step's own temperature, 20, 20, (20 + 18) / 2, 18 degrees, at 50 %. Symbol 21 (rain with
    # thunder) at 08:00 touches the steps on both sides.
    rows = [
        ("2026-06-01T06:00:00Z", 60, "0", 0.4, 4, 8, 180, 20, dew_point(20, 50), 100, "no"),
        (
            "2026-06-01T07:00:00Z",
            60,
            "0",
            1.5,
            5,
            10,
            180,
            20,
            dew_point(20, 50),
            (100 + 75) / 2,
            "yes",
        ),
        (
            "2026-06-01T08:00:00Z",
            360,
            "0",
            0.5 * 6,
            4,
            10,
            180,
            19,
            dew_point(19, 50),
            (75 + 50) / 2,
            "yes",
        ),
        (
            "2026-06-01T14:00:00Z",
            360,
            "0",
            0,
            2,
            None,
            180,
            18,
            dew_point(18, 50),
            (50 + 0) / 2,
            "no",
        ),
    ]
    assert_golden(
        "smhi",
        tmp_path,
        rows,
        issued_at="2026-06-01T05:18:00Z",
        dropped=[
            "steps left out at the end, without rain data: 1",
            "dew_point: from temperature and humidity in 4 of 4 steps",
        ],
    )


def test_minus_nine_is_missing_rain_and_a_true_temperature():
    answer = sample("smhi")
    first, second = (record["data"] for record in answer["timeSeries"][:2])
    first["precipitation_amount_mean"] = -9
    first["air_temperature"] = second["air_temperature"] = -9.0
    told = document("smhi", answer)
    assert told["steps"][0]["rain_mm"] is None
    assert told["steps"][1]["temp_c"] == -9
    assert not any("dropped as impossible" in sentence for sentence in told["dropped"])


@pytest.mark.parametrize("coordinates", [[16.150349, 58.570784], [[16.150349, 58.570784]]])
def test_both_ways_it_writes_the_place(coordinates):
    # 58.570784 N against 59.570784 N is a degree of latitude, 111 km.
    answer = sample("smhi")
    answer["geometry"]["coordinates"] = coordinates
    weather = decode(
        json.dumps(answer).encode(),
        builtin_sheet("smhi"),
        fetched_at=None,
        latitude=59.570784,
        longitude=16.150349,
    )
    assert "place: the forecast is for a point 111 km from the site" in weather.dropped


def test_octas_above_eight_are_impossible():
    # 9 octas (sky not seen) x 12.5 = 112.5 %: dropped; more than one value in twenty, so the
    # whole answer is refused.
    answer = sample("smhi")
    answer["timeSeries"][0]["data"]["cloud_area_fraction"] = 9
    with pytest.raises(Rejected) as caught:
        document("smhi", answer)
    assert caught.value.reason == "implausible"
    assert "112.5 %" in caught.value.detail
