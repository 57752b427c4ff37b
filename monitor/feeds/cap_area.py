"""Whether a warning is for the site: by shape, by code, or as asked for its point. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal
from urllib.parse import parse_qs, urlsplit

from monitor.feeds.cap_fields import place

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from monitor.domain import Site, WarningsFrom
    from monitor.planning.official import OfficialWarning, WarnedArea

EARTH_KM = 6371.0
"""Mean radius of the earth [km]"""

SAME_PLACE_KM = 10.0
"""A service that was asked for a point no further off than this was asked for the site."""

_EDGE_DEG = 1e-9

Concern = Literal["site", "unknown", "elsewhere"]


@dataclass(frozen=True, slots=True)
class SiteArea:
    """What counts as the site's with one service.

    `codes` are area codes as the show folder lists them, plain or as `NAME:CODE`; `asked_here`
    tells that the service was asked for the site's own point, so that all it gives is meant.
    """

    codes: tuple[str, ...] = ()
    asked_here: bool = False


def site_area(source: WarningsFrom, site: Site) -> SiteArea:
    """What counts as the site's with a service of the show."""
    asked = point_asked_for(source.url)
    near = asked is not None and apart_km(asked, (site.latitude, site.longitude)) <= SAME_PLACE_KM
    return SiteArea(source.areas, near)


def point_asked_for(url: str) -> tuple[float, float] | None:
    """The point in an address: `point=lat,lon`, or `lat=` and `lon=`."""
    try:
        query = parse_qs(urlsplit(url).query)
    except ValueError:
        return None
    both = query.get("point", [""])[0].split(",")
    if len(both) == 2:
        return place(*both)
    lat = next((query[name][0] for name in ("lat", "latitude") if name in query), None)
    lon = next((query[name][0] for name in ("lon", "lng", "longitude") if name in query), None)
    return None if lat is None or lon is None else place(lat, lon)


def concerns(warning: OfficialWarning, site: Site, ours: SiteArea) -> Concern:
    """Whether a warning is for the site.

    `unknown` where neither a shape nor a code decides: it may concern the site, and is to be
    shown as such, never dropped.
    """
    if ours.asked_here:
        return "site"
    point = (site.latitude, site.longitude)
    found = [_area_concerns(area, point, ours.codes) for area in warning.areas]
    if "site" in found:
        return "site"
    return "elsewhere" if found and "unknown" not in found else "unknown"


def lies_elsewhere(area: WarnedArea, site: Site, ours: SiteArea) -> bool:
    """Whether an area is another one without doubt."""
    point = (site.latitude, site.longitude)
    return not ours.asked_here and _area_concerns(area, point, ours.codes) == "elsewhere"


def _area_concerns(area: WarnedArea, point: tuple[float, float], codes: Sequence[str]) -> Concern:
    if any(_is_ours(name, value, codes) for name, value in area.geocodes):
        return "site"
    inside = [in_polygon(point, ring) for ring in area.polygons]
    inside += [apart_km(point, (lat, lon)) <= radius for lat, lon, radius in area.circles]
    if True in inside:
        return "site"
    if area.unreadable or None in inside:
        return "unknown"
    if inside:
        return "elsewhere"
    return "elsewhere" if _codes_decide({n for n, _ in area.geocodes}, codes) else "unknown"


def _is_ours(name: str, value: str, codes: Iterable[str]) -> bool:
    said = {value.lower(), f"{name}:{value}".lower()}
    return any(code.strip().lower() in said for code in codes)


def _codes_decide(lists: Collection[str], codes: Sequence[str]) -> bool:
    """Whether codes that do not match tell that the area is another one.

    They do if the show folder gives codes of one of the same lists; a code without the name
    of its list may be of any.
    """
    named = {code.partition(":")[0].strip().lower() for code in codes if ":" in code}
    plain = any(":" not in code for code in codes)
    return bool(lists) and (plain or not named.isdisjoint(name.lower() for name in lists))


def apart_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Distance along the great circle between (latitude, longitude) points [km].

    Notes
    -----
    Haversine formula on a sphere of mean radius; within 0.6 % of the ellipsoid.
    """
    lat1, lon1, lat2, lon2 = (math.radians(d) for d in (*one, *other))
    a = (
        math.sin((lat2 - lat1) / 2) ** 2
        + math.cos(lat1) * math.cos(lat2) * math.sin((lon2 - lon1) / 2) ** 2
    )
    return 2 * EARTH_KM * math.asin(math.sqrt(min(1.0, a)))


def in_polygon(point: tuple[float, float], ring: Sequence[tuple[float, float]]) -> bool | None:
    """Whether a point lies in a closed ring of (latitude, longitude), its edge included.

    Edges are straight in latitude and longitude and take the shorter way round the globe, so
    a ring may cross the antimeridian. None for a ring round a pole: it has no inside here.
    """
    unrolled = _unrolled(ring)
    if abs(unrolled[-1][1] - unrolled[0][1]) > 180:
        return None
    lat, lon = point
    return any(_inside((lat, lon + turn), unrolled) for turn in (0.0, 360.0, -360.0))


def _unrolled(ring: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The ring with longitudes that never jump; an edge right round the globe stays one."""
    out = [ring[0]]
    for (_, before), (lat, lon) in pairwise(ring):
        step = lon - before
        if 180 < abs(step) < 360:
            step -= math.copysign(360, step)
        out.append((lat, out[-1][1] + step))
    return out


def _inside(point: tuple[float, float], ring: Sequence[tuple[float, float]]) -> bool:
    y, x = point
    inside = False
    for (y1, x1), (y2, x2) in pairwise(ring):
        if max(y1, y2) < y - _EDGE_DEG or min(y1, y2) > y + _EDGE_DEG:
            continue
        if _on_edge(point, (y1, x1), (y2, x2)):
            return True
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
            inside = not inside
    return inside


def _on_edge(
    point: tuple[float, float], start: tuple[float, float], end: tuple[float, float]
) -> bool:
    dy, dx = end[0] - start[0], end[1] - start[1]
    length2 = dy * dy + dx * dx
    along = 0.0
    if length2:
        along = ((point[0] - start[0]) * dy + (point[1] - start[1]) * dx) / length2
        along = min(1.0, max(0.0, along))
    return (
        math.hypot(point[0] - start[0] - along * dy, point[1] - start[1] - along * dx) <= _EDGE_DEG
    )
