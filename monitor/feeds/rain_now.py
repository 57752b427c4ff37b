"""Rain that falls on site now, taken to go on: persistence, the plainest forecast there is. Pure.

A forecast that has no rain while the gauge fills is wrong now, and its next hour is no better.
So what is measured, or seen by the crew, is laid under what is to come as the least that falls.
It never takes rain away from a forecast.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from monitor.domain import WEATHER_VALUES
from monitor.feeds.crew_rain import LIGHT_RAIN_MM_H, Spell
from monitor.feeds.readings import CREW
from monitor.feeds.stamps import LATEST_FIRST
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Floats, Weather

LOOKS_BACK_S = 30 * SECONDS_PER_MINUTE
"""J: the rate that goes on is that of so long before the gauge's last word."""
GOES_ON_S = SECONDS_PER_HOUR
"""J: so long. Showers seldom last longer, and every reading begins it anew."""
LEAST_MM_H = 0.1
"""J: below this nobody on site would call it rain."""
_SHORTEST_S = 10 * SECONDS_PER_MINUTE
"""A rate is taken over no less than this: one tip in the first minute is no cloudburst."""


class RainNow(NamedTuple):
    """Rain that falls now, by a gauge or by the crew."""

    mm_h: float
    since_s: float
    """From here on it is not measured yet, but taken to go on"""
    until_s: float
    by: str
    """Station, or the crew"""
    mm: float | None = None
    """What fell in the time below; None: seen, not measured"""
    in_s: float = 0.0

    @property
    def measured(self) -> bool:
        """Whether a gauge says so."""
        return self.mm is not None

    def lasting(self, until_s: float) -> RainNow:
        """The same, going on to another moment."""
        return self._replace(until_s=until_s)


def rain_now(
    measured: Sequence[Weather], every_s: Sequence[float], spells: Sequence[Spell], now_s: float
) -> RainNow | None:
    """The rain that falls now; None where neither a gauge nor the crew knows of any.

    Parameters
    ----------
    measured : what each gauge measured, its source the station's name
    every_s : how often each is heard of [s]
    spells : when it rained by the crew's word

    Notes
    -----
    A gauge speaks until its next word is an hour late. The heaviest of several counts. The
    crew's word counts where none has rain, as light rain: for an hour from now where no gauge
    speaks, else for no longer than the word holds.
    """
    speaking = [
        (weather, last, every)
        for weather, every in zip(measured, every_s, strict=True)
        if (last := _last_known_s(weather, now_s)) + GOES_ON_S + every > now_s
    ]
    falling = [_rate(*gauge) for gauge in speaking]
    wet = [rain for rain in falling if rain.mm_h >= LEAST_MM_H]
    if wet:
        return max(wet, key=lambda rain: rain.mm_h)
    seen = next((s for s in spells if s.start_s <= now_s < s.end_s), None)
    if seen is None:
        return None
    until_s = seen.end_s if speaking else now_s + GOES_ON_S
    return RainNow(LIGHT_RAIN_MM_H, now_s, until_s, CREW)


def _last_known_s(weather: Weather, now_s: float) -> float:
    """End of the last step whose rain is known, at `now_s` at the latest."""
    known = np.isfinite(weather.rain_mm[0]) & (weather.ends <= now_s)
    return float(weather.ends[known].max(initial=-np.inf))


def _rate(weather: Weather, last_s: float, every_s: float) -> RainNow:
    """Rate of the last half hour that the gauge knows; a step counts by its part."""
    rain = weather.rain_mm[0]
    starts = np.maximum(weather.starts, last_s - LOOKS_BACK_S)
    overlap = np.clip(np.minimum(weather.ends, last_s) - starts, 0.0, None)
    overlap = np.where(np.isfinite(rain), overlap, 0.0)
    fell = float((np.nan_to_num(rain) * overlap / (weather.ends - weather.starts)).sum())
    known_s = max(float(overlap.sum()), _SHORTEST_S)
    rate = fell / known_s * SECONDS_PER_HOUR
    until_s = last_s + every_s + GOES_ON_S
    return RainNow(rate, last_s, until_s, weather.source, fell, known_s)


def most_forecast_mm_h(runs: Sequence[Weather], now_s: float) -> float | None:
    """The greatest rate that any member of any forecast has now; None where none says."""
    rates = [rate for run in runs if (rate := _rate_at(run, now_s)) is not None]
    return max(rates, default=None)


def _rate_at(run: Weather, now_s: float) -> float | None:
    here = np.flatnonzero((run.starts <= now_s) & (run.ends > now_s))
    if not len(here):
        return None
    rates = run.rain_mm[:, here[0]] / run.hours[here[0]]
    known = rates[np.isfinite(rates)]
    return float(known.max()) if len(known) else None


