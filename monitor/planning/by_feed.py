"""What each feed on its own says of a job."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

import numpy as np

from monitor.domain import Bools, FeedSays
from monitor.exposure.pool import mean_known
from monitor.exposure.results import Exposure
from monitor.planning.chance import Reach, at_risk, do_by_s
from monitor.units import to_moment


def feed_says(
    ahead: Exposure, reach: Reach, groups: Collection[int], share: float, spell: slice
) -> tuple[FeedSays, ...]:
    """Of each feed alone: its first deadline of some groups, how far it reaches, its own rain.

    Parameters
    ----------
    ahead : exposure of the forecast
    reach : when each member says enough
    groups : of the job
    share : of its members at which a group is due
    spell : steps of the wet spell in which the first deadline falls
    """
    weather = ahead.steps.weather
    feed_of, said = np.asarray(weather.feed_of), []
    for number, name in enumerate(weather.feeds or (weather.source,)):
        mine = feed_of == number
        weights, within = weather.weights[mine], reach.take(mine)
        crossings = ahead.next_spent_s[mine]
        due = [do_by_s(crossings[:, g], weights / weights.sum(), share, within) for g in groups]
        first, to = np.fmin.reduce(due), within.until_s.max()
        wet_from, wet_to, rain_mm = _rain(ahead, mine, share, spell)
        said.append(
            FeedSays(
                name,
                None if np.isnan(first) else to_moment(first),
                to_moment(to) if np.isfinite(to) else None,
                len(weights),
                wet_from,
                wet_to,
                rain_mm,
            )
        )
    return tuple(said)


def _rain(
    ahead: Exposure, mine: Bools, share: float, spell: slice
) -> tuple[datetime | None, datetime | None, float | None]:
    """First and last rain of one feed's members within a spell, and their mean depth [mm]."""
    steps, weather = ahead.steps, ahead.steps.weather
    known = ~steps.unknown[mine, spell]
    if not known.any():
        return None, None, None
    weights = weather.weights[mine] / weather.weights[mine].sum()
    falls = (np.nan_to_num(steps.rate_mm_h[mine, spell]) > 0.0).astype(float)
    wet = np.flatnonzero(at_risk(falls, weights, share, known))
    depth = np.where(known, weather.rain_mm[mine, spell], np.nan)
    shares = np.repeat(weights[:, np.newaxis], depth.shape[1], axis=1)
    mean_mm = float(np.nan_to_num(mean_known(depth, shares)).sum())
    if not len(wet):
        return None, None, mean_mm
    starts, ends = weather.starts[spell], weather.ends[spell]
    return to_moment(float(starts[wet[0]])), to_moment(float(ends[wet[-1]])), mean_mm
