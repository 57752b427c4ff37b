"""Rain that falls now, taken to go on: what it is, how long it lasts, what it lifts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

import numpy as np
import pytest
from gauge_samples import MAST, NOON, at, counts, table

from monitor.domain import WEATHER_VALUES, Weather
from monitor.feeds.crew_rain import Spell
from monitor.feeds.gauge import measured
from monitor.feeds.rain_now import RainNow, alone, floors, going_on, most_forecast_mm_h, rain_now

NOW = NOON.timestamp()
FIVE = (300.0,)


def mast(*pairs, **more):
    return measured(counts(*pairs, **more), MAST, UTC)


def minutes(moment):
    return (moment - NOW) / 60


def forecast(*mm, first=0):
    """A forecast of hours from `first` minutes after noon, in a calm."""
    starts = NOW + 60.0 * (first + 60 * np.arange(len(mm)))
    unknown = np.full((1, len(mm)), np.nan)
    return Weather(
        starts=starts,
        ends=starts + 3600.0,
        rain_mm=np.array([mm]),
        wind_mps=np.zeros((1, len(mm))),
        gust_mps=unknown,
        wind_from_deg=unknown,
        temp_c=unknown,
        dew_point_c=unknown,
        cloud_pct=unknown,
        thunder=unknown,
        weights=np.ones(1),
        forecast=np.ones(len(mm), dtype=bool),
        source="model",
    )


# ---------------------------------------------------------------- what falls now


def test_the_rate_of_the_last_half_hour():
    # 3.0 mm since 11:30, 1.0 before it: 6 mm/h, and it goes on for an hour and an interval
    rain = rain_now([mast((-60, 1.0), (-30, 2.0), (-10, 3.0), (0, 5.0))], FIVE, (), NOW)
    assert rain.mm == pytest.approx(3.0)
    assert rain.mm_h == pytest.approx(6.0)
    assert (rain.in_s, minutes(rain.since_s), minutes(rain.until_s)) == (1800.0, 0, 65)
    assert (rain.by, rain.measured) == ("mast", True)


def test_a_step_that_reaches_back_counts_by_its_part():
    # 4 mm in the hour, half of which is the last half hour
    rain = rain_now([mast((-60, 1.0), (0, 5.0))], FIVE, (), NOW)
    assert (rain.mm, rain.mm_h) == (pytest.approx(2.0), pytest.approx(4.0))


def test_a_gauge_of_minutes_is_no_cloudburst():
    # all that is known is 0.6 mm in one minute: taken over ten, 3.6 mm/h and not 36
    rain = rain_now([mast((-1, 1.0), (0, 1.6))], FIVE, (), NOW)
    assert rain.mm_h == pytest.approx(3.6)


def test_it_has_dried_up():
    readings = [(-60, 1.0), (-40, 5.0), (-30, 5.0), (-10, 5.0), (0, 5.0)]
    assert rain_now([mast(*readings)], FIVE, (), NOW) is None


def test_one_tip_alone_is_no_rain():
    assert rain_now([mast((-20, 1.0), (-10, 1.0), (0, 1.2))], FIVE, (), NOW) is None


def test_it_ends_an_hour_after_the_next_word_was_due():
    weather = mast((-30, 1.0), (0, 4.0))
    assert rain_now([weather], FIVE, (), NOW + 64 * 60) is not None
    assert rain_now([weather], FIVE, (), NOW + 65 * 60) is None
    assert rain_now([weather], (3600.0,), (), NOW + 119 * 60) is not None


def test_the_heaviest_of_several():
    one = mast((-30, 1.0), (0, 2.0))
    other = replace(mast((-30, 1.0), (0, 3.0)), source="roof")
    assert rain_now([one, other], FIVE * 2, (), NOW).by == "roof"


def test_the_crews_word_where_no_gauge_speaks():
    spell = Spell(NOW - 600, NOW + 1200, 2.5)
    rain = rain_now([], (), (spell,), NOW)
    assert (rain.by, rain.mm, rain.mm_h, minutes(rain.until_s)) == ("crew", None, 2.5, 60)
    assert rain_now([], (), (spell,), NOW + 1200) is None
    # beside a gauge that is dry it holds for its half hour alone
    beside = rain_now([mast((-30, 1.0), (0, 1.0))], FIVE, (spell,), NOW)
    assert (beside.by, minutes(beside.until_s)) == ("crew", 20)
    wet = rain_now([mast((-30, 1.0), (0, 4.0))], FIVE, (spell,), NOW)
    assert wet.by == "mast"


def test_what_the_forecasts_have_now():
    assert most_forecast_mm_h([forecast(0.0), forecast(2.0)], NOW) == pytest.approx(2.0)
    assert most_forecast_mm_h([], NOW) is None
    assert most_forecast_mm_h([forecast(2.0, first=60)], NOW) is None


# ---------------------------------------------------------------- what it lifts

RAIN = RainNow(6.0, NOW, NOW + 3600, "mast", 3.0, 1800.0)


def lifted(ahead, rain=RAIN, margin=1.3):
    return going_on(ahead, rain, NOW, margin)


def test_a_dry_forecast_is_lifted_for_the_hour_and_no_further():
    found = lifted(forecast(0.0, 0.0))
    assert table(found) == [(0, 60, 6.0), (60, 120, 0.0)]
    assert np.broadcast_to(found.forecast, (1, 2)).tolist() == [[False, True]]


def test_a_step_is_cut_where_it_ends():
    # 1.2 mm in the hour from 12:00, of which 65 minutes are lifted and the rest is as it was
    found = lifted(forecast(1.2, 1.2), RAIN.lasting(NOW + 65 * 60))
    assert table(found) == [(0, 60, 6.0), (60, 65, 0.5), (65, 120, 1.1)]
    assert found.whole_hours.tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(("mm", "rain", "is_forecast"), [(4.0, 6.0, False), (5.0, 5.0, True)])
def test_it_never_lowers_a_forecast_and_its_margin(mm, rain, is_forecast):
    # 4.0 x 1.3 = 5.2 is less than the 6.0 measured; 5.0 x 1.3 = 6.5 is more, and stays
    found = lifted(forecast(mm))
    assert table(found) == [(0, 60, rain)]
    assert found.forecast.tolist() == [[is_forecast]]


def test_every_member_is_lifted_by_itself():
    one = forecast(0.0)
    both = replace(
        one,
        **{name: np.repeat(getattr(one, name), 2, axis=0) for name in WEATHER_VALUES},
        weights=np.array([0.5, 0.5]),
        members=("0", "1"),
        feed_of=(0, 0),
    )
    both.rain_mm[:] = [[9.0], [np.nan]]
    assert lifted(both).rain_mm.tolist() == [[9.0], [6.0]]


def test_a_forecast_that_begins_with_the_next_hour():
    # 20 minutes at 6 mm/h are 2 mm, in the wind of the first step that there is
    found = lifted(forecast(0.0, first=20))
    assert table(found) == [(0, 20, 2.0), (20, 60, 4.0), (60, 80, 0.0)]
    assert found.wind_mps.tolist() == [[0.0, 0.0, 0.0]]
    far = forecast(0.0, first=181)
    assert table(lifted(far)) == table(far)


def test_nothing_falls_and_nothing_changes():
    dry = forecast(0.0)
    assert lifted(dry, None) is dry
    assert lifted(None) is None
    assert lifted(dry, RAIN.lasting(NOW)) is dry


def test_without_a_forecast_in_the_gauges_own_wind():
    weather = mast((-10, 1.0), (-5, 1.5), (0, 2.0), wind_mps=4.0)
    found = alone(weather, RAIN, NOW)
    assert (table(found), table(found, "wind_mps")) == ([(0, 60, 6.0)], [(0, 60, 4.0)])
    assert not found.forecast.any()
    assert alone(weather, RAIN.lasting(NOW), NOW) is None


# ---------------------------------------------------------------- since its last word


def test_between_two_words_it_goes_on_too():
    rain = RAIN._replace(since_s=NOW - 600)
    assert floors((), rain, NOW) == (Spell(NOW - 600, NOW, 6.0),)
    seen = Spell(NOW - 1200, NOW - 300, 2.5)
    assert floors((seen,), rain, NOW) == (
        Spell(NOW - 1200, NOW - 600, 2.5),
        Spell(NOW - 600, NOW - 300, 6.0),
        Spell(NOW - 300, NOW, 6.0),
    )
    assert floors((seen,), None, NOW) == (seen,)
    assert floors((seen,), RainNow(2.5, NOW, NOW + 3600, "crew"), NOW) == (seen,)
    assert at(0).timestamp() == NOW
