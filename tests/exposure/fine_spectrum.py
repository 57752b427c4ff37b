"""The drop spectrum cut very fine, in plain Python from the published formulas alone.

Nothing here comes from the program: it is the second opinion the derived values rest on.
"""

from __future__ import annotations

import itertools
import math
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

# Gunn & Kinzer 1949, the table, D mm: V m/s.
TABLE = (
    *((0.0, 0.0), (0.1, 0.27), (0.2, 0.72), (0.3, 1.17), (0.4, 1.62), (0.5, 2.06), (0.6, 2.47)),
    *((0.7, 2.87), (0.8, 3.27), (0.9, 3.67), (1.0, 4.03), (1.2, 4.64), (1.4, 5.17), (1.6, 5.65)),
    *((1.8, 6.09), (2.0, 6.49), (2.2, 6.90), (2.4, 7.27), (2.6, 7.57), (2.8, 7.82), (3.0, 8.06)),
    *((3.2, 8.26), (3.4, 8.44), (3.6, 8.60), (3.8, 8.72), (4.0, 8.83), (4.2, 8.92), (4.4, 8.98)),
    *((4.6, 9.03), (4.8, 9.07), (5.0, 9.09), (5.2, 9.12), (5.4, 9.14), (5.6, 9.16), (5.8, 9.17)),
)
CLASSES = 20_000
TOP_MM = 12.0


def fall_speed(diameter_mm: float) -> float:
    for (d0, v0), (d1, v1) in itertools.pairwise(TABLE):
        if diameter_mm <= d1:
            return v0 + (v1 - v0) * (diameter_mm - d0) / (d1 - d0)
    return TABLE[-1][1]


@cache
def _speeds() -> tuple[float, ...]:
    width = TOP_MM / CLASSES
    return tuple(fall_speed((i + 0.5) * width) for i in range(CLASSES))


@cache
def _air_shares(rain_mm_h: float) -> tuple[float, ...]:
    a, width = 1.30 * rain_mm_h**0.232, TOP_MM / CLASSES
    left = [math.exp(-((i * width / a) ** 2.25)) for i in range(CLASSES + 1)]
    shares = [high - low for high, low in itertools.pairwise(left)]
    shares[-1] += left[-1]  # what is bigger still
    return tuple(shares)


def summed(rain_mm_h: float, what: Callable[[float], float]) -> float:
    """Sum of what(V) over the water in the air."""
    return sum(
        share * what(speed)
        for share, speed in zip(_air_shares(float(rain_mm_h)), _speeds(), strict=True)
    )


def used_by_digit_3(rain_mm_h: float, wind_mps: float) -> float:
    """Share of its allowance an upright new IPX3 uses in an hour, in the open."""
    bulk = summed(rain_mm_h, lambda v: v)
    length = math.hypot(1.0, wind_mps / bulk)
    toward, up = wind_mps / bulk / length, 1.0 / length

    def allowance(angle_deg: float) -> float:
        fall = min(1.0, max(0.0, angle_deg - 60.0) / 30.0)
        return 50.0 * (0.5 / 50.0) ** fall

    def used(v: float) -> float:
        return (wind_mps * toward + v * up) / allowance(math.degrees(math.atan2(wind_mps, v)))

    return rain_mm_h / bulk * summed(rain_mm_h, used)
