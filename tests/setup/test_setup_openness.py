"""From where rain reaches a place under a roof.

By hand: a drop of 2 mm falls at 6.5 m/s and a gale blows at 17.2 m/s, so within a rise of R it
gets in R x 17.2 / 6.5 = 2.6462 R. An edge square at d lies d / cos(a) away at an angle a off
square, so it is reached for cos(a) >= d / (2.6462 R). Azimuths come in steps of half a degree.
"""

from __future__ import annotations

import pytest

from monitor.domain import Roof
from monitor.setup.openness import openness

ALL = frozenset({"front", "right", "back", "left"})


def test_the_downstage_truss():
    """R 1.5: reach 3.969. Front at 1: cos >= 0.25194, a <= 75.41: 149.59 to 300.41. The right
    and left edge, 8 m off, are out of reach.
    """
    stage = Roof("stage", 225.0, 16.0, 10.0, 9.0, frozenset({"back"}))
    found = openness(stage, 7.5, 1.0, 8.0)
    assert found.sectors == ((150.0, 300.0),)
    assert found.least_slant_deg == pytest.approx(33.69, abs=0.005)  # atan(1 / 1.5)
    assert found.least_wind_mps == pytest.approx(6.5 / 1.5)
    assert found.side == "front"


def test_the_upstage_truss_is_out_of_reach():
    """R 2: reach 5.292, and the nearest open edge is 7 m off: atan(7 / 2) = 74.05."""
    stage = Roof("stage", 225.0, 16.0, 10.0, 9.0, frozenset({"back"}))
    found = openness(stage, 7.0, 7.0, 8.0)
    assert found.sectors == ()
    assert found.least_slant_deg == pytest.approx(74.05, abs=0.005)
    assert found.side == "front"


def test_a_tent_open_in_front():
    """R 0.6: reach 1.5877. Front at 1.5: cos >= 0.94477, a <= 19.13: 25.87 to 64.13."""
    tent = Roof("foh", 45.0, 3.0, 3.0, 2.8, ALL - {"front"})
    assert openness(tent, 2.2, 1.5, 1.5).sectors == ((26.0, 64.0),)


def test_near_a_corner_two_sides_are_one_sector():
    """R 0.5: reach 1.3231. At 0.8: cos >= 0.60464, a <= 52.80 about 210 and about 300."""
    bar = Roof("bar", 210.0, 6.0, 4.0, 3.1, frozenset())
    assert openness(bar, 2.6, 0.8, 0.8).sectors == ((157.5, 352.5),)


def test_a_sector_across_north_is_one():
    north = Roof("shed", 0.0, 16.0, 10.0, 9.0, ALL - {"front"})
    assert openness(north, 7.5, 1.0, 8.0).sectors == ((285.0, 75.0),)


def test_a_small_canopy_is_open_all_round():
    """R 2: reach 5.29, beyond its corners, 0.71 m off."""
    canopy = Roof("canopy", 10.0, 1.0, 1.0, 4.0, frozenset())
    found = openness(canopy, 2.0, 0.5, 0.5)
    assert found.sectors == ((0.0, 360.0),)
    assert found.least_slant_deg == pytest.approx(14.04, abs=0.005)  # atan(0.5 / 2)


def test_closed_all_round():
    hall = Roof("hall", 0.0, 10.0, 10.0, 150.0, ALL)
    found = openness(hall, 3.0, 5.0, 5.0)
    assert (found.sectors, found.least_slant_deg, found.side) == ((), None, None)
