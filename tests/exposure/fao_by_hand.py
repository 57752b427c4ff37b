"""FAO-56 written out line by line for one hour, as the derived rows of damp.toml show it."""

from __future__ import annotations

import math


def _sine(day: int, hour_utc: float, latitude_deg: float, longitude_deg: float) -> float:
    declination = 0.409 * math.sin(2 * math.pi * day / 365 - 1.39)  # eq. 24
    b = 2 * math.pi * (day - 81) / 364  # eq. 33
    correction = 0.1645 * math.sin(2 * b) - 0.1255 * math.cos(b) - 0.025 * math.sin(b)  # eq. 32
    # eq. 31 with the zone's meridian at Greenwich, since the clock is UTC
    angle = math.pi / 12 * ((hour_utc + longitude_deg / 15 + correction) - 12)
    latitude = math.radians(latitude_deg)
    return math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(
        declination
    ) * math.cos(angle)


def fao_elevation(day: int, hour_utc: float, latitude_deg: float, longitude_deg: float) -> float:
    return math.degrees(math.asin(_sine(day, hour_utc, latitude_deg, longitude_deg)))


def fao_hour(
    day: int,
    hour_utc: float,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    temp_c: float,
    dew_c: float,
    wind_10m: float,
    cloud: float,
) -> float:
    distance = 1 + 0.033 * math.cos(2 * math.pi * day / 365)  # eq. 23
    ra = 4.92 * distance * max(0.0, _sine(day, hour_utc, latitude_deg, longitude_deg))
    clear = 0.25 + 0.5 * (1 - cloud)  # eq. 35
    ea = 0.6108 * math.exp(17.27 * dew_c / (dew_c + 237.3))  # eq. 14
    es = 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))  # eq. 11
    rnl = 2.043e-10 * (temp_c + 273.16) ** 4 * (0.34 - 0.14 * math.sqrt(ea))
    rnl *= 1.35 * clear / 0.75 - 0.35  # eq. 39
    rn = 0.77 * clear * ra - rnl  # eq. 38, 40
    slope = 4098 * es / (temp_c + 237.3) ** 2  # eq. 13
    gamma = 0.000665 * 101.3 * ((293 - 0.0065 * elevation_m) / 293) ** 5.26  # eq. 7, 8
    u2 = 0.748 * wind_10m  # eq. 47
    energy = 0.408 * slope * (rn - 0.1 * rn)  # eq. 45
    aero = gamma * 37 / (temp_c + 273) * u2 * (es - ea)
    return (energy + aero) / (slope + gamma * (1 + 0.34 * u2))  # eq. 53
