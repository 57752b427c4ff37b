"""How much of the allowance is used, over the hours: what was, and the band of what may come."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from monitor.briefing.known import Known
from monitor.domain import Floats
from monitor.drawing import element
from monitor.drawing.time_axis import ticks
from monitor.page import ink
from monitor.page.sky import HIGH, LOW, quantile
from monitor.page.times import DAYS, Times
from monitor.planning.chance import MEMBERS_FOR_A_PERCENTAGE
from monitor.units import to_moment

if TYPE_CHECKING:
    from markupsafe import Markup

    from monitor.page.words import Words

WIDTH, _LEFT, _RIGHT = 344.0, 40.0, 10.0
_PLOT = WIDTH - _LEFT - _RIGHT
_TOP, _TALL = 34.0, 150.0
_LEAST, _MOST = 1.2, 2.0
"""More than this times the allowance is drawn at the edge: it is spent either way."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Used at moments (step,) of the row that used most; the band where members make one."""

    now_s: float
    past_s: Floats
    past_used: Floats
    ahead_s: Floats
    used: Floats
    """The middle of the members"""
    low: Floats
    high: Floats
    """NaN where there are too few members for a band"""
    members: int


def curve_of(known: Known, groups: Sequence[int]) -> Curve:
    """The curve of what hangs at a position, or of one row of it."""
    past, ahead = known.found.past, known.found.ahead
    mine = sorted(set(groups))
    none = np.zeros(0)
    at_s = past_used = none
    if past is not None and mine:
        at_s = past.steps.weather.ends
        past_used = past.used[:, :, mine].max(axis=2).mean(axis=0)
    weather = ahead.steps.weather
    if not len(weather.starts) or not mine:
        return Curve(known.now_s, at_s, past_used, none, none, none, none, 0)
    used = ahead.used[:, :, mine].max(axis=2)
    shares = np.repeat(weather.weights[:, np.newaxis], used.shape[1], axis=1)
    few = np.full(used.shape[1], np.nan)
    many = len(weather.weights) >= MEMBERS_FOR_A_PERCENTAGE
    return Curve(
        known.now_s,
        at_s,
        past_used,
        weather.ends,
        quantile(used, shares, 0.5),
        quantile(used, shares, LOW) if many else few,
        quantile(used, shares, HIGH) if many else few,
        len(weather.weights),
    )


def picture(curve: Curve, times: Times, words: Words, label: str, name: str) -> Markup:
    """The curve as SVG: a full line for what was, a dashed one and a band for what may come."""
    edges = [curve.now_s, *curve.past_s[:1].tolist(), *curve.ahead_s[-1:].tolist()]
    from_s, until_s = min(edges), max(edges)
    if until_s - from_s < 60.0:
        return ink.picture(WIDTH, 1.0, label, "", "curve")
    shown = np.concatenate([curve.past_used, curve.used, curve.high])
    most = float(shown[np.isfinite(shown)].max(initial=_LEAST))
    scale = ink.axis_end(min(most, _MOST))
    foot = _TOP + _TALL

    def x(at_s: float) -> float:
        return float(_LEFT + (at_s - from_s) / (until_s - from_s) * _PLOT)

    def y(used: float) -> float:
        return foot - _TALL * min(used, scale) / scale

    drawn = [ink.hatch(name)]
    for tick in ticks(from_s, until_s, times.zone, _PLOT):
        drawn.append(ink.stroke(x(tick.at_s), _TOP, x(tick.at_s), foot + 3, "grid"))
        if tick.label:
            drawn.append(ink.text(x(tick.at_s), foot + 14, tick.label, anchor="middle"))
        if tick.day:
            day = to_moment(tick.at_s).astimezone(times.zone)
            named = words.say(DAYS[day.weekday()])
            drawn.append(ink.text(x(tick.at_s), foot + 27, named, "strong", anchor="middle"))
    for part in _parts(scale):
        look = "limit" if part == 1.0 else "grid"
        drawn.append(ink.stroke(_LEFT, y(part), _LEFT + _PLOT, y(part), look))
        drawn.append(ink.text(_LEFT - 4, y(part) + 4, f"{part * 100:.0f} %", anchor="end"))
    band = np.flatnonzero(np.isfinite(curve.low) & np.isfinite(curve.high))
    if len(band):
        up = [(x(curve.ahead_s[i]), y(float(curve.high[i]))) for i in band]
        down = [(x(curve.ahead_s[i]), y(float(curve.low[i]))) for i in band[::-1]]
        points = "L".join(f"{ink.number(a)} {ink.number(b)}" for a, b in [*up, *down])
        drawn.append(element("path", d=f"M{points}z", fill=f"url(#{name})", class_="hatched"))
    was = [(x(a), y(float(u))) for a, u in zip(curve.past_s, curve.past_used, strict=True)]
    to_come = [
        (x(a), y(float(u)))
        for a, u in zip(curve.ahead_s, curve.used, strict=True)
        if math.isfinite(u)
    ]
    drawn.append(ink.line(was, "used"))
    drawn.append(ink.line([*was[-1:], *to_come], "used to-come"))
    spent = words.say("allowance spent")
    drawn.append(ink.text(_LEFT + _PLOT, y(1.0) - 4, spent, anchor="end"))
    now = x(curve.now_s)
    drawn.append(ink.stroke(now, 22.0, now, foot + 3, "now"))
    said = words.say("now {time}", time=times.at(to_moment(curve.now_s)))
    drawn.append(ink.text(min(now, _LEFT + _PLOT - 34), 14.0, said, "strong"))
    drawn.append(ink.text(now + 4, 29.0, f"{words.say('forecast')} ▸"))
    drawn.append(ink.stroke(_LEFT, foot, _LEFT + _PLOT, foot, "axis"))
    return ink.picture(WIDTH, foot + 32.0, label, "".join(drawn), "curve")


def _parts(scale: float) -> list[float]:
    return [part for part in (0.0, 0.5, 1.0, 1.5, 2.0) if part <= scale + 1e-9]
