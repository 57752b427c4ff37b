"""Wind and gust where the fixture hangs."""

from __future__ import annotations

import numpy as np

from monitor.domain import Floats, Terrain, WindBasis

# ISO 15927-3 roughness categories: K_R, z0 [m], z_min [m] (from memory; also EN 1991-1-4).
_ROUGHNESS: dict[Terrain, tuple[float, float, float]] = {
    "I": (0.17, 0.01, 2.0),  # open water, flat
    "II": (0.19, 0.05, 4.0),  # grass, isolated obstacles
    "III": (0.22, 0.3, 8.0),  # village, suburb, wood
    "IV": (0.24, 1.0, 16.0),  # town
}
_OPEN_Z0_M = 0.05
_REFERENCE_M = 10.0


def roughness_coefficient(height_m: float, terrain: Terrain) -> float:
    """Wind at a height over a terrain against 10 m over open country.

    Parameters
    ----------
    height_m : height above ground [m]
    terrain : I open water, II field, III suburb, IV town

    Returns
    -------
    C_R = K_R ln(z/z0) for z at or above z_min, else its value at z_min

    References
    ----------
    ISO 15927-3 (formula read, table from memory). Checks: tests/published/wind.toml
    """
    k_r, z0, z_min = _ROUGHNESS[terrain]
    return float(k_r * np.log(max(height_m, z_min) / z0))


def open_country_factor(wind_height_m: float) -> float:
    """From wind measured at a height over open country to 10 m: U10 = U_h times this.

    Notes
    -----
    ln(10/z0) / ln(max(h, 1)/z0) with z0 = 0.05 m of open country.
    """
    return float(np.log(_REFERENCE_M / _OPEN_Z0_M) / np.log(max(wind_height_m, 1.0) / _OPEN_Z0_M))


def wind_10m(wind_mps: Floats, basis: WindBasis, wind_height_m: float, site: Terrain) -> Floats:
    """Mean wind at 10 m: over open country, or where it was measured if `local` [m/s]."""
    if basis == "open":
        return wind_mps * open_country_factor(wind_height_m)
    ratio = roughness_coefficient(_REFERENCE_M, site) / roughness_coefficient(wind_height_m, site)
    return wind_mps * ratio


def wind_at(
    wind_mps: Floats,
    height_m: float,
    terrain: Terrain,
    *,
    basis: WindBasis,
    wind_height_m: float,
    site: Terrain,
) -> Floats:
    """Mean wind at the fixture.

    Parameters
    ----------
    wind_mps : (...) step mean of the source, at `wind_height_m` [m/s]
    height_m : of the fixture above ground [m]
    terrain : of the position
    basis : `open`, the source speaks of open country; `local`, it already carries the site's
        roughness
    wind_height_m : height the source's wind is for [m]
    site : terrain of the site, used for `local`

    Returns
    -------
    (...) [m/s]; NaN stays NaN

    References
    ----------
    ISO 15927-3 roughness. Checks: tests/published/wind.toml
    """
    here = roughness_coefficient(height_m, terrain)
    if basis == "open":
        return wind_mps * (open_country_factor(wind_height_m) * here)
    return wind_mps * (here / roughness_coefficient(wind_height_m, site))


def gust_factor(height_m: float, z0_m: float) -> float:
    """Peak gust over mean wind, where no gust is given.

    Notes
    -----
    sqrt(1 + 7 / ln(z/z0)).

    References
    ----------
    EN 1991-1-4 form of the peak factor (from memory). Checks: tests/published/wind.toml
    """
    return float(np.sqrt(1.0 + 7.0 / np.log(height_m / z0_m)))


def raised_to_10m(basis: WindBasis, wind_height_m: float, site: Terrain) -> float:
    """Factor on a gust measured lower than 10 m; never under 1."""
    return max(1.0, float(wind_10m(np.ones(1), basis, wind_height_m, site)[0]))


def gust_10m(
    gust_mps: Floats, wind_mps: Floats, basis: WindBasis, wind_height_m: float, site: Terrain
) -> Floats:
    """Gust at 10 m: as given, or derived from the mean wind where it is missing.

    Parameters
    ----------
    gust_mps, wind_mps : (...) at `wind_height_m` [m/s]

    Returns
    -------
    (...) [m/s]; NaN only where neither is known

    Notes
    -----
    A given gust is raised to 10 m where it was measured lower, never lowered.
    """
    u10 = wind_10m(wind_mps, basis, wind_height_m, site)
    z0 = _OPEN_Z0_M if basis == "open" else _ROUGHNESS[site][1]
    raised = gust_mps * raised_to_10m(basis, wind_height_m, site)
    return np.where(np.isnan(gust_mps), u10 * gust_factor(_REFERENCE_M, z0), raised)


def gust_at(gust_10m_mps: Floats, height_m: float, terrain: Terrain) -> Floats:
    """Gust at the fixture: raised aloft, never lowered [m/s]."""
    ratio = roughness_coefficient(height_m, terrain) / roughness_coefficient(_REFERENCE_M, terrain)
    return gust_10m_mps * max(1.0, ratio)
