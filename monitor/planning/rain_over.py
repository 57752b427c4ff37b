"""Whether a spell of rain that wetted something is over.

Over means: no rain now, none in the last quarter of an hour, none at risk in the next hour, and
all of that known. It says nothing on work at height or on power: people declare those.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.domain import Bools, Floats, Policy
from monitor.exposure.results import Exposure
from monitor.exposure.steps import Steps
from monitor.planning.chance import at_risk
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

DRY_AHEAD_S = SECONDS_PER_HOUR
"""J: so long nothing may be at risk."""
DRY_BEFORE_S = 15 * SECONDS_PER_MINUTE
"""J: and so long nothing may have fallen: a gauge is not heard of every minute."""
FORGOTTEN_S = 12 * SECONDS_PER_HOUR
"""J: a spell that ended longer ago, while nobody watched, is no news."""
_KEPT = 50
"""Spells that are remembered"""
_ROUNDING_S = 1.0


@dataclass(frozen=True, slots=True)
class Spell:
    """Rain that wetted something, from then on; `over_s` is when it was told as over."""

    from_s: float
    over_s: float | None = None


def followed(
    spells: Sequence[Spell],
    past: Exposure | None,
    ahead: Exposure,
    known_until_s: float,
    now_s: float,
    policy: Policy,
) -> tuple[Spell, ...]:
    """The spells as they stand now, oldest first.

    Parameters
    ----------
    spells : as the last call returned them
    past : what everything took until now; None: nothing is known of it
    ahead : the same of what is to come
    known_until_s : what is to come is known without a break until here
    now_s : seconds

    Notes
    -----
    A spell whose rain a measurement has since taken away was none. What is over stays over:
    rain of before that moment, found later, begins no spell of its own.
    """
    last = spells[-1] if spells else None
    standing = last if last is not None and last.over_s is None else None
    before = tuple(spells if standing is None else spells[:-1])
    if standing is not None:
        from_s = standing.from_s
    elif last is not None and last.over_s is not None:
        from_s = max(last.over_s, now_s - FORGOTTEN_S)
    else:
        from_s = now_s - FORGOTTEN_S
    wet = _wet_from(past, from_s, policy)
    if not len(wet):
        return before
    spell = standing or Spell(float(wet[0]))
    if is_dry(past, ahead, known_until_s, now_s, policy):
        spell = Spell(spell.from_s, now_s)
    return (*before, spell)[-_KEPT:]


def is_dry(
    past: Exposure | None, ahead: Exposure, known_until_s: float, now_s: float, policy: Policy
) -> bool:
    """No rain now, lately or at risk soon; what is not known is not dry."""
    if past is None or known_until_s < now_s + DRY_AHEAD_S:
        return False
    fell, coming = past.steps, ahead.steps
    known = ~fell.unknown.all(axis=0)
    lasted_s = np.clip(
        fell.weather.ends - np.maximum(fell.weather.starts, now_s - DRY_BEFORE_S), 0, None
    )
    if (
        lasted_s[known].sum() < DRY_BEFORE_S - _ROUNDING_S
        or (_rains(fell, policy) & (lasted_s > 0)).any()
    ):
        return False
    soon = coming.weather.starts < now_s + DRY_AHEAD_S
    flags = (np.nan_to_num(coming.rate_mm_h) > 0.0).astype(float)
    weather = coming.weather
    risky = at_risk(flags, weather.weights, policy.risk, ~coming.unknown, weather.feed_of)
    return not bool((soon & risky).any())


def _wet_from(past: Exposure | None, from_s: float, policy: Policy) -> Floats:
    """Begins of the steps after a moment in which rain reached something, rising."""
    if past is None:
        return np.zeros(0)
    steps = past.steps
    wetted = (past.wetting_mm > 0.0).any(axis=(0, 2)) & _rains(steps, policy)
    begins = np.maximum(steps.weather.starts, from_s)
    return np.asarray(begins[wetted & (steps.weather.ends > from_s)])


def _rains(steps: Steps, policy: Policy) -> Bools:
    """Steps (step,) of the past in which it rains; the mean of many members may be a trace."""
    return np.asarray((np.nan_to_num(steps.rate_mm_h) >= policy.dry_below_mm_h).any(axis=0))
