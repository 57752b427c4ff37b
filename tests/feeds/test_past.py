"""The past out of many runs: who is believed for which step, and that nothing moves later."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain import Weather
from monitor.exposure.pool import pooled_weather
from monitor.feeds.past import (
    as_it_was,
    still_to_come,
    without_hindsight,
    without_overtaken,
)
from monitor.units import to_moment

T0 = datetime(2027, 7, 15, 12, tzinfo=UTC).timestamp()
HOUR = 3600.0


def run(
    rain,
    *,
    known_h=None,
    start_h=0.0,
    step_h=1.0,
    source="feed",
    forecast=True,
    wind=5.0,
    direction=200.0,
    weights=None,
    **more,
) -> Weather:
    """Steps of `step_h` from T0 + `start_h`; `rain` is one list, or one list per member."""
    rain = np.atleast_2d(np.asarray(rain, dtype=float))
    members, steps = rain.shape
    starts = T0 + HOUR * (start_h + step_h * np.arange(steps))
    full = np.broadcast_to

    def like(value):
        return full(np.asarray(value, dtype=float), rain.shape).copy()

    return Weather(
        starts=starts,
        ends=starts + HOUR * step_h,
        rain_mm=rain,
        wind_mps=like(wind),
        gust_mps=like(9.0),
        wind_from_deg=like(direction),
        temp_c=like(15.0),
        dew_point_c=like(12.0),
        cloud_pct=like(80.0),
        thunder=like(0.0),
        weights=np.full(members, 1 / members) if weights is None else np.asarray(weights),
        forecast=np.full(steps, forecast),
        source=source,
        fetched_at=None if known_h is None else to_moment(T0 + HOUR * known_h),
        members=tuple(str(i) for i in range(members)),
        feed_of=(0,) * members,
        **more,
    )


def whole(runs, start_h, end_h, **more):
    return as_it_was(runs, T0 + HOUR * start_h, T0 + HOUR * end_h, **more)


def was(runs, start_h, end_h, **more):
    """The past as people read it: one member, the members' means by share."""
    return pooled_weather(whole(runs, start_h, end_h, **more), 0.25)


def hours_of(weather):
    return [
        ((s - T0) / HOUR, (e - T0) / HOUR)
        for s, e in zip(weather.starts.tolist(), weather.ends.tolist(), strict=True)
    ]


def test_the_last_word_before_a_step_ended_counts():
    # known at 0.0: hours 1, 2, 3 of rain; known at 1.5, within the second hour: 7, 8, 9
    first = run([1, 2, 3], known_h=0.0)
    second = run([7, 8, 9], known_h=1.5)
    past = was([second, first], 0, 3)
    # the first hour was over at 1.0 when the second run came
    assert past.rain_mm.tolist() == [[1, 8, 9]]
    assert past.forecast.tolist() == [True, True, True]


def test_a_later_run_never_rewrites_what_was_over():
    first, second = run([1, 2], known_h=0.0), run([50, 50], known_h=5.0)
    assert was([first, second], 0, 2).rain_mm.tolist() == [[1, 2]]


def test_a_later_run_in_longer_steps_leaves_the_hours_that_were_over():
    # known at 5.5, a step of 6 h with 60 mm: hours 0 to 4 were over, and only the sixth, which
    # was running, is told anew: 60 / 6 = 10 mm
    first = run([1, 2, 0, 0, 4, 5], known_h=0.0)
    second = run([60], known_h=5.5, step_h=6.0)
    for runs in ([first, second], [second, first]):
        past = was(runs, 0, 6)
        assert past.rain_mm.tolist() == [[1, 2, 0, 0, 4, 10]]
        assert past.whole_hours.tolist() == [1, 1, 1, 1, 1, 6]


