"""Wind, air, stuck values and order of arrival. Minutes after noon."""

from __future__ import annotations

import math
from dataclasses import replace

import psychrolib
import pytest
from gauge_samples import LONDON, MAST, count, counts, rain, table

from monitor.domain import Gauge, Reading
from monitor.feeds.gauge import measured
from monitor.feeds.past import as_it_was

DAY = 24 * 60


def weather(readings, gauge=MAST):
    return measured(readings, gauge, LONDON)


def test_what_it_says_of_itself():
    made = weather(counts((0, 1.0), (5, 1.4)), Gauge("mast", wind_height_m=3.0, wind_basis="local"))
    assert (made.source, made.wind_height_m, made.wind_basis) == ("mast", 3.0, "local")
    assert not made.forecast.any()
    assert made.members == ("0",)


def test_wind_gust_and_air_of_each_step():
    made = weather(
        [
            count(0, 1.0, wind_mps=1.0, gust_mps=20.0),
            count(5, 2.0, wind_mps=3.0, gust_mps=6.0, wind_from_deg=200.0, temp_c=15.0),
            count(10, 2.0, wind_mps=4.0, gust_mps=9.0, wind_from_deg=210.0, temp_c=14.0),
        ]
    )
    # the step before the first reading is wind alone: it speaks for ten minutes, rain unknown
    assert table(made, "wind_mps") == [(-10, 0, 1.0), (0, 5, 3.0), (5, 10, 4.0)]
    assert table(made)[0] == (-10, 0, None)
    assert [v for *_, v in table(made, "gust_mps")] == [20.0, 6.0, 9.0]
    assert [v for *_, v in table(made, "wind_from_deg")] == [None, 200.0, 210.0]
    assert [v for *_, v in table(made, "temp_c")] == [None, 15.0, 14.0]


def test_a_step_over_several_readings_takes_their_mean_by_time():
    # the counter comes every 10 min, wind every 5: 2 and 4 m/s from 350 and 10 degrees.
    # Mean 3; direction of the vectors 2 at 350 and 4 at 10: east 2 sin 10, north 6 cos 10,
    # atan(tan(10)/3) = 3.3638 degrees
    made = weather(
        [
            count(0, 1.0),
            count(5, None, wind_mps=2.0, gust_mps=7.0, wind_from_deg=350.0),
            count(10, 2.0, wind_mps=4.0, gust_mps=5.0, wind_from_deg=10.0),
        ]
    )
    assert table(made) == [(0, 10, 1.0)]
    assert table(made, "wind_mps") == [(0, 10, 3.0)]
    assert table(made, "gust_mps") == [(0, 10, 7.0)]
    turned = math.degrees(math.atan(math.tan(math.radians(10.0)) / 3.0))
    assert table(made, "wind_from_deg")[0][2] == pytest.approx(turned, abs=1e-6)


def test_the_wind_of_a_long_gap_is_not_known():
    # 60 min unheard: the reading at its end speaks for ten of them
    made = weather(counts((0, 1.0), (60, 4.0), wind_mps=3.0, wind_from_deg=180.0))
    assert table(made)[1] == (0, 60, 3.0)
    assert table(made, "wind_mps")[1] == (0, 60, None)


def test_a_gauge_heard_hourly_speaks_for_its_hour():
    hourly = Gauge("mast", every_minutes=60)
    made = weather(counts((0, 1.0), (60, 4.0), wind_mps=3.0), hourly)
    assert table(made, "wind_mps")[1] == (0, 60, 3.0)


def test_dew_point_from_humidity():
    # psychrolib's own formula is ASHRAE's; the two agree within a tenth of a kelvin here
    psychrolib.SetUnitSystem(psychrolib.SI)
    made = weather(counts((0, 1.0), (5, 1.0), temp_c=18.0, humidity_pct=70.0))
    expected = psychrolib.GetTDewPointFromRelHum(18.0, 0.70)
    assert table(made, "dew_point_c")[1][2] == pytest.approx(expected, abs=0.1)


def test_a_dew_point_that_was_sent_comes_first():
    made = weather(counts((0, 1.0), (5, 1.0), temp_c=18.0, humidity_pct=70.0, dew_point_c=11.0))
    assert table(made, "dew_point_c")[1][2] == 11.0


def test_wind_alone_is_weather_without_rain():
    made = weather([count(m, None, wind_mps=2.0 + m / 10) for m in (0, 5, 10)])
    assert [mm for *_, mm in table(made)] == [None] * 3
    assert table(made, "wind_mps")[1:] == [(0, 5, 2.5), (5, 10, 3.0)]


def test_nothing_read_is_no_step():
    assert len(weather([]).starts) == 0


def test_order_of_arrival_does_not_matter_and_the_first_of_a_moment_counts():
    readings = counts((0, 1.0), (5, 1.4), (10, 2.0))
    assert rain(readings[::-1]) == rain(readings) == [(0, 5, 0.4), (5, 10, 0.6)]
    assert rain([*readings, count(5, 9.0)]) == rain(readings)


def test_a_late_reading_sorts_itself_in():
    early, late = counts((0, 1.0), (60, 4.0)), count(30, 3.4)
    assert rain(early) == [(0, 60, 3.0)]
    assert rain([*early, late]) == [(0, 30, 2.4), (30, 60, 0.6)]


# ---------------------------------------------------------------- stuck


