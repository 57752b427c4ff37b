"""Winds of several sources on one footing: at 10 m over open country. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from monitor.exposure.wind import gust_10m, roughness_coefficient, wind_10m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Terrain, Weather

OPEN_HEIGHT_M = 10.0


def one_wind(
    runs: Sequence[Weather], terrain: Terrain | None, *, derive: bool = True
) -> Sequence[Weather]:
    """The runs with their wind on one footing: as it is, or all at 10 m over open country.

    With `derive` a gust that is missing is derived from its own mean wind, as long as it is
    known over what ground that blew. Without it stays missing, for there may be a better one.
    """
    if len({(run.wind_basis, run.wind_height_m) for run in runs}) <= 1:
        return runs
    if terrain is None:
        raise ValueError("winds measured in different ways are joined only for a known terrain")
    return [_over_open_country(run, terrain, derive=derive) for run in runs]


def _over_open_country(run: Weather, terrain: Terrain, *, derive: bool) -> Weather:
    local = wind_10m(run.wind_mps, run.wind_basis, run.wind_height_m, terrain)
    if run.wind_basis == "local":
        # The site's roughness is put back on at the fixture, so it is taken off here.
        wind = local / roughness_coefficient(OPEN_HEIGHT_M, terrain)
    else:
        wind = local
    gust = gust_10m(run.gust_mps, run.wind_mps, run.wind_basis, run.wind_height_m, terrain)
    if not derive:
        gust = np.where(np.isnan(run.gust_mps), np.nan, gust)
    return replace(
        run, wind_mps=wind, gust_mps=gust, wind_basis="open", wind_height_m=OPEN_HEIGHT_M
    )
