"""Numbers as the report writes them: short, never rounded across a mark, a dash for nothing."""

from __future__ import annotations

import math

NOTHING = "–"


def depth(mm: float) -> str:
    """`63.8`, `<0.1`, a dash for exactly none [mm]."""
    if mm <= 0.0:
        return NOTHING
    return "<0.1" if mm < 0.05 else f"{mm:.1f}"


def share(used: float) -> str:
    """`0.43`, `7.3`, `84`; rounded down, so that what is short of 1 never reads as 1."""
    if used <= 0.0:
        return NOTHING
    if used < 0.01:
        return "<0.01"
    for under, places in ((10.0, 2), (100.0, 1)):
        if used < under:
            tens = 10**places
            return f"{math.floor(used * tens + 1e-9) / tens:.{places}f}"
    return f"{math.floor(used):d}"


def hours(h: float) -> str:
    """`6.5`, `<0.1`, a dash for none [h]."""
    if h <= 0.0:
        return NOTHING
    return "<0.1" if h < 0.05 else f"{h:.1f}"


def allowance(mm: float | None) -> str:
    """`25 mm`, or that rain sets no limit."""
    return "no limit from rain" if mm is None else f"{mm:g} mm"


def speed(mps: float) -> str:
    """`21.4 m/s`; not known is said."""
    return "not known" if math.isnan(mps) else f"{mps:.1f} m/s"


def minutes(value: float | None) -> str:
    """`55 min`, `2 h 5 min`, `-20 min` where it was told too late."""
    if value is None:
        return NOTHING
    whole = round(abs(value))
    hour, rest = divmod(whole, 60)
    said = f"{whole} min" if whole < 120 else f"{hour} h {rest} min" if rest else f"{hour} h"
    return f"{said} too late" if value < 0 and whole else said


def reading(value: float | None) -> str:
    """`0.08`, `250`, as it was typed; empty where nothing was read."""
    return "" if value is None else f"{value:.10g}"


def counted(n: int, one: str, many: str = "") -> str:
    """`1 fixture`, `8 fixtures`."""
    return f"{n:,} {one if n == 1 else many or one + 's'}".replace(",", " ")
