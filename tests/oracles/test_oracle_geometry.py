"""Angles and the sun beside pvlib, fall speeds beside fluids: general-purpose libraries."""

from __future__ import annotations

from itertools import product

import fluids
import numpy as np
import pandas as pd
import pvlib
import pytest

from monitor.exposure.damp import sun
from monitor.exposure.drops import RAIN, arriving_shares, gunn_kinzer_fall_speed
from monitor.exposure.wetting import angle_from_up_deg, face_flux

TILTS = (0.0, 15.0, 45.0, 60.0, 90.0, 120.0, 135.0, 150.0, 180.0)
AZIMUTHS = (0.0, 37.0, 90.0, 180.0, 225.0, 301.0)


@pytest.mark.parametrize(("rain", "wind"), list(product((0.3, 4.0, 40.0), (0.0, 2.0, 8.0, 25.0))))
def test_a_face_takes_what_pvlibs_projection_gives_drop_by_drop(rain, wind):
    """A drop class is a sun at zenith theta: R aoi_projection / cos(theta), not below 0."""
    shares = arriving_shares(np.array(rain))
    theta = np.degrees(np.arctan2(wind, RAIN.speed))
    for tilt, azimuth, wind_from in product(TILTS, AZIMUTHS, (0.0, 200.0)):
        seen = pvlib.irradiance.aoi_projection(tilt, azimuth, theta, wind_from)
        expected = (rain * shares * np.maximum(0.0, seen) / np.cos(np.radians(theta))).sum()
        ours = face_flux(rain, wind, tilt, azimuth - wind_from)
        assert ours == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("wind", [0.0, 0.7, 3.0, 8.0, 25.0])
def test_the_angle_to_a_tilted_fixture_is_pvlibs_angle_of_incidence(wind):
    theta = np.degrees(np.arctan2(wind, RAIN.speed))
    for tilt, facing, wind_from in product(TILTS, AZIMUTHS, (0.0, 45.0, 200.0)):
        ours = angle_from_up_deg(
            "tilted", RAIN.speed, np.array([wind]), np.array([wind_from]), tilt, facing
        )[0]
        expected = pvlib.irradiance.aoi(tilt, facing, theta, wind_from)
        # arccos near 0 and 180 degrees turns the last bit into 1e-6 degrees
        np.testing.assert_allclose(ours, expected, rtol=0, atol=5e-6)


PLACES = ((50.8, 4.35), (40.7, -74.2), (-33.9, 151.2), (1.3, 103.8), (64.1, -21.9))


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_the_sun_stands_where_pvlib_has_it(latitude, longitude):
    """Within 0.3 degrees about midsummer, and over the year within 1.3: FAO-56's declination is
    a single sine, furthest off at the end of September. That is six minutes of dusk at most.
    """
    times = pd.date_range("2013-01-01T00:30Z", "2013-12-31T23:30Z", freq="211min")
    expected = pvlib.solarposition.get_solarposition(times, latitude, longitude)["elevation"]
    moments = np.array([t.timestamp() for t in times])
    ours = np.degrees(np.arcsin(sun(moments, latitude, longitude).sine))
    off = np.abs(ours - expected.to_numpy())
    assert off.max() < 1.3
    assert off[np.isin(times.month, (6, 7))].max() < 0.3


def test_the_sun_of_the_worked_hour():
    at = pd.DatetimeIndex(["2013-07-06T12:30Z"])
    expected = pvlib.solarposition.get_solarposition(at, 50.8, 4.35)["elevation"].iloc[0]
    ours = np.degrees(np.arcsin(sun(at[0].timestamp(), 50.8, 4.35).sine))
    assert expected == pytest.approx(60.7, abs=0.1)
    assert ours == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("diameter_mm", [1.0, 1.4, 2.0])
def test_fall_speed_beside_a_rigid_sphere(diameter_mm):
    """Drops flatten above 2.6 mm, so no rigid sphere speaks for those."""
    sphere = fluids.v_terminal(D=diameter_mm / 1000, rhop=998.2, rho=1.2041, mu=1.813e-5)
    assert gunn_kinzer_fall_speed(diameter_mm) == pytest.approx(sphere, rel=0.04)
