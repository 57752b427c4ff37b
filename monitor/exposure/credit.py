"""What a code's tests credit an enclosure with: an allowance of water at each angle.

The water digits' tests, as doses (exposure model section 5). A digit's allowance holds to the
angle its test covers; past it the credit falls to first run-off.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from monitor.codes import credited_digits, no_rain_limit
from monitor.domain import Code, Condition, Floats, Policy

# Angle from the tested up that each digit's test covers [deg]: IEC 60529, digit 1 with the
# test rig's tolerance (exposure model section 5).
_COVERS_TO_DEG = {1: 5.0, 2: 15.0, 3: 60.0, 4: 180.0}
_SAME_ANGLE_DEG = 1e-9
_TABLE_HALF = 50_000
"""Steps of the table from a cosine of 0 to 1: at 5 degrees, where the first credit begins to
fall, a step is 0.013 degrees, and finer from there on."""


def nominal_allowance_mm(digit: int, policy: Policy, surface_m2: float = 0.5) -> float:
    """Water a digit's test put on a new enclosure.

    Parameters
    ----------
    digit : 0 to 4
    policy : run_off_mm, surface_floor_m2
    surface_m2 : outer surface of the enclosure [m2]

    Returns
    -------
    [mm]

    References
    ----------
    IEC 60529: drip box 1 mm/min x 10 min (from memory), 3 mm/min x 10 min, spray nozzle
    10 L/min for 1 min/m2 and at least 5 min. Checks: tests/published/credit.toml
    """
    if digit == 0:
        return policy.run_off_mm
    if digit == 1:
        return 10.0
    if digit == 2:
        return 30.0
    return 10.0 * max(5.0, surface_m2) / max(surface_m2, policy.surface_floor_m2)


def condition_factor(condition: Condition, policy: Policy, *, salt: bool = False) -> float:
    """k, on the nominal allowance; lowered where the water is not fresh."""
    k = {
        "new": policy.condition_new,
        "hire": policy.condition_hire,
        "worn": policy.condition_worn,
    }[condition]
    return k * policy.salt_factor if salt else k


@dataclass(frozen=True, slots=True)
class Credit:
    """Allowance of one part. `limited` False: rain alone sets no limit."""

    limited: bool
    flat_mm: float | None
    """The allowance where it is the same at every angle [mm]."""
    steps: tuple[tuple[float, float], ...]
    """(covers to deg, k x nominal mm) of each credited digit, where it is not."""
    floor_mm: float
    taper_deg: float
    film_may_dry: bool = False
    """No test covers it, and the show lets a film dry before it runs off."""
    stated: bool = False
    """The maker's own statement"""

    def at(self, angle_deg: Floats | float) -> Floats:
        """Allowance for water at an angle from the tested up (...) [mm]."""
        angle = np.asarray(angle_deg, dtype=float)
        if not self.limited:
            return np.full(angle.shape, np.inf)
        if self.flat_mm is not None:
            return np.full(angle.shape, self.flat_mm)
        best = np.full(angle.shape, self.floor_mm)
        for covers_to, allowance in self.steps:
            past = np.maximum(0.0, angle - covers_to)
            if self.taper_deg > 0.0:
                fall = np.minimum(1.0, past / self.taper_deg)
            else:
                fall = np.where(past > _SAME_ANGLE_DEG, 1.0, 0.0)
            best = np.maximum(best, allowance * (self.floor_mm / allowance) ** fall)
        return best

    @cache  # noqa: B019
    def inverse_table(self) -> Floats:
        """1 / allowance at cosines from -1 to 1: one gather per drop, no angle and no power.

        Kept for good: a show has few credits, and their tables serve every evaluation.
        """
        cosine = np.arange(-_TABLE_HALF, _TABLE_HALF + 1) / _TABLE_HALF
        return 1.0 / self.at(np.degrees(np.arccos(cosine)))


def table_index(cosine: Floats) -> np.ndarray:
    """Rows of `inverse_table` for cosines (...): the next one up, so that the angle a test
    covers, exactly met, is covered.
    """
    return np.ceil(cosine * _TABLE_HALF + (_TABLE_HALF - 1e-7)).astype(np.intp)


LIMITED = True
UNLIMITED = Credit(limited=False, flat_mm=None, steps=(), floor_mm=0.5, taper_deg=30.0)


def credit(
    code: Code,
    condition: Condition,
    policy: Policy,
    *,
    surface_m2: float = 0.5,
    salt: bool = False,
    stated_mm: float | None = None,
) -> Credit:
    """The allowance a code earns.

    Parameters
    ----------
    code : as read from the label
    condition : new, hire, worn
    policy : section 11 settings
    surface_m2 : outer surface [m2]
    salt : the water is not fresh
    stated_mm : the maker's own statement; holds at every angle, without condition or taper

    Returns
    -------
    Credit

    Notes
    -----
    Allowance at an angle = the largest k x nominal over all implied digits that cover it; past
    a digit's angle its credit falls geometrically to `run_off_mm` over `taper_deg`. k never
    lowers the run-off floor. 5 and above: no limit from rain, but for `worn`, credited as 4.
    """
    floor = policy.run_off_mm
    if stated_mm is not None:
        return Credit(LIMITED, stated_mm, (), floor, policy.taper_deg, stated=True)
    if no_rain_limit(code, condition, strict_immersion=policy.strict_immersion):
        return UNLIMITED
    k = condition_factor(condition, policy, salt=salt)
    digits = credited_digits(code, strict_immersion=policy.strict_immersion)
    if max(digits, default=0) > 4:
        digits = (0, 1, 2, 3, 4)
    steps = tuple(
        (_COVERS_TO_DEG[d], max(floor, k * nominal_allowance_mm(d, policy, surface_m2)))
        for d in digits
        if d in _COVERS_TO_DEG
    )
    everywhere = [allowance for covers_to, allowance in steps if covers_to >= 180.0]
    if not steps:
        return Credit(
            LIMITED, floor, (), floor, policy.taper_deg, film_may_dry=policy.run_off_dries
        )
    if everywhere and max(a for _, a in steps) <= max(everywhere):
        return Credit(LIMITED, max(everywhere), (), floor, policy.taper_deg)
    return Credit(LIMITED, None, steps, floor, policy.taper_deg)
