"""A position drawn in plan and in section, so that a wrong roof is seen.

North is up in the plan; the section is cut through the nearest open side. What is hatched in
the plan is where rain comes in from by any wind up to a gale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.domain import Roof, Side
from monitor.drawing import element
from monitor.page import ink
from monitor.page.words import JOIN, Words, later
from monitor.setup.openness import Openness, openness
from monitor.setup.said import point_of

if TYPE_CHECKING:
    from markupsafe import Markup

_WIDTH, _TALL = 344.0, 250.0
_REACH, _ROOM = 92.0, 78.0
_SECTION = 190.0
_SIDES: dict[Side, str] = {
    "front": later("front"),
    "right": later("right"),
    "back": later("back"),
    "left": later("left"),
}
_POINTS = {
    "NNE": later("NNE"),
    "NE": later("NE"),
    "ENE": later("ENE"),
    "E": later("E"),
    "ESE": later("ESE"),
    "SE": later("SE"),
    "SSE": later("SSE"),
}
"""Points of the compass that another language may write in other letters"""
_TURNS: dict[Side, float] = {"front": 0.0, "right": 90.0, "back": 180.0, "left": 270.0}


@dataclass(frozen=True, slots=True)
class Spot:
    """What is drawn: a place, under a roof or none."""

    height_m: float
    roof: Roof | None = None
    in_front_m: float = 0.0
    in_right_m: float = 0.0

    @property
    def open_to(self) -> Openness | None:
        """From where rain comes in; None under open sky."""
        if self.roof is None:
            return None
        return openness(self.roof, self.height_m, self.in_front_m, self.in_right_m)

    @property
    def is_drawn(self) -> bool:
        """Whether the place fits under its roof, or there is none."""
        roof = self.roof
        return roof is None or (
            self.height_m < roof.edge_height_m
            and 0.0 <= self.in_front_m <= roof.depth_m
            and 0.0 <= self.in_right_m <= roof.width_m
        )


def sentences(spot: Spot, words: Words) -> list[str]:
    """What the drawing shows, said."""
    open_to = spot.open_to
    if open_to is None:
        return [words.say("Open sky: rain comes from every side.")]
    if open_to.side is None or open_to.least_slant_deg is None or open_to.least_wind_mps is None:
        return [words.say("Closed all round: no rain gets in. Damp air does.")]
    slant, wind = f"{open_to.least_slant_deg:.0f}", f"{open_to.least_wind_mps:.1f}"
    gets_in = words.say(
        "It gets in once it slants more than {slant}° off vertical: a drop of 2 mm does in a "
        "wind of {wind} m/s.",
        slant=slant,
        wind=words.number(wind),
    )
    if not open_to.sectors:
        none = words.say("No rain gets in by any wind up to a gale. Damp air and haze do.")
        return [none, gets_in]
    if open_to.sectors == ((0.0, 360.0),):
        return [words.say("Rain can come in from every side."), gets_in]
    spans = [
        words.say(
            "{begin}° ({begin_point}) to {end}° ({end_point})",
            begin=f"{a:.0f}",
            begin_point=_point(a, words),
            end=f"{b:.0f}",
            end_point=_point(b, words),
        )
        for a, b in open_to.sectors
    ]
    return [words.say("Rain can come in from {spans}.", spans=", ".join(spans)), gets_in]


def _point(azimuth: float, words: Words) -> str:
    point = point_of(azimuth)
    return words.say(_POINTS.get(point, point))


# ---------------------------------------------------------------- plan


def plan(spot: Spot, words: Words, label: str) -> Markup:
    """Seen from above, north up."""
    x, y = _WIDTH / 2.0, _TALL / 2.0
    drawn = [ink.hatch("plan"), _north(words)]
    open_to = spot.open_to
    sectors = ((0.0, 360.0),) if open_to is None else open_to.sectors
    drawn += [_wedge(x, y, a, b) for a, b in sectors]
    if spot.roof is not None:
        drawn.append(_roof_from_above(spot, spot.roof, x, y, words))
    drawn += [_degrees(x, y, edge) for edge in _edges(sectors)]
    drawn.append(_lamp(x, y))
    return ink.picture(_WIDTH, _TALL, label, "".join(drawn), "place-plan")


def _wedge(x: float, y: float, begin: float, end: float) -> str:
    span = (end - begin) % 360.0
    if span == 0.0:
        d = f"M{ink.number(x)} {ink.number(y - _REACH)}a{_REACH:g} {_REACH:g} 0 1 1 -0.1 0z"
        return element("path", d=d, fill="url(#plan)", class_="hatched")
    (ax, ay), (bx, by) = _toward(x, y, begin, _REACH), _toward(x, y, end, _REACH)
    d = (
        f"M{ink.number(x)} {ink.number(y)}L{ink.number(ax)} {ink.number(ay)}"
        f"A{_REACH:g} {_REACH:g} 0 {int(span > 180.0)} 1 {ink.number(bx)} {ink.number(by)}z"
    )
    return element("path", d=d, fill="url(#plan)", class_="hatched")


def _edges(sectors: tuple[tuple[float, float], ...]) -> list[float]:
    return [edge for pair in sectors if pair != (0.0, 360.0) for edge in pair]


def _degrees(x: float, y: float, azimuth: float) -> str:
    tx, ty = _toward(x, y, azimuth, _REACH + 16.0)
    return ink.text(tx, ty + 4.0, f"{azimuth:.0f}°", "strong", anchor="middle")


def _roof_from_above(spot: Spot, roof: Roof, x: float, y: float, words: Words) -> str:
    ahead, right = spot.in_front_m, spot.in_right_m
    back, left = roof.depth_m - ahead, roof.width_m - right
    scale = _ROOM / max(math.hypot(a, b) for a in (ahead, back) for b in (right, left))

    def at(forward_m: float, right_m: float) -> tuple[float, float]:
        one = _toward(x, y, roof.facing_deg, forward_m * scale)
        return _toward(*one, roof.facing_deg + 90.0, right_m * scale)

    corners = {
        "front": (at(ahead, -left), at(ahead, right)),
        "right": (at(ahead, right), at(-back, right)),
        "back": (at(-back, right), at(-back, -left)),
        "left": (at(-back, -left), at(ahead, -left)),
    }
    parts = []
    for side, ends in corners.items():
        parts.append(ink.line(ends, "wall" if side in roof.closed else "eave"))
    (ax, ay), (bx, by) = corners["front"]
    tx, ty = _toward((ax + bx) / 2.0, (ay + by) / 2.0, roof.facing_deg, 13.0)
    parts.append(ink.text(tx, ty + 4.0, words.say("front"), anchor="middle"))
    return "".join(parts)


def _toward(x: float, y: float, azimuth: float, distance: float) -> tuple[float, float]:
    turn = math.radians(azimuth)
    return x + distance * math.sin(turn), y - distance * math.cos(turn)


def _north(words: Words) -> str:
    arrow = ink.line([(18.0, 44.0), (18.0, 16.0)], "used")
    head = ink.shape("M18 8L12 20h12z", "bolt")
    return arrow + head + ink.text(18.0, 60.0, words.say("N"), "strong", anchor="middle")


def _lamp(x: float, y: float) -> str:
    cross = f"M{ink.number(x - 6)} {ink.number(y - 6)}l12 12m0 -12l-12 12"
    return ink.shape(cross, "lamp")


# ---------------------------------------------------------------- section


def section(spot: Spot, words: Words, label: str) -> Markup:
    """Seen from the side: the ground, the place, and the edge that the rain passes under."""
    foot = _SECTION - 24.0
    roof = spot.roof
    open_to = spot.open_to
    side: Side = "front" if open_to is None or open_to.side is None else open_to.side
    if roof is None:
        return _open_section(spot, foot, words, label)
    if open_to is not None and open_to.side is None:
        return _closed_section(foot, words, label)
    toward, behind = _through(spot, roof, side)
    tall = max(roof.edge_height_m, 1.0)
    scale = min(210.0 / max(toward + behind, 0.1), 130.0 / tall)
    edge_y = foot - roof.edge_height_m * scale
    lamp_y = foot - max(spot.height_m, 0.0) * scale
    lamp_x = _WIDTH / 2.0 - (toward - behind) / 2.0 * scale
    edge_x, rear_x = lamp_x + toward * scale, lamp_x - behind * scale
    opposite = _opposite(side)
    parts = [
        ink.stroke(6.0, foot, _WIDTH - 6.0, foot, "axis"),
        ink.stroke(rear_x, edge_y, edge_x, edge_y, "wall"),
        ink.stroke(rear_x, edge_y, rear_x, foot, "wall" if opposite in roof.closed else "eave"),
        ink.stroke(edge_x, edge_y, edge_x, foot, "grid"),
        ink.stroke(
            edge_x + (edge_x - lamp_x) * 0.5,
            edge_y - (lamp_y - edge_y) * 0.5,
            lamp_x,
            lamp_y,
            "limit",
        ),
        ink.stroke(lamp_x, lamp_y, lamp_x, edge_y, "grid"),
        ink.stroke(lamp_x, lamp_y, lamp_x, foot, "grid"),
        _lamp(lamp_x, lamp_y),
    ]
    rise = roof.edge_height_m - spot.height_m
    # Where the wall is near, figures stand outside it.
    beside = lamp_x - 8.0 if lamp_x - rear_x > 56.0 else rear_x - 6.0
    # Close under the roof the figure stands below its line, not on it.
    beneath = max((lamp_y + edge_y) / 2.0 + 4.0, edge_y + 15.0)
    parts += [
        ink.text(beside, beneath, _metres(rise, words), anchor="end"),
        ink.text(beside, (lamp_y + foot) / 2.0 + 4.0, _metres(spot.height_m, words), anchor="end"),
        ink.text(edge_x + 6.0, foot - 6.0, words.say(_SIDES[side])),
        ink.text(
            (lamp_x + edge_x) / 2.0,
            foot + 16.0,
            words.say("{length} in", length=_metres(toward, words)),
            "strong",
            anchor="middle",
        ),
    ]
    if open_to is not None and open_to.least_slant_deg is not None:
        parts.append(
            ink.text(edge_x + 8.0, edge_y + 14.0, f"{open_to.least_slant_deg:.0f}°", "strong")
        )
    return ink.picture(_WIDTH, _SECTION, label, "".join(parts), "place-section")


def _through(spot: Spot, roof: Roof, side: Side) -> tuple[float, float]:
    """Distances to the side that the section is cut through, and to the one behind."""
    along = {
        "front": (spot.in_front_m, roof.depth_m - spot.in_front_m),
        "back": (roof.depth_m - spot.in_front_m, spot.in_front_m),
        "right": (spot.in_right_m, roof.width_m - spot.in_right_m),
        "left": (roof.width_m - spot.in_right_m, spot.in_right_m),
    }
    return along[side]


def _opposite(side: Side) -> Side:
    turned = (_TURNS[side] + 180.0) % 360.0
    return next(other for other, turn in _TURNS.items() if turn == turned)


def _open_section(spot: Spot, foot: float, words: Words, label: str) -> Markup:
    x = _WIDTH / 2.0
    above = max(spot.height_m, 0.0)
    y = foot - (8.0 if above < 0.05 else min(120.0, max(14.0, above * 14.0)))
    drops = "".join(
        f"M{ink.number(x + off)} {10 + (n % 3) * 8}l-4 14"
        for n, off in enumerate(range(-120, 121, 24))
    )
    parts = [
        ink.shape(drops, "hatch"),
        ink.stroke(6.0, foot, _WIDTH - 6.0, foot, "axis"),
        ink.stroke(x, y, x, foot, "grid"),
        _lamp(x, y),
        ink.text(x + 12.0, (y + foot) / 2.0 - 4.0, _metres(spot.height_m, words)),
    ]
    return ink.picture(_WIDTH, _SECTION, label, "".join(parts), "place-section")


def _closed_section(foot: float, words: Words, label: str) -> Markup:
    x = _WIDTH / 2.0
    parts = [
        ink.stroke(6.0, foot, _WIDTH - 6.0, foot, "axis"),
        ink.line([(x - 70, foot), (x - 70, 40.0), (x + 70, 40.0), (x + 70, foot)], "wall"),
        _lamp(x, 100.0),
        ink.text(x, foot + 16.0, words.say("indoors"), anchor="middle"),
    ]
    return ink.picture(_WIDTH, _SECTION, label, "".join(parts), "place-section")


def _metres(value: float, words: Words) -> str:
    return f"{words.number(f'{value:.2f}'.rstrip('0').rstrip('.'))}{JOIN}m"