def floors(spells: Sequence[Spell], rain: RainNow | None, now_s: float) -> tuple[Spell, ...]:
    """The crew's spells, and what is taken to have fallen since a gauge's last word: apart, and
    where they meet the heavier.
    """
    if rain is None or not rain.measured or rain.since_s >= now_s:
        return tuple(spells)
    every = [*spells, Spell(rain.since_s, min(now_s, rain.until_s), rain.mm_h)]
    edges = sorted({edge for spell in every for edge in spell[:2]})
    found = []
    for start, end in pairwise(edges):
        rates = [s.mm_h for s in every if s.start_s <= start and end <= s.end_s]
        if rates:
            found.append(Spell(start, end, max(rates)))
    return tuple(found)


def going_on(
    ahead: Weather | None, rain: RainNow | None, now_s: float, margin: float
) -> Weather | None:
    """What is to come with no less rain than goes on, in every member.

    Parameters
    ----------
    ahead : the forecasts from `now_s` on; None where there is none
    margin : by which a forecast's hour is charged: what is measured is not, so a cell is lifted
        only where the measured rate is more than the forecast's with its margin

    Notes
    -----
    Wind and the rest stay those of the forecast. Before its first step, as where a forecast
    begins with the next hour, they are those of its first step. Where there is no forecast at
    all nothing is made up: without wind nobody can tell what reaches a fixture.
    """
    if ahead is None or rain is None or not len(ahead.starts) or rain.until_s <= now_s:
        return ahead
    begun = _from_now(ahead, now_s)
    edges = np.unique(np.concatenate([begun.starts, begun.ends, [rain.until_s]]))
    index = np.searchsorted(begun.starts, edges[:-1], side="right") - 1
    within = (index >= 0) & (edges[:-1] < begun.ends[index])
    index, starts, ends = index[within], edges[:-1][within], edges[1:][within]
    cut = begun.take(index)
    hours = (ends - starts) / SECONDS_PER_HOUR
    fell = cut.rain_mm * (hours / cut.hours)
    whole = np.broadcast_to(cut.whole_hours, fell.shape)
    forecast = np.broadcast_to(cut.forecast, fell.shape)
    charged = fell * np.where(forecast & (whole >= 1.0), margin, 1.0)
    least = rain.mm_h * hours
    wet = (starts >= now_s) & (ends <= rain.until_s)
    lifted = wet & ~(charged >= least)
    return replace(
        cut,
        starts=starts,
        ends=ends,
        rain_mm=np.where(lifted, least, fell),
        forecast=forecast & ~lifted,
        cut_from_hours=cut.whole_hours,
    )


def alone(weather: Weather, rain: RainNow, now_s: float) -> Weather | None:
    """Where no forecast is held: the rain that goes on, in the wind that its gauge has measured.

    Parameters
    ----------
    weather : what that gauge measured

    Without that wind the step is not known, as any other rain without wind.
    """
    late = np.flatnonzero((weather.ends > rain.since_s - LOOKS_BACK_S) & (weather.ends <= now_s))
    if not len(late) or rain.until_s <= now_s:
        return None
    step = weather.take(late[-1:])
    hours = (rain.until_s - now_s) / SECONDS_PER_HOUR
    return replace(
        step,
        starts=np.array([now_s]),
        ends=np.array([rain.until_s]),
        rain_mm=np.array([[rain.mm_h * hours]]),
        thunder=np.full((1, 1), np.nan),
    )


def _from_now(ahead: Weather, now_s: float) -> Weather:
    """The forecast with a step in front where it begins a little later; its rain is not known."""
    gap_s = float(ahead.starts[0]) - now_s
    if not 0.0 < gap_s <= LATEST_FIRST.total_seconds():
        return ahead
    front = ahead.take(np.array([0], dtype=np.intp))
    unknown = np.full(front.rain_mm.shape, np.nan)
    own = None if front.cut_from_starts is None else np.full(front.rain_mm.shape, now_s)
    front = replace(
        front,
        starts=np.array([now_s]),
        ends=ahead.starts[:1],
        rain_mm=unknown,
        thunder=unknown,
        cut_from_hours=np.full(np.shape(front.whole_hours), gap_s / SECONDS_PER_HOUR),
        cut_from_starts=own,
    )
    names = ("starts", "ends", "forecast", *WEATHER_VALUES, "cut_from_starts")
    columns: dict[str, Any] = {name: _joined(front, ahead, name) for name in names}
    hours: Floats = np.concatenate([front.whole_hours, ahead.whole_hours], axis=-1)
    return replace(ahead, **columns, cut_from_hours=hours)


def _joined(first: Weather, then: Weather, name: str) -> Any:
    one, other = getattr(first, name), getattr(then, name)
    return None if one is None or other is None else np.concatenate([one, other], axis=-1)
