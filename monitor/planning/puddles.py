"""What a job says of water that stands: when it reaches something, and how deep it gets. Pure."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from monitor.domain import Show
from monitor.exposure.pool import reached_at_risk
from monitor.exposure.results import Exposure
from monitor.planning.chance import Reach, do_by_s
from monitor.units import to_moment

NO_COVER_HELPS = "water stands there, and a cover keeps out none of it"


class StandingWater:
    """The puddle of one place, as far as it reaches some groups there.

    Parameters
    ----------
    ahead : the forecast's exposure
    reach : when each member says enough
    position : id of the place
    groups : of a job
    until_s : end of its spell (seconds)
    """

    def __init__(
        self,
        show: Show,
        ahead: Exposure,
        reach: Reach,
        position: str,
        groups: Iterable[int],
        until_s: float,
    ) -> None:
        self._show, self._ahead, self._position = show, ahead, position
        weights, risk = ahead.steps.weather.weights, show.policy.risk
        at = [do_by_s(ahead.flooded_s[:, g], weights, risk, reach) for g in groups]
        first = float(np.fmin.reduce(at)) if at else float("nan")
        self.from_s = first if first <= until_s else None
        """Begin of the step in which it first reaches one of them; None: not in this spell"""

    def caution(self) -> tuple[str, ...]:
        """A sentence, where it reaches anything."""
        if self.from_s is None:
            return ()
        said = f"Water stands there from {self._at(self.from_s)}, up to {self._deepest_mm():.0f} mm"
        return (f"{said} deep: lift it out or bring it in before; a cover does not help.",)

    def reason(self, due_s: float) -> str | None:
        """Why it is due, where it is due for that and not for rain."""
        if self.from_s is None or due_s < self.from_s - 1.0:
            return None
        return (
            f"a puddle reaches it from {self._at(self.from_s)} and spends the allowance of the "
            f"first fixture at {self._at(due_s)}"
        )

    def _deepest_mm(self) -> float:
        """The depth that so many members reach as the risk asks for."""
        depth = self._ahead.puddles_mm.get(self._position)
        if depth is None or not depth.shape[1]:
            return 0.0
        weather = self._ahead.steps.weather
        shares = np.repeat(weather.weights[:, np.newaxis], depth.shape[1], axis=1)
        return float(np.nanmax(reached_at_risk(depth, shares, self._show.policy.risk)))

    def _at(self, moment_s: float) -> str:
        return f"{to_moment(moment_s).astimezone(self._show.site.timezone):%a %H:%M}"
