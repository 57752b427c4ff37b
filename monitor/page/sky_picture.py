"""The sky as one strip: rain as bars, its chance, the gust against what closes access, now.

Left of the line of now is what fell, right of it what is said to come: measured rain is solid,
a forecast's is hatched, and both are named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from monitor.briefing.picture import Limit
from monitor.drawing.time_axis import ticks
from monitor.page import ink
from monitor.page.sky import PastRain, Sky, Stretch
from monitor.page.times import DAYS, Times
from monitor.page.words import later
from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from markupsafe import Markup

    from monitor.page.measures import Measures
    from monitor.page.words import Words

WIDTH, _LEFT, _RIGHT = 344.0, 24.0, 80.0
_PLOT = WIDTH - _LEFT - _RIGHT
_RAIN_TALL, _CHANCE_TALL, _GUST_TALL = 62.0, 14.0, 66.0
_TITLE, _NOW, _WHICH = 10.0, 25.0, 39.0
"""Feet of the lines of words over the rain"""
_LEAST_RAIN, _LEAST_GUST = 2.0, 12.0
_LINE = 12.0
_PAST: dict[PastRain, str] = {
    "measured": later("measured"),
    "in-part": later("measured in part"),
    "as-forecast": later("as forecast"),
    "not-known": later("not known"),
}
_EACH = (5.0, 10.0, 20.0, 30.0, 50.0)
"""Between two lines of the gust, in the unit shown: at most four to a scale"""


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """What one strip shows."""

    sky: Sky
    from_s: float
    until_s: float
    limits: Sequence[tuple[str, Limit]]
    """Named accesses, the lowest limit first"""
    times: Times
    words: Words
    measures: Measures
    name: str
    label: str
    """The same in words, for whoever does not see it"""
    most_mm_h: float
    """Greatest rain of all strips that stand together, for one scale"""

    @property
    def has_now(self) -> bool:
        """Whether the moment that it is now lies on it."""
        return self.from_s <= self.sky.now_s <= self.until_s

    @property
    def has_thunder(self) -> bool:
        """Whether any of it thunders."""
        return any(one.thunder[i] for one in _stretches(self) for i in _within(self, one))

    @property
    def which_foot(self) -> float:
        """Of the line that says what lies left and right of now."""
        return _WHICH if self.has_now else _NOW

    @property
    def rain_top(self) -> float:
        """Under the words, and under a line of bolts where there are any."""
        return self.which_foot + 7.0 + (20.0 if self.has_thunder else 0.0)

    @property
    def has_chance(self) -> bool:
        """Whether there are members enough to say how likely rain is."""
        return bool(np.isfinite(self.sky.ahead.chance).any())

    @property
    def rain_foot(self) -> float:
        """Under all that is said of the rain."""
        return self.chance_top + _CHANCE_TALL if self.has_chance else self.rain_top + _RAIN_TALL

    @property
    def chance_top(self) -> float:
        """Under the rain and the band's own name."""
        return self.rain_top + _RAIN_TALL + 18.0


def strip(shown: Strip) -> Markup:
    """One strip as SVG."""
    gust_top = shown.rain_foot + 24.0
    foot = gust_top + _GUST_TALL
    body = "".join(
        (
            ink.hatch(shown.name),
            _unknown(shown),
            _hours(shown, foot),
            _now_line(shown, foot),
            _rain(shown),
            _chance(shown) if shown.has_chance else "",
            _gust(shown, gust_top),
            _now(shown),
        )
    )
    return ink.picture(WIDTH, foot + 32.0, shown.label, body, "sky")


def _x(shown: Strip, at_s: float) -> float:
    inside = min(max(at_s, shown.from_s), shown.until_s)
    return _LEFT + (inside - shown.from_s) / (shown.until_s - shown.from_s) * _PLOT


def _stretches(shown: Strip) -> tuple[Stretch, Stretch]:
    return shown.sky.past, shown.sky.ahead


def _within(shown: Strip, stretch: Stretch) -> list[int]:
    inside = (stretch.ends > shown.from_s) & (stretch.starts < shown.until_s)
    return [int(i) for i in np.flatnonzero(inside)]


def _unknown(shown: Strip) -> str:
    """Where nobody says how much it rains."""
    at, holes = shown.from_s, []
    known = sorted(
        (float(stretch.starts[i]), float(stretch.ends[i]))
        for stretch in _stretches(shown)
        for i in _within(shown, stretch)
        if np.isfinite(stretch.rain_mm_h[i])
    )
    for start, end in [*known, (shown.until_s, shown.until_s)]:
        if start > at + 60.0:
            holes.append((at, start))
        at = max(at, end)
    drawn = []
    for start, end in holes:
        x, wide = _x(shown, start), _x(shown, end) - _x(shown, start)
        drawn.append(ink.boxes([(x, shown.rain_top, wide, _RAIN_TALL)], "unknown"))
        if wide > 60.0:
            said = shown.words.say("not known")
            drawn.append(ink.text(x + wide / 2, shown.rain_top + 36, said, anchor="middle"))
    return "".join(drawn)


