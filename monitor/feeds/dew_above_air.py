"""Dew points above the air: a little is two sensors that differ, more is a value that is wrong."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from monitor.domain import WEATHER_VALUES

if TYPE_CHECKING:
    from collections.abc import Iterator

STANDS_C = 0.5
"""Two sensors, each a few tenths off, can read this far the wrong way round [C]."""
TAKEN_AS_AIR_C = 1.0
"""J: up to here it is taken for saturated air; further above, one of the two is wrong [C]."""

_TEMP, _DEW = WEATHER_VALUES.index("temp_c"), WEATHER_VALUES.index("dew_point_c")
_TOLD_LINES = 5


class DewAboveAir:
    """Mends or leaves out such values of a record, and keeps where they stood: a value in five
    years is no reason to refuse the five years.
    """

    def __init__(self) -> None:
        self._clipped: list[int] = []
        self._left_out: list[int] = []

    def believed(self, values: tuple[float, ...], line: int) -> tuple[float, ...]:
        """The values of a row, in the order of WEATHER_VALUES, with a dew point that can be."""
        temp, dew = values[_TEMP], values[_DEW]
        if not dew > temp + STANDS_C:
            return values
        near = dew <= temp + TAKEN_AS_AIR_C
        (self._clipped if near else self._left_out).append(line)
        return (*values[:_DEW], temp if near else math.nan, *values[_DEW + 1 :])

    def told(self) -> Iterator[str]:
        """What was done, with the first lines."""
        for lines, done in (
            (self._clipped, f"up to {TAKEN_AS_AIR_C:g} C above the air taken as the air"),
            (self._left_out, "further above the air left out"),
        ):
            if lines:
                named = ", ".join(map(str, lines[:_TOLD_LINES]))
                more = " and more" if len(lines) > _TOLD_LINES else ""
                what = "dew point" if len(lines) == 1 else "dew points"
                where = "line" if len(lines) == 1 else "lines"
                yield f"{len(lines)} {what} {done} ({where} {named}{more})"
