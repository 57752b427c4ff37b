"""What is drawn of a filled form; None wherever too little is said, or it does not fit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.domain import Roof
from monitor.page.place_drawing import Spot, plan, section, sentences

if TYPE_CHECKING:
    from collections.abc import Mapping

    from markupsafe import Markup

    from monitor.page.words import Words
    from monitor.setup.form import Described

Drawings = tuple["Markup", "Markup", list[str]]
"""From above, from the side, and what they show, said"""


def spot_of(said: Described, roofs: Mapping[str, Roof]) -> Spot | None:
    """The place that a filled form says, under its roof or none."""
    values = said.position
    height = values.get("height_m")
    if height is None or any(problem.key in ("over", "height") for problem in said.problems):
        return None
    if values.get("roof") is None:
        return Spot(height)
    roof = roofs[values["roof"]] if said.roof is None else roof_of(*said.roof)
    in_front, in_right = values.get("in_from_front_m"), values.get("in_from_right_m")
    if roof is None or in_front is None or in_right is None:
        return None
    spot = Spot(height, roof, in_front, in_right)
    return spot if spot.is_drawn else None


def roof_of(name: str, values: Mapping[str, Any]) -> Roof | None:
    """A roof of what was said of it."""
    facing, *sizes = (
        values.get(key) for key in ("facing_deg", "width_m", "depth_m", "edge_height_m")
    )
    width, depth, edge = (float(size or 0.0) for size in sizes)
    if facing is None or min(width, depth, edge) <= 0.0:
        return None
    return Roof(name, float(facing), width, depth, edge, frozenset(values["closed"]))


def drawings(spot: Spot | None, words: Words) -> Drawings | None:
    """The plan, the section and their sentences."""
    if spot is None:
        return None
    return (
        plan(spot, words, words.say("Seen from above")),
        section(spot, words, words.say("Seen from the side")),
        sentences(spot, words),
    )
