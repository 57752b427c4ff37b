"""Rain as a field of drops: how big they are and how fast they fall."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.domain import Floats

# Gunn & Kinzer (1949), terminal velocity of water drops in still air at 1013 hPa and 20 C,
# J. Meteor. 6, 243-248, the table; (0, 0) added to interpolate from.
_DIAMETER_MM = np.array(
    [
        *(0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2),
        *(2.4, 2.6, 2.8, 3.0, 3.2, 3.4, 3.6, 3.8, 4.0, 4.2, 4.4, 4.6, 4.8, 5.0, 5.2, 5.4, 5.6),
        5.8,
    ]
)
_SPEED_MPS = np.array(
    [
        *(0.0, 0.27, 0.72, 1.17, 1.62, 2.06, 2.47, 2.87, 3.27, 3.67, 4.03, 4.64, 5.17, 5.65),
        *(6.09, 6.49, 6.90, 7.27, 7.57, 7.82, 8.06, 8.26, 8.44, 8.60, 8.72, 8.83, 8.92, 8.98),
        *(9.03, 9.07, 9.09, 9.12, 9.14, 9.16, 9.17),
    ]
)

# Best (1950), Q. J. R. Meteorol. Soc. 76, 16-36: F(D) = 1 - exp(-(D/a)^n), a = A R^P.
_BEST_A, _BEST_P, _BEST_N = 1.30, 0.232, 2.25

# Seventy-nine classes, narrow where drops are small and slow (there a roof edge and a code's
# angle cut), and one for all drops above the table. Chosen so that wetting and used stay
# within 0.5 % of 20,000 classes; tests/exposure/test_drops.py repeats that comparison.
_EDGES_MM = 5.8 * np.linspace(0.0, 1.0, 80) ** 2

_SNOW_SPEED_MPS = np.linspace(0.55, 1.45, 10)
_SNOW_HALF_WIDTH_MPS = 0.05


def gunn_kinzer_fall_speed(diameter_mm: Floats | float) -> Floats:
    """Fall speed of a water drop in still air.

    Parameters
    ----------
    diameter_mm : (...) equivalent drop diameter [mm]

    Returns
    -------
    (...) fall speed, linear between the table's points, constant above 5.8 mm [m/s]

    Notes
    -----
    Valid for 1013 hPa and 20 C. Errs low by up to 10 % at 1500 m height.

    References
    ----------
    Gunn & Kinzer 1949, J. Meteor. 6, 243-248, table (read). Checks: tests/published/drops.toml
    """
    speed: Floats = np.interp(diameter_mm, _DIAMETER_MM, _SPEED_MPS)
    return speed


def best_fraction_below(diameter_mm: Floats | float, rain_mm_h: Floats | float) -> Floats:
    """Share of the water in the air that is in drops smaller than a diameter.

    Parameters
    ----------
    diameter_mm : (...) drop diameter [mm]
    rain_mm_h : (...) rain rate on the horizontal [mm/h]

    Returns
    -------
    (...) volume share, 0 to 1

    Notes
    -----
    F(D) = 1 - exp(-(D/a)^2.25), a = 1.30 R^0.232. A mean spectrum: single showers differ.

    References
    ----------
    Best 1950, Q. J. R. Meteorol. Soc. 76, 16-36 (read). Checks: tests/published/drops.toml
    """
    a = _BEST_A * np.asarray(rain_mm_h, dtype=float) ** _BEST_P
    return 1.0 - np.exp(-((np.asarray(diameter_mm, dtype=float) / a) ** _BEST_N))


class Classes(NamedTuple):
    """Drop classes: what falls how fast. Axis class; snow classes come last if present."""

    speed: Floats
    """(class,) fall speed that stands for the class [m/s]"""
    low: Floats
    """(class,) fall speed at its slow edge [m/s]"""
    high: Floats
    """(class,) fall speed at its fast edge [m/s]"""


def _classes(*, frozen: bool) -> Classes:
    middle = (_EDGES_MM[:-1] + _EDGES_MM[1:]) / 2
    speed = np.append(gunn_kinzer_fall_speed(middle), _SPEED_MPS[-1])
    edge = gunn_kinzer_fall_speed(_EDGES_MM)
    low, high = edge, np.append(edge[1:], _SPEED_MPS[-1])
    if frozen:
        speed = np.append(speed, _SNOW_SPEED_MPS)
        low = np.append(low, _SNOW_SPEED_MPS - _SNOW_HALF_WIDTH_MPS)
        high = np.append(high, _SNOW_SPEED_MPS + _SNOW_HALF_WIDTH_MPS)
    return Classes(speed, low, high)


RAIN = _classes(frozen=False)
RAIN_AND_SNOW = _classes(frozen=True)


def frozen_share(temp_c: Floats, all_c: float, none_c: float) -> Floats:
    """Share of the precipitation that falls frozen.

    Parameters
    ----------
    temp_c : (...) air temperature, NaN not known [C]
    all_c, none_c : all frozen at and below, none at and above [C]

    Returns
    -------
    (...) share, 0 to 1; 0 where the temperature is not known

    Notes
    -----
    Judgement (exposure model section 1). Missing: counts as rain, which falls steeper but is
    never less water.
    """
    share = np.clip((none_c - temp_c) / max(none_c - all_c, 1e-9), 0.0, 1.0)
    return np.where(np.isnan(temp_c), 0.0, share)


def air_shares(rain_mm_h: Floats) -> Floats:
    """Share of the water in the air by drop class (..., class)."""
    scale = (_BEST_A * np.asarray(rain_mm_h, dtype=float) ** _BEST_P) ** -_BEST_N
    survive = np.exp(-scale[..., None] * _EDGES_MM**_BEST_N)
    return np.concatenate([survive[..., :-1] - survive[..., 1:], survive[..., -1:]], axis=-1)


def arriving_shares(rain_mm_h: Floats, frozen: Floats | None = None) -> Floats:
    """Share of the water that arrives on the ground, by class.

    Parameters
    ----------
    rain_mm_h : (...) rain rate above 0 [mm/h]
    frozen : (...) frozen share, or None where nothing is frozen

    Returns
    -------
    (..., class) shares that sum to 1, over RAIN or, with `frozen`, RAIN_AND_SNOW

    Notes
    -----
    p_i = f_i V_i / sum(f V): fast drops arrive more often than they are met in the air.
    """
    flux = air_shares(rain_mm_h) * RAIN.speed
    arriving = flux / flux.sum(axis=-1, keepdims=True)
    if frozen is None:
        return np.asarray(arriving)
    snow = np.repeat(np.asarray(frozen)[..., None] / len(_SNOW_SPEED_MPS), 10, axis=-1)
    return np.concatenate([arriving * (1.0 - frozen[..., None]), snow], axis=-1)


def bulk_fall_speed(rain_mm_h: Floats | float) -> Floats:
    """Mean fall speed of the water in the air, the inverse of the driving-rain factor.

    Parameters
    ----------
    rain_mm_h : (...) rain rate [mm/h]

    Returns
    -------
    (...) sum(f V) [m/s]

    References
    ----------
    Best 1950 with Gunn & Kinzer 1949. Checks: tests/published/drops.toml
    """
    speed: Floats = (air_shares(np.asarray(rain_mm_h, dtype=float)) * RAIN.speed).sum(axis=-1)
    return speed
