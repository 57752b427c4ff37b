"""Crossing times of members, pooled into a do-by moment and a chance."""

from __future__ import annotations

import numpy as np

from monitor.domain import Floats

_TOUCHES = 1e-9
MEMBERS_FOR_A_PERCENTAGE = 10


def do_by_s(crossings_s: Floats, weights: Floats, risk: float) -> float:
    """First moment by which the pooled share of members that have crossed reaches `risk`.

    Parameters
    ----------
    crossings_s : (member,) seconds, NaN for a member that never crosses
    weights : (member,) sums to 1
    risk : share, 0 to 1

    Returns
    -------
    seconds, NaN where too few ever cross; for one member its own crossing

    References
    ----------
    Exposure model section 8.
    """
    order = np.argsort(crossings_s)  # NaN last
    crossed = crossings_s[order]
    share = np.cumsum(np.where(np.isnan(crossed), 0.0, weights[order]))
    reached = np.flatnonzero((share >= risk - _TOUCHES) & ~np.isnan(crossed))
    return float(crossed[reached[0]]) if len(reached) else float("nan")


def chance_by(crossings_s: Floats, weights: Floats, moment_s: float) -> float:
    """Pooled share of members that have crossed by a moment."""
    with np.errstate(invalid="ignore"):
        return float(weights[crossings_s <= moment_s].sum())


def shown_probability(share: float, members: int) -> float | None:
    """The share as a probability, or None where there are too few members for one."""
    return round(share, 3) if members >= MEMBERS_FOR_A_PERCENTAGE else None


def at_risk(flags: Floats, weights: Floats, risk: float) -> np.ndarray:
    """Steps (step,) in which the pooled share of members with a flag reaches `risk`."""
    share: Floats = weights @ flags
    return share >= risk - _TOUCHES
