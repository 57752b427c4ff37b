"""Water on site that no forecast knows, and the daily hours of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, time
from typing import Literal

WashdownKind = Literal["sprinkler", "low", "high"]


@dataclass(frozen=True, slots=True)
class Hours:
    """A daily span of site time; end before start runs over midnight."""

    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Spray:
    """Water thrown by a fountain or surf: `bearing_deg` is from the fixture to the source."""

    height_m: float
    distance_m: float
    bearing_deg: float
    lost_litres_per_minute: float
    salt: bool = False
    on: tuple[Hours, ...] = ()
    """Empty: always on."""


@dataclass(frozen=True, slots=True)
class Puddle:
    """Where water stands after rain, and how soon it is gone."""

    gathers: float
    """Millimetres in it for each of rain: what drains into it, over its own area"""
    half_gone_hours: float
    """How long after the rain half of it is gone"""
    deepest_m: float
    """Where it runs off"""

    @property
    def drain_hours(self) -> float:
        """Depth over the rate at which it drains then [h]."""
        return self.half_gone_hours / math.log(2.0)


@dataclass(frozen=True, slots=True)
class Washdown:
    """Water that is thrown at positions at known times: `every_day`, or once from start to end.

    `low` is a hose, which asks for a water digit of 5; `high` a pressure washer, for a 6.
    """

    kind: WashdownKind
    positions: tuple[str, ...]
    rate_mm_h: float
    """Depth an hour on the side that gets most of it [mm/h]"""
    every_day: tuple[Hours, ...] = ()
    days: tuple[int, ...] = ()
    """Days of the week on which a daily span begins, Monday 0; empty: every day"""
    start: datetime | None = None
    end: datetime | None = None
