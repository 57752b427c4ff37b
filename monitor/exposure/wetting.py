"""Water on a face, on the worst plane, and its angle to the fixture."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.domain import Floats, Mount
from monitor.exposure.drops import RAIN, arriving_shares


def face_flux(
    rain_mm_h: Floats | float,
    wind_mps: Floats | float,
    tilt_deg: Floats | float,
    off_wind_deg: Floats | float,
) -> Floats:
    """Water on a plane face in the open.

    Parameters
    ----------
    rain_mm_h : (...) rain on the horizontal [mm/h]
    wind_mps : (...) mean wind at the face [m/s]
    tilt_deg : (...) from facing up: 90 a wall, 180 facing down [deg]
    off_wind_deg : (...) azimuth of the face against where the wind comes from [deg]

    Returns
    -------
    (...) [mm/h]

    Notes
    -----
    q = R sum_i p_i max(0, cos b + (U/V_i) sin b cos g). Valid for a body of about 0.3 m, which
    air does not shield; a building's wall gets less.

    References
    ----------
    Geometry as pvlib's aoi_projection. Checks: tests/published/wetting.toml
    """
    rate, wind, tilt, off = (
        np.asarray(x, dtype=float)[..., None]
        for x in np.broadcast_arrays(rain_mm_h, wind_mps, tilt_deg, off_wind_deg)
    )
    b, g = np.radians(tilt), np.radians(off)
    slant = np.cos(b) + wind / RAIN.speed * np.sin(b) * np.cos(g)
    shares = arriving_shares(rate[..., 0])
    flux: Floats = (rate * shares * np.maximum(0.0, slant)).sum(axis=-1)
    return flux


def worst_plane_flux(rain_mm_h: Floats | float, wind_mps: Floats | float) -> Floats:
    """Water on the plane that gets most, in the open.

    Notes
    -----
    R sqrt(1 + (U/V*)^2), V* the bulk fall speed: exactly what `Arrival.wetting` gives there.

    References
    ----------
    Checks: tests/published/wetting.toml
    """
    rate = np.asarray(rain_mm_h, dtype=float)
    toward = np.asarray(wind_mps, dtype=float) * (arriving_shares(rate) / RAIN.speed).sum(axis=-1)
    flux: Floats = rate * np.hypot(1.0, toward)
    return flux


class Arrival(NamedTuple):
    """Water at a place by drop class, as it lands on the worst plane of each step."""

    wetting: Floats
    """(n,) on the worst plane [mm/h]"""
    by_class: Floats
    """(n, class) the same by class; sums to `wetting` [mm/h]"""


def on_worst_plane(rates: Floats, speed: Floats, wind_mps: Floats) -> Arrival:
    """Water on the plane that gets most.

    Parameters
    ----------
    rates : (n, class) arriving water on the horizontal, after shelter [mm/h]
    speed : (class,) fall speeds [m/s]
    wind_mps : (n,) at the fixture [m/s]

    Returns
    -------
    Arrival

    Notes
    -----
    m = sum_i r_i (U/V_i toward the wind, 1 up), n = m / |m|, q_i = r_i (U/V_i, 1) . n.
    """
    up = rates.sum(axis=-1)
    toward = wind_mps * (rates @ (1.0 / speed))
    length = np.hypot(up, toward)
    scale = np.where(length > 0.0, length, 1.0)
    slant = (wind_mps * toward / scale)[:, None] / speed
    slant += (up / scale)[:, None]
    slant *= rates
    return Arrival(length, slant)


def cosine_from_up(
    mount: Mount,
    speed: Floats,
    wind_mps: Floats,
    wind_from_deg: Floats,
    tilt_deg: float = 0.0,
    facing_deg: float = 0.0,
) -> Floats:
    """Cosine of the angle between the drops and the enclosure's tested "up".

    Parameters
    ----------
    mount : upright, inverted, tilted or any
    speed : (class,) fall speeds [m/s]
    wind_mps, wind_from_deg : (n,) at the fixture
    tilt_deg, facing_deg : of the tested up from vertical, and the azimuth it leans to [deg]

    Returns
    -------
    (n, class); -1 for `any`, and for `tilted` where it blows from a direction not known

    Notes
    -----
    u . d with d = (U toward the wind, V up) / |(U, V)|.

    References
    ----------
    As pvlib.irradiance.aoi; checked as the angle it stands for.
    """
    if mount == "any":
        return np.full((len(wind_mps), len(speed)), -1.0)
    wind = wind_mps[:, None]
    up = speed / np.sqrt(wind * wind + speed * speed)  # five times as fast as hypot
    if mount == "upright":
        return up
    if mount == "inverted":
        return -up
    tilt = np.radians(tilt_deg)
    lost = np.isnan(wind_from_deg)
    about = np.where(lost, 0.0, np.cos(np.radians(wind_from_deg - facing_deg)))[:, None]
    cosine: Floats = up * (np.cos(tilt) + wind / speed * (np.sin(tilt) * about))
    cosine[lost & (wind_mps > 0.0)] = -1.0
    return cosine


def angle_from_up_deg(
    mount: Mount,
    speed: Floats,
    wind_mps: Floats,
    wind_from_deg: Floats,
    tilt_deg: float = 0.0,
    facing_deg: float = 0.0,
) -> Floats:
    """Angle between the drops and the enclosure's tested "up" (n, class) [deg].

    As `cosine_from_up`, for people and for tests; the assessment itself needs only the cosine.

    References
    ----------
    As pvlib.irradiance.aoi. Checks: tests/published/wetting.toml
    """
    cosine = cosine_from_up(mount, speed, wind_mps, wind_from_deg, tilt_deg, facing_deg)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def driving_rain_index(
    rain_mm: Floats,
    hours: Floats,
    wind_10m_mps: Floats,
    wind_from_deg: Floats,
    wall_azimuth_deg: float,
) -> float:
    """Airfield driving-rain index of a wall over a record.

    Parameters
    ----------
    rain_mm, hours : (step,) depth and length of the steps [mm, h]
    wind_10m_mps, wind_from_deg : (step,) at 10 m over open country
    wall_azimuth_deg : the way the wall faces [deg]

    Returns
    -------
    sum of (2/9) v r^(8/9) cos(D - wall) where the cosine is above 0, times hours [L/m2]

    Notes
    -----
    All precipitation counts, with no dry threshold; steps that miss a value are left out; not
    divided by years.

    References
    ----------
    ISO 15927-3, hourly term (read). Checks: tests/published/wetting.toml, tests/storms
    """
    cosine = np.cos(np.radians(wind_from_deg - wall_azimuth_deg))
    rate = rain_mm / hours
    term = 2.0 / 9.0 * wind_10m_mps * rate ** (8.0 / 9.0) * np.maximum(0.0, cosine) * hours
    return float(np.nansum(np.where(wind_10m_mps == 0.0, 0.0, term)))
