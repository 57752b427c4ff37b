"""A feed's hits and false alarms by lead, as bars with their numbers.

Black is what was forecast and came, white what came unforecast, striped what was forecast and
stayed away: told apart in black-and-white print.
"""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from monitor import drawing
from monitor.alerts.words import one_line
from monitor.drawing import INK
from monitor.scores import FeedScores, Row

WIDTH = 760.0
_LABEL = 112.0
_GAP = 44.0
_BARS = (WIDTH - _LABEL - 2 * _GAP) / 2
_TOP, _ROW, _TALL = 44.0, 22.0, 13.0


def forecast_picture(feed: FeedScores, prefix: str) -> Markup:
    """Two bars a lead: the wet hours measured, and the wet hours forecast."""
    rows = [row for row in feed.rows if row.table.hours]
    most = max((max(row.table.wet, row.table.forecast) for row in rows), default=0)
    per_hour = _BARS / max(most, 1)
    left, right = _LABEL, _LABEL + _BARS + _GAP
    drawn = [
        drawing.patterns(prefix),
        drawing.text(left, 14, "Wet hours measured", weight="bold"),
        *_key(left, (("seen", INK), ("missed", "#ffffff"))),
        drawing.text(right, 14, "Wet hours forecast", weight="bold"),
        *_key(right, (("came", INK), ("stayed dry", f"url(#{prefix}-forecast)"))),
    ]
    for i, row in enumerate(rows):
        y = _TOP + i * _ROW
        drawn.append(drawing.text(_LABEL - 8, y + 11, row.lead.says, anchor="end"))
        table = row.table
        drawn += _bar(left, y, per_hour, table.hits, table.misses, "#ffffff")
        stripes = f"url(#{prefix}-forecast)"
        drawn += _bar(right, y, per_hour, table.hits, table.false_alarms, stripes)
    height = _TOP + len(rows) * _ROW + 4
    for x in (left, right):
        drawn.append(drawing.line(x, _TOP - 3, x, height - 6))
    label = f"{one_line(feed.source)}: hits and false alarms by lead. {_spoken(rows)}"
    return Markup(  # noqa: S704 - every text in it went through drawing.text or escape
        drawing.element(
            "svg",
            drawing.element("title", escape(label)) + "".join(drawn),
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {WIDTH:g} {height:g}",
            role="img",
            aria_label=label,
            font_family="Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif",
        )
    )


def _bar(x: float, y: float, per_hour: float, came: int, not_so: int, fill: str) -> list[str]:
    """Both parts end to end, and their numbers after them."""
    first, second = came * per_hour, not_so * per_hour
    drawn = []
    if came:
        drawn.append(drawing.boxes([(x, y, first, _TALL)], fill=INK, stroke=INK))
    if not_so:
        drawn.append(drawing.boxes([(x + first, y, second, _TALL)], fill=fill, stroke=INK))
    said = f"{came} + {not_so}" if came or not_so else "none"
    drawn.append(drawing.text(x + first + second + 5, y + 11, said, size=10.0))
    return drawn


def _key(x: float, looks: tuple[tuple[str, str], ...]) -> list[str]:
    drawn = []
    for said, fill in looks:
        drawn.append(drawing.boxes([(x, 22.0, 14.0, 9.0)], fill=fill, stroke=INK))
        drawn.append(drawing.text(x + 18, 30.5, said, size=10.0))
        x += 34.0 + 5.6 * len(said)
    return drawn


def _spoken(rows: list[Row]) -> str:
    """The same for a reader who does not see it."""
    return "; ".join(
        f"{row.lead.says}: {row.table.hits} seen, {row.table.misses} missed, "
        f"{row.table.false_alarms} stayed dry"
        for row in rows
    )
