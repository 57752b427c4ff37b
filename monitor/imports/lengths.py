"""Heights as people write them: a number alone, with a unit, or feet and inches."""

from __future__ import annotations

import re

IN_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}
"""A foot is 0.3048 m exactly (international yard and pound agreement of 1959)."""
_SPELT = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("cm",), "cm"),
    **dict.fromkeys(("mm",), "mm"),
    **dict.fromkeys(("ft", "feet", "foot", "'", "′"), "ft"),
    **dict.fromkeys(("in", "inch", "inches", '"', "″"), "in"),
}
_ONE = re.compile(r"([+-]?\d{1,9}(?:[.,]\d+)?)\s*([a-z'\"′″]*)", re.ASCII | re.IGNORECASE)
_FEET = re.compile(
    r"(\d{1,4})\s*(?:ft|feet|foot|'|′)\s*[- ]?\s*"
    r"(\d{1,2}(?:[.,]\d+)?)\s*(?:in|inches|inch|\"|″|'')?",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"[+-]?\d{1,3},\d{3}", re.ASCII)


def needs_unit(text: str) -> bool:
    """Whether it is a number alone."""
    found = _ONE.fullmatch(text.strip())
    return found is not None and not found[2]


def metres(text: str, unit: str | None) -> float | None:
    """The height in metres; `unit` is of numbers alone. None: not understood."""
    said = text.strip()
    both = _FEET.fullmatch(said)
    if both:
        inches = float(both[1]) * 12.0 + float(both[2].replace(",", "."))
        return round(inches * IN_METRES["in"], 3)
    found = _ONE.fullmatch(said)
    if found is None or _THOUSANDS.fullmatch(found[1]):
        # 1,250 is one and a quarter to some and over a thousand to others.
        return None
    own = _SPELT.get(found[2].lower()) if found[2] else unit
    if own is None:
        return None
    return round(float(found[1].replace(",", ".")) * IN_METRES[own], 3)
