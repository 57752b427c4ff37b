"""The derived rows of the sheets worked again in plain Python, without the program.

Each figure is held three ways: as printed in tests/published, as worked here from the published
formulas alone (fine_spectrum.py, fao_by_hand.py), and as the program gives it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from exposure.fao_by_hand import fao_elevation, fao_hour
from exposure.fine_spectrum import summed, used_by_digit_3
from exposure.rigs import hours, one_fixture, run

from monitor.domain import Spray
from monitor.exposure.damp import evaporation_mm_h, sun
from monitor.exposure.drops import RAIN, arriving_shares, bulk_fall_speed
from monitor.exposure.shelter import spray_rates
from monitor.exposure.wetting import face_flux, worst_plane_flux

SIXTH_OF_JULY = 1373068800.0  # 2013-07-06T00:00Z, day 187


@pytest.mark.parametrize(
    ("rain", "printed"), [(0.5, 3.7286), (1, 4.2249), (4, 5.2926), (10, 6.0219), (50, 7.2138)]
)
def test_bulk_fall_speed(rain, printed):
    worked = summed(rain, lambda speed: speed)
    assert worked == pytest.approx(printed, rel=5e-4)
    assert bulk_fall_speed(rain) == pytest.approx(worked, rel=0.002)


@pytest.mark.parametrize(
    ("tilt", "printed"), [(90.0, 6.0462), (45.0, 7.1037), (135.0, 1.4553), (150.0, 0.3063)]
)
def test_water_on_a_face(tilt, printed):
    """q = R / V* x the sum of max(0, V cos b + U sin b) over the water in the air."""
    b, wind, rain = math.radians(tilt), 8.0, 4.0
    met = summed(rain, lambda speed: max(0.0, speed * math.cos(b) + wind * math.sin(b)))
    worked = rain / summed(rain, lambda speed: speed) * met
    assert worked == pytest.approx(printed, rel=0.01)
    assert face_flux(rain, wind, tilt, 0.0) == pytest.approx(worked, rel=0.005)


def test_the_worst_plane_is_the_worst_of_all_planes():
    rain, wind = 4.0, 8.0
    tilts = np.linspace(0.0, 180.0, 1801)
    assert face_flux(rain, wind, tilts, 0.0).max() == pytest.approx(
        float(worst_plane_flux(rain, wind)), rel=0.01
    )
    assert worst_plane_flux(rain, wind) == pytest.approx(
        rain * math.hypot(1.0, wind / summed(rain, lambda speed: speed)), rel=0.002
    )


@pytest.mark.parametrize(
    ("rain", "wind", "printed"), [(1.0, 3.0, 0.03078), (4.0, 8.0, 0.3751), (30.0, 15.0, 5.895)]
)
def test_an_upright_digit_3_in_one_hour(rain, wind, printed):
    worked = used_by_digit_3(rain, wind)
    assert worked == pytest.approx(printed, rel=0.001)
    described = one_fixture("IP23", mount="upright", condition="new")
    used = run(described, hours([rain], wind)).used[0, -1, 0]
    assert used == pytest.approx(worked, rel=0.005)


def test_a_fountain():
    """Drops that drift 40 / V between 9 and 11 m, over a 30-degree ring sector of 10.472 m2."""
    landing = summed(10.0, lambda speed: speed * (40 / 11 < speed < 40 / 9))
    share = landing / summed(10.0, lambda speed: speed)
    worked = 60 * 2.0 / (math.pi / 12 * (11**2 - 9**2)) * share
    assert worked == pytest.approx(0.61, rel=0.03)
    fountain = Spray(5.0, 10.0, 90.0, 2.0)
    shares = arriving_shares(np.array(10.0))
    at = spray_rates(RAIN, shares, fountain, np.array([8.0]), np.array([90.0]))
    assert at.sum() == pytest.approx(worked, rel=0.01)


@pytest.mark.parametrize("hour", [5.5, 9.5, 12.5, 18.5])
def test_the_sun_and_evaporation_line_by_line(hour):
    at = sun(SIXTH_OF_JULY + 3600 * hour, 50.8, 4.35)
    elevation = fao_elevation(187, hour, 50.8, 4.35)
    assert np.degrees(np.arcsin(at.sine)) == pytest.approx(elevation, abs=1e-9)
    ours = evaporation_mm_h(
        np.float64(21.0), np.float64(12.0), np.float64(2.778), np.float64(43.0), at, 100.0
    )
    worked = fao_hour(187, hour, 50.8, 4.35, 100.0, 21.0, 12.0, 2.778, 0.43)
    assert ours == pytest.approx(max(0.0, worked), rel=1e-9)
    if hour == 12.5:
        assert elevation == pytest.approx(60.6, abs=0.05)
        assert worked == pytest.approx(0.396, abs=0.005)
