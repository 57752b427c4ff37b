"""Damp nights, dusty hours and wet hours worked by hand.

On the equator the sun is down at mid-hour from 18 to 6 o'clock, whatever the season: twelve
hours a night. At 15 C, dew point 10 C, 1 m/s and a clear sky a surface under the sky stands at
15 - 5.526 = 9.47 C, below the dew point.
"""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from exposure.fao_by_hand import fao_hour
from exposure.rigs import SITE, entry, hours, one_fixture, position, run

from monitor.domain import Cover, Roof, Site

EQUATOR = Site("Equator", 0.0, 0.0, 0.0, ZoneInfo("UTC"), "II")
DEWY = {"temp": 15.0, "dew": 10.0, "wind": 1.0, "cloud": 0.0}
NIGHT = [0.0] * 24
DAY_OF_YEAR = 182  # 1 July


def damp(found):
    return found.damp_hours[0, found.group_of[0]]


# ---------------------------------------------------------------- damp


def test_a_clear_night_is_damp_from_dusk_to_dawn():
    found = run(one_fixture(site=EQUATOR), hours(NIGHT, **DEWY))
    expected = [False] * 6 + [True] * 12 + [False] * 6
    assert found.damp[0, :, 0].tolist() == expected
    assert damp(found) == 12.0


def test_a_night_is_not_cut_at_midnight():
    found = run(one_fixture(site=EQUATOR), hours(NIGHT * 2, **DEWY))
    assert damp(found) == 24.0
    assert found.damp_night_most[0, 0] == 12.0


def test_steps_count_by_their_length():
    found = run(one_fixture(site=EQUATOR), hours([0.0] * 48, each_h=0.5, **DEWY))
    assert damp(found) == 12.0


@pytest.mark.parametrize(
    "changed",
    [
        # cloud lets 16 % of the cooling through: 15 - 0.9 C
        {"cloud": 100.0},
        # 5 m/s carries 24 W/m2 K to it: 15 - 72.4 / (4 + 20 + 5.1) = 12.5 C
        {"wind": 5.0},
        # dew point 6 C: the sky takes a little more, 15 - 6.2 C, which is above it
        {"dew": 6.0},
        {"temp": np.nan},
        {"dew": np.nan},
    ],
)
def test_what_keeps_a_night_dry(changed):
    assert damp(run(one_fixture(site=EQUATOR), hours(NIGHT, **{**DEWY, **changed}))) == 0.0


def test_cloud_not_known_is_half_of_the_sky():
    """Dew point 12.5: e 0.8185 + 0.1815 x 0.42 = 0.8947, 38.7 W/m2 over 13.1: 12.05 C, below it.

    Dew point 11: e 0.8092 + 0.1908 x 0.42 = 0.8893, 40.7 W/m2 over 13.1: 11.90 C, above it.
    """
    for dew, is_damp in ((12.5, True), (11.0, False)):
        found = run(
            one_fixture(site=EQUATOR), hours(NIGHT, **{**DEWY, "cloud": np.nan, "dew": dew})
        )
        assert (damp(found) > 0.0) == is_damp


ROOF = Roof("roof", 0.0, 10.0, 10.0, 12.0)
UNDER = position(roof="roof", in_from_front_m=4.0, in_from_right_m=5.0)


@pytest.mark.parametrize(("spread", "expected"), [(1.0, 24.0), (1.1, 0.0)])
def test_under_a_roof_air_within_one_kelvin_of_its_dew_point_is_damp(spread, expected):
    described = one_fixture(site=EQUATOR, positions=[UNDER], roofs=[ROOF])
    weather = hours(NIGHT, **{**DEWY, "temp": 11.0, "dew": 11.0 - spread})
    assert damp(run(described, weather)) == expected


def test_under_a_sealed_cover_as_under_a_roof():
    bag = Cover("bag", "bag", sealed=True, in_stock=1)
    described = one_fixture(site=EQUATOR, cover="bag", covers=[bag])
    weather = hours(NIGHT, **{**DEWY, "dew": 14.5})
    assert damp(run(described, weather)) == 12.0
    # covered for four hours of the afternoon as well: 1 to 5 o'clock
    log = [entry(1, "covered"), entry(5, "uncovered")]
    assert damp(run(described, weather, log)) == 16.0


@pytest.mark.parametrize(
    ("code", "more", "counts"),
    [
        ("IP20", {}, True),
        ("IP2X", {}, True),
        ("IP54", {}, True),
        ("IP65", {}, False),
        ("IP67", {}, False),
        ("IP65", {"supply_code": "IP44"}, True),
    ],
)
def test_damp_counts_where_some_part_is_of_digit_4_or_less(code, more, counts):
    found = run(one_fixture(code, site=EQUATOR, **more), hours(NIGHT, **DEWY))
    assert damp(found) == (12.0 if counts else 0.0)


def test_brought_in_it_is_not_damp():
    found = run(one_fixture(site=EQUATOR), hours(NIGHT, **DEWY), [entry(9, "brought-in")])
    assert damp(found) == 3.0


# ---------------------------------------------------------------- dust


def dusty(weather, *, ground=None, code="IP44", **more):
    site = replace(SITE, ground=ground)
    found = run(one_fixture(code, site=site, **more.pop("own", {})), weather, **more)
    return found.dusty_hours[0, found.group_of[0]]


