"""Dew points beside psychrolib, evaporation beside refet: general-purpose libraries."""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest
import refet
from refet import calcs

from monitor.exposure.damp import (
    dew_point_c,
    evaporation_mm_h,
    fao56_hourly_evaporation_mm_h,
    sun,
)


@pytest.fixture(autouse=True)
def _metric():
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(
    ("temp", "humidity"),
    [
        (20.0, 50.0),
        (10.0, 90.0),
        (30.0, 60.0),
        (15.0, 80.0),
        (38.0, 52.0),
        (25.0, 100.0),
        (5.0, 95.0),
    ],
)
def test_dew_points_beside_psychrolib(temp, humidity):
    """Above freezing: below it psychrolib takes saturation over ice, where dew is frost."""
    expected = psychrolib.GetTDewPointFromRelHum(temp, humidity / 100)
    assert expected > 0
    assert dew_point_c(temp, humidity) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("temp", [2.0, 12.0, 21.0, 38.0])
@pytest.mark.parametrize("wind", [0.0, 2.078, 6.0])
@pytest.mark.parametrize("net", [-0.2, 0.6, 2.4])
def test_hourly_evaporation_beside_refet(temp, wind, net):
    """refet's own equation with FAO-56's C_n 37 and C_d 0.34.

    It takes the slope of the saturation curve from ASCE-EWRI's constants: 0.1 % apart.
    """
    pressure = calcs.air_pressure(100.0)
    vapour = 0.7 * calcs.sat_vapor_pressure(temp)
    expected = calcs.etsz(
        rn=net,
        g=0.1 * net,
        tmean=temp,
        u2=wind,
        vpd=calcs.sat_vapor_pressure(temp) - vapour,
        es_slope=calcs.es_slope(temp),
        psy=0.000665 * pressure,
        cn=37.0,
        cd=0.34,
    )
    ours = fao56_hourly_evaporation_mm_h(np.float64(temp), vapour, wind, net, 0.1 * net, pressure)
    assert ours == pytest.approx(max(0.0, expected), rel=2e-3, abs=1e-4)


@pytest.mark.parametrize("cloud", [0.0, 0.43, 1.0])
@pytest.mark.parametrize("hour", [7, 12, 16])
def test_evaporation_from_cloud_beside_refets_pieces(cloud, hour):
    """Radiation and all, put together from refet's functions; its sun runs over the hour and
    ours stands at mid-hour, which is worth a per cent or so at noon.
    """
    day, latitude, longitude, elevation = 187, 50.8, 4.35, 100.0
    temp, dew, wind = 21.0, 12.0, 2.778
    ra = calcs.ra_hourly(
        np.array([math.radians(latitude)]),
        np.array([math.radians(longitude)]),
        np.array([day]),
        np.array([hour + 0.5]),
    )
    clear = 0.25 + 0.5 * (1 - cloud)
    vapour = calcs.sat_vapor_pressure(dew)
    net = calcs.rn_hourly(clear * ra, calcs.rnl_hourly(temp, vapour, 1.35 * clear / 0.75 - 0.35))
    expected = calcs.etsz(
        rn=net,
        g=0.1 * net,
        tmean=temp,
        u2=calcs.wind_height_adjust(wind, 10.0),
        vpd=calcs.sat_vapor_pressure(temp) - vapour,
        es_slope=calcs.es_slope(temp),
        psy=0.000665 * calcs.air_pressure(elevation),
        cn=37.0,
        cd=0.34,
    )[0]
    # 6 July 2013, day 187, 00Z is 1373068800 s
    ours = evaporation_mm_h(
        np.float64(temp),
        np.float64(dew),
        np.float64(wind),
        np.float64(100 * cloud),
        sun(1373068800.0 + 3600 * (hour + 0.5), latitude, longitude),
        elevation,
    )
    assert ours == pytest.approx(expected, rel=0.02)


def test_the_day_at_uccle():
    """FAO-56 example 18 (published: 3.88 mm/d): refet's Daily, and ours on refet's radiation.

    A day through the hourly equation: 900/24 = 37.5 stands where the hour has 37, and the
    deficit is the mean of the extremes'; both go into the vapour pressure handed over.
    """
    vapour = 1.409  # kPa, from RH 84 % at Tmin 12.3 and 63 % at Tmax 21.5, as printed there
    day = refet.Daily(
        tmin=12.3, tmax=21.5, ea=vapour, rs=22.07, uz=2.078, zw=2.0, elev=100.0, lat=50.8, doy=187
    )
    assert day.eto()[0] == pytest.approx(3.88, abs=0.02)
    deficit = day.vpd[0] * 37.5 / 37.0
    ours = 24 * fao56_hourly_evaporation_mm_h(
        np.float64(16.9),
        calcs.sat_vapor_pressure(16.9) - deficit,
        2.078,
        day.rn[0] / 24,
        0.0,
        day.pair[0],
    )
    assert ours == pytest.approx(3.88, abs=0.02)
