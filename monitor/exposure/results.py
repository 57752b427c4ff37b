"""What an assessment says, as arrays over (member, step, group)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from monitor.domain import Bools, Floats, Part
from monitor.exposure.rig import PARTS
from monitor.exposure.steps import Steps
from monitor.exposure.tracks import Group


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """Where a record left off, to run on from it. Arrays (group,) unless said.

    "Since inspection" means since the last one that found the fixture dry.
    """

    until_s: float
    """End of what has been counted; -inf before the first step."""
    used: Floats
    """(part, group)"""
    dose: Floats
    """(part, group) used by depth alone, without the wet-hours clock or a film that may dry"""
    total: Floats
    """(part, group) as if nothing had been inspected"""
    half_used_s: Floats
    spent_s: Floats
    """First moment used reached 0.5 and 1, NaN never"""
    film_mm: Floats
    undrained_mm: Floats
    undrained_most_mm: Floats
    """(part, group) the film of `run_off_dries`, and its highest since inspection"""
    clock_hours: Floats
    """Wet hours since inspection"""
    wet_hours: Floats
    """Wet hours in all"""
    night: int
    damp_tonight: Floats
    """Damp hours in night number `night` since inspection"""
    damp_night_most: Floats
    """Most damp hours in one night since inspection"""
    day: int
    today_counts: Bools
    """Day number `day` already had a wet or damp hour"""
    stay_days: Floats
    """Days with a wet or damp hour since inspection"""
    dusty_since_clean: Floats
    surface_mm: float
    """Water on the ground's surface."""
    blown: Bools
    """The cover logged on counts as off"""
    thunder_until_s: float
    """End of the last step with thunder; -inf for none"""
    puddles_mm: Mapping[str, float]
    """By position, how deep its puddle is"""

    @classmethod
    def nothing(cls, groups: int) -> Carried:
        """Before anything has happened."""
        none, never = np.zeros(groups), np.full(groups, np.nan)
        parts = np.zeros((len(PARTS), groups))
        no = np.zeros(groups, dtype=bool)
        return cls(
            until_s=-np.inf,
            used=parts,
            dose=parts,
            total=parts,
            half_used_s=never,
            spent_s=never,
            film_mm=none,
            undrained_mm=parts,
            undrained_most_mm=parts,
            clock_hours=none,
            wet_hours=none,
            night=0,
            damp_tonight=none,
            damp_night_most=none,
            day=0,
            today_counts=no,
            stay_days=none,
            dusty_since_clean=none,
            surface_mm=0.0,
            blown=no,
            thunder_until_s=-np.inf,
            puddles_mm={},
        )

    def regrouped(self, index: NDArray[np.intp]) -> Carried:
        """The same for other groups: group i takes what group index[i] had."""
        arrays = {
            f.name: getattr(self, f.name)[..., index]
            for f in fields(self)
            if isinstance(getattr(self, f.name), np.ndarray)
        }
        return replace(self, **arrays)


@dataclass(frozen=True, slots=True, eq=False)
class Exposure:
    """What each distinct exposure took. Axes (member, step, group), absent axes left out."""

    steps: Steps
    groups: tuple[Group, ...]
    group_of: NDArray[np.intp]
    """(fixture,) index into `groups`, in the order of show.fixtures"""
    wetting_mm: Floats
    """(member, step, group) on the worst plane of each step"""
    used: Floats
    """(member, step, group) share of the allowance used at the end of each step, worst part"""
    part_used: Floats
    """(member, part, group) at the end, parts in the order of PARTS"""
    used_total: Floats
    """(member, group) as if nothing had been inspected"""
    half_used_s: Floats
    spent_s: Floats
    """(member, group) first moment used reached 0.5 and 1, NaN never; kept after a reset"""
    next_half_s: Floats
    next_spent_s: Floats
    """(member, group) the same within this weather alone, whatever came before"""
    wet: Bools
    """(member, step, group) water or its film on the fixture for some of the step"""
    damp: Bools
    """(member, step, group)"""
    wet_hours: Floats
    damp_hours: Floats
    damp_night_most: Floats
    """(member, group) most damp hours in one night since inspection"""
    dusty_hours: Floats
    dusty_since_clean: Floats
    stay_days: Floats
    """(member, group) days with a wet or damp hour since the last dry inspection"""
    covered_hours: Floats
    unknown_hours: Floats
    """(member, group) hours out in which what it took is not known, gaps included"""
    hours_out: Floats
    """(group,)"""
    under_water_hours: Floats
    """(member, group) hours in which a puddle reached it"""
    flooded_s: Floats
    """(member, group) begin of the first step in which one does, NaN never"""
    puddles_mm: Mapping[str, Floats]
    """By position with a puddle, (member, step) how deep it is at the end of each step"""
    blown_s: Floats
    """(member, group) when a cover that was on first counted as off, NaN never"""
    carried: Carried

    def weakest_part(self, group: int) -> Part:
        """The part that used most of its allowance; at a tie the one that would go first."""
        use = self.part_used[:, :, group].mean(axis=0)
        if use.max() > 0.0:
            return PARTS[int(use.argmax())]
        return self.groups[group].kind.weakest_part()
