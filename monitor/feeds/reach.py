"""How far a forecast is known without a break. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from monitor.feeds.stamps import LATEST_FIRST

if TYPE_CHECKING:
    from monitor.domain import Weather

_SAME_S = 1.0


class Reach(NamedTuple):
    """`to_s`: end of the first unbroken stretch of known rain, from now [s since 1970], at or
    before now where now is not known. `hole`: what is not known between it and the next [s].
    """

    to_s: float
    hole: tuple[float, float] | None


def reach(weather: Weather, now_s: float) -> Reach | None:
    """How far the rain is known from `now_s`; None where it is known nowhere.

    A forecast may begin with the next whole hour: before its first step nothing is missing
    that it was asked for.
    """
    known = np.flatnonzero(np.isfinite(weather.rain_mm).any(axis=0))
    if not len(known):
        return None
    starts, ends = weather.starts[known], weather.ends[known]
    breaks = np.flatnonzero(starts[1:] > ends[:-1] + _SAME_S) + 1
    firsts = starts[np.concatenate([[0], breaks]).astype(np.intp)].tolist()
    lasts = ends[np.concatenate([breaks - 1, [len(ends) - 1]]).astype(np.intp)].tolist()
    at = next((n for n, end in enumerate(lasts) if end > now_s), None)
    if at is None:
        return Reach(lasts[-1], None)
    begins = firsts[at]
    if begins > now_s and (at > 0 or begins - now_s > LATEST_FIRST.total_seconds()):
        before = lasts[at - 1] if at > 0 else now_s
        return Reach(before, (before, begins))
    more = at + 1 < len(lasts)
    return Reach(lasts[at], (lasts[at], firsts[at + 1]) if more else None)
