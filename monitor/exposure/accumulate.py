"""Running sums of use, set back by dry inspections, and when they cross a level."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.domain import Floats

_TOUCHES = 1e-12
"""A sum this close below a level has reached it."""


def running_use(increments: Floats, start: float, resets: Sequence[int]) -> Floats:
    """Use at the end of each step.

    Parameters
    ----------
    increments : (member, step)
    start : use before the first step
    resets : steps before which use went back to 0

    Returns
    -------
    (member, step)
    """
    used = np.cumsum(increments, axis=1)
    used += start
    for first in resets:
        np.cumsum(increments[:, first:], axis=1, out=used[:, first:])
    return used


def crossing_s(
    used: Floats,
    start: float,
    resets: Sequence[int],
    starts_s: Floats,
    ends_s: Floats,
    level: float,
) -> Floats:
    """First moment a running use reaches a level, linear inside its step.

    Parameters
    ----------
    used : (member, step) at the end of each step
    start : use before the first step; at or over the level: crossed as the first step starts
    resets : steps before which use went back to 0
    starts_s, ends_s : (step,)

    Returns
    -------
    (member,) seconds, NaN where it never does
    """
    if used.shape[1] == 0:
        return np.full(len(used), np.nan)
    reached = used >= level - _TOUCHES
    first = reached.argmax(axis=1)
    member = np.arange(len(used))
    after = used[member, first]
    before = np.where(first > 0, used[member, np.maximum(first, 1) - 1], start)
    before = np.where(np.isin(first, resets), 0.0, before)
    rise = np.where(after > before, after - before, 1.0)
    part = np.clip((level - before) / rise, 0.0, 1.0)
    moment = starts_s[first] + part * (ends_s[first] - starts_s[first])
    return np.where(reached.any(axis=1), moment, np.nan)
