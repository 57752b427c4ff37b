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
    crossings_s: Floats, weights: Floats, risk: float, known_until_s: Floats | None = None
) -> float:
    """First moment by which the pooled share of members that have crossed reaches `risk`.

    Parameters
    ----------
    crossings_s : (member,) seconds, NaN for a member that never crosses
    weights : (member,) sums to 1
    risk : share, 0 to 1
    known_until_s : (member,) end of each one's own last step; None: all reach the end

    Returns
    -------
    seconds, NaN where too few ever cross; for one member its own crossing

    Notes
    -----
    P(t) = C(t) / (C(t) + A(t)): C the weight that has crossed by t, A that of those who have not
    and still speak at t. A feed counts only as far as it reaches: one that has ended is silent,
    not dry. So P never falls, and it can rise where a feed ends that saw no need: then that end
    is the moment. Where nobody speaks any more it stays as it was.

    References
    ----------
    Exposure model section 8.
    """
    if np.isnan(crossings_s).all():
        return float("nan")
    moments, shares = _turns(crossings_s, weights, known_until_s)
    enough = np.flatnonzero(shares >= risk - _TOUCHES)
    return float(moments[enough[0]]) if len(enough) else float("nan")


def chance_by(
    crossings_s: Floats, weights: Floats, moment_s: float, known_until_s: Floats | None = None
) -> float:
    """Share of members that have crossed by a moment, of those that reach it or have crossed."""
    return chance(crossings_s, weights, moment_s, known_until_s).share


def chance(
    crossings_s: Floats, weights: Floats, moment_s: float, known_until_s: Floats | None = None
) -> Chance:
    """`chance_by`, with the members it is made of."""
    moments, shares = _turns(crossings_s, weights, known_until_s)
    before = np.flatnonzero(moments <= moment_s)
    reach = _reach(crossings_s, known_until_s)
    if not len(before) or shares[before[-1]] <= 0.0:
        return Chance(0.0, 0, int((reach >= moment_s).sum()))
    share = float(shares[before[-1]])
    at = moments[before[shares[before] >= share][:1]]
    crossed, waiting = _split(crossings_s, reach, at, just_after=False)
    if not (crossings_s == at).any() or _share(crossed, waiting, weights)[0] < share:
        crossed, waiting = _split(crossings_s, reach, at, just_after=True)
    return Chance(share, int(crossed.sum()), int((crossed | waiting).sum()))


def _reach(crossings_s: Floats, known_until_s: Floats | None) -> Floats:
    return np.full(len(crossings_s), np.inf) if known_until_s is None else known_until_s


def _turns(
    crossings_s: Floats, weights: Floats, known_until_s: Floats | None
) -> tuple[Floats, Floats]:
    """Moments at which the share can turn, rising, and the share by each.

    It turns where a member crosses, and just after one ends if anybody still speaks then who
    has not crossed.
    """
    reach = _reach(crossings_s, known_until_s)
    both = np.concatenate([crossings_s, reach])
    moments = np.unique(both[np.isfinite(both)])
    at = _share(*_split(crossings_s, reach, moments, just_after=False), weights)
    at = np.where(np.isin(moments, crossings_s), at, 0.0)
    crossed, waiting = _split(crossings_s, reach, moments, just_after=True)
    after = np.where(waiting.any(axis=1), _share(crossed, waiting, weights), 0.0)
    return moments, np.maximum.accumulate(np.maximum(at, after))


def _split(
    crossings_s: Floats, reach_s: Floats, moments_s: Floats, *, just_after: bool
) -> tuple[Bools, Bools]:
    """Who has crossed, and who has not and still speaks (moment, member)."""
    at = moments_s[:, np.newaxis]
    with np.errstate(invalid="ignore"):
        crossed = np.asarray(crossings_s <= at)
    return crossed, np.asarray(~crossed & (reach_s > at if just_after else reach_s >= at))


def _share(crossed: Bools, waiting: Bools, weights: Floats) -> Floats:
    """(moment,) weight that has crossed, of that which counts."""
    have, wait = crossed @ weights, waiting @ weights
    total = have + wait
    return np.asarray(np.where(have > 0.0, have / np.where(total > 0.0, total, 1.0), 0.0))


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
    numbers = np.zeros(len(weights)) if feed_of is None else np.asarray(feed_of)
    share, total = np.zeros(flags.shape[1]), np.zeros(flags.shape[1])
    for feed in np.unique(numbers):
        own = weights * (numbers == feed)
        speaks = own @ heard
        flagged = own @ (heard * flags) / np.where(speaks > 0.0, speaks, 1.0)
        share += np.where(speaks > 0.0, flagged, 0.0) * own.sum()
        total += np.where(speaks > 0.0, own.sum(), 0.0)
    return np.asarray(share / np.where(total > 0.0, total, 1.0) >= risk - _TOUCHES)
