"""The few SVG elements that a picture is made of. Text is escaped here and nowhere else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from monitor.alerts.words import one_line

INK = "#111111"
GREY = "#777777"
PALE = "#c8c8c8"
WATER = "#8298b0"


def number(value: float) -> str:
    """A coordinate: at most two digits behind the point."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def element(name: str, content: str = "", **attributes: str | float) -> str:
    """One element; `stroke_width` becomes stroke-width, `class_` class."""
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="'
        f'{number(value) if isinstance(value, float) else escape(str(value))}"'
        for key, value in attributes.items()
    )
    return f"<{name}{said}>{content}</{name}>" if content else f"<{name}{said}/>"


def text(
    x: float, y: float, said: str, *, anchor: str = "start", size: float = 11.0, weight: str = ""
) -> str:
    """A line of text whose foot is at y."""
    more = {"font_weight": weight} if weight else {}
    return element(
        "text",
        escape(one_line(said)),
        x=x,
        y=y,
        text_anchor=anchor,
        font_size=size,
        fill=INK,
        # a white edge keeps lines from striking the letters through
        stroke="#ffffff",
        stroke_width=2.5,
        paint_order="stroke",
        **more,
    )


_WIDEST_PER_SIZE = 0.6
"""Of a letter on the average, of its size; wider than it mostly is."""


def width_of(said: str, size: float = 11.0) -> float:
    """No less than the width that a line of text takes."""
    return len(one_line(said)) * size * _WIDEST_PER_SIZE


def titled(x: float, y: float, said: str) -> str:
    """A line of text on a ground of its own, so that no pattern lies under its letters."""
    ground = boxes([(x - 1.0, y - 10.0, width_of(said) + 2.0, 13.0)], fill="#ffffff")
    return ground + text(x, y, said)


def line(
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    *,
    colour: str = INK,
    width: float = 0.8,
    dash: str = "",
) -> str:
    """A straight line."""
    more = {"stroke_dasharray": dash} if dash else {}
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=colour, stroke_width=width, **more)


def path(points: Sequence[tuple[float, float]], *, width: float = 1.6) -> str:
    """A line through points."""
    d = "M" + " L".join(f"{number(x)} {number(y)}" for x, y in points)
    return element(
        "path", d=d, fill="none", stroke=INK, stroke_width=width, stroke_linejoin="round"
    )


def boxes(
    rectangles: Sequence[tuple[float, float, float, float]], *, fill: str, stroke: str = "none"
) -> str:
    """Rectangles (x, y, width, height) of one look, as one path."""
    if not rectangles:
        return ""
    d = "".join(
        f"M{number(x)} {number(y)}h{number(w)}v{number(h)}h{number(-w)}z"
        for x, y, w, h in rectangles
    )
    return element("path", d=d, fill=fill, stroke=stroke, stroke_width=0.5)


def round_up(value: float) -> float:
    """The next round number, where an axis ends."""
    if value <= 0.0 or not math.isfinite(value):
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(
        m * power
        for m in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
        if m * power >= value * (1 - 1e-9)
    )


def patterns(prefix: str) -> str:
    """The looks that tell forecast from record and unknown from known without colour."""

    def stripes(name: str, size: float, slope: str, colour: str, ground: str) -> str:
        fill = "" if ground == "none" else element("rect", width=size, height=size, fill=ground)
        stroke = element("path", d=slope, stroke=colour, stroke_width=1.0, fill="none")
        return element(
            "pattern",
            fill + stroke,
            id=f"{prefix}-{name}",
            width=size,
            height=size,
            patternUnits="userSpaceOnUse",
        )

    return element(
        "defs",
        stripes("forecast", 4.0, "M-1 1L1 -1M0 4L4 0M3 5L5 3", INK, "#ffffff")
        + stripes("unknown", 8.0, "M0 0L8 8M0 8L8 0", GREY, "#ffffff")
        + stripes("covered", 3.0, "M0 1.5L3 1.5", INK, "#ffffff"),
    )