def test_a_long_step_still_tells_what_nobody_told_before():
    # the hours 0 to 1 and 2 to 3 were told; 1 to 2 was not, nor was 3 to 6
    first, other = run([1], known_h=-1.0), run([3], known_h=0.0, start_h=2)
    late = run([12], known_h=5.0, step_h=6.0)
    past = was([late, other, first], 0, 6)
    assert hours_of(past) == [(0, 1), (1, 2), (2, 3), (3, 6)]
    assert past.rain_mm.tolist() == [[1, 2, 3, 6]]
    # a step that was told without its rain tells nothing
    silent = run([np.nan, np.nan], known_h=0.0)
    assert was([silent, late], 0, 6).rain_mm.tolist() == [[12]]


def test_a_long_step_covers_what_was_not_over_when_it_came():
    # both of 6 h and running: the last word before the end counts for the whole step
    first, second = run([6], known_h=0.0, step_h=6.0), run([60], known_h=5.0, step_h=6.0)
    assert was([first, second], 0, 6).rain_mm.tolist() == [[60]]


def test_what_was_measured_comes_before_any_forecast():
    forecast = run([1, 2, 3], known_h=0.5)
    record = run([4], start_h=1, known_h=9.0, source="record", forecast=False)
    past = was([record, forecast], 0, 3)
    assert past.rain_mm.tolist() == [[1, 4, 3]]
    assert past.forecast.tolist() == [True, False, True]


def test_a_mended_record_mends_the_past():
    wrong = run([4], known_h=1.0, source="record", forecast=False)
    mended = run([6], known_h=9.0, source="record", forecast=False)
    assert was([mended, wrong], 0, 1).rain_mm.tolist() == [[6]]


def test_a_measurement_without_rain_gives_way_to_a_forecast_of_it():
    forecast = run([1, 2], known_h=0.0)
    record = run([np.nan, 5], known_h=2.0, source="record", forecast=False)
    past = was([forecast, record], 0, 2)
    assert past.rain_mm.tolist() == [[1, 5]]
    assert past.forecast.tolist() == [True, False]


def test_without_any_rain_data_the_rest_of_the_measurement_is_kept():
    record = run([np.nan], known_h=2.0, source="record", forecast=False, wind=11.0)
    past = was([record], 0, 1)
    assert np.isnan(past.rain_mm).all()
    assert past.wind_mps.tolist() == [[11.0]]
    assert past.forecast.tolist() == [False]


def test_what_nobody_said_is_a_gap():
    past = was([run([1], known_h=0.0), run([2], start_h=3, known_h=0.0)], 0, 4)
    assert hours_of(past) == [(0, 1), (3, 4)]
    assert len(was([], 0, 4).starts) == 0
    assert len(was([run([1], known_h=4.0)], 0, 1).starts) == 0


def test_a_step_over_the_edge_is_cut_with_its_rain():
    # 3 mm in three hours; from 0.5 to 2.0 is half of it
    past = was([run([3], step_h=3.0, known_h=0.0)], 0.5, 2.0)
    assert hours_of(past) == [(0.5, 2.0)]
    assert past.rain_mm.tolist() == [[pytest.approx(1.5)]]


def test_steps_of_other_lengths_are_laid_over_each_other():
    # An hour of 4 mm forecast; then a quarter of an hour of 3 mm measured in the middle.
    forecast = run([4], known_h=0.0)
    record = run([3], start_h=0.5, step_h=0.25, known_h=1.0, source="record", forecast=False)
    past = was([forecast, record], 0, 1)
    assert hours_of(past) == [(0, 0.5), (0.5, 0.75), (0.75, 1)]
    # the forecast keeps its rate of 4 mm/h outside it: 2 mm and 1 mm
    assert past.rain_mm.tolist() == [[pytest.approx(2), 3, pytest.approx(1)]]


def test_a_step_that_is_not_cut_up_stays_whole():
    # the boundaries of a run that is not believed leave no trace
    older = run([1] * 12, step_h=0.25, known_h=0.0)
    newer = run([6], step_h=3.0, known_h=0.1)
    assert hours_of(was([older, newer], 0, 3)) == [(0, 3)]


