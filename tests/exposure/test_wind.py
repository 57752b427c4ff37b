"""Wind and gust where the fixture hangs."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.exposure.wind import (
    gust_10m,
    gust_at,
    gust_factor,
    open_country_factor,
    roughness_coefficient,
    wind_10m,
    wind_at,
)

TERRAINS = ("I", "II", "III", "IV")
LEAST_M = {"I": 2.0, "II": 4.0, "III": 8.0, "IV": 16.0}
NAN = np.nan


@pytest.mark.parametrize("terrain", TERRAINS)
def test_wind_does_not_fall_further_below_the_least_height(terrain):
    least = LEAST_M[terrain]
    for height in (-2.0, 0.0, 0.3, least / 2):
        assert roughness_coefficient(height, terrain) == roughness_coefficient(least, terrain)
    heights = [least, least * 1.5, 30.0, 80.0, 150.0]
    coefficients = [roughness_coefficient(h, terrain) for h in heights]
    assert coefficients == sorted(coefficients)
    assert coefficients[0] < coefficients[-1]


@pytest.mark.parametrize("height", [0.3, 4.0, 10.0, 20.0])
def test_rougher_country_slows_the_wind(height):
    coefficients = [roughness_coefficient(height, terrain) for terrain in TERRAINS]
    assert coefficients == sorted(coefficients, reverse=True)


def test_ten_metres_over_open_country_is_where_wind_is_measured():
    assert open_country_factor(10.0) == 1.0
    assert open_country_factor(2.0) > 1.0 > open_country_factor(50.0)
    assert open_country_factor(0.1) == open_country_factor(1.0)


def at(wind, *, height=6.0, terrain="III", basis="open", measured=10.0, site="III"):
    return wind_at(
        np.asarray(wind), height, terrain, basis=basis, wind_height_m=measured, site=site
    )


def test_calm_stays_calm_and_missing_stays_missing():
    got = at([0.0, NAN, 5.0])
    assert got[0] == 0.0
    assert np.isnan(got[1])
    assert got[2] == pytest.approx(5.0 * 0.22 * np.log(8.0 / 0.3))


def test_open_wind_does_not_ask_for_the_sites_terrain():
    assert {float(at(5.0, site=site)) for site in TERRAINS} == {float(at(5.0))}


@pytest.mark.parametrize("terrain", TERRAINS)
@pytest.mark.parametrize("height", [3.0, 20.0])
def test_local_wind_at_its_own_height_and_terrain_is_the_fixtures_wind(terrain, height):
    """Never both: wind that carries the site's roughness is not slowed by it again."""
    got = at(7.0, height=height, terrain=terrain, basis="local", measured=height, site=terrain)
    assert got == pytest.approx(7.0, rel=1e-12)


def test_local_wind_moves_from_the_sites_terrain_to_the_positions():
    """4 m/s at 10 m in a town to 10 m over water: 4 x 0.17 ln 1000 / (0.24 ln 16) = 7.059."""
    got = at(4.0, height=10.0, terrain="I", basis="local", measured=10.0, site="IV")
    assert got == pytest.approx(4.0 * 0.17 * np.log(1000.0) / (0.24 * np.log(16.0)), rel=1e-12)
    assert got == pytest.approx(7.059, abs=5e-4)


def test_wind_at_ten_metres():
    """Open: 5 m/s at 2 m is 5 ln 200 / ln 40 = 7.181; local in III: C_R(10) / C_R(z_min 8)."""
    five = np.array([5.0, NAN])
    np.testing.assert_allclose(wind_10m(five, "open", 2.0, "IV"), [7.18147, NAN], rtol=1e-5)
    np.testing.assert_allclose(
        wind_10m(five, "local", 2.0, "III"),
        [5.0 * np.log(10.0 / 0.3) / np.log(8.0 / 0.3), NAN],
        rtol=1e-12,
    )


# --------------------------------------------------------------------------------------- gusts


def test_rougher_country_is_gustier():
    assert gust_factor(10.0, 0.3) > gust_factor(10.0, 0.05) > gust_factor(10.0, 0.01) > 1.0


@pytest.mark.parametrize(("basis", "z0"), [("open", 0.05), ("local", 0.3)])
def test_a_gust_not_given_is_derived_from_the_mean(basis, z0):
    """z0 of open country for `open`, of the site (III, 0.3 m) for `local`."""
    got = gust_10m(np.array([NAN, NAN]), np.array([10.0, NAN]), basis, 10.0, "III")
    assert got[0] == pytest.approx(10.0 * np.sqrt(1.0 + 7.0 / np.log(10.0 / z0)), rel=1e-12)
    assert np.isnan(got[1])


def test_a_gust_that_is_given_stands_even_where_no_wind_is():
    got = gust_10m(np.array([14.0, 14.0]), np.array([3.0, NAN]), "open", 10.0, "II")
    assert got.tolist() == [14.0, 14.0]


def test_a_given_gust_is_raised_from_below_ten_metres_and_never_lowered_from_above():
    low = gust_10m(np.array([14.0]), np.array([NAN]), "open", 2.0, "II")
    assert low[0] == pytest.approx(14.0 * np.log(200.0) / np.log(40.0), rel=1e-12)
    assert gust_10m(np.array([14.0]), np.array([NAN]), "open", 50.0, "II")[0] == 14.0


@pytest.mark.parametrize("terrain", TERRAINS)
def test_a_gust_at_a_height_is_raised_aloft_and_never_lowered(terrain):
    gust = np.array([15.0, NAN])
    for height in (-1.0, 0.5, 5.0, 10.0):
        np.testing.assert_array_equal(gust_at(gust, height, terrain), gust)
    ratio = roughness_coefficient(40.0, terrain) / roughness_coefficient(10.0, terrain)
    np.testing.assert_allclose(gust_at(gust, 40.0, terrain), gust * ratio)
    assert ratio > 1.0
