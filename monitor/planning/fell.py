"""The rain that fell until now: how much, since when, and whether it was measured. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from monitor.domain import WEATHER_VALUES, Bools, Weather
from monitor.exposure.pool import mean_known
from monitor.units import SECONDS_PER_HOUR, to_moment

SAME_SPELL_S = 6 * SECONDS_PER_HOUR
"""As of the rain to come: wet steps less far apart than this are one spell (judgement)."""


@dataclass(frozen=True, slots=True)
class Fell:
    """Rain on the horizontal of the spell that ended last, or still lasts [mm]."""

    mm: float
    since: datetime
    to: datetime
    measured: Literal["all", "some", "none", "record"]
    """How much of it a station on site measured; `record`: it is no forecast, and not told"""


def last_rain(past: Weather | None) -> Fell | None:
    """What the last wet spell of a past brought; None where nothing is known to have fallen.

    Missing: left out, so it tells too little rather than too much.
    """
    if past is None or not len(past.starts):
        return None
    shares = past.shares
    if shares is None:
        shares = np.repeat(past.weights[:, np.newaxis], len(past.starts), axis=1)
    rain = np.nan_to_num(mean_known(past.rain_mm, shares)[0])
    wet = np.flatnonzero(rain > 0.0)
    if not len(wet):
        return None
    breaks = np.flatnonzero(past.starts[wet[1:]] - past.ends[wet[:-1]] >= SAME_SPELL_S)
    spell = wet[int(breaks[-1]) + 1 :] if len(breaks) else wet
    told = past.measured
    on_site = np.zeros(len(spell), dtype=bool)
    if told is not None:
        on_site = told[WEATHER_VALUES.index("rain_mm")][spell]
    return Fell(
        mm=float(rain[spell].sum()),
        since=to_moment(past.starts[spell[0]]),
        to=to_moment(past.ends[spell[-1]]),
        measured=_how(on_site, bool(np.any(past.forecast[..., spell]))),
    )


def _how(on_site: Bools, forecast: bool) -> Literal["all", "some", "none", "record"]:
    if on_site.all():
        return "all"
    if on_site.any():
        return "some"
    return "none" if forecast else "record"
