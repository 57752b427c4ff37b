"""Why a job for rain is due when it is, and what of it can wait."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from monitor.domain import Facts, Fixture, Show, Wait
from monitor.units import SECONDS_PER_HOUR, to_moment

_CAN_WAIT_S = SECONDS_PER_HOUR
"""A fixture due this much after the first one of its job is named as able to wait."""


def can_wait(due: Mapping[int, float], rows: Mapping[int, Sequence[Fixture]]) -> tuple[Wait, ...]:
    """What is due much later than the first, by its deadline in steps of ten minutes."""
    later: dict[float, list[str]] = {}
    for g, at in due.items():
        if at > min(due.values()) + _CAN_WAIT_S:
            later.setdefault(at // 600.0 * 600.0, []).extend(f.id for f in rows[g])
    return tuple(Wait(tuple(ids), to_moment(at)) for at, ids in sorted(later.items()))


def why(show: Show, facts: Facts, do_by_s: float, used: float) -> str:
    """The rain that spends it, when, and how much was used before."""
    at = to_moment(do_by_s).astimezone(show.site.timezone)
    already = f", {used:.0%} used already" if used >= 0.01 else ""
    rain = facts.rain_mm or 0.0
    return (
        f"{rain:.1f} mm of rain in this spell spends the allowance of the first "
        f"fixture at {at:%a %H:%M}{already}"
    )
