"""Dusty hours: wind that lifts dry ground."""

from __future__ import annotations

import numpy as np

from monitor.domain import Bools, Floats, Ground, Policy


def surface_water_mm(
    rain_mm: Floats, evaporation_mm: Floats, bucket_mm: float, start_mm: Floats | float = 0.0
) -> Floats:
    """Water on the ground's surface at the end of each step.

    Parameters
    ----------
    rain_mm, evaporation_mm : (member, step) over the step; rain not known keeps what is there
    bucket_mm : most the surface holds [mm]
    start_mm : (member,) before the first step [mm]

    Returns
    -------
    (member, step) [mm]

    Notes
    -----
    Empty at the start: errs dusty. Frozen ground is not modelled.
    """
    water = np.broadcast_to(np.asarray(start_mm, dtype=float), rain_mm.shape[:1]).copy()
    out = np.empty_like(rain_mm)
    for step in range(rain_mm.shape[1]):
        known = ~np.isnan(rain_mm[:, step])
        change = np.where(known, rain_mm[:, step] - evaporation_mm[:, step], 0.0)
        water = np.clip(water + change, 0.0, bucket_mm)
        out[:, step] = water
    return out


def dusty(
    wind_10m_mps: Floats,
    gust_10m_mps: Floats,
    water_mm: Floats,
    ground: Ground | None,
    policy: Policy,
) -> Bools:
    """Whether dust is in the air in each step (member, step).

    Notes
    -----
    Mean wind or gust at 10 m at or over its mark while the surface is dry. Marks lie inside
    the published 5.5 to 10 m/s (exposure model section 7). Wind not known gives False.
    """
    if ground in ("grass", "hard"):
        return np.zeros(wind_10m_mps.shape, dtype=bool)
    mark = policy.dust_bare_wind_mps if ground == "bare" else policy.dust_wind_mps
    lifts = (wind_10m_mps >= mark) | (gust_10m_mps >= policy.dust_gust_mps)
    return lifts & (water_mm < policy.dust_dry_mm)
