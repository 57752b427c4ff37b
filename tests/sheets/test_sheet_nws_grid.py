"""The grid of the US National Weather Service: every quantity over intervals of its own."""

from __future__ import annotations

import pytest
from sheet_tables import assert_golden, document, sample

from monitor.feeds.decode import Rejected
from monitor.feeds.sheet import builtin_sheet


def test_table_by_hand(tmp_path):
    # Steps are the intervals of the rain: 3 h, 6 h and P1DT3H = 27 h; a total stays a total. All
    # else is averaged over each, weighed by time. km/h to m/s is / 3.6.
    # 06-09: 2 h of 18.52 and 1 h of 37.04 km/h; 1 h of 14 and 2 h of 11 degrees; greatest gust
    # 55.56 km/h; thunderstorms among the weather.
    # 09-15: the rain is null, so not known; gusts are given to 12:00 only, so the greatest of
    # the step is not known.
    # 15-18 of the next day: sky 12 h of 50 % and 15 h of 20 %; weather null: thunder not known.
    rows = [
        (
            "2026-06-01T06:00:00Z",
            180,
            "0",
            4.2,
            (2 * 18.52 + 37.04) / 3 / 3.6,
            55.56 / 3.6,
            250,
            (14 + 2 * 11) / 3,
            10,
            100,
            "yes",
        ),
        ("2026-06-01T09:00:00Z", 360, "0", None, 18.52 / 3.6, None, 250, 12, 10, 100, "no"),
        (
            "2026-06-01T15:00:00Z",
            27 * 60,
            "0",
            0,
            9.26 / 3.6,
            27.78 / 3.6,
            270,
            16,
            9,
            (12 * 50 + 15 * 20) / 27,
            None,
        ),
    ]
    assert_golden("nws-grid", tmp_path, rows, issued_at="2026-06-01T05:12:00Z", dropped=[])


def test_a_layer_without_values_is_not_in_the_answer():
    answer = sample("nws-grid")
    answer["properties"]["windGust"] = {"values": []}
    told = document("nws-grid", answer)
    assert [s["gust_mps"] for s in told["steps"]] == [None, None, None]
    assert told["dropped"] == ["gust: not in the answer"]


def test_without_rain_there_is_no_forecast():
    answer = sample("nws-grid")
    answer["properties"]["quantitativePrecipitation"] = {"values": []}
    with pytest.raises(Rejected) as caught:
        document("nws-grid", answer)
    assert caught.value.reason == "missing-variable"


@pytest.mark.parametrize(
    ("layer", "unit"),
    [
        ("windSpeed", "wmoUnit:m_s-1"),
        ("windGust", "wmoUnit:kt"),
        ("quantitativePrecipitation", "wmoUnit:m"),
        ("temperature", "wmoUnit:degF"),
    ],
)
def test_other_units_are_refused(layer, unit):
    answer = sample("nws-grid")
    answer["properties"][layer]["uom"] = unit
    with pytest.raises(Rejected) as caught:
        document("nws-grid", answer)
    assert caught.value.reason == "unit"


def test_the_place_is_asked_for_first():
    (step,) = builtin_sheet("nws-grid").resolve
    assert step.url == "https://api.weather.gov/points/{lat:.4f},{lon:.4f}"
    assert step.take == {"grid_url": "properties.forecastGridData"}
    assert step.keep == 7 * 86400
