"""Crossing times of members, pooled into a do-by moment and a chance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.domain import Bools, Floats

_TOUCHES = 1e-9
MEMBERS_FOR_A_PERCENTAGE = 10


class Chance(NamedTuple):
    """A pooled share of members, and who it is made of."""

    share: float
    crossed: int
    """How many of those heard have crossed"""
    heard: int
    """How many members count"""


def do_by_s(
    crossings_s: Floats,
    weights: Floats,
    risk: float,
    known_until_s: Floats | None = None,
    feed_of: Sequence[int] | None = None,
) -> float:
    """First moment by which the pooled share of members that have crossed reaches `risk`.

    Parameters
    ----------
    crossings_s : (member,) seconds, NaN for a member that never crosses
    weights : (member,) sums to 1
    risk : share, 0 to 1
    known_until_s : (member,) end of each one's own last step; None: all reach the end
    feed_of : (member,) number of each one's feed; None: one feed

    Returns
    -------
    seconds, NaN where too few ever cross; for one member its own crossing

    Notes
    -----
    A feed counts only as far as it reaches: one that has ended is silent, not dry. So the share
    can rise at the end of a feed that saw no need, and that end may be the moment.

    References
    ----------
    Exposure model section 8.
    """
    if np.isnan(crossings_s).all():
        return float("nan")
    moments, shares = _turns(crossings_s, weights, known_until_s, feed_of)
    enough = np.flatnonzero(shares >= risk - _TOUCHES)
    return float(moments[enough[0]]) if len(enough) else float("nan")


def chance_by(
    crossings_s: Floats,
    weights: Floats,
    moment_s: float,
    known_until_s: Floats | None = None,
    feed_of: Sequence[int] | None = None,
) -> float:
    """Share of members that have crossed by a moment: the greatest until then.

    What has been crossed stays crossed, so the end of a feed that saw it takes nothing back.
    """
    return chance(crossings_s, weights, moment_s, known_until_s, feed_of).share


def chance(
    crossings_s: Floats,
    weights: Floats,
    moment_s: float,
    known_until_s: Floats | None = None,
    feed_of: Sequence[int] | None = None,
) -> Chance:
    """`chance_by`, with the members it is made of."""
    reach = _reach(crossings_s, known_until_s)
    moments, shares = _turns(crossings_s, weights, known_until_s, feed_of)
    before = np.flatnonzero(moments <= moment_s)
    if not len(before) or not (shares[before] > 0.0).any():
        return Chance(0.0, 0, int((reach >= moment_s).sum()))
    feeds, best = _feeds(feed_of, crossings_s), Chance(0.0, 0, 0)
    # The moment at which the greatest share is first reached, or just after a feed ended there.
    first = before[shares[before] >= shares[before[-1]]][:1]
    for ended in (False, True):
        heard, crossed = _heard(crossings_s, reach, moments[first], feed_of, ended=ended)
        share = float(_share(heard, crossed, weights, feeds)[0])
        if share > best.share:
            best = Chance(share, int((crossed & heard).sum()), int(heard.sum()))
    return best


def _reach(crossings_s: Floats, known_until_s: Floats | None) -> Floats:
    return np.full(len(crossings_s), np.inf) if known_until_s is None else known_until_s


def _feeds(feed_of: Sequence[int] | None, crossings_s: Floats) -> Floats:
    """(member, feed) 1 where a member is of a feed."""
    if feed_of is None:
        return np.ones((len(crossings_s), 1))
    _, number = np.unique(np.asarray(feed_of), return_inverse=True)
    return np.asarray(number[:, np.newaxis] == np.arange(number.max(initial=0) + 1), dtype=float)


def _turns(
    crossings_s: Floats,
    weights: Floats,
    known_until_s: Floats | None,
    feed_of: Sequence[int] | None,
) -> tuple[Floats, Floats]:
    """Moments at which the share can turn, rising, and the greatest share until each."""
    reach, feeds = _reach(crossings_s, known_until_s), _feeds(feed_of, crossings_s)
    both = np.concatenate([crossings_s, reach])
    moments = np.unique(both[np.isfinite(both)])
    shares = np.zeros(len(moments))
    for ended in (False, True):
        heard, crossed = _heard(crossings_s, reach, moments, feed_of, ended=ended)
        shares = np.maximum(shares, _share(heard, crossed, weights, feeds))
    return moments, np.maximum.accumulate(shares)


def _heard(
    crossings_s: Floats,
    reach_s: Floats,
    moments_s: Floats,
    feed_of: Sequence[int] | None,
    *,
    ended: bool,
) -> tuple[Bools, Bools]:
    """Who counts and who has crossed (moment, member); `ended`: just after each moment.

    A feed counts while one of its members reaches the moment; of its members those count that
    reach it or have crossed.
    """
    feeds, at = _feeds(feed_of, crossings_s), moments_s[:, np.newaxis]
    reaches = reach_s > at if ended else reach_s >= at
    with np.errstate(invalid="ignore"):
        crossed = crossings_s <= at
    counts = ((reaches @ feeds) > 0.0) @ feeds.T > 0.0
    return np.asarray(counts & (reaches | crossed)), np.asarray(crossed)


def _share(heard: Bools, crossed: Bools, weights: Floats, feeds: Floats) -> Floats:
    """(moment,) equal by feed weight over the feeds that count, within each over its members."""
    of_feed = (heard * weights) @ feeds
    have = ((heard & crossed) * weights) @ feeds
    own = np.where(of_feed > 0.0, have / np.where(of_feed > 0.0, of_feed, 1.0), 0.0)
    weight = np.where(of_feed > 0.0, weights @ feeds, 0.0)
    total = weight.sum(axis=1)
    return np.asarray((own * weight).sum(axis=1) / np.where(total > 0.0, total, 1.0))


def shown_probability(share: float, members: int) -> float | None:
    """The share as a probability, or None where there are too few members for one."""
    return round(share, 3) if members >= MEMBERS_FOR_A_PERCENTAGE else None


def unknown_to_all(unknown: Bools, feed_of: Sequence[int]) -> Bools:
    """Steps (step,) that no feed knows; a feed knows those that all its members know."""
    numbers = np.asarray(feed_of)
    each = [unknown[numbers == feed].any(axis=0) for feed in np.unique(numbers)]
    return np.asarray(np.all(each, axis=0))


def at_risk(
    flags: Floats,
    weights: Floats,
    risk: float,
    known: Bools | None = None,
    feed_of: Sequence[int] | None = None,
) -> np.ndarray:
    """Steps (step,) in which the pooled share of members with a flag reaches `risk`.

    Of the members that say anything where `known` (member, step) is given; a feed of which one
    says something has its whole weight.
    """
    heard = np.ones(flags.shape, dtype=np.bool_) if known is None else known
    feeds = _feeds(feed_of, weights)
    flagged = flags > 0.0
    return np.asarray(_share(heard.T, flagged.T, weights, feeds) >= risk - _TOUCHES)
