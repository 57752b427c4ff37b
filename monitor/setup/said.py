"""Lengths, winds and directions as people say them: `3 steps`, `7 ft`, `28 mph`, `SW`."""

from __future__ import annotations

import math
import re

from monitor.units import KMH_TO_MPS, KNOT_TO_MPS, MPH_TO_MPS

STEP_M = 0.75
"""One walking step (common practice; pace it against a tape where it matters)."""
_FOOT_M = 0.3048
"""Exactly, by the international yard and pound agreement of 1959."""

_LENGTHS = {
    **dict.fromkeys(("", "m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("cm",), 0.01),
    **dict.fromkeys(("mm",), 0.001),
    **dict.fromkeys(("ft", "foot", "feet", "'"), _FOOT_M),
    **dict.fromkeys(("in", "inch", "inches", '"'), _FOOT_M / 12.0),
    **dict.fromkeys(("step", "steps", "pace", "paces", "schritt", "schritte"), STEP_M),
}
_SPEEDS = {
    **dict.fromkeys(("", "m/s", "mps"), 1.0),
    **dict.fromkeys(("km/h", "kmh", "kph"), KMH_TO_MPS),
    **dict.fromkeys(("mph",), MPH_TO_MPS),
    **dict.fromkeys(("kn", "kt", "knot", "knots"), KNOT_TO_MPS),
}
HEIGHTS_M = {"hand": 0.1, "knee": 0.5, "head": 1.8, "ladder": 3.5, "lift": 9.0}
"""How far off the ground a base is, in words (common practice); a tape beats them."""
POINTS = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
_NAMED = {
    "north": "N",
    "east": "E",
    "south": "S",
    "west": "W",
    "nord": "N",
    "ost": "E",
    "süd": "S",
    "sued": "S",
}
_NUMBER = re.compile(r"([+-]?\d+(?:[.,]\d+)?|[+-]?[.,]\d+)\s*([a-z/'\"]*)", re.ASCII)
_FEET = re.compile(r"(\d+)\s*(?:ft|feet|')\s*(\d+(?:\.\d+)?)\s*(?:in|inches|\")?", re.ASCII)


def length_m(said: str) -> float | None:
    """Metres of `2.2`, `2,2 m`, `3 steps`, `7 ft`, `7'6"`, `6 cm`, `knee`; None: not understood."""
    word = said.strip().lower()
    if word in HEIGHTS_M:
        return HEIGHTS_M[word]
    both = _FEET.fullmatch(word)
    if both:
        return _short((float(both[1]) + float(both[2]) / 12.0) * _FOOT_M)
    return _with_unit(word, _LENGTHS)


def speed_mps(said: str) -> float | None:
    """Metres per second of `12.5`, `45 km/h`, `28 mph`, `24 kn`; None: not understood."""
    return _with_unit(said.strip().lower(), _SPEEDS)


def number(said: str) -> float | None:
    """A number alone, with a point or a comma; None: not understood."""
    return _with_unit(said.strip().lower(), {"": 1.0, "min": 1.0, "°": 1.0})


def azimuth_deg(said: str) -> float | None:
    """Degrees clockwise from north of `225`, `SW`, `south-west`; None: not understood."""
    word = said.strip().lower().removesuffix("°")
    parts = (_NAMED.get(part, part) for part in re.split(r"[\s-]+", _apart(word)))
    # East is O where German is spoken.
    short = "".join(parts).upper().replace("O", "E")
    if short in POINTS:
        return POINTS.index(short) * 22.5
    found = number(word)
    return None if found is None or not 0.0 <= found <= 360.0 else found


def point_of(azimuth: float) -> str:
    """The nearest of the sixteen points of the compass."""
    return POINTS[round(azimuth / 22.5) % 16]


def _apart(word: str) -> str:
    """`southwest` as `south west`, `Südost` as `süd ost`."""
    return re.sub(r"(north|nord|south|süd|sued|east|ost|west)(?=[a-zü])", r"\1 ", word)


def _with_unit(word: str, units: dict[str, float]) -> float | None:
    found = _NUMBER.fullmatch(word)
    if found is None or found[2] not in units:
        return None
    value = float(found[1].replace(",", ".")) * units[found[2]]
    return _short(value) if math.isfinite(value) else None


def _short(value: float) -> float:
    """To a millimetre: nobody says more."""
    return round(value, 3)