def test_members_are_pooled_by_weight():
    # 0.25 x 2 + 0.75 x 6 = 5; a member that says nothing leaves its share to the others
    both = run([[2, 2], [6, np.nan]], known_h=0.0, weights=[0.25, 0.75])
    past = was([both], 0, 2)
    assert past.rain_mm.tolist() == [[pytest.approx(5), pytest.approx(2)]]
    assert past.members == ("0",)
    assert past.weights.tolist() == [1.0]


def test_directions_are_pooled_as_vectors():
    # 350 and 10 degrees at equal wind: north; with 1 and 3 m/s it leans to the stronger:
    # atan2(3 sin 10 - 1 sin 10, 4 cos 10) = atan2(0.34730, 3.93923) = 5.038 deg
    equal = run([[1], [1]], known_h=0.0, direction=[[350.0], [10.0]])
    assert was([equal], 0, 1).wind_from_deg[0, 0] % 360 == pytest.approx(0, abs=1e-9)
    leaning = run([[1], [1]], known_h=0.0, direction=[[350.0], [10.0]], wind=[[1.0], [3.0]])
    assert was([leaning], 0, 1).wind_from_deg[0, 0] == pytest.approx(5.038, abs=1e-3)


def test_two_sources_are_pooled_and_one_alone_is_taken_whole():
    one = run([2, 2], known_h=0.0, source="a")
    other = run([6], known_h=0.0, source="b")
    assert was([one, other], 0, 2).rain_mm.tolist() == [[pytest.approx(4), pytest.approx(2)]]


def test_thunder_is_thunder_where_the_share_at_risk_says_so():
    # one of four is 0.25, which is the risk; with weights 0.2 and 0.8 it is 0.2
    stormy = run([[1], [1], [1], [1]], known_h=0.0)
    stormy = replace(stormy, thunder=np.array([[0.0], [1.0], [0.0], [0.0]]))
    assert was([stormy], 0, 1).thunder.tolist() == [[1.0]]
    stormy = run([[1], [1]], known_h=0.0, weights=[0.8, 0.2])
    stormy = replace(stormy, thunder=np.array([[0.0], [1.0]]))
    assert was([stormy], 0, 1).thunder.tolist() == [[0.0]]
    unknown = replace(stormy, thunder=np.array([[np.nan], [np.nan]]))
    assert np.isnan(was([unknown], 0, 1).thunder).all()


def test_a_run_that_does_not_say_when_was_known_all_along():
    assert was([run([3])], 0, 1).rain_mm.tolist() == [[3]]
    assert was([run([3]), run([5], known_h=0.5)], 0, 1).rain_mm.tolist() == [[5]]


# ---------------------------------------------------------------- wind


def test_winds_of_two_heights_are_brought_to_ten_metres():
    # ln(10/0.05) / ln(2/0.05) = 5.2983 / 3.6889 = 1.43629
    low = run([1], known_h=0.0, source="a", wind=4.0, wind_height_m=2.0)
    high = run([1], start_h=1, known_h=0.0, source="b", wind=4.0)
    past = was([low, high], 0, 2, terrain="II")
    assert past.wind_height_m == 10.0
    assert past.wind_mps.tolist() == [[pytest.approx(4 * 1.43629, rel=1e-5), 4.0]]
    # a gust is raised with it, never lowered
    assert past.gust_mps.tolist() == [[pytest.approx(9 * 1.43629, rel=1e-5), 9.0]]


def test_a_local_wind_is_taken_to_open_country_and_back():
    # at 10 m over a suburb: 0.22 ln(10/0.3) = 0.77145; 5 m/s there is 6.4813 in the open
    local = run([1], known_h=0.0, source="a", wind_basis="local")
    open_ = run([1], start_h=1, known_h=0.0, source="b")
    past = was([local, open_], 0, 2, terrain="III")
    assert past.wind_basis == "open"
    assert past.wind_mps[0].tolist() == [pytest.approx(6.4813, abs=1e-4), 5.0]


def test_different_winds_need_the_terrain():
    runs = [run([1]), run([1], source="b", wind_height_m=2.0)]
    with pytest.raises(ValueError, match="terrain"):
        was(runs, 0, 1)
    with pytest.raises(ValueError, match="terrain"):
        still_to_come(runs, T0)


