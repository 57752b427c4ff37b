"""The wind that a feed has said holds until its own later word: a hole is no word. Pure.

A run that comes without gusts says nothing of them. Were it taken as it is, the other feeds
would decide alone, and a calm one among them would open what the gusty one had closed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from monitor.exposure.wind import gust_10m, raised_to_10m

if TYPE_CHECKING:
    from monitor.domain import Floats, Terrain, Weather


def with_gusts_held(new: Weather, before: Weather | None, terrain: Terrain) -> Weather:
    """A run, with the gusts of the one before it where it tells none.

    Parameters
    ----------
    new, before : two runs of one feed for one place; `before` itself with what it held
    terrain : of the site, for gusts that are derived from the mean wind

    Notes
    -----
    Of each step the greatest gust that the run before had in any part of it. Where the new run
    has a mean wind, a gust can be derived from that: the greater of the two counts. Members are
    held to their own former ones, and to the greatest of all where there are others now.
    """
    silent = np.isnan(new.gust_mps)
    if before is None or not len(before.starts) or not silent.any():
        return new
    same_wind = (before.wind_basis, before.wind_height_m) == (new.wind_basis, new.wind_height_m)
    if not same_wind:
        return new
    said = _greatest(before.gust_mps, before, new)
    if before.members != new.members:
        said = np.broadcast_to(np.fmax.reduce(said, axis=0), new.gust_mps.shape)
    source = (new.wind_basis, new.wind_height_m, terrain)
    derived = gust_10m(new.gust_mps, new.wind_mps, *source) / raised_to_10m(*source)
    held = silent & np.isfinite(said) & ~(derived >= said)
    return replace(new, gust_mps=np.where(held, said, new.gust_mps)) if held.any() else new


def _greatest(values: Floats, of: Weather, steps: Weather) -> Floats:
    """The greatest value (member, step) of one weather in each step of another; NaN none."""
    out = np.full((len(values), len(steps.starts)), np.nan)
    first = np.searchsorted(of.ends, steps.starts, side="right")
    past = np.searchsorted(of.starts, steps.ends, side="left")
    for i in np.flatnonzero(past > first).tolist():
        out[:, i] = np.fmax.reduce(values[:, first[i] : past[i]], axis=1)
    return out