@pytest.mark.parametrize(
    ("wind", "gust", "ground", "expected"),
    [
        (7.0, 7.5, None, 6.0),
        (6.9, 7.5, None, 0.0),
        (3.0, 11.0, None, 6.0),
        (3.0, 10.9, None, 0.0),
        (5.5, 7.5, "bare", 6.0),
        (5.4, 7.5, "bare", 0.0),
        (20.0, 30.0, "grass", 0.0),
        (20.0, 30.0, "hard", 0.0),
        # gust not given: 7.3 x 1.524 = 11.1, but 7 x 1.524 = 10.67 with the mean below its mark
        (6.9, np.nan, None, 0.0),
        (np.nan, np.nan, None, 0.0),
    ],
)
def test_wind_that_lifts_dust(wind, gust, ground, expected):
    assert dusty(hours([0.0] * 6, wind, gust=gust), ground=ground) == expected


@pytest.mark.parametrize(
    ("code", "counts"), [("IP44", True), ("IPX4", True), ("IP55", True), ("IP65", False)]
)
def test_dust_digit_6_does_not_count(code, counts):
    assert (dusty(hours([0.0] * 6, 8.0), code=code) > 0) == counts


def test_wet_ground_lifts_no_dust_until_it_has_dried():
    """5 mm fill the surface's 1 mm; FAO-56 empties it; below 0.1 mm it is dry again."""
    weather = hours([5.0, *[0.0] * 29], 8.0, temp=25.0, dew=10.0, cloud=0.0)
    water, expected = 0.0, 0
    for step in range(30):
        at = 12.5 + step
        day, hour = DAY_OF_YEAR + int(at // 24), at % 24
        gone = max(0.0, fao_hour(day, hour, 51.5, 0.0, 20.0, 25.0, 10.0, 8.0, 0.0))
        water = min(1.0, max(0.0, water + (5.0 if step == 0 else 0.0) - gone))
        expected += water < 0.1
    assert 5 < expected < 29
    assert dusty(weather) == expected


def test_with_no_temperature_nothing_dries():
    assert dusty(hours([5.0, *[0.0] * 29], 8.0, temp=np.nan)) == 0.0


def test_a_sprinkle_does_not_bind_dust():
    assert dusty(hours([0.09, 0.0, 0.0], 8.0, temp=np.nan)) == 3.0
    assert dusty(hours([0.11, 0.0, 0.0], 8.0, temp=np.nan)) == 0.0


def test_hours_sealed_or_brought_in_are_not_dusty():
    bag = Cover("bag", "bag", sealed=True, in_stock=1)
    own = {"cover": "bag", "covers": [bag]}
    log = [entry(1, "covered"), entry(3, "uncovered"), entry(5, "brought-in")]
    assert dusty(hours([0.0] * 6, 8.0), own=own, log=log) == 3.0


def test_dust_since_cleaning():
    found = run(one_fixture("IP54"), hours([0.0] * 6, 8.0), [entry(2.5, "cleaned")])
    assert found.dusty_hours[0, 0] == 6.0
    assert found.dusty_since_clean[0, 0] == 3.5


# ---------------------------------------------------------------- wet hours


def wet_hours(found):
    return found.wet_hours[0, found.group_of[0]]


def test_rain_and_then_its_film_until_it_has_dried():
    """The film holds 0.3 mm of the rain and evaporates by FAO-56."""
    weather = hours([2.0, 2.0, *[0.0] * 8], 2.0, temp=22.0, dew=12.0, cloud=50.0)
    film, expected = 0.3, 2.0
    for step in range(2, 10):
        gone = fao_hour(DAY_OF_YEAR, 12.5 + step, 51.5, 0.0, 20.0, 22.0, 12.0, 2.0, 0.5)
        assert gone > 0
        expected += min(1.0, film / gone)
        film = max(0.0, film - gone)
    assert 2.5 < expected < 6.0
    assert wet_hours(run(one_fixture(), weather)) == pytest.approx(expected, rel=1e-9)


def test_a_film_that_nothing_is_known_to_dry_stays():
    assert wet_hours(run(one_fixture(), hours([2.0, 0.0, 0.0], temp=np.nan))) == 3.0


def test_wet_hours_are_hours_out():
    log = [entry(2, "brought-in")]
    assert wet_hours(run(one_fixture(), hours([2.0] * 6), log)) == 2.0


def test_under_a_roof_in_calm_rain_it_stays_dry():
    described = one_fixture(positions=[UNDER], roofs=[ROOF])
    assert wet_hours(run(described, hours([2.0] * 6))) == 0.0


def test_days_with_a_wet_hour_count_toward_the_stay():
    """Wet on 1 and 3 July, dry on 2 July: two days."""
    dry = {"temp": 25.0, "dew": 5.0, "cloud": 0.0, "wind": 4.0}
    rain = [1.0, *[0.0] * 46, 1.0, *[0.0] * 5]
    found = run(one_fixture("IP44"), hours(rain, **dry))
    assert found.stay_days[0, 0] == 2.0
    after_check = run(
        one_fixture("IP44"), hours(rain, **dry), [entry(30, "inspected", result="dry")]
    )
    assert after_check.stay_days[0, 0] == 1.0