# ---------------------------------------------------------------- ahead


def test_ahead_is_the_newest_run_from_now_on():
    older, newer = run([1, 1, 1], known_h=0.0), run([4, 5, 6], known_h=0.5)
    ahead = still_to_come([newer, older], T0 + 1.25 * HOUR)
    assert hours_of(ahead) == [(1.25, 2), (2, 3)]
    # three quarters of the running hour are left: 5 x 0.75
    assert ahead.rain_mm.tolist() == [[pytest.approx(3.75), 6]]


def test_past_and_ahead_share_the_running_step():
    only = run([4, 4], known_h=0.0)
    now = T0 + 1.3 * HOUR
    before = as_it_was([only], T0, now).rain_mm.sum()
    assert before + still_to_come([only], now).rain_mm.sum() == pytest.approx(8)


def test_nothing_ahead_is_none():
    assert still_to_come([], T0) is None
    assert still_to_come([run([1], known_h=0.0)], T0 + HOUR) is None


def test_sources_stand_side_by_side_with_equal_shares():
    few = run([[1, 2], [3, 4]], known_h=0.0, source="few", weights=[0.5, 0.5])
    one = run([9], known_h=0.1, source="one")
    ahead = still_to_come([few, one], T0)
    assert ahead.weights.tolist() == [0.25, 0.25, 0.5]
    assert ahead.feed_of == (0, 0, 1)
    assert ahead.members == ("few/0", "few/1", "one/0")
    assert ahead.rain_mm[:, 0].tolist() == [1, 3, 9]
    # where its reach ends, a member is not known, which is not dry
    assert ahead.rain_mm[:2, 1].tolist() == [2, 4]
    assert np.isnan(ahead.rain_mm[2, 1])


def test_a_record_ahead_is_not_charged_as_a_forecast():
    record = run([1, 1], known_h=0.0, source="record", forecast=False)
    assert still_to_come([record], T0).forecast.tolist() == [False, False]


# ---------------------------------------------------------------- what may be let go

_rains = st.lists(st.one_of(st.just(np.nan), st.integers(0, 9).map(float)), min_size=1, max_size=8)
_runs = st.lists(
    st.builds(
        lambda rain, start, source, step, forecast: (rain, start, source, step, forecast),
        _rains,
        st.integers(0, 6),
        st.sampled_from("ab"),
        st.sampled_from([1.0, 0.5]),
        st.booleans(),
    ),
    max_size=8,
)


@settings(deadline=None, max_examples=60)
@given(_runs, st.integers(0, 6), st.integers(1, 12))
def test_letting_go_of_overtaken_steps_changes_nothing(raw, start, length):
    kept: list[Weather] = []
    every = []
    for i, (rain, start_h, source, step, forecast) in enumerate(raw):
        new = run(
            rain, start_h=start_h, source=source, step_h=step, forecast=forecast, known_h=i * 0.75
        )
        kept = [without_overtaken(old, new) for old in kept] + [without_hindsight(new)]
        every.append(new)
    full, let_go = whole(every, start, start + length), whole(kept, start, start + length)
    assert hours_of(full) == hours_of(let_go)
    for name in ("rain_mm", "forecast", "measured", "cut_from_hours"):
        np.testing.assert_array_equal(getattr(full, name), getattr(let_go, name))


@settings(deadline=None, max_examples=60)
@given(_runs, st.integers(0, 12))
def test_what_is_over_stays_as_it_is(raw, cut):
    runs = [
        run(rain, start_h=start, source=source, step_h=step, known_h=i * 1.5)
        for i, (rain, start, source, step, _) in enumerate(raw)
    ]
    by_then = [r for i, r in enumerate(runs) if i * 1.5 <= cut]
    # A run that comes after the cut changes no step before it.
    later = [r for i, r in enumerate(runs) if i * 1.5 > cut]
    np.testing.assert_array_equal(
        was(by_then, 0, cut).rain_mm, was([*by_then, *later], 0, cut).rain_mm
    )
