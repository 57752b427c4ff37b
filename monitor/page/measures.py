"""Depths and speeds as whoever looks likes them. Files and messages stay metric."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from monitor.page.words import JOIN
from monitor.units import INCH_TO_MM, KMH_TO_MPS, KNOT_TO_MPS, MPH_TO_MPS

DepthUnit = Literal["mm", "in"]
SpeedUnit = Literal["m/s", "km/h", "mph", "kn"]

_DEPTHS: dict[DepthUnit, tuple[float, int]] = {"mm": (1.0, 1), "in": (INCH_TO_MM, 2)}
"""Millimetres in one, and decimals of what is small"""
_SPEEDS: dict[SpeedUnit, float] = {
    "m/s": 1.0,
    "km/h": KMH_TO_MPS,
    "mph": MPH_TO_MPS,
    "kn": KNOT_TO_MPS,
}


def _as_written(number: str) -> str:
    return number


@dataclass(frozen=True, slots=True)
class Measures:
    """A unit for depths of rain, and one for wind."""

    depth_unit: DepthUnit = "mm"
    speed_unit: SpeedUnit = "m/s"
    number: Callable[[str], str] = _as_written
    """Puts the decimal mark of the language into a number"""

    def depth_value(self, mm: float) -> float:
        """A depth in the unit shown."""
        return mm / _DEPTHS[self.depth_unit][0]

    def depth_mm(self, value: float) -> float:
        """A depth in the unit shown, in millimetres."""
        return value * _DEPTHS[self.depth_unit][0]

    def speed_value(self, mps: float) -> float:
        """A speed in the unit shown."""
        return mps / _SPEEDS[self.speed_unit]

    def speed_mps(self, value: float) -> float:
        """A speed in the unit shown, in metres per second."""
        return value * _SPEEDS[self.speed_unit]

    def depth(self, mm: float | None) -> str:
        """`29 mm`, `4.1 mm`, `< 0.1 mm`, `1.14 in`; a dash where it is not known."""
        if mm is None or not math.isfinite(mm):
            return "–"
        value = self.depth_value(mm)
        least = 10.0 ** -_DEPTHS[self.depth_unit][1]
        if 0.0 < value < least / 2:
            return f"< {self.number(f'{least:g}')}{JOIN}{self.depth_unit}"
        return f"{self.depth_number(mm)}{JOIN}{self.depth_unit}"

    def depth_number(self, mm: float) -> str:
        """`29`, `4.1`, `1.14`, without the unit."""
        value, decimals = self.depth_value(mm), _DEPTHS[self.depth_unit][1]
        return self.number(f"{value:.{decimals if value < 9.95 else decimals - 1}f}")

    def speed(self, mps: float | None) -> str:
        """`13 m/s`, `12.5 m/s`; a dash where it is not known."""
        if mps is None or not math.isfinite(mps):
            return "–"
        said = f"{self.speed_value(mps):.1f}".removesuffix(".0")
        return f"{self.number(said)}{JOIN}{self.speed_unit}"
