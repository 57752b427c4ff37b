"""Water that stands on the ground: how deep, how long, and what may lie in it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from monitor.codes import credited_digits
from monitor.domain import Code, Condition, Floats, Puddle, Show
from monitor.exposure.steps import Steps
from monitor.exposure.washing import Washing, washdowns_at
from monitor.units import SECONDS_PER_HOUR

TEST_HOURS, TEST_DEPTH_M = 0.5, 1.0
"""The test behind 7: half an hour under up to one metre (IEC 60529)."""
AT_ONCE_HOURS = 1.0 / 60.0
"""What no test under water covers counts as spent within this (judgement) [h]."""
FILM_MM = 5.0
"""No deeper than this it is a wet ground and no puddle (judgement) [mm]."""
_MM = 1000.0


class Dip(NamedTuple):
    """Where something stands in a puddle, should there be one."""

    position: str
    puddle: Puddle
    base_m: float
    """Of what stands there, above the ground"""

    @property
    def level_mm(self) -> float:
        """How deep water has to be to reach it [mm]."""
        return max(self.base_m * _MM, FILM_MM)

    @property
    def reached(self) -> bool:
        """Whether the puddle at its deepest reaches it."""
        return self.level_mm < self.puddle.deepest_m * _MM


class Limit(NamedTuple):
    """How long a part may be under water, down to which depth; nothing is allowed deeper."""

    hours: float
    depth_m: float


def immersion_limit(
    code: Code,
    condition: Condition,
    stated: tuple[float, float] | None = None,
) -> Limit | None:
    """What a code and its maker allow under water; None: nothing.

    Parameters
    ----------
    code, condition : of the part
    stated : the maker's word on an 8: depth [m], and hours, infinite where it may stay

    Notes
    -----
    7 is half an hour under up to a metre. 8 is harder than 7 and as its maker says; where nothing
    is stated it counts as a 7. A digit below 7, and whatever is worn, is not to stand in water.
    """
    digits = credited_digits(code)
    if condition == "worn" or 7 not in digits:
        return None
    if 8 in digits and stated is not None:
        return Limit(stated[1], stated[0])
    return Limit(TEST_HOURS, TEST_DEPTH_M)


def puddle_step(
    depth_mm: Floats | float,
    inflow_mm_h: Floats | float,
    hours: Floats | float,
    drain_hours: float,
    brim_mm: float,
) -> Floats:
    """Depth of a puddle at the end of a step with a steady inflow.

    Parameters
    ----------
    depth_mm : at its start [mm]
    inflow_mm_h : rain on all that drains into it, over its own area [mm/h]
    hours : length of the step [h]
    drain_hours : depth over the rate at which it drains then [h]
    brim_mm : where it runs off [mm]

    Returns
    -------
    depth [mm]

    Notes
    -----
    A linear reservoir: dh/dt = p - h/K, so h = p K + (h0 - p K) exp(-t/K), no deeper than its
    brim. K = (time in which half of it is gone) / ln 2. Evaporation is left out: errs wet.

    References
    ----------
    Linear reservoir of hydrology, S = K Q (Nash 1957; from memory). Checks:
    tests/published/puddle.toml
    """
    settled = np.asarray(inflow_mm_h) * drain_hours
    left = np.exp(-np.asarray(hours) / drain_hours)
    return np.minimum(settled + (np.asarray(depth_mm) - settled) * left, brim_mm)


def hours_over(
    level_mm: float,
    depth_mm: Floats | float,
    inflow_mm_h: Floats | float,
    hours: Floats | float,
    drain_hours: float,
    brim_mm: float,
) -> Floats:
    """How long of a step a puddle is deeper than a level.

    Parameters
    ----------
    level_mm : the level [mm]
    depth_mm, inflow_mm_h, hours, drain_hours, brim_mm : as of `puddle_step`

    Returns
    -------
    hours [h]

    Notes
    -----
    Within a step the depth only rises or only falls, so it passes a level once, at
    t = K ln((h0 - p K) / (level - p K)).

    References
    ----------
    As `puddle_step`. Checks: tests/published/puddle.toml
    """
    depth, hours = np.asarray(depth_mm, dtype=float), np.asarray(hours, dtype=float)
    settled = np.asarray(inflow_mm_h, dtype=float) * drain_hours
    if level_mm >= brim_mm:
        return np.zeros(np.broadcast_shapes(depth.shape, settled.shape, hours.shape))
    passes = (depth > level_mm) != (settled > level_mm)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(passes, (depth - settled) / (level_mm - settled), 1.0)
    at = np.minimum(drain_hours * np.log(ratio), hours)
    rising = np.where(passes, hours - at, 0.0)
    falling = np.where(passes, at, hours)
    return np.where(depth > level_mm, falling, rising)


class Puddles:
    """Every puddle of a show, step by step and member by member, once for all that stands in it.

    Parameters
    ----------
    show : its positions say which have one
    steps : the weather, cut where sprinklers turn on and off
    before_mm : by position, how deep it was at the end of what was counted before
    before_s : when that was
    """

    def __init__(
        self, show: Show, steps: Steps, before_mm: dict[str, float], before_s: float
    ) -> None:
        self._hours = steps.hours
        self._start: dict[str, Floats] = {}
        self._inflow: dict[str, Floats] = {}
        self.end_mm: dict[str, Floats] = {}
        """(member, step) depth at the end of each step"""
        self._over: dict[tuple[str, float], Floats] = {}
        rain_mm_h = np.nan_to_num(steps.weather.rain_mm) / steps.hours
        for position in show.positions.values():
            if position.puddle is None:
                continue
            washed = [w for w in washdowns_at(position, show) if w.kind == "sprinkler"]
            sprinkled = Washing(washed, steps, show.site.timezone).rate_mm_h
            self._run(
                position.id,
                position.puddle,
                (rain_mm_h + sprinkled) * position.puddle.gathers,
                steps,
                (before_mm.get(position.id, 0.0), before_s),
            )

    def _run(
        self, key: str, puddle: Puddle, inflow: Floats, steps: Steps, before: tuple[float, float]
    ) -> None:
        starts, ends = steps.weather.starts, steps.weather.ends
        depth_mm, at_s = np.full(len(inflow), before[0]), before[1]
        start, end = np.empty_like(inflow), np.empty_like(inflow)
        drain, brim = puddle.drain_hours, puddle.deepest_m * _MM
        for step, hours in enumerate(steps.hours):
            if np.isfinite(at_s) and starts[step] > at_s:
                # Of a gap nothing is known but that it drains.
                depth_mm = depth_mm * np.exp(-(starts[step] - at_s) / SECONDS_PER_HOUR / drain)
            start[:, step] = depth_mm
            depth_mm = end[:, step] = puddle_step(depth_mm, inflow[:, step], hours, drain, brim)
            at_s = ends[step]
        self._start[key], self._inflow[key], self.end_mm[key] = start, inflow, end

    def over_hours(self, dip: Dip, above_m: float = 0.0) -> Floats:
        """(member, step) hours of each step in which water is deeper than something's base, and
        by more than `above_m`.
        """
        level = dip.level_mm + above_m * _MM
        key = dip.position, level
        if key not in self._over:
            self._over[key] = hours_over(
                level,
                self._start[dip.position],
                self._inflow[dip.position],
                self._hours,
                dip.puddle.drain_hours,
                dip.puddle.deepest_m * _MM,
            )
        return self._over[key]

    def use(self, dip: Dip, limit: Limit | None) -> Floats:
        """(member, step) share of what a part may take under water used in each step."""
        if limit is None:
            return self.over_hours(dip) / AT_ONCE_HOURS
        within = self.over_hours(dip) / limit.hours
        return within + self.over_hours(dip, limit.depth_m) / AT_ONCE_HOURS