def _hours(shown: Strip, foot: float) -> str:
    drawn = [ink.stroke(_LEFT, foot, _LEFT + _PLOT, foot, "axis")]
    first = to_moment(shown.from_s).astimezone(shown.times.zone)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    if _x(shown, midnight.timestamp()) - _LEFT > 50.0:
        named = shown.words.say(DAYS[first.weekday()])
        drawn.append(ink.text(_LEFT, foot + 27, named, "strong"))
    for tick in ticks(shown.from_s, shown.until_s, shown.times.zone, _PLOT):
        x = _x(shown, tick.at_s)
        drawn.append(ink.stroke(x, shown.rain_top, x, foot + 3, "day" if tick.day else "grid"))
        if tick.label:
            drawn.append(ink.text(x, foot + 14, tick.label, anchor="middle"))
        if tick.day and x < _LEFT + _PLOT - 30:
            day = to_moment(tick.at_s).astimezone(shown.times.zone)
            named = shown.words.say(DAYS[day.weekday()])
            drawn.append(ink.text(x, foot + 27, named, "strong", anchor="middle"))
    return "".join(drawn)


def _rain(shown: Strip) -> str:
    words, measures = shown.words, shown.measures
    scale = rain_scale(shown.most_mm_h, measures)
    foot = shown.rain_top + _RAIN_TALL

    def tall(mm_h: float) -> float:
        return _RAIN_TALL * min(mm_h, scale) / scale

    title = words.say("Rain, {unit} an hour", unit=measures.depth_unit)
    drawn = [ink.text(_LEFT, _TITLE, title, "strong")]
    for part in (0.0, 0.5, 1.0):
        y = foot - _RAIN_TALL * part
        drawn.append(ink.stroke(_LEFT, y, _LEFT + _PLOT, y, "grid"))
        said = measures.number(f"{measures.depth_value(scale * part):.3g}")
        drawn.append(ink.text(_LEFT - 4, y + 4, said, anchor="end"))
    solid: list[ink.Box] = []
    forecast: list[ink.Box] = []
    best = (0.0, 0.0, 0.0)
    for stretch in _stretches(shown):
        for i in _within(shown, stretch):
            mm_h = float(stretch.rain_mm_h[i])
            if not mm_h > 0.0:
                continue
            x = _x(shown, stretch.starts[i])
            wide = max(_x(shown, stretch.ends[i]) - x - 0.8, 0.8)
            up = max(tall(mm_h), 0.8)
            (solid if stretch.measured[i] else forecast).append((x, foot - up, wide, up))
            low, high = float(stretch.low_mm_h[i]), float(stretch.high_mm_h[i])
            top = max(tall(mm_h), tall(high) if high > low else 0.0)
            best = max(best, (mm_h, x + wide / 2, top))
            if high > low:
                middle = x + wide / 2
                drawn.append(
                    ink.stroke(middle, foot - tall(low), middle, foot - tall(high), "whisker")
                )
    drawn[4:4] = [ink.boxes(solid, "rain"), ink.hatched(forecast, shown.name)]
    drawn.append(ink.stroke(_LEFT, foot, _LEFT + _PLOT, foot, "axis"))
    if best[0] > 0.0:
        said = measures.depth_number(best[0])
        y = max(foot - best[2] - 3, shown.rain_top + 9)
        drawn.append(ink.text(best[1], y, said, "strong", anchor="middle"))
    drawn += _bolts(shown)
    drawn += _which(shown)
    return "".join(drawn)


def rain_scale(most_mm_h: float, measures: Measures) -> float:
    """Where the axis of the rain ends [mm/h]: at a good number in the unit shown."""
    most = measures.depth_value(max(most_mm_h * 1.15, _LEAST_RAIN))
    return measures.depth_mm(ink.axis_end(most))


def _which(shown: Strip) -> Iterator[str]:
    """What lies left and right of now, in words."""
    words, now = shown.words, shown.sky.now_s
    past = words.say(_PAST[shown.sky.past_from(shown.from_s)])
    room = words.say("forecast")
    if shown.has_now:
        x = _x(shown, now)
        if x - _LEFT > 40:
            yield ink.text(x - 4, shown.which_foot, f"◂ {past}", anchor="end")
        yield ink.text(x + 4, shown.which_foot, f"{room} ▸")
    else:
        yield ink.text(_LEFT, shown.which_foot, past if shown.until_s <= now else room)


def _bolts(shown: Strip) -> Iterator[str]:
    """A bolt over every stretch of thunder, with its word."""
    marks = [
        (_x(shown, stretch.starts[i]) + _x(shown, stretch.ends[i])) / 2
        for stretch in _stretches(shown)
        for i in _within(shown, stretch)
        if stretch.thunder[i]
    ]
    if not marks:
        return
    top = shown.rain_top - 21.0
    for x in marks:
        d = f"M{ink.number(x + 3)} {ink.number(top)}l-7 11h4l-3 9l9 -12h-5l4 -8z"
        yield ink.shape(d, "bolt")
    yield ink.text(_LEFT + _PLOT + 5, top + 14, shown.words.say("thunder"))