def hours(n, **values):
    """A reading every hour, with what a callable gives for the hour."""
    return [
        Reading("mast", count(60 * h, 0).at, **{k: v(h) for k, v in values.items()})
        for h in range(n)
    ]


HOURLY = Gauge("mast", every_minutes=60)


def test_a_value_that_does_not_move_for_a_day_is_not_known():
    made = weather(
        hours(
            30,
            rain_total_mm=lambda h: 5.0,
            wind_mps=lambda h: 3.3,
            wind_from_deg=lambda h: h * 10.0,
            temp_c=lambda h: 10 + h % 7,
        ),
        HOURLY,
    )
    assert {v for *_, v in table(made, "wind_mps")} == {None}
    # what the vane says of a wind that is not known is not believed either
    assert {v for *_, v in table(made, "wind_from_deg")} == {None}
    # the thermometer moves, so the station is alive and its dryness counts
    assert {v for *_, v in table(made)[1:]} == {0.0}


def test_a_station_that_repeats_itself_is_not_dry():
    made = weather(
        hours(30, rain_total_mm=lambda h: 5.0, wind_mps=lambda h: 3.3, temp_c=lambda h: 10.0),
        HOURLY,
    )
    assert {v for *_, v in table(made)} == {None}


def test_it_is_believed_again_from_when_it_moves():
    made = weather(
        hours(
            40,
            rain_total_mm=lambda h: 5.0,
            wind_mps=lambda h: 3.3 if h < 30 else 3.0 + h % 3,
            temp_c=lambda h: 10.0 if h < 30 else h - 20.5,
        ),
        HOURLY,
    )
    steps = table(made)
    assert {v for start, end, v in steps if end <= 29 * 60} == {None}
    assert {v for start, end, v in steps if start >= 29 * 60} == {0.0}


def test_rain_of_a_station_that_repeats_its_air_still_counts():
    made = weather(
        hours(30, rain_total_mm=lambda h: 5.0 + h, temp_c=lambda h: 10.0),
        HOURLY,
    )
    assert {v for *_, v in table(made)[1:]} == {1.0}


def test_a_calm_of_a_day_leaves_the_rain_gauge_believed():
    made = weather(hours(30, rain_total_mm=lambda h: 5.0, wind_mps=lambda h: 0.0), HOURLY)
    assert {v for *_, v in table(made)[1:]} == {0.0}
    assert {v for *_, v in table(made, "wind_mps")} == {None}


def test_less_than_a_day_is_a_steady_evening():
    made = weather(
        hours(24, rain_total_mm=lambda h: 5.0, temp_c=lambda h: 10.0),
        HOURLY,
    )
    # 24 readings span 23 hours
    assert {v for *_, v in table(made, "temp_c")} == {10.0}
    assert {v for *_, v in table(made)[1:]} == {0.0}


# ---------------------------------------------------------------- in the past


def forecast_of(minutes, mm):
    """A forecast of steps of an hour from noon, each with `mm`, wind 5 m/s from 90 degrees."""
    n = minutes // 60
    made = weather(hours(n + 1, rain_total_mm=lambda h: 100.0 + mm * h), HOURLY)
    made = made.take(range(len(made.starts))[-n:])
    blow = {"wind_mps": made.rain_mm * 0 + 5.0, "wind_from_deg": made.rain_mm * 0 + 90.0}
    return replace(made, forecast=made.rain_mm[0] > -1, source="model", wind_basis="local", **blow)


def test_what_was_measured_stands_where_the_forecast_was():
    gauge = weather(counts((0, 1.0), (5, 2.0), (10, 2.0)))
    past = as_it_was(
        [forecast_of(60, 3.0), gauge],
        count(0, 0).at.timestamp(),
        count(60, 0).at.timestamp(),
        terrain="II",
        prefer=("mast",),
    )
    # 1 mm and none measured; of the forecast's 3 mm/h the last 50 min: 2.5
    assert table(past) == [(0, 5, 1.0), (5, 10, 0.0), (10, 60, 2.5)]
    assert past.forecast.tolist() == [False, False, True]


def test_a_gauge_without_wind_takes_the_forecasts():
    gauge = weather(counts((0, 1.0), (5, 2.0), (10, 2.0)))
    past = as_it_was(
        [forecast_of(60, 3.0), gauge],
        count(0, 0).at.timestamp(),
        count(10, 0).at.timestamp(),
        terrain="II",
    )
    assert [v for *_, v in table(past, "wind_mps")] == [5.0, 5.0]


def test_a_silent_gauge_is_not_dry():
    gauge = weather(counts((0, 1.0), (5, 1.0)))
    past = as_it_was([gauge], count(0, 0).at.timestamp(), count(60, 0).at.timestamp())
    assert table(past) == [(0, 5, 0.0)]


def test_a_lone_tip_leaves_it_to_the_forecast():
    gauge = weather(counts((0, 1.0), (5, 1.2), (10, 1.2)))
    span = count(0, 0).at.timestamp(), count(10, 0).at.timestamp()
    dry = as_it_was([forecast_of(60, 0.0), gauge], *span, terrain="II")
    wet = as_it_was([forecast_of(60, 6.0), gauge], *span, terrain="II")
    assert dry.rain_mm.sum() == 0.0
    assert table(wet) == [(0, 5, 0.5), (5, 10, 0.0)]
