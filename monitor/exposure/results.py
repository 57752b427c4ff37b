"""What an assessment says, as arrays over (member, step, group)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.domain import Bools, Floats, Part
from monitor.exposure.rig import PARTS
from monitor.exposure.steps import Steps
from monitor.exposure.tracks import Group


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """Where a record left off, to run a forecast on from it."""

    used: Floats
    """(part, group)"""
    total: Floats
    """(part, group) as if nothing had been inspected"""
    film_mm: Floats
    """(group,)"""
    undrained_mm: Floats
    undrained_most_mm: Floats
    """(group,) the film of `run_off_dries` and its highest since the last dry inspection"""
    clock_hours: Floats
    """(group,) wet hours since the last dry inspection"""
    surface_mm: float
    """Water on the ground's surface."""
    blown: Bools
    """(group,) the cover logged on counts as off"""


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
    """(member, group) first moment used reached 0.5 and 1, NaN never"""
    wet: Bools
    """(member, step, group) water or its film on the fixture for some of the step"""
    damp: Bools
    """(member, step, group)"""
    wet_hours: Floats
    damp_hours: Floats
    damp_night_most: Floats
    """(member, group) most damp hours in one night"""
    dusty_hours: Floats
    dusty_since_clean: Floats
    stay_days: Floats
    """(member, group) days with a wet or damp hour since the last dry inspection"""
    covered_hours: Floats
    unknown_hours: Floats
    """(member, group) hours out in which what it took is not known, gaps included"""
    hours_out: Floats
    """(group,)"""
    blown_s: Floats
    """(member, group) when a cover that was on first counted as off, NaN never"""
    carried: Carried

    def weakest_part(self, group: int) -> Part:
        """The part that used most of its allowance; at a tie the one that would go first."""
        use = self.part_used[:, :, group].mean(axis=0)
        if use.max() > 0.0:
            return PARTS[int(use.argmax())]
        return self.groups[group].kind.weakest_part()
