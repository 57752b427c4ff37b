"""What is spent already and gets still more water. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from monitor.domain import Fixture
from monitor.exposure.results import Exposure
from monitor.planning.chance import at_risk
from monitor.planning.present import Present


def soaking(
    ahead: Exposure,
    present: Present,
    rows: Mapping[int, Sequence[Fixture]],
    risk: float,
    until_s: float,
) -> dict[str, tuple[str, ...]]:
    """By position: fixtures out there, spent, not found dry since, that water reaches.

    Parameters
    ----------
    until_s : water later than this does not count yet
    """
    found: dict[str, list[str]] = {}
    for g in sorted(present.out & set(rows)):
        if present.used[g] >= 1.0 and water_reaches(ahead, [g], risk, until_s):
            found.setdefault(present.where[g], []).extend(f.id for f in rows[g])
    return {position: tuple(fixtures) for position, fixtures in found.items()}


def water_reaches(ahead: Exposure, groups: Sequence[int], risk: float, until_s: float) -> bool:
    """Water reaches something in these groups before a moment."""
    weather = ahead.steps.weather
    soon = weather.starts < until_s
    wet = np.any(ahead.wetting_mm[:, soon][:, :, groups] > 0.0, axis=(1, 2))
    flags = np.asarray(wet, dtype=float)[:, None]
    says = np.any(~ahead.steps.unknown[:, soon], axis=1, keepdims=True)
    return bool(at_risk(flags, weather.weights, risk, says, weather.feed_of).any())
