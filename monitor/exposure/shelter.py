"""Roofs, sides and covers: which drops arrive."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.domain import Floats, Roof, Side, Spray
from monitor.exposure.drops import Classes

_SAME_EDGE_M = 1e-9
_RAY_WEIGHTS = (0.25, 0.5, 0.25)
_EDDY_REACH = 2.0
"""Eddies carry in from an edge at most this many rises away."""
_EDDY_WIND_MPS = 2.0


class Spot(NamedTuple):
    """Where under a roof a fixture hangs: distances to the edges in plan, and below them."""

    roof: Roof
    in_from_front_m: float
    in_from_right_m: float
    rise_m: float

    def distance(self, side: Side) -> float:
        """Square distance to a side [m]."""
        return {
            "front": self.in_from_front_m,
            "right": self.in_from_right_m,
            "back": self.roof.depth_m - self.in_from_front_m,
            "left": self.roof.width_m - self.in_from_right_m,
        }[side]


SIDES: tuple[Side, ...] = ("front", "right", "back", "left")


def ray_to_edge(spot: Spot, toward_deg: Floats) -> tuple[Floats, np.ndarray]:
    """Distance from the fixture to the roof's edge in plan, and whether that side is open.

    Parameters
    ----------
    spot : the fixture's place under the roof
    toward_deg : (...) azimuth the ray runs to, that is, where the drops come from [deg]

    Returns
    -------
    distance : (...) [m]
    is_open : (...) True where the side met is open; of edges met at the same distance an open
        one counts
    """
    relative = np.radians(np.asarray(toward_deg, dtype=float) - spot.roof.facing_deg)
    ahead, right = np.cos(relative), np.sin(relative)
    along = {"front": ahead, "right": right, "back": -ahead, "left": -right}
    with np.errstate(divide="ignore", invalid="ignore"):  # a ray along an edge never meets it
        met = np.stack(
            [
                np.where(along[side] > 1e-12, spot.distance(side) / along[side], np.inf)
                for side in SIDES
            ]
        )
    nearest = met.min(axis=0)
    is_open = np.zeros(nearest.shape, dtype=bool)
    for side, distance in zip(SIDES, met, strict=True):
        if side not in spot.roof.closed:
            is_open |= distance <= nearest + _SAME_EDGE_M
    return nearest, is_open


def part_slower(classes: Classes, cut_mps: Floats) -> Floats:
    """Part of each class that falls slower than a speed.

    Parameters
    ----------
    classes : drop classes (class,)
    cut_mps : (...) fall speed [m/s]

    Returns
    -------
    (..., class) 0 to 1, linear between the class's edge speeds
    """
    width = np.maximum(classes.high - classes.low, 1e-12)
    return np.clip((cut_mps[..., None] - classes.low) / width, 0.0, 1.0)


def cover_cut(keeps_out_to_deg: float, wind_mps: Floats) -> Floats:
    """Fall speed below which drops slant in under an open-bottomed cover [m/s].

    Notes
    -----
    tan t = U / V: a drop passes where t is above the cover's angle, that is V < U / tan(angle).
    """
    if keeps_out_to_deg >= 90.0:
        return np.zeros_like(wind_mps)
    if keeps_out_to_deg <= 0.0:
        return np.where(wind_mps > 0.0, np.inf, 0.0)
    slowest_kept_out: Floats = wind_mps / np.tan(np.radians(keeps_out_to_deg))
    return slowest_kept_out


def share_let_in(
    classes: Classes,
    wind_mps: Floats,
    wind_from_deg: Floats,
    *,
    spot: Spot | None,
    keeps_out_to_deg: float | None = None,
    spread_deg: float,
    eddy_share: float,
) -> Floats | None:
    """Share of each drop class that reaches the fixture.

    Parameters
    ----------
    classes : (class,)
    wind_mps, wind_from_deg : (n,) wind at the fixture; direction NaN is not known
    spot : place under a roof, None in the open
    keeps_out_to_deg : angle of an open-bottomed cover that is on, else None
    spread_deg : rays at minus this, 0, plus this about the wind
    eddy_share : share carried in by eddies and edge drip near an open edge

    Returns
    -------
    (n, class) 0 to 1, or None where everything arrives

    Notes
    -----
    Exposure model section 4. Rays weigh 1/4, 1/2, 1/4. With no known direction one ray runs
    square to the nearest open side: errs wet. Through a cover there are no eddies, and cover
    and roof combine by the smaller cut.
    """
    hood = None if keeps_out_to_deg is None else cover_cut(keeps_out_to_deg, wind_mps)
    if spot is None:
        return None if hood is None else part_slower(classes, hood)
    unknown = np.isnan(wind_from_deg)
    nearest_open = min((spot.distance(s) for s in SIDES if s not in spot.roof.closed), default=None)
    total = np.zeros((len(wind_mps), len(classes.speed)))
    for offset, weight in zip((-spread_deg, 0.0, spread_deg), _RAY_WEIGHTS, strict=True):
        distance, is_open = ray_to_edge(spot, np.where(unknown, 0.0, wind_from_deg) + offset)
        if nearest_open is None:
            break
        distance = np.where(unknown, nearest_open, distance)
        is_open = (is_open | unknown) & (wind_mps > 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            cut = np.where(distance > 0.0, wind_mps * spot.rise_m / distance, np.inf)
        if hood is not None:
            cut = np.minimum(cut, hood)
        straight = part_slower(classes, cut)
        if hood is None:
            reach = np.clip(_EDDY_REACH - distance / spot.rise_m, 0.0, 1.0)
            eddy = eddy_share * reach * np.minimum(1.0, wind_mps / _EDDY_WIND_MPS)
            straight = straight + eddy[:, None] * (1.0 - straight)
        total += np.where(is_open[:, None], weight * straight, 0.0)
    return total


def spray_rates(
    classes: Classes, shares: Floats, spray: Spray, wind_mps: Floats, wind_from_deg: Floats
) -> Floats:
    """Water a fountain throws at the fixture, by drop class.

    Parameters
    ----------
    classes : (class,)
    shares : (class,) arriving shares of the spray's drops
    spray : height thrown, distance and bearing to the source, water lost to drift
    wind_mps, wind_from_deg : (n,) wind at the fixture

    Returns
    -------
    (n, class) on the horizontal [mm/h]

    Notes
    -----
    Class i drifts U H / V_i; the classes that come down within 1 m of the fixture share a
    30-degree ring sector there. Judgement (exposure model section 5); direction not known
    while it blows counts as from the source: errs wet.
    """
    off = np.abs((wind_from_deg - spray.bearing_deg + 180.0) % 360.0 - 180.0)
    from_source = np.isnan(wind_from_deg) | (wind_mps == 0.0) | (off <= 15.0)
    near, far = max(0.0, spray.distance_m - 1.0), spray.distance_m + 1.0
    thrown = wind_mps * spray.height_m
    fastest = thrown / near if near > 0.0 else np.full_like(thrown, np.inf)
    landing = part_slower(classes, fastest) - part_slower(classes, thrown / far)
    area_m2 = np.pi / 12.0 * (far**2 - near**2)
    rate = 60.0 * spray.lost_litres_per_minute / area_m2
    return np.where(from_source[:, None], rate * landing * shares, 0.0)
