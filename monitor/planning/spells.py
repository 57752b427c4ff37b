"""Wet spells of a forecast, and the gust to reckon with over some steps."""

from __future__ import annotations

import numpy as np

from monitor.domain import Floats
from monitor.units import SECONDS_PER_HOUR

SAME_SPELL_S = 6 * SECONDS_PER_HOUR
"""Wet steps less far apart than this are one wet spell (judgement)."""


def wet_spells(wet: np.ndarray, starts: Floats, ends: Floats) -> list[tuple[int, int]]:
    """Wet spells as (first, last) step; dry gaps under six hours do not part them."""
    spells: list[tuple[int, int]] = []
    for step in np.flatnonzero(wet).tolist():
        if spells and starts[step] - ends[spells[-1][1]] < SAME_SPELL_S:
            spells[-1] = (spells[-1][0], step)
        else:
            spells.append((step, step))
    return spells


def gust_at_risk(gust: Floats, weights: Floats, risk: float) -> float:
    """Greatest gust that the pooled share of members reaches at `risk` in any step.

    Of those that say something; NaN where of some step nobody does: what is not known is not
    known to stay below any limit.
    """
    speaks = ~np.isnan(gust).all(axis=1) if gust.shape[1] else np.ones(len(weights), dtype=np.bool_)
    if bool(np.isnan(gust).all(axis=0).any()) or not speaks.any():
        return float("nan")
    peak = np.nan_to_num(gust[speaks], nan=0.0).max(axis=1, initial=0.0)
    order = np.argsort(-peak)
    share = np.cumsum(weights[speaks][order]) / weights[speaks].sum()
    return float(peak[order][int(np.searchsorted(share, min(risk, 1.0) - 1e-9))])
