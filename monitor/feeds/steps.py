"""Variables with their own covers laid onto one row of steps, the rain's.

A value over a span is taken where it covers the very step. A value of a moment is taken
from both ends of the step and averaged; where one end is not known, neither is the step.
Only where the answer begins or ends with the step does its one end stand for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from monitor.domain import Floats
    from monitor.feeds.samples import Samples

_SAME_S = 1e-3
_NO_DIRECTION = 1e-6
"""Below this length the mean of two unit vectors points nowhere."""


def over_steps(samples: Samples, starts: Floats, ends: Floats) -> Floats:
    """Mean over each step (member, step)."""
    if not samples.instant:
        return _spans(samples, starts, ends)
    first, last = at_ends(samples, samples.values, starts, ends)
    return (first + last) / 2


def flags_over_steps(samples: Samples, starts: Floats, ends: Floats) -> Floats:
    """1 where either end says yes, 0 where both say no, NaN else (member, step)."""
    if not samples.instant:
        return _spans(samples, starts, ends)
    first, last = at_ends(samples, samples.values, starts, ends)
    return np.where((first == 1) | (last == 1), 1.0, (first + last) / 2)


def direction_over_steps(
    direction: Samples, wind: Samples | None, starts: Floats, ends: Floats
) -> Floats:
    """Where the mean wind of each step comes from (member, step) [deg].

    The two ends are averaged as vectors, weighted by their wind where that is known: the
    direction of an almost calm end says little.
    """
    if not direction.instant:
        return _spans(direction, starts, ends)
    weight = np.ones_like(direction.values)
    if wind is not None and np.array_equal(wind.starts, direction.starts) and wind.instant:
        weight = np.where(np.isfinite(wind.values), wind.values, 1.0)
    angle = np.radians(direction.values)
    # A calm end has no direction to know, so it is not missing.
    still = weight == 0
    east = np.where(still, 0.0, weight * np.sin(angle))
    north = np.where(still, 0.0, weight * np.cos(angle))
    east_first, east_last = at_ends(direction, east, starts, ends)
    north_first, north_last = at_ends(direction, north, starts, ends)
    u, v = east_first + east_last, north_first + north_last
    mean = np.degrees(np.arctan2(u, v)) % 360.0
    return np.where(np.hypot(u, v) > _NO_DIRECTION, mean, np.nan)


def at_ends(
    samples: Samples, values: Floats, starts: Floats, ends: Floats
) -> tuple[Floats, Floats]:
    """Values at the start and at the end of each step, one for both at the answer's own ends."""
    first, last = _at(samples.starts, values, starts), _at(samples.starts, values, ends)
    before = starts < samples.starts[0] - _SAME_S
    after = ends > samples.starts[-1] + _SAME_S
    return np.where(before, last, first), np.where(after, first, last)


def _at(stamps: Floats, values: Floats, moments: Floats) -> Floats:
    place = np.clip(np.searchsorted(stamps, moments - _SAME_S), 0, len(stamps) - 1)
    hit = np.abs(stamps[place] - moments) <= _SAME_S
    return np.where(hit, values[:, place], np.nan)


def _spans(samples: Samples, starts: Floats, ends: Floats) -> Floats:
    place = np.clip(np.searchsorted(samples.starts, starts - _SAME_S), 0, len(samples.starts) - 1)
    hit = (np.abs(samples.starts[place] - starts) <= _SAME_S) & (
        np.abs(samples.ends[place] - ends) <= _SAME_S
    )
    return np.where(hit, samples.values[:, place], np.nan)
