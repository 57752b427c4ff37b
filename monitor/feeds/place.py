"""Whether an answer is for the place it was asked for. Pure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from monitor.feeds.paths import found
from monitor.units import EARTH_RADIUS_M

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.feeds.sheet_parts import PlacePart

FURTHEST_M = 15_000.0
HIGHEST_M = 300.0
_TELLS = "place: "


def place_told(dropped: tuple[str, ...]) -> tuple[str, ...]:
    """Those of the sentences told of a decoded answer that are about its place."""
    return tuple(one for one in dropped if one.startswith(_TELLS))


def misplaced(
    answer: Any,
    part: PlacePart,
    latitude: float | None,
    longitude: float | None,
    elevation_m: float | None,
) -> Iterator[str]:
    """Sentences where the answer is for a point, a station or a height far from the site.

    Parameters
    ----------
    latitude, longitude, elevation_m : of the site; None: not known here, and not compared
    """
    lat, lon = _number(answer, part.lat), _number(answer, part.lon)
    if lat is not None and lon is not None and latitude is not None and longitude is not None:
        away = distance_m(latitude, longitude, lat, lon)
        if away > FURTHEST_M:
            yield f"{_TELLS}the forecast is for a point {away / 1000:.0f} km from the site"
    station = _number(answer, part.distance_m)
    if station is not None and station > FURTHEST_M:
        yield f"{_TELLS}the station is {station / 1000:.0f} km from the site"
    height = _number(answer, part.elevation)
    if height is not None and elevation_m is not None:
        above = height - elevation_m
        if abs(above) > HIGHEST_M:
            side = "above" if above > 0 else "below"
            yield f"{_TELLS}the forecast is for a height {abs(above):.0f} m {side} the site"


def distance_m(
    latitude: float, longitude: float, other_latitude: float, other_longitude: float
) -> float:
    """Distance of two points on the sphere, by the haversine formula [m]."""
    a, b = math.radians(latitude), math.radians(other_latitude)
    half = math.sin((b - a) / 2) ** 2
    turn = math.radians(other_longitude - longitude)
    half += math.cos(a) * math.cos(b) * math.sin(turn / 2) ** 2
    return 2 * EARTH_RADIUS_M * math.asin(math.sqrt(min(1.0, half)))


def _number(answer: Any, path: str | None) -> float | None:
    stated = found(answer, path) if path else None
    if isinstance(stated, bool) or not isinstance(stated, (int, float)):
        return None
    try:
        value = float(stated)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None
