from __future__ import annotations

import numpy as np
import pytest
from weather_for_scores import at, steps

from monitor.scores import on_hours

nan = np.nan


def hours_of(weather, terrain="II"):
    return on_hours(weather, terrain)


def test_quarters_make_an_hour_only_where_all_four_are_known():
    found = hours_of(steps([0.1, 0.2, 0.3, 0.4, 1.0, nan, 1.0, 1.0, 0, 0, 0], minutes=15))
    assert found.starts.tolist() == [at(0).timestamp(), at(1).timestamp(), at(2).timestamp()]
    # The second has a quarter that is not known, the third but three quarters.
    assert found.rain_mm[0] == pytest.approx([1.0, nan, nan], nan_ok=True)


def test_a_missing_hour_is_not_dry():
    weather = steps([0.0, 0.0, 0.0]).take(np.array([0, 2]))
    assert hours_of(weather).rain_mm[0] == pytest.approx([0.0, nan, 0.0], nan_ok=True)


def test_a_short_step_over_the_hours_end_is_shared_by_time():
    # Ten-minute steps from 00:05: the sixth runs from 00:55 to 01:05, half in each hour. The
    # second hour is covered from 01:00 to 02:05 less nothing: 0.5 + 5 steps + 0.5 of the next.
    found = hours_of(steps([1.0] * 13, minutes=10, from_h=5 / 60))
    assert found.rain_mm[0] == pytest.approx([nan, 6.0, nan], nan_ok=True)


def test_a_long_step_over_the_hours_end_is_no_hour():
    assert np.isnan(hours_of(steps([1.0, 1.0], minutes=60, from_h=0.5)).rain_mm).all()
    assert np.isnan(hours_of(steps([6.0], minutes=360)).rain_mm).all()


def test_wind_is_a_mean_by_time_and_gust_the_greatest():
    # 20 minutes at 3 and 40 at 6: (20 x 3 + 40 x 6) / 60 = 5. Local wind at 10 m stays as it is.
    weather = steps([0, 0, 0], minutes=20, wind=[3, 6, 6], gust=[9, 12, 8], wind_basis="local")
    found = hours_of(weather, "III")
    assert found.wind_mps[0] == pytest.approx([5.0])
    assert found.gust_mps[0] == pytest.approx([12.0])


def test_wind_of_open_country_is_brought_to_the_site():
    # Suburb, ISO 15927-3: C_R(10 m) = 0.22 ln(10 / 0.3) = 0.771444.
    found = hours_of(steps([0.0], wind=5.0), "III")
    assert found.wind_mps[0] == pytest.approx([5.0 * 0.22 * np.log(10 / 0.3)])


def test_no_gust_is_made_up():
    assert np.isnan(hours_of(steps([0.0], wind=5.0)).gust_mps).all()


def test_nothing_gives_no_hours():
    assert len(hours_of(steps([0.0]).take(np.arange(0))).starts) == 0
