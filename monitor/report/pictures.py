"""A position over time: rain, driven water, used and the log, one above the other.

Made to be read in black-and-white print: what rests on a forecast is striped, what rests on a
record is grey, a measurement is black, what is not known is cross-hatched.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from monitor import drawing
from monitor.alerts.words import one_line
from monitor.domain import EntryKind, Floats
from monitor.drawing import GREY, INK, PALE, WATER
from monitor.drawing.time_axis import ticks
from monitor.report.covers import cover_spans
from monitor.report.figures import share
from monitor.report.material import Material
from monitor.report.places import Place
from monitor.units import to_epoch

WIDTH = 760.0
_LEFT, _RIGHT = 62.0, 14.0
_PLOT = WIDTH - _LEFT - _RIGHT
_RAIN = (15.0, 40.0)
_DRIVEN = (74.0, 40.0)
_USED = (133.0, 60.0)
_STATE = (202.0, 8.0)
_MARKS_FROM = 220.0
_MARK_ROW = 15.0
_LEAST_UNKNOWN, _LEAST_MARKED = 4.0, 10.0
_MARK_ROWS = 3
_USED_TOP = 1.5
"""The axis of used ends here; what is over it is said in figures."""
_MOST_BARS = 640
"""More steps than this are drawn as so many bars, each the greatest of its steps."""

LETTERS: dict[EntryKind, tuple[str, str]] = {
    "covered": ("C", "covered"),
    "uncovered": ("U", "uncovered"),
    "brought-in": ("B", "brought in"),
    "inspected": ("I", "inspected"),
    "put-out": ("P", "put out"),
    "cleaned": ("N", "cleaned"),
    "isolated": ("X", "isolated"),
    "energised": ("E", "energised"),
    "capped": ("K", "capped"),
    "uncapped": ("O", "uncapped"),
    "moved": ("M", "moved"),
    "wet": ("W", "reported wet"),
}


class _Bars(NamedTuple):
    starts: Floats
    ends: Floats
    rate: Floats
    driven: Floats
    used: Floats
    used_before: float
    kinds: Sequence[str]


class _Frame:
    """Where a moment lies across the picture."""

    def __init__(self, start_s: float, end_s: float) -> None:
        self.start_s, self.end_s = start_s, end_s
        self._per_s = _PLOT / max(end_s - start_s, 1.0)

    def x(self, at_s: float) -> float:
        inside = min(max(at_s, self.start_s), self.end_s)
        return _LEFT + (inside - self.start_s) * self._per_s


def picture(
    material: Material,
    place: Place,
    unknown: Sequence[tuple[float, float]],
    prefix: str,
) -> Markup:
    """The position as one SVG; `prefix` keeps its pattern names apart from other pictures'."""
    start, end = material.period
    frame = _Frame(start, end)
    bars = _bars(material, place.worst.group)
    marks, rows = _marks(material, place, frame)
    foot = _MARKS_FROM + rows * _MARK_ROW
    height = foot + 34.0
    drawn = [
        drawing.patterns(prefix),
        _unknown(frame, unknown, prefix),
        _axis(material, frame, foot),
        _depths(frame, bars, bars.rate, _RAIN, "Rain on open ground", prefix, known=not unknown),
        _depths(
            frame,
            bars,
            bars.driven,
            _DRIVEN,
            "Driven water on the worst fixture",
            prefix,
            known=not unknown,
        ),
        _used(frame, bars, place),
        _state(material, place, frame, prefix),
        marks,
    ]
    name = one_line(place.position.name)
    worst = one_line(place.worst.first.id)
    label = f"{name} over time: rain, driven water and used of {worst}, log entries"
    body = drawing.element("title", escape(label)) + "".join(drawn)
    return Markup(  # noqa: S704 - every text in it went through drawing.text or escape
        drawing.element(
            "svg",
            body,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {WIDTH:g} {height:g}",
            role="img",
            aria_label=label,
            font_family="Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif",
        )
    )


