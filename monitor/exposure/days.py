"""Nights of dew and days in the wet, as they run on from what was carried."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.domain import Bools, Floats
from monitor.exposure.results import Carried
from monitor.exposure.scene import Shared


def since_inspection(
    flags: NDArray[Any], inspected: Sequence[int | None]
) -> tuple[NDArray[Any], Bools]:
    """Flags or shares (step, group, member) without what a dry inspection has settled.

    `inspected` is the step before which each group was found dry last. Also (group,) where
    there was such an inspection.
    """
    since, settled = flags.copy(), np.zeros(len(inspected), dtype=bool)
    for g, first in enumerate(inspected):
        if first is not None:
            since[:first, g] = False
            settled[g] = True
    return since, settled


def damp_nights(
    damp: NDArray[Any],
    hours: Floats,
    inspected: Sequence[int | None],
    shared: Shared,
    carried: Carried,
) -> tuple[Floats, Floats]:
    """Damp hours since inspection (group, member): most in one night, and in the last."""
    since, settled = since_inspection(damp, inspected)
    most = np.where(settled, 0.0, carried.damp_night_most)[:, None]
    tonight = np.where(settled, 0.0, carried.damp_tonight)[:, None]
    if not len(since):
        shape = since.shape[1:]
        return np.broadcast_to(most, shape), np.broadcast_to(tonight, shape)
    by_night = np.add.reduceat(since * hours[:, None, None], shared.night_starts, axis=0)
    if shared.nights[0] == carried.night:
        by_night[0] += tonight
    return np.maximum(by_night.max(axis=0), most), by_night[-1]


def days_in_the_wet(
    flags: Bools, inspected: Sequence[int | None], shared: Shared, carried: Carried
) -> tuple[Floats, Bools]:
    """Days with a wet or damp hour since inspection, and whether the last is one."""
    since, settled = since_inspection(flags, inspected)
    days = np.where(settled, 0.0, carried.stay_days)[:, None]
    today = (carried.today_counts & ~settled)[:, None]
    if not len(since):
        shape = since.shape[1:]
        return np.broadcast_to(days, shape), np.broadcast_to(today, shape)
    by_day = np.logical_or.reduceat(since, shared.day_starts, axis=0)
    again = today & by_day[0] if shared.days[0] == carried.day else False
    if len(by_day) == 1 and shared.days[0] == carried.day:
        return days + by_day.sum(axis=0) - again, by_day[-1] | today
    return days + by_day.sum(axis=0) - again, by_day[-1]
