"""Depths and speeds as whoever looks likes them. Files and messages stay metric."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measures:
    """Metric."""

    depth_unit: str = "mm"
    speed_unit: str = "m/s"

    def depth_value(self, mm: float) -> float:
        """A depth in the unit shown."""
        return mm

    def speed_value(self, mps: float) -> float:
        """A speed in the unit shown."""
        return mps

    def depth(self, mm: float | None) -> str:
        """`29 mm`, `4.1 mm`, `< 0.1 mm`; a dash where it is not known."""
        if mm is None or not math.isfinite(mm):
            return "–"
        value = self.depth_value(mm)
        if 0.0 < value < 0.05:
            return f"< 0.1 {self.depth_unit}"
        return (
            f"{value:.1f} {self.depth_unit}" if value < 9.95 else f"{value:.0f} {self.depth_unit}"
        )

    def speed(self, mps: float | None) -> str:
        """`13 m/s`, `12.5 m/s`; a dash where it is not known."""
        if mps is None or not math.isfinite(mps):
            return "–"
        return f"{self.speed_value(mps):.1f}".removesuffix(".0") + f" {self.speed_unit}"