def _bars(material: Material, g: int) -> _Bars:
    exposure = material.exposure
    steps = exposure.steps
    weather, kinds = steps.weather, material.kinds()
    rate = np.nan_to_num(weather.rain_mm[0]) / steps.hours
    driven = exposure.wetting_mm[0, :, g] / steps.hours
    used = exposure.used[0, :, g]
    before = 0.0 if material.before is None else float(material.before.used[:, g].max())
    if len(rate) <= _MOST_BARS:
        return _Bars(weather.starts, weather.ends, rate, driven, used, before, kinds)
    first = np.linspace(0, len(rate), _MOST_BARS + 1).astype(np.intp)[:-1]
    last = np.append(first[1:], len(rate)) - 1
    spans = zip(first.tolist(), last.tolist(), strict=True)
    wettest = [int(a + np.argmax(rate[a : b + 1])) for a, b in spans]
    return _Bars(
        weather.starts[first],
        weather.ends[last],
        np.maximum.reduceat(rate, first),
        np.maximum.reduceat(driven, first),
        used[last],
        before,
        [kinds[i] for i in wettest],
    )


# ---------------------------------------------------------------- panels


def _unknown(frame: _Frame, spans: Sequence[tuple[float, float]], prefix: str) -> str:
    top, bottom = _RAIN[0], _USED[0] + _USED[1]
    shapes = []
    for begin, end in spans:
        width = max(frame.x(end) - frame.x(begin), _LEAST_UNKNOWN)
        # What is not known is never so thin that it is missed, nor past the end of the axis.
        shapes.append((min(frame.x(begin), _LEFT + _PLOT - width), top, width, bottom - top))
    drawn = drawing.boxes(shapes, fill=f"url(#{prefix}-unknown)", stroke=GREY)
    for x, _, width, _ in shapes:
        said = "not known" if width > 62.0 else "?" if width >= _LEAST_MARKED else ""
        if said:
            middle, half = x + width / 2, 30.0 if said != "?" else 4.0
            drawn += drawing.boxes([(middle - half, top + 3, 2 * half, 13.0)], fill="#ffffff")
            drawn += drawing.text(middle, top + 13, said, anchor="middle")
    return drawn


def _axis(material: Material, frame: _Frame, foot: float) -> str:
    zone = material.show.site.timezone
    drawn = [drawing.line(_LEFT, foot, _LEFT + _PLOT, foot)]
    for tick in ticks(frame.start_s, frame.end_s, zone, _PLOT):
        x = frame.x(tick.at_s)
        if tick.day:
            drawn.append(drawing.line(x, _RAIN[0], x, foot + 18, colour=PALE, width=0.8))
            if x < _LEFT + _PLOT - 46:
                drawn.append(drawing.text(x + 3, foot + 28, tick.day, weight="bold"))
        drawn.append(drawing.line(x, foot, x, foot + 4))
        if tick.label and x < _LEFT + _PLOT - 4:
            drawn.append(drawing.text(x, foot + 15, tick.label, anchor="middle", size=10.0))
    drawn.append(drawing.text(_LEFT - 6, foot + 15, "site time", anchor="end", size=10.0))
    return "".join(drawn)


def _depths(
    frame: _Frame,
    bars: _Bars,
    values: Floats,
    panel: tuple[float, float],
    title: str,
    prefix: str,
    *,
    known: bool,
) -> str:
    top, height = panel
    most = float(values.max()) if len(values) else 0.0
    scale = drawing.round_up(most)
    drawn = [drawing.titled(_LEFT, top - 5, f"{title}, mm/h")]
    for part in (0.5, 1.0):
        y = top + height * (1 - part)
        drawn.append(drawing.line(_LEFT, y, _LEFT + _PLOT, y, colour=PALE, width=0.5))
        drawn.append(_tick_label(y, f"{scale * part:g}"))
    looks = {
        "record": (WATER, "none"),
        "measured": (INK, "none"),
        "forecast": (f"url(#{prefix}-forecast)", INK),
    }
    for kind, (fill, stroke) in looks.items():
        shapes = []
        for i in np.flatnonzero(values > 0.0).tolist():
            if bars.kinds[i] == kind:
                x = frame.x(bars.starts[i])
                tall = height * float(values[i]) / scale
                width = max(frame.x(bars.ends[i]) - x - 0.4, 0.6)
                shapes.append((x, top + height - tall, width, tall))
        drawn.append(drawing.boxes(shapes, fill=fill, stroke=stroke))
    foot = top + height
    drawn += [drawing.line(_LEFT, foot, _LEFT + _PLOT, foot), _tick_label(foot, "0")]
    if most <= 0.0:
        said = "no weather" if not len(values) else "none" if known else "none that is known"
        drawn.append(drawing.text(_LEFT + 6, foot - 5, said))
    return "".join(drawn)


