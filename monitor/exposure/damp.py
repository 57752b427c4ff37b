"""Dew, evaporation and the water film: what is wet when no rain falls."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.domain import Floats
from monitor.units import FAO_ZERO_CELSIUS_K, SECONDS_PER_DAY, STEFAN_BOLTZMANN_W_M2_K4

# Magnus over water, WMO-No. 8 (read): hPa, -, C.
_MAGNUS_HPA, _MAGNUS_B, _MAGNUS_C = 6.112, 17.62, 243.12
_EMISSIVITY = 0.94
"""Of a painted or oxidised housing (from memory)."""
_UNKNOWN_CLOUD = 0.5
_DAYS_1970_TO_2000 = 10957


def dew_point_c(temp_c: Floats | float, humidity_pct: Floats | float) -> Floats:
    """Dew point from temperature and relative humidity.

    Parameters
    ----------
    temp_c : (...) air temperature [C]
    humidity_pct : (...) relative humidity over water [%]

    Returns
    -------
    (...) [C]

    References
    ----------
    Magnus form with the WMO constants 17.62 and 243.12 C. Checks: tests/published/damp.toml
    """
    temp = np.asarray(temp_c, dtype=float)
    g = np.log(np.asarray(humidity_pct, dtype=float) / 100.0) + _MAGNUS_B * temp / (
        _MAGNUS_C + temp
    )
    return _MAGNUS_C * g / (_MAGNUS_B - g)


def night_undercooling_k(
    temp_c: Floats | float,
    dew_point_c: Floats | float,
    wind_mps: Floats | float,
    cloud_fraction: Floats | float,
    *,
    sky_view: float = 1.0,
    power_w_m2: float = 0.0,
) -> Floats:
    """How far a sky-facing surface runs below the air at night.

    Parameters
    ----------
    temp_c, dew_point_c : (...) [C]
    wind_mps : (...) at the fixture [m/s]
    cloud_fraction : (...) 0 to 1
    sky_view : share of the sky the surface sees
    power_w_m2 : heat it gives off

    Returns
    -------
    (...) surface less air temperature, negative when colder [K]

    Notes
    -----
    dT = (P - F eps sigma Ta^4 (1 - e)) / (4 + 4u + 4 eps sigma Ta^3); sky emissivity
    e = e0 + (1 - e0) 0.84 N, e0 = 0.741 + 0.0062 Td. Linearised: errs by some tenths of a K.

    References
    ----------
    Exposure model section 7 (emissivity of the housing from memory). Checks:
    tests/published/damp.toml
    """
    kelvin = np.asarray(temp_c, dtype=float) + 273.15
    clear = 0.741 + 0.0062 * np.asarray(dew_point_c, dtype=float)
    sky = clear + (1.0 - clear) * 0.84 * np.asarray(cloud_fraction, dtype=float)
    radiated = _EMISSIVITY * STEFAN_BOLTZMANN_W_M2_K4 * kelvin**3
    carried_off = 4.0 + 4.0 * np.asarray(wind_mps, dtype=float)
    cooling: Floats = (power_w_m2 - sky_view * radiated * kelvin * (1.0 - sky)) / (
        carried_off + 4.0 * radiated
    )
    return cooling


class Sun(NamedTuple):
    """The sun at a moment, by the FAO-56 formulas."""

    sine: Floats
    """Sine of its elevation."""
    distance_factor: Floats
    """Inverse relative distance of the earth, d_r."""


def sun(moment_s: Floats | float, latitude_deg: float, longitude_deg: float) -> Sun:
    """Elevation of the sun.

    Parameters
    ----------
    moment_s : (...) seconds since 1970-01-01T00:00Z
    latitude_deg, longitude_deg : north and east positive [deg]

    Returns
    -------
    Sun

    References
    ----------
    FAO-56 eq. 23, 24, 31 to 33 (read). Within 1.3 degrees of pvlib's solar
    position over the year, 0.3 in summer. Checks:
    tests/published/damp.toml
    """
    moment = np.asarray(moment_s, dtype=float)
    date = np.floor(moment / SECONDS_PER_DAY).astype("datetime64[D]")
    day = (date - date.astype("datetime64[Y]").astype("datetime64[D]")).astype(float) + 1.0
    hour = moment % SECONDS_PER_DAY / 3600.0
    year_angle = 2.0 * np.pi * day / 365.0
    declination = 0.409 * np.sin(year_angle - 1.39)
    b = 2.0 * np.pi * (day - 81.0) / 364.0
    correction = 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    hour_angle = np.pi / 12.0 * (hour + longitude_deg / 15.0 + correction - 12.0)
    latitude = np.radians(latitude_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(
        hour_angle
    )
    return Sun(sine, 1.0 + 0.033 * np.cos(year_angle))


def _saturation_kpa(temp_c: Floats) -> Floats:
    return 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))  # FAO-56 eq. 11


def fao56_hourly_evaporation_mm_h(
    temp_c: Floats,
    actual_vapour_kpa: Floats,
    wind_2m_mps: Floats,
    net_radiation_mj: Floats,
    ground_heat_mj: Floats,
    pressure_kpa: float,
) -> Floats:
    """Hourly reference evapotranspiration.

    Parameters
    ----------
    temp_c : (...) mean of the hour [C]
    actual_vapour_kpa : (...) [kPa]
    wind_2m_mps : (...) [m/s]
    net_radiation_mj, ground_heat_mj : (...) [MJ/m2/h]
    pressure_kpa : air pressure [kPa]

    Returns
    -------
    (...) not below 0 [mm/h]

    References
    ----------
    FAO-56 eq. 53 with C_d 0.34 (read). Checks: tests/published/damp.toml
    """
    slope = 4098.0 * _saturation_kpa(temp_c) / (temp_c + 237.3) ** 2
    gamma = 0.665e-3 * pressure_kpa
    deficit = _saturation_kpa(temp_c) - actual_vapour_kpa
    aero = gamma * 37.0 / (temp_c + 273.0) * wind_2m_mps * deficit
    energy = 0.408 * slope * (net_radiation_mj - ground_heat_mj)
    return np.maximum(0.0, (energy + aero) / (slope + gamma * (1.0 + 0.34 * wind_2m_mps)))


def evaporation_mm_h(
    temp_c: Floats,
    dew_point_c: Floats,
    wind_10m_mps: Floats,
    cloud_pct: Floats,
    at: Sun,
    elevation_m: float,
) -> Floats:
    """Evaporation of the water film and of the ground's surface.

    Parameters
    ----------
    temp_c, dew_point_c : (...) [C]
    wind_10m_mps : (...) at 10 m over open country [m/s]
    cloud_pct : (...) NaN counts as half [%]
    at : the sun at mid-step
    elevation_m : of the site [m]

    Returns
    -------
    (...) [mm/h]; 0 where temperature, dew point or wind is not known: nothing dries unseen

    References
    ----------
    FAO-56 with radiation from cloud (exposure model section 7). Checks:
    tests/published/damp.toml
    """
    cloud = np.where(np.isnan(cloud_pct), _UNKNOWN_CLOUD, cloud_pct / 100.0)
    clear_part = 0.25 + 0.5 * (1.0 - cloud)
    incoming = clear_part * 4.92 * at.distance_factor * np.maximum(0.0, at.sine)
    vapour = _saturation_kpa(dew_point_c)
    outgoing = (
        2.043e-10
        * (temp_c + FAO_ZERO_CELSIUS_K) ** 4
        * (0.34 - 0.14 * np.sqrt(vapour))
        * (1.35 * clear_part / 0.75 - 0.35)
    )
    net = 0.77 * incoming - outgoing
    ground = np.where(at.sine > 0.0, 0.1, 0.5) * net
    pressure = 101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26  # FAO-56 eq. 7
    rate = fao56_hourly_evaporation_mm_h(
        temp_c, vapour, 0.748 * wind_10m_mps, net, ground, pressure
    )
    return np.where(np.isnan(rate), 0.0, rate)


def damp_open(
    temp_c: Floats, dew_point_c: Floats, wind_mps: Floats, cloud_pct: Floats, sun_sine: Floats
) -> np.ndarray:
    """Whether dew forms on a surface under open sky: sun down and surface at the dew point.

    Missing temperature or dew point gives False; the caller counts those hours as not known.
    """
    cloud = np.where(np.isnan(cloud_pct), _UNKNOWN_CLOUD, cloud_pct / 100.0)
    surface = temp_c + night_undercooling_k(temp_c, dew_point_c, wind_mps, cloud)
    return (sun_sine <= 0.0) & (surface <= dew_point_c)


def damp_sheltered(temp_c: Floats, dew_point_c: Floats) -> np.ndarray:
    """Whether air under a roof or a sealed cover is close to saturation: within 1.0 K."""
    return temp_c - dew_point_c <= 1.0


def film_step(
    film_mm: Floats, gain_mm_h: Floats, evaporation: Floats, hours: float, store_mm: float
) -> tuple[Floats, Floats]:
    """The water film over one step at steady rates.

    Returns
    -------
    film_mm : at the end
    wet_hours : how long a film stood
    """
    net = gain_mm_h - evaporation
    end = np.clip(film_mm + net * hours, 0.0, store_mm)
    drying = net < 0.0
    lasts = film_mm / np.where(drying, -net, 1.0)
    standing = np.where(drying, np.minimum(hours, lasts), hours)
    return end, np.where((film_mm > 0.0) | (gain_mm_h > 0.0), standing, 0.0)
