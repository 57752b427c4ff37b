"""How old, how short and how often the same a forecast may be, by the feed and by its sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from monitor.alerts.losses import LEAST_AHEAD_S
from monitor.domain import BadInputError
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD
from monitor.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.domain import Feed

_USUAL_MAX_AGE_S = 8 * SECONDS_PER_HOUR


class FeedLimits(NamedTuple):
    """`max_age_s` None: it does not grow old. `same_polls`: so many polls with the very same
    answer say that a server is stuck; None: age says it. `least_ahead_s`: how far it has to
    reach for anything to be decided by it.
    """

    max_age_s: float | None
    same_polls: int | None = None
    least_ahead_s: float = LEAST_AHEAD_S


def limits_of(feed: Feed, folder: Path) -> FeedLimits:
    """The limits of one feed."""
    own = None if feed.max_age_hours is None else feed.max_age_hours * SECONDS_PER_HOUR
    if feed.sheet == RECORD:
        return FeedLimits(own)
    try:
        run = find_sheet(feed.sheet, folder).run
    except BadInputError:
        # A sheet that is broken now gives nothing new; the usual age decides.
        return FeedLimits(_USUAL_MAX_AGE_S if own is None else own)
    least = LEAST_AHEAD_S if run.reaches is None else min(LEAST_AHEAD_S, run.reaches / 2)
    return FeedLimits(run.max_age if own is None else own, run.same_polls, least)
