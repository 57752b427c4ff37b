"""What each feed on its own says of a job."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from monitor.domain import FeedSays
from monitor.exposure.results import Exposure
from monitor.planning.chance import Reach, do_by_s
from monitor.units import to_moment


def feed_says(
    ahead: Exposure, reach: Reach, groups: Collection[int], share: float
) -> tuple[FeedSays, ...]:
    """Of each feed alone: its first deadline of some groups, and how far it reaches.

    Parameters
    ----------
    ahead : exposure of the forecast
    reach : when each member says enough
    groups : of the job
    share : of its members at which a group is due
    """
    weather = ahead.steps.weather
    feed_of, said = np.asarray(weather.feed_of), []
    for number, name in enumerate(weather.feeds or (weather.source,)):
        mine = feed_of == number
        weights, within = weather.weights[mine], reach.take(mine)
        crossings = ahead.next_spent_s[mine]
        due = [do_by_s(crossings[:, g], weights / weights.sum(), share, within) for g in groups]
        first, to = np.fmin.reduce(due), within.until_s.max()
        said.append(
            FeedSays(
                name,
                None if np.isnan(first) else to_moment(first),
                to_moment(to) if np.isfinite(to) else None,
                len(weights),
            )
        )
    return tuple(said)
