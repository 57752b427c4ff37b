"""The gusts a feed has said hold until it says otherwise: another feed's calm is no answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.domain import WEATHER_VALUES, Weather
from monitor.feeds.gusts_held import with_gusts_held

NONE = np.nan
NOON = datetime(2027, 7, 15, 12, 0, tzinfo=UTC)


def run(*gusts, wind=None, first=0, minutes=60, source="breezy", came=0, **more):
    """Steps from `first` hours after noon with these gusts, dry."""
    n = len(gusts)
    starts = NOON.timestamp() + 3600.0 * first + 60.0 * minutes * np.arange(n)
    unknown = np.full((1, n), np.nan)
    columns = dict.fromkeys(WEATHER_VALUES, unknown)
    columns["rain_mm"] = np.zeros((1, n))
    columns["gust_mps"] = np.array([gusts], dtype=float)
    columns["wind_mps"] = unknown if wind is None else np.array([wind], dtype=float)
    return Weather(
        starts=starts,
        ends=starts + 60.0 * minutes,
        **columns,
        weights=np.ones(1),
        forecast=np.ones(n, dtype=bool),
        source=source,
        issued_at=NOON + timedelta(hours=came),
        fetched_at=NOON + timedelta(hours=came),
        **more,
    )


def gusts(weather):
    return [None if np.isnan(g) else round(float(g), 2) for g in weather.gust_mps[0]]


def held(new, *before):
    last = None
    for one in before:
        last = with_gusts_held(one, last, "II")
    return gusts(with_gusts_held(new, last, "II"))


def test_a_run_without_gusts_takes_none_back():
    assert held(run(NONE, NONE), run(20, 8)) == [20, 8]
    assert held(run(NONE, NONE), run(NONE, NONE), run(20, 8)) == [20, 8]
    assert held(run(NONE, NONE), run(20, 8), run(NONE, NONE)) == [20, 8]


def test_its_own_later_word_does():
    assert held(run(5, NONE), run(20, 8)) == [5, 8]
    assert held(run(NONE, NONE), run(20, 8), run(5, 6)) == [5, 6]


def test_where_nothing_was_said_nothing_is_made_up():
    assert held(run(NONE, NONE)) == [None, None]
    assert held(run(NONE, NONE, first=1), run(20, 8)) == [8, None]


def test_finer_steps_have_the_gust_of_the_hour_and_longer_ones_the_greatest():
    assert held(run(NONE, NONE, NONE, minutes=30), run(20, 8)) == [20, 20, 8]
    assert held(run(NONE, minutes=180), run(20, 8, 25)) == [25]


@pytest.mark.parametrize(("wind", "gust"), [(5.0, 20.0), (16.0, None)])
def test_a_mean_wind_of_the_new_run_counts_where_it_says_more(wind, gust):
    # EN 1991-1-4 form over open country: sqrt(1 + 7 / ln(10 / 0.05)) = sqrt(1 + 7 / 5.298)
    # = 1.523, so 5 m/s are gusts of 7.6 and 16 m/s of 24.4: left to be derived
    assert held(run(NONE, wind=[wind]), run(20, wind=[3])) == [gust]


def test_other_members_are_held_to_the_greatest():
    two = run(20, 8)
    two = replace(
        two,
        **{name: np.repeat(getattr(two, name), 2, axis=0) for name in WEATHER_VALUES},
        weights=np.array([0.5, 0.5]),
        members=("0", "1"),
        feed_of=(0, 0),
    )
    two.gust_mps[1] = [12, 22]
    assert held(run(NONE, NONE), two) == [20, 22]


def test_a_wind_of_another_height_is_not_compared():
    assert held(run(NONE), replace(run(20), wind_height_m=4.0)) == [None]
