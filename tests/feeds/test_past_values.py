"""The past value by value: gauges over each other and over forecasts, and the crew's own word."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from feeds.test_past import HOUR, T0, hours_of, run, was, whole
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain import WEATHER_VALUES
from monitor.feeds.past import still_to_come, without_overtaken

NAN = float("nan")
RAIN, WIND, GUST, FROM = map(
    WEATHER_VALUES.index, ("rain_mm", "wind_mps", "gust_mps", "wind_from_deg")
)


def gauge(rain, source="deck", known_h=9.0, **more):
    """A rain gauge: it knows rain and nothing else, unless told otherwise."""
    wind, direction = more.pop("wind", NAN), more.pop("direction", NAN)
    made = run(
        rain,
        known_h=known_h,
        source=source,
        forecast=False,
        wind=wind,
        direction=direction,
        **more,
    )
    blank = np.full_like(made.rain_mm, np.nan)
    return replace(
        made,
        gust_mps=more.get("gust", blank),
        temp_c=blank,
        dew_point_c=blank,
        cloud_pct=blank,
        thunder=blank,
    )


# ---------------------------------------------------------------- measured over forecast


def test_a_rain_gauge_leaves_the_forecast_its_wind():
    forecast = run([1, 2], known_h=0.0, wind=7.0, direction=90.0)
    past = whole([forecast, gauge([4, NAN])], 0, 2)
    assert past.rain_mm.tolist() == [[4, 2]]
    assert past.wind_mps.tolist() == [[7, 7]]
    assert past.wind_from_deg.tolist() == [[90, 90]]
    assert past.temp_c.tolist() == [[15, 15]]
    # the measured hour is not charged as a forecast, the other is
    assert past.forecast.tolist() == [False, True]
    assert past.measured[RAIN].tolist() == [True, False]
    assert not past.measured[WIND].any()


def test_a_measured_wind_drives_the_forecasts_rain():
    forecast = run([1], known_h=0.0, wind=7.0, direction=90.0)
    past = whole([forecast, gauge([NAN], wind=12.0)], 0, 1)
    assert past.rain_mm.tolist() == [[1]]
    assert past.wind_mps.tolist() == [[12]]
    assert past.wind_from_deg.tolist() == [[90]]
    assert past.forecast.tolist() == [True]
    assert past.measured[[RAIN, WIND, FROM], 0].tolist() == [False, True, False]


def test_a_forecast_gust_below_the_measured_mean_is_none():
    # the forecast's gust is 9: no gust to a mean of 12, but one to a mean of 5
    forecast = run([1, 1], known_h=0.0)
    past = whole([forecast, gauge([2, 2], wind=[[12.0, 5.0]])], 0, 2)
    np.testing.assert_array_equal(past.gust_mps, [[NAN, 9.0]])
    past = whole([forecast, gauge([NAN, NAN], wind=[[12.0, 5.0]])], 0, 2)
    np.testing.assert_array_equal(past.gust_mps, [[NAN, 9.0]])


def test_a_gust_that_a_local_gauge_did_not_measure_is_the_forecasts():
    # with winds of two kinds too: a gust derived from the gauge's 3 m/s is no measurement
    local = gauge([NAN, 2], wind=3.0, wind_basis="local")
    past = whole([run([1, 1], known_h=0.0), local], 0, 2, terrain="III")
    assert past.gust_mps.tolist() == [[9, 9]]
    assert past.measured[WIND].all()
    assert not past.measured[GUST].any()


def test_where_nobody_has_a_gust_it_is_derived_over_the_gauges_own_ground():
    # 3 sqrt(1 + 7 / ln(10 / 0.3)) = 3 sqrt(1 + 7 / 3.50656) = 5.19291
    local = gauge([2, NAN], wind=3.0, wind_basis="local")
    blank = replace(run([1, 1], known_h=0.0), gust_mps=np.full((1, 2), NAN))
    past = whole([blank, local], 0, 2, terrain="III")
    assert past.gust_mps.tolist() == [[pytest.approx(5.19291, abs=1e-5)] * 2]
    assert not past.measured[GUST].any()


def test_the_forecasts_mean_wind_drives_measured_rain():
    # 4 and 8 m/s, 80 and 100 degrees, at equal weight: 6 m/s from 10 / 3 of a degree past 90:
    # atan2(8 sin 10 - 4 sin 10, 12 cos 10) = atan2(0.69459, 11.81769) = 3.3637
    both = run([[1], [1]], known_h=0.0, wind=[[4.0], [8.0]], direction=[[80.0], [100.0]])
    past = was([both, gauge([5])], 0, 1)
    assert past.rain_mm.tolist() == [[5]]
    assert past.wind_mps.tolist() == [[pytest.approx(6)]]
    assert past.wind_from_deg[0, 0] == pytest.approx(93.3637, abs=1e-4)
    assert past.forecast.tolist() == [False]


def test_opposite_winds_have_no_direction_in_common():
    # equal winds 151.0 degrees apart: mean vector cos 75.5 = 0.2504 of their speed, 152: 0.2419
    for apart, known in ((151.0, True), (152.0, False), (180.0, False)):
        both = run([[1], [1]], known_h=0.0, direction=[[10.0], [10.0 + apart]])
        past = was([both, gauge([5])], 0, 1)
        assert np.isfinite(past.wind_from_deg[0, 0]) == known
        assert past.wind_mps[0, 0] == 5.0


def test_a_gauge_in_five_minutes_beside_an_hourly_forecast():
    # 12 readings of 0.1 mm: every one with the hour's wind, none of them a forecast
    past = whole([run([3], known_h=0.0), gauge([0.1] * 12, step_h=1 / 12)], 0, 1)
    assert len(past.starts) == 12
    assert past.rain_mm.sum() == pytest.approx(1.2)
    assert set(past.wind_mps[0]) == {5.0}
    assert not past.forecast.any()
    assert past.cut_from_hours == pytest.approx(np.full(12, 1 / 12))


def test_where_the_gauge_was_silent_the_forecast_stands():
    # measured from 12:00 to 12:20; the rest of the hour of 6 mm keeps its rate: 4 mm
    past = whole([run([6], known_h=0.0), gauge([0.0] * 4, step_h=1 / 12)], 0, 1)
    assert past.rain_mm[0, -1] == pytest.approx(4.0)
    assert past.forecast[-1]
    assert not past.forecast[:-1].any()
    assert past.cut_from_hours[-1] == 1.0


# ---------------------------------------------------------------- several gauges


def test_the_first_gauge_of_the_show_that_knows_is_believed():
    deck, foh = gauge([4, NAN, 6], known_h=5.0), gauge([1, 2, 3], "foh", known_h=9.0)
    assert was([deck, foh], 0, 3, prefer=("deck", "foh")).rain_mm.tolist() == [[4, 2, 6]]
    assert was([deck, foh], 0, 3, prefer=("foh", "deck")).rain_mm.tolist() == [[1, 2, 3]]
    # with no preference the one received last
    assert was([foh, deck], 0, 3).rain_mm.tolist() == [[1, 2, 3]]
    # a record that is not named comes after those that are
    record = gauge([7, 7, 7, 7], "storm.csv", known_h=99.0)
    assert was([deck, record], 0, 4, prefer=("deck",)).rain_mm.tolist() == [[4, 7, 6, 7]]


def test_gauges_complete_each_other_value_by_value():
    deck = gauge([4], wind=NAN)
    mast = gauge([NAN], "mast", wind=11.0, direction=200.0)
    past = whole([deck, mast], 0, 1, prefer=("deck", "mast"))
    assert (past.rain_mm[0, 0], past.wind_mps[0, 0], past.wind_from_deg[0, 0]) == (4, 11, 200)
    assert past.measured[[RAIN, WIND, FROM], 0].all()


def test_a_late_reading_fills_a_value_and_takes_none_away():
    first = gauge([4], known_h=1.0, wind=6.0)
    late = gauge([5], known_h=8.0)
    past = whole([late, first], 0, 1)
    assert (past.rain_mm[0, 0], past.wind_mps[0, 0]) == (5, 6)
    # so the first is not let go while it knows what the later does not
    assert without_overtaken(first, late) is first
    assert len(without_overtaken(late, gauge([6], known_h=9.0)).starts) == 0


# ---------------------------------------------------------------- "it is raining here now"


def said(rain, **more):
    return gauge(rain, "crew", **more)


def test_the_crews_word_lifts_a_forecast_that_says_less():
    forecast = run([[1, 5], [3, 0]], known_h=0.0)
    past = whole([forecast, said([2, 2])], 0, 2, floor_sources={"crew"})
    assert past.rain_mm.tolist() == [[2, 5], [3, 2]]
    # the rest is the forecast's, and charged as one
    assert past.wind_mps.tolist() == [[5, 5], [5, 5]]
    assert past.forecast.all()
    assert not past.measured.any()


def test_a_gauge_stands_over_the_crews_word():
    past = whole([said([2, 2]), gauge([0.5, NAN])], 0, 2, floor_sources={"crew"})
    assert past.rain_mm.tolist() == [[0.5, 2]]
    assert past.measured[RAIN].tolist() == [True, False]


def test_the_crews_word_lifts_a_record_of_another_place():
    """One read as a feed: its 0.5 mm/h was not measured where the crew stands, its 3 stands."""
    more = {"floor_sources": {"crew"}, "lifted_sources": {"deck"}}
    past = whole([said([2, 2]), gauge([0.5, 3])], 0, 2, **more)
    assert past.rain_mm.tolist() == [[2, 3]]
    other = whole([said([2, 2]), gauge([0.5, 3])], 0, 2, **{**more, "lifted_sources": {"x"}})
    assert other.rain_mm.tolist() == [[0.5, 3]]


def test_the_crews_word_alone_is_rain_in_a_wind_not_known():
    past = whole([said([2])], 0, 1, floor_sources={"crew"})
    assert past.rain_mm.tolist() == [[2]]
    assert np.isnan(past.wind_mps).all()
    assert past.forecast.tolist() == [False]


def test_the_crews_word_stands_in_for_a_member_that_says_nothing():
    forecast = run([[NAN], [5]], known_h=0.0)
    past = whole([forecast, said([2])], 0, 1, floor_sources={"crew"})
    assert past.rain_mm.tolist() == [[2], [5]]
    assert past.shares.tolist() == [[0.5], [0.5]]


# ---------------------------------------------------------------- shares


def test_feeds_share_equally_and_members_within_them():
    few = run([[2], [6]], known_h=0.0, source="few", weights=[0.25, 0.75])
    past = whole([few, run([9], known_h=0.0, source="one")], 0, 1)
    assert past.shares.tolist() == [[0.125], [0.375], [0.5]]
    assert past.feeds == ("few", "one")
    assert past.feed_of == (0, 0, 1)
    # 0.125 x 2 + 0.375 x 6 + 0.5 x 9
    assert was([few, run([9], known_h=0.0, source="one")], 0, 1).rain_mm[0, 0] == 7.0


def test_who_does_not_say_enough_leaves_its_share():
    # the first member has rain and no wind: within its feed the second speaks for it
    few = run([[2], [6]], known_h=0.0, source="few", wind=[[NAN], [5.0]])
    one = run([9], known_h=0.0, source="one")
    assert whole([few, one], 0, 1).shares.tolist() == [[0], [0.5], [0.5]]
    # no rain needs no wind
    dry = run([[0], [6]], known_h=0.0, source="few", wind=[[NAN], [5.0]])
    assert whole([dry, one], 0, 1).shares.tolist() == [[0.25], [0.25], [0.5]]
    # a feed of which nobody does leaves all of it
    mute = run([[2], [6]], known_h=0.0, source="few", wind=NAN)
    assert whole([mute, one], 0, 1).shares.tolist() == [[0], [0], [1]]
    # and where no feed does, all of them stand, and it is not known
    alone = whole([mute], 0, 1)
    assert alone.shares.tolist() == [[0.5], [0.5]]
    assert np.isnan(alone.wind_mps).all()


def test_runs_of_other_counts_of_members_are_padded():
    first = run([[1, 1], [3, 3], [5, 5]], known_h=0.0)
    second = run([[8, 8]], start_h=1, known_h=1.5)
    past = whole([first, second], 0, 2)
    assert past.shares.tolist() == [[pytest.approx(1 / 3), 1], *[[pytest.approx(1 / 3), 0]] * 2]
    assert was([first, second], 0, 2).rain_mm.tolist() == [[pytest.approx(3), 8]]


_rain = st.lists(
    st.lists(st.sampled_from([0.0, 0.3, 2.0, NAN]), min_size=4, max_size=4), min_size=1, max_size=3
)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(_rain, st.sampled_from("abc"), st.booleans()), max_size=6), st.randoms())
def test_the_order_in_which_runs_are_handed_in_is_of_no_account(raw, dice):
    runs = [
        run(rain, known_h=0.1 * i, source=source, forecast=forecast, start_h=i % 3)
        for i, (rain, source, forecast) in enumerate(raw)
    ]
    one, other = whole(runs, 0, 6), whole(dice.sample(runs, len(runs)), 0, 6)
    for name in ("starts", "rain_mm", "wind_mps", "shares", "measured", "forecast"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(_rain, st.sampled_from("ab")), min_size=1, max_size=6))
def test_shares_are_whole_in_every_step(raw):
    runs = [
        run(rain, known_h=0.1 * i, source=source, start_h=i % 3)
        for i, (rain, source) in enumerate(raw)
    ]
    past = whole(runs, 0, 6)
    if past.shares is not None:
        assert past.shares.sum(axis=0) == pytest.approx(np.ones(len(past.starts)))


# ---------------------------------------------------------------- ahead: own steps


def test_side_by_side_each_keeps_the_length_of_its_own_steps():
    coarse = run([6.0], step_h=6.0, known_h=0.0, source="coarse")
    fine = run([1.0] * 6, known_h=0.0, source="fine")
    ahead = still_to_come([coarse, fine], T0)
    assert hours_of(ahead) == [(h, h + 1) for h in range(6)]
    assert ahead.whole_hours.tolist() == [[6.0] * 6, [1.0] * 6]
    assert ahead.rain_mm[0].tolist() == [pytest.approx(1.0)] * 6
    assert ahead.feeds == ("coarse", "fine")
    # begin of each one's own step
    assert ((ahead.cut_from_starts - T0) / HOUR).tolist() == [[0.0] * 6, [*range(6)]]


def test_side_by_side_only_forecasts_are_forecasts():
    record = run([1.0, 1.0], known_h=0.0, source="record", forecast=False)
    feed = run([1.0, 1.0, 1.0], known_h=0.0, source="feed")
    ahead = still_to_come([record, feed], T0)
    assert ahead.forecast.tolist() == [[False, False, False], [True, True, True]]
