"""Water on faces and on the worst plane, its angle to the fixture, and the airfield index."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.exposure.drops import RAIN, arriving_shares
from monitor.exposure.wetting import (
    angle_from_up_deg,
    driving_rain_index,
    face_flux,
    on_worst_plane,
    worst_plane_flux,
)

NAN = np.nan
SLOW_AND_FAST = np.array([2.0, 8.0])


# ------------------------------------------------------------------------------------------ faces


def test_in_a_calm_a_face_takes_what_it_shows_upward():
    tilts = np.array([0.0, 60.0, 90.0, 120.0, 180.0])
    np.testing.assert_allclose(
        face_flux(6.0, 0.0, tilts, 0.0), [6.0, 3.0, 0.0, 0.0, 0.0], atol=1e-9
    )


def test_a_wall_gets_nothing_from_behind_and_its_cosine_from_the_side():
    square_on = face_flux(4.0, 8.0, 90.0, 0.0)
    assert face_flux(4.0, 8.0, 90.0, 180.0) == pytest.approx(0.0, abs=1e-12)
    assert face_flux(4.0, 8.0, 90.0, 90.0) == pytest.approx(0.0, abs=1e-9)
    assert face_flux(4.0, 8.0, 90.0, 60.0) == pytest.approx(square_on / 2, rel=1e-9)


def test_a_flat_face_takes_the_rain_whatever_the_wind():
    np.testing.assert_allclose(face_flux(4.0, np.array([0.0, 8.0, 30.0]), 0.0, 0.0), 4.0)


def test_a_face_looking_down_gets_only_what_blows_up_to_it():
    assert face_flux(4.0, 30.0, 180.0, 0.0) == pytest.approx(0.0, abs=1e-12)
    assert face_flux(4.0, 8.0, 150.0, 0.0) > face_flux(4.0, 4.0, 150.0, 0.0) > 0.0


@pytest.mark.parametrize("wind", [0.0, 0.8, 3.0, 8.0, 20.0])
@pytest.mark.parametrize("rain", [0.1, 4.0, 60.0])
def test_the_worst_plane_is_the_worst_of_all_planes(rain, wind):
    """No face of a dense set takes more, and the best of them comes within a part in 10,000."""
    tilts = np.arange(0.0, 90.01, 0.25)
    faces = np.max(face_flux(rain, wind, tilts, 0.0))
    worst = worst_plane_flux(rain, wind)
    assert faces <= worst * (1 + 1e-12)
    assert faces == pytest.approx(worst, rel=1e-4)


# -------------------------------------------------------------------------------- the worst plane


def test_two_drop_speeds_by_hand():
    """1 mm/h at 2 m/s and 3 mm/h at 8 m/s, wind 4 m/s.

    m = (4 (1/2 + 3/8), 4) = (3.5, 4), |m| = sqrt(28.25) = 5.315073. By class
    q = r (U/V toward + up) / |m|: 1 (2 x 3.5 + 4) / 5.315073 = 2.069586 and
    3 (0.5 x 3.5 + 4) / 5.315073 = 3.245487, together 5.315073.
    """
    got = on_worst_plane(np.array([[1.0, 3.0]]), SLOW_AND_FAST, np.array([4.0]))
    assert got.wetting[0] == pytest.approx(5.315073, abs=1e-6)
    np.testing.assert_allclose(got.by_class, [[2.069586, 3.245487]], atol=1e-6)


def test_where_nothing_arrives_nothing_wets():
    got = on_worst_plane(np.zeros((2, 2)), SLOW_AND_FAST, np.array([0.0, 9.0]))
    assert got.wetting.tolist() == [0.0, 0.0]
    assert not got.by_class.any()


def test_shelter_turns_the_worst_plane_into_the_wind():
    """Only the slow class is let in: q = r sqrt(1 + (U/V)^2) of that class alone."""
    got = on_worst_plane(np.array([[1.0, 0.0]]), SLOW_AND_FAST, np.array([4.0]))
    assert got.wetting[0] == pytest.approx(np.sqrt(1.0 + 2.0**2))


@pytest.mark.parametrize("rain", [0.05, 1.0, 100.0])
def test_classes_add_up_to_the_wetting_and_none_is_negative(rain):
    wind = np.array([0.0, 0.5, 5.0, 40.0])
    rates = np.tile(rain * arriving_shares(np.array(rain)), (4, 1))
    got = on_worst_plane(rates, RAIN.speed, wind)
    assert (got.by_class >= 0.0).all()
    np.testing.assert_allclose(got.by_class.sum(axis=1), got.wetting, rtol=1e-12)
    np.testing.assert_allclose(got.wetting, worst_plane_flux(rain, wind), rtol=1e-12)


# ------------------------------------------------------------------------------ angles to the up


def angles(mount, wind, wind_from=0.0, tilt=0.0, facing=0.0, speed=(4.0,)):
    got = angle_from_up_deg(
        mount, np.array(speed), np.array([wind]), np.array([wind_from]), tilt, facing
    )
    assert got.shape == (1, len(speed))
    return got[0, 0]


@pytest.mark.parametrize(
    ("mount", "wind", "expected"),
    [
        ("upright", 0.0, 0.0),
        ("upright", 4.0, 45.0),
        ("upright", 4.0 * np.sqrt(3.0), 60.0),
        ("inverted", 0.0, 180.0),
        ("inverted", 4.0, 135.0),
        ("any", 0.0, 180.0),
        ("any", 4.0, 180.0),
    ],
)
def test_upright_inverted_and_any(mount, wind, expected):
    for wind_from in (0.0, 77.0, NAN):
        assert angles(mount, wind, wind_from) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("tilt", "facing", "wind_from", "expected"),
    [
        (45.0, 90.0, 90.0, 0.0),  # leans into drops at 45 degrees: straight onto its top
        (45.0, 90.0, 270.0, 90.0),
        (90.0, 90.0, 90.0, 45.0),
        (90.0, 90.0, 0.0, 90.0),  # on its side, rain across
        (180.0, 90.0, 0.0, 135.0),  # upside down
        (0.0, 90.0, 0.0, 45.0),  # upright
        (45.0, 10.0, 350.0, np.degrees(np.arccos(0.5 + 0.5 * np.cos(np.radians(20.0))))),
    ],
)
def test_tilted(tilt, facing, wind_from, expected):
    got = angles("tilted", 4.0, wind_from, tilt, facing)
    assert got == pytest.approx(expected, abs=2e-6)


def test_tilted_without_a_known_direction_is_the_worst_unless_it_is_calm():
    assert angles("tilted", 4.0, NAN, 30.0, 90.0) == 180.0
    assert angles("tilted", 0.0, NAN, 30.0, 90.0) == pytest.approx(30.0)
    assert angles("tilted", 0.0, 90.0, 30.0, 270.0) == pytest.approx(30.0)


def test_slow_drops_come_flatter():
    got = angle_from_up_deg("upright", np.array([1.0, 4.0, 9.0]), np.array([4.0]), np.array([0.0]))
    assert (np.diff(got[0]) < 0).all()


# ------------------------------------------------------------------------------ the airfield index


def index(rain, wind, wind_from, wall=0.0, hours=1.0):
    rain, wind, wind_from = (
        np.atleast_1d(np.asarray(x, dtype=float)) for x in (rain, wind, wind_from)
    )
    return driving_rain_index(rain, np.full(rain.shape, hours), wind, wind_from, wall)


def test_the_index_counts_what_blows_onto_the_wall_only():
    term = 2.0 / 9.0 * 9.0 * 1.0
    assert index(1.0, 9.0, 0.0) == pytest.approx(term)
    assert index(1.0, 9.0, 60.0) == pytest.approx(term / 2)
    assert index(1.0, 9.0, 90.0) == pytest.approx(0.0, abs=1e-12)
    assert index(1.0, 9.0, 180.0) == 0.0
    assert index(1.0, 9.0, 350.0, wall=10.0) == pytest.approx(term * np.cos(np.radians(20.0)))


def test_the_index_takes_a_rate_whatever_the_steps_length():
    """3 mm in 3 h is 1 mm/h for 3 h: three times an hour's term; 0.25 mm in 15 min a quarter."""
    assert index(3.0, 9.0, 0.0, hours=3.0) == pytest.approx(3 * 2.0)
    assert index(0.25, 9.0, 0.0, hours=0.25) == pytest.approx(0.25 * 2.0)


def test_the_index_knows_no_dry_threshold():
    """0.01 mm/h: 2/9 x 9 x 0.01^(8/9) = 2 x 0.016681 = 0.033362."""
    assert index(0.01, 9.0, 0.0) == pytest.approx(0.0333620, abs=5e-7)


@pytest.mark.parametrize(
    ("rain", "wind", "wind_from"),
    [(NAN, 9.0, 0.0), (1.0, NAN, 0.0), (1.0, 9.0, NAN), (1.0, 0.0, NAN), (0.0, 9.0, 0.0)],
)
def test_steps_that_miss_a_value_are_left_out_and_a_calm_adds_nothing(rain, wind, wind_from):
    assert index(rain, wind, wind_from) == 0.0
    with_another = index([rain, 1.0], [wind, 9.0], [wind_from, 0.0])
    assert with_another == pytest.approx(2.0)
