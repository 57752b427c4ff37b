"""Dusty hours: dry ground and wind that lifts it."""

from __future__ import annotations

import numpy as np
import pytest
from exposure.rigs import SITE, entry, hours, one_fixture, run

from monitor.exposure.dust import dusty, surface_water_mm
from monitor.show import default_policy

POLICY = default_policy()
DRY = np.zeros((1, 1))


def lifts(wind, gust=np.nan, water=0.0, ground=None):
    return bool(
        dusty(np.array([[wind]]), np.array([[gust]]), np.array([[water]]), ground, POLICY)[0, 0]
    )


@pytest.mark.parametrize(
    ("wind", "gust", "expected"),
    [
        (7.0, np.nan, True),  # at the mark
        (6.99, np.nan, False),
        (2.0, 11.0, True),
        (2.0, 10.99, False),
        (np.nan, 11.0, True),  # a gust alone is enough
        (np.nan, np.nan, False),
    ],
)
def test_wind_or_gust_at_its_mark_lifts_dust(wind, gust, expected):
    assert lifts(wind, gust) == expected


@pytest.mark.parametrize(
    ("ground", "wind", "expected"),
    [
        (None, 5.5, False),
        ("bare", 5.5, True),
        ("bare", 5.49, False),
        ("grass", 30.0, False),
        ("hard", 30.0, False),
    ],
)
def test_ground_decides_whether_and_when(ground, wind, expected):
    assert lifts(wind, ground=ground) == expected


def test_bare_ground_keeps_the_mark_for_gusts():
    assert not lifts(1.0, 10.99, ground="bare")
    assert lifts(1.0, 11.0, ground="bare")


@pytest.mark.parametrize(("water", "expected"), [(0.0, True), (0.0999, True), (0.1, False)])
def test_ground_with_a_tenth_of_a_millimetre_is_not_dry(water, expected):
    assert lifts(9.0, water=water) == expected


def test_the_surface_fills_overflows_and_dries():
    """Bucket of 1 mm, empty at the start, by hand step by step."""
    rain = np.array([[0.0, 0.4, 5.0, 0.0, 0.0, 0.0, 0.2]])
    evaporation = np.array([[0.3, 0.1, 0.0, 0.25, 0.5, 0.5, 0.05]])
    water = surface_water_mm(rain, evaporation, 1.0)
    # 0 - 0.3 stays 0; + 0.3; + 5 overflows at 1; 0.75; 0.25; - 0.25 stays 0; 0.2 - 0.05
    np.testing.assert_allclose(water, [[0.0, 0.3, 1.0, 0.75, 0.25, 0.0, 0.15]], atol=1e-12)


def test_rain_not_known_keeps_what_is_there_and_members_keep_apart():
    rain = np.array([[0.5, np.nan, 0.0], [0.0, 0.2, np.nan]])
    evaporation = np.full((2, 3), 0.1)
    water = surface_water_mm(rain, evaporation, 1.0, np.array([0.0, 0.3]))
    np.testing.assert_allclose(water, [[0.4, 0.4, 0.3], [0.2, 0.3, 0.3]], atol=1e-12)


WINDY = hours(rain=[0.0] * 6, wind=9.0)
ON_EARTH = SITE  # ground not stated: the plain marks


@pytest.mark.parametrize(
    ("code", "expected"), [("IP44", 6.0), ("IP54", 6.0), ("IPX4", 6.0), ("IP64", 0.0)]
)
def test_only_a_6_is_not_counted(code, expected):
    assert run(one_fixture(code, site=ON_EARTH), WINDY).dusty_hours[0, 0] == expected


def test_cleaning_starts_the_count_again_and_what_was_brought_in_takes_none():
    log = [entry(2, "cleaned"), entry(4, "brought-in")]
    took = run(one_fixture("IP54"), WINDY, log)
    assert took.dusty_hours[0, 0] == 4.0
    assert took.dusty_since_clean[0, 0] == 2.0


def test_rain_lays_the_dust_until_it_has_dried():
    """Dew point and cloud not known: nothing dries, so one shower lays it for good."""
    took = run(one_fixture("IP54"), hours(rain=[0.0, 0.0, 0.5, 0.0, 0.0], wind=9.0))
    assert took.dusty_hours[0, 0] == 2.0
