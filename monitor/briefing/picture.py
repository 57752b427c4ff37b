"""The next 24 hours as one picture: rain, gust against what closes access, thunder, and now.

Made to be read in black-and-white print at arm's length. The gust is drawn at 10 m, and each
access limit at the gust at 10 m that reaches it, so that where the line passes the dashes the
access is closed; the bars below say the same in hours.
"""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from markupsafe import Markup

from monitor import drawing
from monitor.alerts.words import depth, speed
from monitor.briefing.access import ACCESS, Shut, shut
from monitor.briefing.weather_words import forecast
from monitor.drawing import GREY, INK, PALE, WATER
from monitor.drawing.time_axis import ticks
from monitor.exposure.wind import gust_at
from monitor.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.briefing.known import Known

WIDTH = 760.0
LEFT, _RIGHT = 92.0, 92.0
PLOT = WIDTH - LEFT - _RIGHT
RAIN_TOP, RAIN_TALL = 20.0, 64.0
GUST_TOP, GUST_TALL = 106.0, 84.0
_BARS_TOP, _BAR, _BAR_ROW = 202.0, 10.0, 16.0
_LEAST_GUST = 12.0
_MOST_ROWS = 5
_PREFIX = "day"


class Limit(NamedTuple):
    """An access limit as a gust at 10 m [m/s]."""

    access: str
    at_10m_mps: float
    plate_mps: float
    height_m: float


def limits(known: Known) -> list[Limit]:
    """The lowest limit of each kind of access, as the gust at 10 m that reaches it."""
    found: dict[str, Limit] = {}
    show = known.show
    for position_id in dict.fromkeys(fixture.position for fixture in show.fixtures):
        position = show.positions[position_id]
        plate = position.access_limit_mps
        if plate is None or position.access == "none":
            continue
        terrain = position.terrain or show.site.terrain
        raised = float(gust_at(np.ones(1), position.height_m, terrain)[0])
        limit = Limit(ACCESS[position.access], plate / raised, plate, position.height_m)
        kept = found.get(position.access)
        if kept is None or limit.at_10m_mps < kept.at_10m_mps:
            found[position.access] = limit
    return sorted(found.values(), key=lambda one: one.at_10m_mps)


def picture(known: Known) -> Markup:
    """The next 24 hours as one SVG."""
    drawn_limits, bars = limits(known), _bars(known)
    foot = _BARS_TOP + len(bars) * _BAR_ROW + 4.0
    body = "".join(
        (
            drawing.patterns(_PREFIX),
            _unknown(known),
            _axis(known, foot),
            _rain(known),
            _gust(known, drawn_limits),
            *_closed(known, bars),
            _now(known, foot),
        )
    )
    label = f"The next 24 hours. {forecast(known)}"
    return Markup(  # noqa: S704 - every text in it went through drawing.text or escape
        drawing.element(
            "svg",
            drawing.element("title", escape(label)) + body,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {WIDTH:g} {foot + 34:g}",
            role="img",
            aria_label=label,
            font_family="Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif",
        )
    )


def _x(known: Known, at_s: float) -> float:
    seen = known.outlook
    inside = min(max(at_s, seen.now_s), seen.end_s)
    return LEFT + (inside - seen.now_s) / (seen.end_s - seen.now_s) * PLOT


def _unknown(known: Known) -> str:
    drawn = ""
    for start, end in known.outlook.unknown_spans():
        x, wide = _x(known, start), max(_x(known, end) - _x(known, start), 1.0)
        look = f"url(#{_PREFIX}-unknown)"
        drawn += drawing.boxes([(x, RAIN_TOP, wide, RAIN_TALL)], fill=look, stroke=PALE)
        if wide > 70.0:
            middle = x + wide / 2
            drawn += drawing.boxes([(middle - 34, RAIN_TOP + 26, 68.0, 16.0)], fill="#ffffff")
            drawn += drawing.text(middle, RAIN_TOP + 38, "not known", anchor="middle", size=12.0)
    return drawn


