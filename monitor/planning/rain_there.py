"""Whether rain would reach a fixture at a place if it had no cover on."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from monitor.domain import Bools, Show
from monitor.exposure.arrivals import PlaceWater, Rain
from monitor.exposure.results import Exposure
from monitor.exposure.rig import Place
from monitor.planning.chance import at_risk
from monitor.units import SECONDS_PER_HOUR, to_moment

_SAME_RAIN_S = SECONDS_PER_HOUR
"""Wet steps no further apart are told as one rain (judgement)."""
_TOUCHES_S = 1.0


class RainThere:
    """Rain that is at risk of reaching bare fixtures, place by place; each is worked out once."""

    def __init__(self, show: Show, ahead: Exposure) -> None:
        self._show, self._ahead = show, ahead
        self._wet: dict[Place, Bools] = {}

    def over(self, place: Place, from_s: float, until_s: float) -> str | None:
        """What is against taking a cover off over a period; None: no rain is at risk.

        Parameters
        ----------
        place : of the fixture
        from_s, until_s : seconds

        Returns
        -------
        "rain until Sat 16:00", or "rain not known" where not all of the period is known
        """
        weather = self._ahead.steps.weather
        within = (weather.ends > from_s) & (weather.starts < until_s)
        wet = self._at_risk(place)
        first = np.flatnonzero(wet & within)
        if len(first):
            end = float(weather.ends[first[0]])
            for step in first[0] + np.flatnonzero(wet[first[0] :]):
                if weather.starts[step] > end + _SAME_RAIN_S:
                    break
                end = float(weather.ends[step])
            at = to_moment(end).astimezone(self._show.site.timezone)
            return f"rain until {at:%a %H:%M}"
        heard = within & ~self._ahead.steps.unknown.all(axis=0)
        known_s = np.minimum(weather.ends, until_s) - np.maximum(weather.starts, from_s)
        if float(known_s[heard].sum()) < until_s - from_s - _TOUCHES_S:
            return "rain not known"
        return None

    def begins_s(self, place: Place, from_s: float, until_s: float) -> float | None:
        """When the first rain at risk of a period begins there; None: none is at risk."""
        weather = self._ahead.steps.weather
        within = (weather.ends > from_s) & (weather.starts < until_s)
        first = np.flatnonzero(self._at_risk(place) & within)
        return max(float(weather.starts[first[0]]), from_s) if len(first) else None

    def _at_risk(self, place: Place) -> Bools:
        """(step,) where the pooled share of members with water there reaches the risk."""
        if place not in self._wet:
            show, steps = self._show, self._ahead.steps
            water = PlaceWater(place, self._drops, steps, show.site, show.policy)
            falls = water.spread(water.arrival(None).wetting) > 0.0
            known = ~(steps.unknown | water.spray_unknown)
            self._wet[place] = np.asarray(
                at_risk(
                    falls.astype(float),
                    steps.weather.weights,
                    show.policy.risk,
                    known,
                    steps.weather.feed_of,
                )
            )
        return self._wet[place]

    @cached_property
    def _drops(self) -> Rain:
        return Rain(self._ahead.steps, self._show.policy)
