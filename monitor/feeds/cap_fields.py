"""The small pieces of a warning message: texts, moments, shapes, references. Pure."""

from __future__ import annotations

import math
import re
import unicodedata
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.planning.official import Reference

if TYPE_CHECKING:
    from collections.abc import Iterable

LONGEST_TEXT = 16_000
"""Characters of one text that are kept; what is cut is said."""
CUT = " [cut here: read the rest at the service]"
MOST_POINTS = 20_000

_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?(?:[Zz]|[+-]\d\d:\d\d)")
_YEARS = range(1990, 2200)


class Refused(Exception):  # noqa: N818 - what the service sent is at fault
    """What came is no warning that can be used; `says` is for the operator."""

    def __init__(self, says: str) -> None:
        self.says = says
        super().__init__(says)


def one_line(text: object) -> str:
    """A short text on one line, without control characters."""
    return " ".join(whole_text(text).split())


def whole_text(text: object) -> str:
    """A text as it was sent: only what cannot be seen is taken out, and its length is held.

    Line breaks stay. Letters that hide or turn round what follows do not.
    """
    if not isinstance(text, str):
        return ""
    unified = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    kept = "".join(c for c in unified if c == "\n" or _is_seen(c)).strip()
    return kept if len(kept) <= LONGEST_TEXT else kept[:LONGEST_TEXT] + CUT


def _is_seen(character: str) -> bool:
    return unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def moment(text: object) -> datetime | None:
    """A moment with its offset; None where it has none or is no moment."""
    if not isinstance(text, str) or not _MOMENT.fullmatch(text.strip()):
        return None
    try:
        found = datetime.fromisoformat(text.strip().upper())
    except ValueError:
        return None
    return found if found.year in _YEARS else None


def references(text: str) -> tuple[Reference, ...]:
    """`sender,identifier,sent` triplets with space between them.

    One without a readable time still names its message: an end must not be missed for it.
    """
    found = []
    for group in text.split():
        parts = [part.strip('"') for part in group.split(",")]
        if len(parts) >= 3 and parts[0] and parts[1]:
            # An identifier may not hold commas; a sender that does is put together again.
            found.append(Reference(",".join(parts[:-2]), parts[-2], moment(parts[-1])))
        elif len(parts) == 2 and all(parts):
            found.append(Reference(parts[0], parts[1]))
    return tuple(found)


def polygon(text: str) -> tuple[tuple[float, float], ...] | None:
    """`lat,lon lat,lon ...`, closed; None where it cannot be read."""
    pairs = re.sub(r"\s*,\s*", ",", text.strip()).split()
    if len(pairs) > MOST_POINTS:
        return None
    points = [_point(pair) for pair in pairs]
    known = [point for point in points if point is not None]
    return closed(known) if len(known) == len(points) else None


def closed(points: list[tuple[float, float]]) -> tuple[tuple[float, float], ...] | None:
    """A ring whose last point is its first; None under three corners."""
    ring = points if points and points[0] == points[-1] else [*points, *points[:1]]
    return tuple(ring) if len(set(ring)) >= 3 else None


def circle(text: str) -> tuple[float, float, float] | None:
    """`lat,lon radius`, the radius in kilometres; None where it cannot be read."""
    parts = re.sub(r"\s*,\s*", ",", text.strip()).split()
    point = _point(parts[0]) if len(parts) == 2 else None
    radius = number(parts[1]) if point is not None else None
    return None if point is None or radius is None or radius < 0 else (*point, radius)


def number(value: object) -> float | None:
    """A plain finite number, from text or from JSON."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return None
    try:
        found = float(value)
    except (ValueError, OverflowError):
        return None
    return found if math.isfinite(found) else None


def place(latitude: object, longitude: object) -> tuple[float, float] | None:
    """A point on the globe [deg]; None where it is none."""
    lat, lon = number(latitude), number(longitude)
    if lat is None or lon is None or abs(lat) > 90 or abs(lon) > 360:
        return None
    return lat, lon if abs(lon) <= 180 else lon - math.copysign(360, lon)


def distinct(values: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """Pairs once each, in order, without empty ones."""
    return tuple(dict.fromkeys((name, value) for name, value in values if value))


def _point(pair: str) -> tuple[float, float] | None:
    parts = pair.split(",")
    return place(parts[0], parts[1]) if len(parts) == 2 else None