def _axis(known: Known, foot: float) -> str:
    seen, zone = known.outlook, known.show.site.timezone
    drawn = [drawing.line(LEFT, foot, LEFT + PLOT, foot)]
    for tick in ticks(seen.now_s, seen.end_s, zone, PLOT):
        x = _x(known, tick.at_s)
        if tick.day:
            drawn.append(drawing.line(x, RAIN_TOP, x, foot + 19, colour=GREY, width=0.9))
            if x < LEFT + PLOT - 60:
                drawn.append(drawing.text(x + 4, foot + 30, tick.day, size=12.0, weight="bold"))
        else:
            drawn.append(drawing.line(x, RAIN_TOP, x, foot, colour=PALE, width=0.5))
        drawn.append(drawing.line(x, foot, x, foot + 4))
        if tick.label:
            drawn.append(drawing.text(x, foot + 16, tick.label, anchor="middle", size=12.0))
    drawn.append(drawing.text(LEFT - 20, foot + 16, "site time", anchor="end", size=12.0))
    return "".join(drawn)


def _rain(known: Known) -> str:
    """Rain as the depth of each hour, so that bars of unlike steps can be compared."""
    seen = known.outlook
    rate = np.nan_to_num(seen.rain_mm) / ((seen.ends - seen.starts) / SECONDS_PER_HOUR)
    most = float(rate.max(initial=0.0))
    scale = drawing.round_up(max(most * 1.15, 2.0))
    foot = RAIN_TOP + RAIN_TALL
    drawn = [drawing.text(LEFT + 40, RAIN_TOP - 7, "Rain, mm an hour", size=12.0, weight="bold")]
    drawn += _scale(RAIN_TOP, RAIN_TALL, scale, scale / 2)
    shapes = []
    for start, end, mm_h in zip(seen.starts, seen.ends, rate, strict=True):
        if mm_h > 0.0:
            x, tall = _x(known, start), RAIN_TALL * float(mm_h) / scale
            shapes.append((x, foot - tall, max(_x(known, end) - x - 0.8, 0.8), tall))
    drawn.append(drawing.boxes(shapes, fill=WATER, stroke=INK))
    drawn.append(drawing.line(LEFT, foot, LEFT + PLOT, foot))
    if most > 0.0:
        wettest = int(np.argmax(rate))
        x = (_x(known, seen.starts[wettest]) + _x(known, seen.ends[wettest])) / 2
        y = foot - RAIN_TALL * most / scale - 3
        said = depth(most).removesuffix(" mm")
        drawn.append(drawing.text(x, max(y, RAIN_TOP + 4), said, anchor="middle", size=12.0))
    elif len(seen.starts) and seen.rain_known.all():
        drawn.append(drawing.text(LEFT + 8, foot - 8, "none", size=12.0))
    for start, end in seen.thunder_spans():
        drawn.append(_thunder_mark((_x(known, start) + _x(known, end)) / 2, RAIN_TOP + 3))
    return "".join(drawn)


def _thunder_mark(x: float, y: float) -> str:
    bolt = f"M{drawing.number(x + 3)} {drawing.number(y)}l-8 13h5l-4 10l11 -14h-6l5 -9z"
    return drawing.element("path", d=bolt, fill=INK, stroke="#ffffff", stroke_width=1.0)