def _used(frame: _Frame, bars: _Bars, place: Place) -> str:
    top, height = _USED
    foot = top + height

    def y(value: float) -> float:
        return foot - height * min(value, _USED_TOP) / _USED_TOP

    worst = place.worst
    title = f"Allowance used by the worst fixture, {worst.first.id} (1 = all of it)"
    drawn = [drawing.titled(_LEFT, top - 5, title)]
    for value, dash in ((0.5, "2 3"), (1.0, "6 3")):
        drawn.append(drawing.line(_LEFT, y(value), _LEFT + _PLOT, y(value), width=0.9, dash=dash))
        drawn.append(_tick_label(y(value), f"{value:.1f}"))
    drawn += [drawing.line(_LEFT, foot, _LEFT + _PLOT, foot), _tick_label(foot, "0")]
    points: list[tuple[float, float]] = []
    before = bars.used_before
    for start, end, used in zip(
        bars.starts.tolist(), bars.ends.tolist(), bars.used.tolist(), strict=True
    ):
        points.append((frame.x(start), y(before)))
        if used < before:  # a dry inspection sets it back at the begin of a step
            points.append((frame.x(start), y(0.0)))
        points.append((frame.x(end), y(used)))
        before = used
    if points:
        drawn.append(drawing.path(points))
    most = float(bars.used.max()) if len(bars.used) else 0.0
    if most > _USED_TOP:
        first = int(np.argmax(bars.used > _USED_TOP))
        said = f"beyond the picture: reaches {share(most)}"
        x = min(frame.x(bars.ends[first]) + 6, _LEFT + _PLOT - drawing.width_of(said))
        drawn.append(drawing.titled(x, top + 14, said))
    return "".join(drawn)


def _tick_label(y: float, said: str) -> str:
    return drawing.text(_LEFT - 6, y + 4, said, anchor="end", size=10.0)


# ---------------------------------------------------------------- the log


def _state(material: Material, place: Place, frame: _Frame, prefix: str) -> str:
    """The worst fixture: a line while it is out, a box while a cover counts."""
    top, height = _STATE
    middle = top + height / 2
    track = material.exposure.groups[place.worst.group].track
    drawn = [drawing.text(_LEFT - 6, top + 9, "out", anchor="end", size=10.0)]
    for segment in track.segments:
        start, end = max(segment.start_s, frame.start_s), min(segment.end_s, frame.end_s)
        if end <= start:
            continue
        drawn.append(drawing.line(frame.x(start), middle, frame.x(end), middle, width=1.4))
    covered = [
        (frame.x(start), top, max(frame.x(end) - frame.x(start), 1.0), height)
        for start, end in cover_spans(material, place.worst.group)
    ]
    drawn.append(drawing.boxes(covered, fill=f"url(#{prefix}-covered)", stroke=INK))
    return "".join(drawn)


def _marks(material: Material, place: Place, frame: _Frame) -> tuple[str, int]:
    """Log entries as letters in rings, those of one kind and moment drawn together."""
    together: dict[tuple[float, EntryKind], int] = {}
    start, end = material.period
    for entry in place.entries:
        at = to_epoch(entry.at)
        if start <= at <= end:
            together[at, entry.entry] = together.get((at, entry.entry), 0) + 1
    drawn = [drawing.text(_LEFT - 6, _MARKS_FROM + 8, "log", anchor="end", size=10.0)]
    free = [0.0] * _MARK_ROWS
    rows, left_off = 1, 0
    for (at, what), times in sorted(together.items()):
        x = frame.x(at)
        wide = 13.0 + (7.0 + 6.0 * len(str(times)) if times > 1 else 0.0)
        row = next((r for r in range(_MARK_ROWS) if free[r] <= x - 7.0), None)
        if row is None:
            left_off += 1
            continue
        free[row], rows = x - 6.0 + wide, max(rows, row + 1)
        y = _MARKS_FROM + 4 + row * _MARK_ROW
        drawn.append(drawing.line(x, _STATE[0] - 2, x, y - 6, width=0.5, colour=GREY))
        drawn.append(
            drawing.element(
                "circle", cx=x, cy=y, r=6.0, fill="#ffffff", stroke=INK, stroke_width=0.8
            )
        )
        drawn.append(
            drawing.text(x, y + 3.4, LETTERS[what][0], anchor="middle", size=9.5, weight="bold")
        )
        if times > 1:
            drawn.append(drawing.text(x + 8, y + 3.4, f"×{times}", size=9.0))
    if left_off:
        drawn.append(
            drawing.text(
                _LEFT + _PLOT,
                _MARKS_FROM + 8,
                f"and {left_off} more, in the log below",
                anchor="end",
                size=10.0,
            )
        )
    return "".join(drawn), rows
