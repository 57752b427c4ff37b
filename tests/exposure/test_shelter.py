"""Roofs, sides, covers and spray: which drops arrive, worked by hand on one or two speeds."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.domain import Roof, Spray
from monitor.exposure.drops import RAIN, Classes, arriving_shares
from monitor.exposure.shelter import (
    Spot,
    cover_cut,
    part_slower,
    ray_to_edge,
    share_let_in,
    spray_rates,
)

NAN = np.nan


def classes(*speeds, half=0.5):
    speed = np.array(speeds, dtype=float)
    return Classes(speed, speed - half, speed + half)


def spot(front=3.0, right=6.0, *, rise=3.0, closed=(), facing=180.0):
    """Under a roof 12 m wide and 10 m deep whose front faces south unless said."""
    return Spot(Roof("r", facing, 12.0, 10.0, 8.0, frozenset(closed)), front, right, rise)


def let_in(under, wind, wind_from, drops=None, *, spread=0.0, eddy=0.0, hood=None):
    share = share_let_in(
        classes(6.0) if drops is None else drops,
        np.atleast_1d(np.asarray(wind, dtype=float)),
        np.atleast_1d(np.asarray(wind_from, dtype=float)),
        spot=under,
        keeps_out_to_deg=hood,
        spread_deg=spread,
        eddy_share=eddy,
    )
    return None if share is None else share[0]


# ------------------------------------------------------------------------------- rays and edges


@pytest.mark.parametrize(
    ("facing", "toward", "expected"),
    [
        (180.0, 180.0, 3.0),  # front
        (180.0, 270.0, 6.0),  # right: clockwise of a south front from above is west
        (180.0, 0.0, 7.0),  # back: 10 - 3
        (180.0, 90.0, 6.0),  # left: 12 - 6
        (180.0, 240.0, 6.0),  # front at 60 degrees: 3 / cos 60, before right at 6 / cos 30
        (0.0, 0.0, 3.0),
        (0.0, 90.0, 6.0),
        (45.0, 225.0, 7.0),
        (45.0, 405.0, 3.0),  # a whole turn on
    ],
)
def test_ray_meets_the_nearest_edge(facing, toward, expected):
    distance, is_open = ray_to_edge(spot(facing=facing), np.array(toward))
    assert distance == pytest.approx(expected, abs=1e-9)
    assert is_open


def test_a_corner_counts_as_its_open_side():
    """Equal ways to a closed front and an open right: the open one counts."""
    under = spot(front=6.0, right=6.0, closed=["front"])
    distance, is_open = ray_to_edge(under, np.array([225.0, 200.0, 250.0]))
    assert distance[0] == pytest.approx(6.0 * np.sqrt(2.0))
    assert is_open.tolist() == [True, False, True]


def test_at_the_very_edge_everything_that_blows_in_arrives():
    assert let_in(spot(front=0.0), 0.5, 180.0, classes(1.0, 9.17)).tolist() == [1.0, 1.0]
    assert let_in(spot(front=0.0), 0.5, 0.0, classes(1.0, 9.17)).tolist() == [0.0, 0.0]


def test_in_the_corner_itself_a_wind_along_an_edge_meets_it_at_once():
    """Front and right 0 m away: the front is met at 0, the ray along the right edge never."""
    at_corner = spot(front=0.0, right=0.0, facing=0.0)
    distance, is_open = ray_to_edge(at_corner, np.array([0.0, 45.0]))
    assert distance.tolist() == [0.0, 0.0]
    assert is_open.all()
    assert let_in(at_corner, 0.5, 0.0, classes(9.0)).tolist() == [1.0]


# ---------------------------------------------------------------------------- cuts through a class


@pytest.mark.parametrize(
    ("cut", "part"), [(5.5, 0.0), (5.0, 0.0), (5.75, 0.25), (6.0, 0.5), (6.5, 1.0), (9.0, 1.0)]
)
def test_a_class_cut_by_an_edge_counts_by_its_part(cut, part):
    assert part_slower(classes(6.0), np.array(cut))[0] == pytest.approx(part)


@pytest.mark.parametrize(("wind", "part"), [(5.5, 0.0), (5.75, 0.25), (6.0, 0.5), (7.0, 1.0)])
def test_a_drop_passes_where_it_falls_slower_than_the_slope_asks(wind, part):
    """V < U rise / d with d = rise = 3 m: the cut is the wind itself."""
    assert let_in(spot(), wind, 180.0)[0] == pytest.approx(part)


def test_the_cut_grows_with_rise_and_falls_with_distance():
    assert let_in(spot(rise=6.0), 3.0, 180.0)[0] == pytest.approx(0.5)
    assert let_in(spot(front=6.0), 12.0, 180.0)[0] == pytest.approx(0.5)


def test_the_last_class_of_rain_has_one_speed_and_is_in_or_out():
    assert part_slower(RAIN, np.array([9.169, 9.171]))[:, -1].tolist() == [0.0, 1.0]
    np.testing.assert_array_equal(part_slower(RAIN, np.array(0.0)), 0.0)
    np.testing.assert_array_equal(part_slower(RAIN, np.array(np.inf)), 1.0)


# ------------------------------------------------------------------- open, closed, calm, unknown


def test_in_the_open_everything_arrives():
    assert let_in(None, 5.0, 0.0) is None


def test_under_a_roof_nothing_falls_in_without_wind_or_through_a_closed_side():
    assert let_in(spot(), 0.0, 180.0, eddy=0.05)[0] == 0.0
    assert let_in(spot(), 0.0, NAN, eddy=0.05)[0] == 0.0
    assert let_in(spot(closed=["front"]), 30.0, 180.0, eddy=0.05)[0] == 0.0
    assert let_in(spot(closed=["front"]), 30.0, 270.0)[0] == 1.0


def test_a_wholly_closed_roof_lets_nothing_in():
    shut = spot(closed=["front", "right", "back", "left"])
    for wind_from in (0.0, 137.0, NAN):
        assert let_in(shut, 30.0, wind_from, eddy=0.05, spread=20.0)[0] == 0.0


def test_direction_not_known_runs_square_to_the_nearest_open_side():
    """Front 3 m: cut 6 m/s at 6 m/s of wind. With the front closed the next are 6 m: cut 3."""
    assert let_in(spot(), 6.0, NAN, spread=20.0)[0] == pytest.approx(0.5)
    closed = spot(closed=["front"])
    assert let_in(closed, 6.0, NAN, spread=20.0)[0] == 0.0
    assert let_in(closed, 12.0, NAN, spread=20.0)[0] == pytest.approx(0.5)


# --------------------------------------------------------------------------------- rays and eddies


def test_three_rays_weigh_a_quarter_a_half_a_quarter():
    """Wind onto a front closed but for what its rays at 20 degrees reach.

    From 225 degrees, 6 m from front and right: the ray at 225 meets the corner (open right
    counts), the one at 205 the closed front, the one at 245 the open right after
    6 / cos(270 - 245) = 6.620 m. With U 20 m/s and rise 3 m both let 6 m/s in.
    """
    under = spot(front=6.0, right=6.0, closed=["front"])
    assert let_in(under, 20.0, 225.0, spread=20.0)[0] == pytest.approx(0.5 + 0.25)
    assert let_in(under, 20.0, 205.0, spread=20.0)[0] == pytest.approx(0.25)
    assert let_in(under, 20.0, 250.0, spread=20.0)[0] == pytest.approx(0.5 + 0.25 + 0.25)


@pytest.mark.parametrize(
    ("front", "wind", "expected"),
    [
        (3.0, 1.0, 0.05 * 1.0 * 0.5),  # d = rise: full reach; half the wind at which it is full
        (3.0, 2.0, 0.05),
        (4.5, 2.0, 0.05 * 0.5),  # d / rise 1.5
        (6.0, 2.0, 0.0),  # two rises in: none
        (1.5, 2.0, 0.05),  # closer than a rise: no more than all of it
    ],
)
def test_eddies_carry_a_share_in_near_an_open_edge(front, wind, expected):
    """Drops of 9 m/s, which no slant lets in: a = 0, s = e."""
    got = let_in(spot(front=front), wind, 180.0, classes(9.0), eddy=0.05)
    assert got[0] == pytest.approx(expected)


def test_eddies_add_only_to_what_the_edge_keeps_out():
    """a = 1/2, e = 0.05: s = 0.5 + 0.05 x 0.5."""
    assert let_in(spot(), 6.0, 180.0, eddy=0.05)[0] == pytest.approx(0.525)


# ----------------------------------------------------------------------------------------- covers


def test_a_hood_lets_in_what_slants_beyond_its_angle():
    """45 degrees: V < U. 60 degrees: V < U / 1.7321."""
    assert let_in(None, 6.0, 0.0, hood=45.0)[0] == pytest.approx(0.5)
    assert let_in(None, 6.0, 0.0, hood=60.0)[0] == 0.0
    assert let_in(None, 6.0 * np.sqrt(3.0), 0.0, hood=60.0)[0] == pytest.approx(0.5)


def test_a_hood_needs_no_direction_and_keeps_all_out_in_a_calm():
    assert let_in(None, 6.0, NAN, hood=45.0)[0] == pytest.approx(0.5)
    assert let_in(None, 0.0, NAN, hood=45.0)[0] == 0.0


@pytest.mark.parametrize("angle", [90.0, 120.0, 180.0])
def test_from_ninety_degrees_nothing_passes(angle):
    assert cover_cut(angle, np.array([0.0, 40.0])).tolist() == [0.0, 0.0]
    assert (share_let_in(RAIN, np.array([40.0]), np.array([0.0]), spot=None, keeps_out_to_deg=angle,
                         spread_deg=20.0, eddy_share=0.05) == 0.0).all()  # fmt: skip


@pytest.mark.parametrize(
    ("hood", "expected"),
    [
        (45.0, 0.5),  # roof cut 12, hood cut 6: the hood's
        (20.0, 1.0),  # hood cut 6 / tan 20 = 16.5: the roof's 12 lets all of 6 m/s in
        (90.0, 0.0),
    ],
)
def test_roof_and_hood_combine_by_the_smaller_cut_without_eddies(hood, expected):
    under = spot(front=1.5)  # rise 3 m: cut 2 U
    got = let_in(under, 6.0, 180.0, hood=hood, eddy=0.05)
    assert got[0] == pytest.approx(expected)


# ------------------------------------------------------------------------------------------ spray


def fountain(wind, wind_from, *, distance=10.0, drops=None, shares=None):
    drops = classes(4.0, half=1e-6) if drops is None else drops
    return spray_rates(
        drops,
        np.ones(len(drops.speed)) if shares is None else shares,
        Spray(5.0, distance, 90.0, 2.0),
        np.array([wind]),
        np.array([wind_from]),
    )[0]


def test_one_drop_size_lands_in_its_ring_sector():
    """4 m/s from 5 m up in 8 m/s drifts 10 m: all of 2 L/min over pi/12 (11^2 - 9^2) m2.

    60 x 2 / 10.47198 = 11.459 mm/h.
    """
    assert fountain(8.0, 90.0)[0] == pytest.approx(11.459, abs=5e-4)
    assert fountain(7.0, 90.0)[0] == 0.0  # drifts 8.75 m
    assert fountain(9.0, 90.0)[0] == 0.0  # drifts 11.25 m


@pytest.mark.parametrize(
    ("wind_from", "reaches"),
    [(90.0, True), (75.0, True), (105.0, True), (74.9, False), (105.1, False), (270.0, False)],
)
def test_spray_reaches_within_fifteen_degrees_of_the_source(wind_from, reaches):
    assert (fountain(8.0, wind_from)[0] > 0.0) == reaches


def test_the_bearing_wraps_round_north():
    spray = Spray(5.0, 10.0, 355.0, 2.0)
    drops = classes(4.0, half=1e-6)
    got = spray_rates(drops, np.ones(1), spray, np.full(3, 8.0), np.array([5.0, 345.0, 15.0]))
    assert (got[:, 0] > 0.0).tolist() == [True, True, False]


def test_direction_not_known_counts_as_from_the_source_but_a_calm_does_not():
    assert fountain(8.0, NAN)[0] == pytest.approx(fountain(8.0, 90.0)[0])
    assert fountain(0.0, NAN)[0] == 0.0
    assert fountain(0.0, 90.0)[0] == 0.0


def test_beside_the_fountain_the_sector_starts_at_the_fixture():
    """d 0.5 m: pi/12 x 1.5^2 = 0.58905 m2; all that drifts up to 1.5 m lands there.

    4 m/s from 5 m up in 1 m/s drifts 1.25 m: 60 x 2 / 0.58905 = 203.718 mm/h.
    """
    assert fountain(1.0, 90.0, distance=0.5)[0] == pytest.approx(203.718, abs=5e-4)
    assert fountain(1.3, 90.0, distance=0.5)[0] == 0.0  # 1.625 m


def test_all_rings_together_take_no_more_than_is_lost():
    """Over rings 2 m wide side by side, each a 30-degree sector, the water adds up to 2 L/min
    less what drifts further than the last ring."""
    shares = arriving_shares(np.array(10.0))
    litres = 0.0
    for distance in np.arange(1.0, 400.0, 2.0):
        rate = fountain(8.0, 90.0, distance=distance, drops=RAIN, shares=shares).sum()
        area = np.pi / 12.0 * ((distance + 1.0) ** 2 - (distance - 1.0) ** 2)
        litres += rate * area / 60.0
    assert litres == pytest.approx(2.0, rel=1e-3)
    assert litres <= 2.0