def _gust(known: Known, drawn_limits: Sequence[Limit]) -> str:
    seen = known.outlook
    finite = seen.gust_mps[np.isfinite(seen.gust_mps)]
    highest = max([_LEAST_GUST, *(one.at_10m_mps * 1.1 for one in drawn_limits)])
    most = max(float(finite.max(initial=0.0)) * 1.08, highest)
    each = 5.0 if most <= 25.0 else 10.0
    scale = each * math.ceil(most / each)
    foot = GUST_TOP + GUST_TALL

    def y(mps: float) -> float:
        return foot - GUST_TALL * min(mps, scale) / scale

    title = "Gust, m/s at 10 m; dashed: the gust that closes an access"
    drawn = [drawing.text(LEFT + 6, GUST_TOP - 6, title, size=12.0, weight="bold")]
    drawn += _scale(GUST_TOP, GUST_TALL, scale, each)
    drawn.append(drawing.line(LEFT, foot, LEFT + PLOT, foot))
    drawn += [
        drawing.line(LEFT, y(one.at_10m_mps), LEFT + PLOT, y(one.at_10m_mps), width=1.0, dash="7 4")
        for one in drawn_limits
    ]
    drawn += _limit_names([(y(one.at_10m_mps), one) for one in drawn_limits])
    points: list[tuple[float, float]] = []
    for start, end, gust in zip(seen.starts, seen.ends, seen.gust_mps, strict=True):
        broken = points and abs(points[-1][0] - _x(known, start)) > 0.01
        if (not np.isfinite(gust) or broken) and points:
            drawn.append(drawing.path(points, width=2.2))
            points = []
        if np.isfinite(gust):
            points += [(_x(known, start), y(float(gust))), (_x(known, end), y(float(gust)))]
    if points:
        drawn.append(drawing.path(points, width=2.2))
    if len(finite):
        peak = int(np.nanargmax(seen.gust_mps))
        x = (_x(known, seen.starts[peak]) + _x(known, seen.ends[peak])) / 2
        said = speed(float(seen.gust_mps[peak])).removesuffix(" m/s")
        at = y(float(seen.gust_mps[peak])) - 4
        drawn.append(drawing.text(x, at, said, anchor="middle", size=12.0))
    else:
        drawn.append(drawing.text(LEFT + 8, foot - 8, "not known", size=12.0))
    return "".join(drawn)


def _limit_names(at: Sequence[tuple[float, Limit]]) -> Iterator[str]:
    """Beside the plot, the lowest limit lowest; names that would touch are moved apart."""
    foot = GUST_TOP + GUST_TALL + 14.0
    for y, one in at:
        foot = min(y + 4.0, foot - 12.0)
        said = f"{_short(one.access)} {one.plate_mps:g}"
        yield drawing.text(LEFT + PLOT + 6, foot, said, size=11.0)


def _short(access: str) -> str:
    return access.removeprefix("Lowering a ").removeprefix("On the ").capitalize()


def _scale(top: float, tall: float, scale: float, each: float) -> Iterator[str]:
    for number in range(int(scale / each + 1e-9) + 1):
        y = top + tall * (1 - number * each / scale)
        yield drawing.line(LEFT, y, LEFT + PLOT, y, colour=PALE, width=0.5)
        yield _named(y + 4, f"{number * each:g}")


def _bars(known: Known) -> list[Shut]:
    """One row for each access that closes, the soonest first."""
    return [one for one in shut(known) if one.spans][:_MOST_ROWS]


def _closed(known: Known, bars: Sequence[Shut]) -> Iterator[str]:
    for number, one in enumerate(bars):
        y = _BARS_TOP + number * _BAR_ROW
        yield _named(y + 9, _short(ACCESS[one.access]))
        yield drawing.line(LEFT, y + _BAR / 2, LEFT + PLOT, y + _BAR / 2, colour=PALE)
        shapes = [
            (_x(known, s.start_s), y, max(_x(known, s.end_s) - _x(known, s.start_s), 1.0), _BAR)
            for s in one.spans
        ]
        yield drawing.boxes(shapes, fill=INK)
        x, _, wide, _ = max(shapes, key=lambda shape: shape[2])
        if wide > 64.0:
            inside = drawing.element(
                "text",
                "closed",
                x=x + wide / 2,
                y=y + 8.6,
                text_anchor="middle",
                font_size=10.0,
                fill="#ffffff",
            )
            yield inside


def _named(y: float, said: str) -> str:
    return drawing.text(LEFT - 7, y, said, anchor="end", size=12.0)


def _now(known: Known, foot: float) -> str:
    x = LEFT
    return "".join(
        (
            drawing.line(x, RAIN_TOP - 4, x, foot + 4, width=2.4),
            drawing.text(x, RAIN_TOP - 7, f"now {known.clock.at(known.now)}", anchor="middle"),
        )
    )