def _chance(shown: Strip) -> str:
    """The chance of rain of each step, as a band that is full where all say so."""
    foot = shown.chance_top + _CHANCE_TALL
    said = shown.words.say("chance of rain")
    drawn = [ink.text(_LEFT, shown.chance_top - 3, said)]
    ahead = shown.sky.ahead
    steps = _within(shown, ahead)
    cells = []
    for i in steps:
        part = float(ahead.chance[i])
        if part > 0.0:
            x = _x(shown, ahead.starts[i])
            wide = max(_x(shown, ahead.ends[i]) - x, 0.5)
            cells.append((x, foot - _CHANCE_TALL * part, wide, _CHANCE_TALL * part))
    drawn.append(ink.boxes(cells, "chance"))
    drawn.append(ink.stroke(_LEFT, foot, _LEFT + _PLOT, foot, "axis"))
    most = max((float(ahead.chance[i]) for i in steps if np.isfinite(ahead.chance[i])), default=0.0)
    up_to = shown.words.say("up to {tenths} in 10", tenths=round(most * 10))
    drawn.append(ink.text(_LEFT + _PLOT + 5, foot - 2, up_to))
    return "".join(drawn)


def _gust(shown: Strip, top: float) -> str:
    words, measures = shown.words, shown.measures
    known = [
        float(stretch.gust_mps[i])
        for stretch in _stretches(shown)
        for i in _within(shown, stretch)
        if np.isfinite(stretch.gust_mps[i])
    ]
    highest = [one.at_10m_mps * 1.1 for _, one in shown.limits]
    most = measures.speed_value(max([_LEAST_GUST, *highest, *(gust * 1.15 for gust in known)]))
    each = next((each for each in _EACH if most <= 4.0 * each), 100.0)
    scale = each * math.ceil(most / each)
    foot = top + _GUST_TALL

    def y(mps: float) -> float:
        return foot - _GUST_TALL * min(measures.speed_value(mps), scale) / scale

    title = words.say("Gust, {unit} at 10 m", unit=measures.speed_unit)
    drawn = [ink.text(_LEFT, top - 8, title, "strong")]
    for part in range(int(scale / each + 1e-9) + 1):
        at = y(measures.speed_mps(part * each))
        drawn.append(ink.stroke(_LEFT, at, _LEFT + _PLOT, at, "grid"))
        said = f"{part * each:.0f}"
        drawn.append(ink.text(_LEFT - 4, at + 4, said, anchor="end"))
    named = foot + 4.0
    for name, limit in shown.limits:
        at = y(limit.at_10m_mps)
        drawn.append(ink.stroke(_LEFT, at, _LEFT + _PLOT, at, "limit"))
        named = min(at + 4.0, named - _LINE)
        said = f"{name} {measures.number(f'{measures.speed_value(limit.plate_mps):.3g}')}"
        drawn.append(ink.text(_LEFT + _PLOT + 5, named, said))
    best = (0.0, 0.0)
    for stretch, look in zip(_stretches(shown), ("gust", "gust to-come"), strict=True):
        points: list[tuple[float, float]] = []
        for i in _within(shown, stretch):
            gust = float(stretch.gust_mps[i])
            x, end = _x(shown, stretch.starts[i]), _x(shown, stretch.ends[i])
            if not math.isfinite(gust) or (points and abs(points[-1][0] - x) > 0.01):
                drawn.append(ink.line(points, look))
                points = []
            if math.isfinite(gust):
                points += [(x, y(gust)), (end, y(gust))]
                best = max(best, (gust, (x + end) / 2))
        drawn.append(ink.line(points, look))
    if known:
        said = f"{measures.speed_value(best[0]):.0f}"
        drawn.append(ink.text(best[1], y(best[0]) - 4, said, "strong", anchor="middle"))
    else:
        drawn.append(ink.text(_LEFT + 6, foot - 8, words.say("not known")))
    return "".join(drawn)


def _now_line(shown: Strip, foot: float) -> str:
    """Broken where words stand between the parts: it strikes none through."""
    if not shown.has_now:
        return ""
    x = _x(shown, shown.sky.now_s)
    parts = [(_NOW + 2.0, shown.rain_top + _RAIN_TALL), (foot - _GUST_TALL - 4.0, foot + 3.0)]
    if shown.has_chance:
        parts.append((shown.chance_top, shown.rain_foot))
    return "".join(ink.stroke(x, top, x, end, "now") for top, end in parts)


def _now(shown: Strip) -> str:
    if not shown.has_now:
        return ""
    now = shown.sky.now_s
    x = _x(shown, now)
    said = shown.words.say("now {time}", time=shown.times.at(to_moment(now)))
    anchor = "middle" if x > _LEFT + 34 else "start"
    return ink.text(x, _NOW, said, "strong", anchor=anchor)
