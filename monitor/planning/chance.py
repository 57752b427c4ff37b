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


class Reach(NamedTuple):
    """When each member says enough."""

    until_s: Floats
    """(member,) end of each one's own last step"""
    starts_s: Floats
    ends_s: Floats
    """(step,)"""
    silent: Bools
    """(member, step) where the whole feed of one says nothing"""

    @classmethod
    def of(cls, starts_s: Floats, ends_s: Floats, known: Bools, feed_of: Sequence[int]) -> Reach:
        """Of steps, and who knows them (member, step)."""
        until_s = np.where(known, ends_s, -np.inf).max(axis=1, initial=-np.inf)
        numbers, silent = np.asarray(feed_of), np.zeros(known.shape, dtype=np.bool_)
        for feed in np.unique(numbers):
            mine = numbers == feed
            silent[mine] = ~known[mine].any(axis=0)
        return cls(until_s, starts_s, ends_s, silent)

    def take(self, members: Bools) -> Reach:
        """Of some members."""
        return self._replace(until_s=self.until_s[members], silent=self.silent[members])

    def turns_s(self) -> Floats:
        """Moments after which somebody speaks no more, or not for a while."""
        return np.concatenate([self.until_s, self.starts_s[self.silent.any(axis=0)]])

    def speaks(self, moments_s: Floats, *, just_after: bool) -> Bools:
        """(moment, member) who speaks, up to each moment or from there."""
        at = moments_s[:, np.newaxis]
        if not len(self.ends_s):
            return np.asarray(self.until_s > at if just_after else self.until_s >= at)
        step = np.searchsorted(self.ends_s, moments_s, side="right" if just_after else "left")
        step = np.minimum(step, len(self.ends_s) - 1)
        begin = self.starts_s[step]
        within = begin <= moments_s if just_after else begin < moments_s
        there = self.until_s > at if just_after else self.until_s >= at
        return np.asarray(there & ~(within[:, np.newaxis] & self.silent[:, step].T))


def do_by_s(
    crossings_s: Floats, weights: Floats, risk: float, reach: Reach | Floats | None = None
) -> float:
    """First moment by which the pooled share of members that have crossed reaches `risk`.

    Parameters
    ----------
    crossings_s : (member,) seconds, NaN for a member that never crosses
    weights : (member,) sums to 1
    risk : share, 0 to 1
    reach : when each member says enough, or (member,) the end of each one's own last step; None:
        all reach the end

    Returns
    -------
    seconds, NaN where too few ever cross; for one member its own crossing

    Notes
    -----
    P(t) = C(t) / (C(t) + A(t)): C the weight that has crossed by t, A that of those who have not
    and still speak at t. A feed counts only as far as it reaches: one that has ended is silent,
    not dry. So P never falls, and it can rise where a feed ends that saw no need: then that end
    is the moment. Where nobody speaks any more it stays as it was. The same goes for steps in
    between of which a feed knows nothing: it is silent there, and is heard again after them.

    References
    ----------
    Exposure model section 8.
    """
    if np.isnan(crossings_s).all():
        return float("nan")
    known = _reach(crossings_s, reach)
    moments, shares = _turns(crossings_s, weights, known)
    enough = np.flatnonzero(shares >= risk - _TOUCHES)
    return float(moments[enough[0]]) if len(enough) else float("nan")


def chance_by(
    crossings_s: Floats, weights: Floats, moment_s: float, reach: Reach | Floats | None = None
) -> float:
    """Share of members that have crossed by a moment, of those that reach it or have crossed."""
    return chance(crossings_s, weights, moment_s, reach).share


def chance(
    crossings_s: Floats, weights: Floats, moment_s: float, reach: Reach | Floats | None = None
) -> Chance:
    """`chance_by`, with the members it is made of."""
    known = _reach(crossings_s, reach)
    moments, shares = _turns(crossings_s, weights, known)
    before = np.flatnonzero(moments <= moment_s)
    if not len(before) or shares[before[-1]] <= 0.0:
        return Chance(0.0, 0, int((known.until_s >= moment_s).sum()))
    share = float(shares[before[-1]])
    at = moments[before[shares[before] >= share][:1]]
    crossed, waiting = _split(crossings_s, known, at, just_after=False)
    if not (crossings_s == at).any() or _share(crossed, waiting, weights)[0] < share:
        crossed, waiting = _split(crossings_s, known, at, just_after=True)
    return Chance(share, int(crossed.sum()), int((crossed | waiting).sum()))


def _reach(crossings_s: Floats, reach: Reach | Floats | None) -> Reach:
    if isinstance(reach, Reach):
        return reach
    until_s = np.full(len(crossings_s), np.inf) if reach is None else reach
    none = np.zeros(0)
    return Reach(until_s, none, none, np.zeros((len(until_s), 0), dtype=np.bool_))


def _turns(crossings_s: Floats, weights: Floats, reach: Reach) -> tuple[Floats, Floats]:
    """Moments at which the share can turn, rising, and the share by each.

    It turns where a member crosses, and just after one falls silent if anybody still speaks
    then who has not crossed.
    """
    both = np.concatenate([crossings_s, reach.turns_s()])
    moments = np.unique(both[np.isfinite(both)])
    at = _share(*_split(crossings_s, reach, moments, just_after=False), weights)
    at = np.where(np.isin(moments, crossings_s), at, 0.0)
    crossed, waiting = _split(crossings_s, reach, moments, just_after=True)
    after = np.where(waiting.any(axis=1), _share(crossed, waiting, weights), 0.0)
    return moments, np.maximum.accumulate(np.maximum(at, after))


def _split(
    crossings_s: Floats, reach: Reach, moments_s: Floats, *, just_after: bool
) -> tuple[Bools, Bools]:
    """Who has crossed, and who has not and still speaks (moment, member).

    Where all fall silent at once, those count who will speak again: whoever has ended does not.
    """
    at = moments_s[:, np.newaxis]
    with np.errstate(invalid="ignore"):
        crossed = np.asarray(crossings_s <= at)
    waiting = ~crossed & reach.speaks(moments_s, just_after=just_after)
    if just_after:
        nobody = ~waiting.any(axis=1, keepdims=True)
        waiting |= nobody & ~crossed & (reach.until_s > at)
    return crossed, waiting


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
