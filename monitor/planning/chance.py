"""Crossing times of members, pooled into a do-by moment and a chance."""

from __future__ import annotations

import numpy as np

from monitor.domain import Bools, Floats

_TOUCHES = 1e-9
MEMBERS_FOR_A_PERCENTAGE = 10


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
    A member counts only as far as it reaches: one that has ended is silent, not dry.

    References
    ----------
    Exposure model section 8.
    """
    for moment in np.sort(crossings_s[~np.isnan(crossings_s)]):
        if chance_by(crossings_s, weights, moment, known_until_s) >= risk - _TOUCHES:
            return float(moment)
    return float("nan")


def chance_by(
    crossings_s: Floats, weights: Floats, moment_s: float, known_until_s: Floats | None = None
) -> float:
    """Share of members that have crossed by a moment, of those that reach it or have crossed."""
    with np.errstate(invalid="ignore"):
        crossed = crossings_s <= moment_s
    heard = crossed if known_until_s is None else crossed | (known_until_s >= moment_s)
    total = weights.sum() if known_until_s is None else weights[heard].sum()
    return float(weights[crossed].sum() / total) if total > 0.0 else 0.0


def shown_probability(share: float, members: int) -> float | None:
    """The share as a probability, or None where there are too few members for one."""
    return round(share, 3) if members >= MEMBERS_FOR_A_PERCENTAGE else None


def at_risk(flags: Floats, weights: Floats, risk: float, known: Bools | None = None) -> np.ndarray:
    """Steps (step,) in which the pooled share of members with a flag reaches `risk`.

    Of the members that say anything where `known` (member, step) is given.
    """
    share: Floats = weights @ flags
    if known is not None:
        heard = weights @ known
        share = np.divide(share, heard, out=np.zeros_like(share), where=heard > 0.0)
    return share >= risk - _TOUCHES
