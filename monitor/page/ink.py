"""The few shapes the page's pictures are made of. Their looks are classes of the style sheet,
so that each theme draws them in its own colours; patterns tell them apart without any.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from markupsafe import Markup

from monitor.alerts.words import one_line
from monitor.drawing import element

Box = tuple[float, float, float, float]
"""x, y, width, height"""


def number(value: float) -> str:
    """A coordinate, to a tenth: finer than any phone shows."""
    return f"{value:.1f}".removesuffix(".0")


def shape(d: str, class_: str) -> str:
    """A path of one look."""
    return element("path", d=d, class_=class_) if d else ""


def boxes(rectangles: Sequence[Box], class_: str) -> str:
    """Rectangles of one look, as one path."""
    return shape(
        "".join(
            f"M{number(x)} {number(y)}h{number(w)}v{number(h)}h{number(-w)}z"
            for x, y, w, h in rectangles
        ),
        class_,
    )


def line(points: Sequence[tuple[float, float]], class_: str) -> str:
    """A line through points."""
    if len(points) < 2:
        return ""
    return shape("M" + "L".join(f"{number(x)} {number(y)}" for x, y in points), class_)


def stroke(x1: float, y1: float, x2: float, y2: float, class_: str) -> str:
    """A straight line."""
    return shape(f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}", class_)


def text(x: float, y: float, said: str, class_: str = "", anchor: str = "start") -> str:
    """A line of text whose foot is at y."""
    more = {} if anchor == "start" else {"text_anchor": anchor}
    more |= {"class_": class_} if class_ else {}
    return element("text", escape(one_line(said)), x=number(x), y=number(y), **more)


def hatch(name: str) -> str:
    """A pattern of slanted lines; a picture's own name, since several stand on one page."""
    return element(
        "defs",
        element(
            "pattern",
            element("path", d="M-1 1L1 -1M0 4L4 0M3 5L5 3", class_="hatch"),
            id=name,
            width=4.0,
            height=4.0,
            patternUnits="userSpaceOnUse",
        ),
    )


def hatched(rectangles: Sequence[Box], name: str) -> str:
    """Rectangles filled with a pattern."""
    if not rectangles:
        return ""
    d = "".join(
        f"M{number(x)} {number(y)}h{number(w)}v{number(h)}h{number(-w)}z"
        for x, y, w, h in rectangles
    )
    return element("path", d=d, fill=f"url(#{name})", class_="hatched")


def picture(width: float, height: float, label: str, body: str, class_: str) -> Markup:
    """The whole; every text in it was escaped above."""
    label = one_line(label)
    return Markup(  # noqa: S704 - every text in it went through escape
        element(
            "svg",
            element("title", escape(label)) + body,
            viewBox=f"0 0 {number(width)} {number(height)}",
            role="img",
            aria_label=label,
            class_=class_,
        )
    )


_ENDS = (1.0, 1.2, 1.6, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Each halves into a short number."""


def axis_end(most: float) -> float:
    """The next number at which an axis ends well."""
    power = 10.0 ** math.floor(math.log10(most))
    return next(end * power for end in _ENDS if end * power >= most * (1 - 1e-9))
