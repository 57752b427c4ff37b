"""From where rain reaches a place under a roof: what the drawing shows, so that a wrong roof
is seen. The exposure itself goes drop by drop; this is its picture in two numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.domain import Roof, Side
from monitor.exposure.shelter import SIDES, Spot, ray_to_edge

GALE_MPS = 17.2
"""Where force 8 begins on the Beaufort scale (WMO, Manual on Codes, 1.1-A: 17.2 to 20.7 m/s)."""
DROP_MPS = 6.5
"""Fall speed of a drop of 2 mm: Gunn and Kinzer (1949), table 2, print 6.49 m/s."""
_STEP_DEG = 0.5


@dataclass(frozen=True, slots=True)
class Openness:
    """Under a roof, from where a drop of 2 mm gets in by any wind up to a gale."""

    sectors: tuple[tuple[float, float], ...]
    """Azimuths from, to, clockwise [deg]; from 0 to 360: all round; none: from nowhere"""
    least_slant_deg: float | None
    """How far off vertical rain has to slant at least; None: closed all round"""
    least_wind_mps: float | None
    """The wind that slants such a drop so far"""
    side: Side | None
    """The nearest open side"""


def openness(roof: Roof, height_m: float, in_front_m: float, in_right_m: float) -> Openness:
    """What of the sky rain comes in from at a place under a roof.

    Parameters
    ----------
    height_m : of the fixtures, below the roof's edge [m]
    in_front_m, in_right_m : square distances to the front and to the right edge [m]
    """
    spot = Spot(roof, in_front_m, in_right_m, roof.edge_height_m - height_m)
    azimuths = np.arange(0.0, 360.0, _STEP_DEG)
    distance, is_open = ray_to_edge(spot, azimuths)
    reached = is_open & (distance * DROP_MPS <= spot.rise_m * GALE_MPS)
    nearest = min(
        ((spot.distance(side), side) for side in SIDES if side not in roof.closed),
        key=lambda found: found[0],
        default=None,
    )
    if nearest is None:
        return Openness((), None, None, None)
    slant = math.degrees(math.atan2(nearest[0], spot.rise_m))
    return Openness(
        _sectors(azimuths, reached), slant, DROP_MPS * nearest[0] / spot.rise_m, nearest[1]
    )


def _sectors(azimuths: np.ndarray, reached: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Runs of reached azimuths, round the compass."""
    if reached.all():
        return ((0.0, 360.0),)
    if not reached.any():
        return ()
    first = int(np.flatnonzero(~reached)[0])
    turned, at = np.roll(reached, -first), np.roll(azimuths, -first)
    edges = np.diff(np.concatenate([[0], turned.astype(int), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return tuple((float(at[a]), float(at[b])) for a, b in zip(starts, ends, strict=True))
