"""The crew's word that it rains here: how long it holds, and what it is taken for. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from monitor.domain import WEATHER_VALUES, Weather
from monitor.feeds.readings import CREW
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Reading

LIGHT_RAIN_MM_H = 2.5
"""Where light rain ends and moderate begins: WMO-No. 8, Guide to Instruments and Methods of
Observation, intensity of precipitation (from memory). The crew says that it rains, not how
hard, so all that is called light is covered."""
HOLDS_S = 30 * SECONDS_PER_MINUTE
"""J: a shower outlasts its first notice by about this; who sees it rain on says so again."""


class Spell(NamedTuple):
    """At least so much rain over [start, end)."""

    start_s: float
    end_s: float
    mm_h: float


def crew_rain(readings: Sequence[Reading]) -> tuple[Spell, ...]:
    """When it rained by the crew's word, joined and in order.

    A word holds for half an hour, or until the crew says that it has stopped. `readings` may
    come in any order; those without a word on rain are passed over.
    """
    words = sorted((to_epoch(r.at), r.raining) for r in readings if r.raining is not None)
    spells: list[Spell] = []
    for i, (at, raining) in enumerate(words):
        if not raining:
            continue
        stops = [later for later, rains in words[i + 1 :] if not rains and later < at + HOLDS_S]
        end = stops[0] if stops else at + HOLDS_S
        if spells and at <= spells[-1].end_s:
            spells[-1] = spells[-1]._replace(end_s=max(end, spells[-1].end_s))
        elif end > at:
            spells.append(Spell(at, end, LIGHT_RAIN_MM_H))
    return tuple(spells)


def crew_weather(spells: Sequence[Spell]) -> Weather:
    """What the crew saw, as weather of source "crew": the least rain of each spell, else nothing.

    It is no measurement: it lifts a forecast that says less, and gives way to a gauge.
    """
    starts, ends, rates = np.array(spells, dtype=np.float64).reshape(-1, 3).T
    columns: dict[str, Any] = {n: np.full((1, len(starts)), np.nan) for n in WEATHER_VALUES}
    columns["rain_mm"][0] = rates * (ends - starts) / SECONDS_PER_HOUR
    return Weather(
        starts=starts,
        ends=ends,
        weights=np.ones(1),
        forecast=np.zeros(len(starts), dtype=np.bool_),
        source=CREW,
        **columns,
    )


def at_least(weather: Weather, spells: Sequence[Spell]) -> Weather:
    """`weather` with no less rain than the crew saw, in every member.

    Steps are cut where a spell begins or ends. Where no step is, none is made: without wind
    nothing could be told of it.
    """
    moments = np.array([m for spell in spells for m in spell[:2]], dtype=np.float64)
    if not len(moments) or not len(weather.starts):
        return weather
    edges = np.unique(np.concatenate([weather.starts, weather.ends, moments]))
    index = np.searchsorted(weather.starts, edges[:-1], side="right") - 1
    within = (index >= 0) & (edges[:-1] < weather.ends[index])
    index, starts, ends = index[within], edges[:-1][within], edges[1:][within]
    cut = weather.take(index)
    rain = cut.rain_mm * ((ends - starts) / (cut.ends - cut.starts))
    for spell in spells:
        seen = (starts >= spell.start_s) & (ends <= spell.end_s)
        least = spell.mm_h * (ends - starts) / SECONDS_PER_HOUR
        rain[:, seen] = np.fmax(rain, least)[:, seen]
    return replace(cut, starts=starts, ends=ends, rain_mm=rain, cut_from_hours=cut.whole_hours)
