"""What a mistyped name most likely means."""

from __future__ import annotations

import re
from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

_LIKENESS = 0.72
"""Lets `hieght_m` mean height_m and keeps `channel` from meaning anything."""

_LISTED = 40

# How a unit is written at the end of a name, in any unit a crew might think in.
_UNITS = frozenset(
    [
        "m",
        "metre",
        "metres",
        "meter",
        "meters",
        "mm",
        "cm",
        "km",
        "ft",
        "feet",
        "foot",
        "in",
        "inch",
        "inches",
        "yd",
        "m2",
        "ft2",
        "sqm",
        "mps",
        "ms",
        "kmh",
        "kph",
        "mph",
        "kn",
        "kt",
        "knots",
        "deg",
        "degrees",
        "degree",
        "rad",
        "minutes",
        "minute",
        "mins",
        "min",
        "s",
        "sec",
        "secs",
        "seconds",
        "h",
        "hr",
        "hrs",
        "hour",
        "hours",
        "day",
        "days",
    ]
)


def meant(name: str, known: Iterable[str], *, same_initial: bool = False) -> str | None:
    """The known name that `name` probably stands for: other spelling, other unit, a slip.

    `same_initial`: a slip does not touch the first letter, so `mode` is no slip of code.
    """
    names = {_plain(candidate): candidate for candidate in known}
    plain = _plain(name)
    if plain in names:
        return names[plain]
    by_stem = {_stem(candidate): candidate for candidate in names}
    if _stem(plain) in by_stem:
        return names[by_stem[_stem(plain)]]
    likely = [n for n in names if not same_initial or n[:1] == plain[:1]]
    close = get_close_matches(plain, likely, n=1, cutoff=_LIKENESS)
    return names[close[0]] if close else None


def other_unit(name: str, known: str) -> bool:
    """Whether the two differ in nothing but the unit they end on."""
    return _plain(name) != _plain(known) and _stem(_plain(name)) == _stem(_plain(known))


def suggestion(name: str, known: Iterable[str]) -> str:
    """A remedy for a name that is not known: the nearest one, else all of them."""
    names = list(dict.fromkeys(known))
    near = meant(name, names)
    if near is not None:
        if other_unit(name, near):
            return f"Write {near}: the unit stands in the name, so give the value in that unit."
        return f"Perhaps {near} is meant."
    if not names:
        return "None is known here."
    listed = ", ".join(names[:_LISTED]) + (", ..." if len(names) > _LISTED else "")
    return f"Known are: {listed}."


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")


def _stem(plain: str) -> str:
    head, _, tail = plain.rpartition("_")
    return head if head and tail in _UNITS else plain
