"""Dew, the water film and what the sun and the air take away again."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from exposure.rigs import entry, hours, one_fixture, run

from monitor.exposure.damp import (
    Sun,
    damp_open,
    damp_sheltered,
    dew_point_c,
    evaporation_mm_h,
    film_step,
    night_undercooling_k,
    sun,
)

NAN = np.nan
NOON_SUN = Sun(np.array(0.8), np.array(1.0))
NO_SUN = Sun(np.array(-0.5), np.array(1.0))


def test_saturated_air_is_at_its_dew_point():
    temps = np.array([-5.0, 0.0, 12.0, 30.0])
    np.testing.assert_allclose(dew_point_c(temps, 100.0), temps, atol=1e-9)


def test_dew_point_rises_with_humidity_and_misses_what_is_missing():
    assert (np.diff(dew_point_c(20.0, np.array([20.0, 50.0, 80.0, 99.0]))) > 0).all()
    assert np.isnan(dew_point_c(NAN, 50.0))
    assert np.isnan(dew_point_c(20.0, NAN))


# ------------------------------------------------------------------------------ undercooling


def test_overcast_leaves_a_sixth_of_the_cooling():
    """e = e0 + (1 - e0) 0.84 N: at N = 1 the sky lacks 0.16 of what it lacked when clear."""
    clear = night_undercooling_k(15.0, 10.0, 1.0, 0.0)
    overcast = night_undercooling_k(15.0, 10.0, 1.0, 1.0)
    assert overcast == pytest.approx(0.16 * clear, rel=1e-12)


def test_wind_brings_the_surface_back_to_the_air():
    cooling = night_undercooling_k(15.0, 10.0, np.array([0.0, 1.0, 3.0, 10.0]), 0.0)
    assert (np.diff(cooling) > 0).all()
    assert (cooling < 0).all()


def test_heat_and_shade_lift_the_surface():
    """Without sky and with P watts the surface is P / (4 + 4u + 4 eps sigma Ta^3) warmer.

    Ta 288.15 K: 4 x 0.94 x 5.670e-8 x 288.15^3 = 5.10066; u 1: 13.10066 W/m2 K.
    """
    assert night_undercooling_k(15.0, 10.0, 1.0, 0.0, sky_view=0.0) == 0.0
    warm = night_undercooling_k(15.0, 10.0, 1.0, 0.0, sky_view=0.0, power_w_m2=26.20132)
    assert warm == pytest.approx(2.0, abs=1e-5)


# --------------------------------------------------------------------------------- damp hours


@pytest.mark.parametrize(
    ("dew", "sun_sine", "expected"),
    [
        (9.475, -0.1, True),  # 15 - 5.5253 = 9.4747: the surface at its dew point
        (9.0, 0.1, False),
        (12.0, 0.1, False),  # the sun is up
        (12.0, 0.0, True),  # elevation 0 is down
        (NAN, -0.1, False),
    ],
)
def test_dew_in_the_open(dew, sun_sine, expected):
    clear = np.array([0.0])
    got = damp_open(np.array([15.0]), np.array([dew]), np.array([1.0]), clear, np.array([sun_sine]))
    assert got.tolist() == [expected]


def test_cloud_not_known_is_half_covered():
    temp, wind, down = np.array([15.0]), np.array([1.0]), np.array([-0.1])
    for dew in np.arange(8.0, 15.0, 0.05):
        point = np.array([dew])
        unknown = damp_open(temp, point, wind, np.array([NAN]), down)
        half = damp_open(temp, point, wind, np.array([50.0]), down)
        assert unknown == half


@pytest.mark.parametrize(
    ("temp", "dew", "expected"),
    [(15.0, 14.0, True), (15.0, 13.99, False), (15.0, 15.0, True), (15.0, NAN, False)],
)
def test_near_saturation_under_a_roof(temp, dew, expected):
    assert damp_sheltered(np.array([temp]), np.array([dew])).tolist() == [expected]


# -------------------------------------------------------------------------------------- the sun


@pytest.mark.parametrize(
    ("day", "hour", "latitude", "longitude", "above"),
    [
        ((2024, 6, 21), 12, 51.5, 0.0, True),
        ((2024, 6, 21), 0, 51.5, 0.0, False),
        ((2024, 6, 21), 0, 69.6, 18.9, True),  # the midnight sun of Tromso
        ((2024, 12, 21), 11, 69.6, 18.9, False),  # and its night at noon
        ((2024, 12, 21), 1, -33.9, 151.2, True),  # Sydney, towards noon
        ((2024, 6, 21), 0, 40.7, -74.2, True),  # Newark at 20 h, half an hour before sunset
    ],
)
def test_the_sun_is_up_where_everybody_knows_it_is(day, hour, latitude, longitude, above):
    at = datetime(*day, hour, tzinfo=UTC).timestamp()
    assert (sun(at, latitude, longitude).sine > 0) == above


def test_the_last_day_of_a_leap_year_joins_the_first_of_the_next():
    """Day 366 and day 1 of the formulas: the sun moves under 0.2 degrees between two noons."""
    noons = [datetime(2024, 12, 31, 12, tzinfo=UTC), datetime(2025, 1, 1, 12, tzinfo=UTC)]
    heights = np.degrees(np.arcsin([sun(n.timestamp(), 51.5, 0.0).sine for n in noons]))
    assert abs(np.diff(heights)[0]) < 0.2


# ------------------------------------------------------------------------------------ evaporation


def dries(temp=20.0, dew=10.0, wind=3.0, cloud=20.0, at=NOON_SUN):
    return float(
        evaporation_mm_h(np.array(temp), np.array(dew), np.array(wind), np.array(cloud), at, 0.0)
    )


@pytest.mark.parametrize("missing", ["temp", "dew", "wind"])
def test_nothing_dries_unseen(missing):
    assert dries(**{missing: NAN}) == 0.0


def test_evaporation_is_never_below_zero_and_follows_sun_dryness_and_wind():
    assert dries(dew=20.0, temp=20.0, wind=0.0, cloud=0.0, at=NO_SUN) == 0.0
    assert dries() > dries(cloud=100.0) > dries(cloud=100.0, at=NO_SUN) > 0.0
    assert dries(dew=5.0) > dries()
    assert dries(wind=8.0, at=NO_SUN) > dries(at=NO_SUN)
    assert dries(cloud=NAN) == dries(cloud=50.0)


# ---------------------------------------------------------------------------------------- the film


@pytest.mark.parametrize(
    ("film", "gain", "evaporation", "length", "end", "stood"),
    [
        (0.0, 0.0, 0.2, 1.0, 0.0, 0.0),  # dry stays dry
        (0.0, 1.0, 0.2, 1.0, 0.3, 1.0),  # fills to its store
        (0.3, 0.0, 0.2, 1.0, 0.1, 1.0),  # still there
        (0.1, 0.0, 0.2, 1.0, 0.0, 0.5),  # gone after 0.1 / 0.2 h
        (0.3, 0.0, 0.0, 6.0, 0.3, 6.0),  # nothing dries it
        (0.2, 0.1, 0.2, 3.0, 0.0, 2.0),  # gains 0.1, loses 0.2: lasts 0.2 / 0.1 h
        (0.0, 0.1, 0.05, 2.0, 0.1, 2.0),
    ],
)
def test_the_film_over_a_step(film, gain, evaporation, length, end, stood):
    got_end, got_stood = film_step(np.array([film]), np.array([gain]), evaporation, length, 0.3)
    assert got_end[0] == pytest.approx(end, abs=1e-12)
    assert got_stood[0] == pytest.approx(stood, abs=1e-12)


def test_no_film_builds_where_more_dries_than_falls():
    end, stood = film_step(np.array([0.0]), np.array([0.1]), 0.2, 1.0, 0.3)
    assert end[0] == 0.0
    assert stood[0] == 0.0


# --------------------------------------------------------------------------- through the one way in


def test_a_clear_calm_night_counts_its_hours_and_an_extended_fixture_has_none():
    night = hours(
        rain=[0.0] * 4,
        wind=0.5,
        temp=12.0,
        dew=10.0,
        cloud=0.0,
        start=datetime(2027, 7, 1, 22, tzinfo=UTC),
    )
    out_from = datetime(2027, 7, 1, 22, tzinfo=UTC)
    assert run(one_fixture("IP44"), night, out_from=out_from).damp_hours[0, 0] == 4.0
    assert run(one_fixture("IP65"), night, out_from=out_from).damp_hours[0, 0] == 0.0


def test_a_night_runs_noon_to_noon_and_a_dry_inspection_settles_it():
    """Two nights of 4 and 2 damp hours under saturated air: the most in one night is 4."""
    dew = np.full(48, -20.0)
    dew[[9, 10, 13, 14]] = 12.0  # from noon: 21, 22, 01, 02 h, one night
    dew[[34, 35]] = 12.0  # 22, 23 h of the next
    weather = hours(rain=[0.0] * 48, wind=0.0, temp=12.0, dew=dew, cloud=100.0)
    took = run(one_fixture("IP44"), weather)
    assert took.damp_hours[0, 0] == 6.0
    assert took.damp_night_most[0, 0] == 4.0
    settled = run(one_fixture("IP44"), weather, [entry(24, "inspected", result="dry")])
    assert settled.damp_night_most[0, 0] == 2.0
