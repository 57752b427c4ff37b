"""Whether an allowance was spent, by what fell, when a job was done."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from monitor.report.material import Material

_TOUCHES = 1e-9


def spent_at(material: Material, fixture: str, at: datetime) -> datetime | None:
    """When a fixture's allowance was spent that is still spent at a moment; None: some was left.

    Linear within a step. What is not known of the weather spends nothing, so this can say None
    too often, never too seldom. A fixture that the show does not have spends nothing.
    """
    n = material.rig.index_of.get(fixture)
    if n is None:
        return None
    weather, g = material.exposure.steps.weather, int(material.exposure.group_of[n])
    begun = np.flatnonzero(weather.starts < to_epoch(at))
    if not len(begun):
        return None
    before = 0.0 if material.before is None else float(material.before.used[:, g].max())
    levels = np.concatenate([[before], material.exposure.used[0, begun, g]])
    starts, ends = weather.starts[begun], weather.ends[begun].copy()
    if ends[-1] > to_epoch(at):
        part = (to_epoch(at) - starts[-1]) / (ends[-1] - starts[-1])
        levels[-1] = levels[-2] + part * (levels[-1] - levels[-2])
        ends[-1] = to_epoch(at)
    if levels[-1] < 1.0 - _TOUCHES:
        return None
    whole = np.flatnonzero(levels < 1.0 - _TOUCHES)
    if not len(whole):
        return material.begins_at
    i = int(whole[-1])
    share = (1.0 - levels[i]) / (levels[i + 1] - levels[i])
    return to_moment(float(starts[i] + share * (ends[i] - starts[i])))
