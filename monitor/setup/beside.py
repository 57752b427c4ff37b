"""Which field of the form a problem belongs to; what belongs to none of them stands on top."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from monitor.domain import Problem

ROOF_FIELDS: Mapping[str, str] = MappingProxyType(
    {
        "facing_deg": "roof_facing",
        "width_m": "roof_width",
        "depth_m": "roof_depth",
        "edge_height_m": "roof_edge",
    }
)
"""Key of a roof in the file -> the field that it is typed in"""
PLACE_FIELDS: Mapping[str, str] = MappingProxyType(
    {
        "name": "name",
        "height_m": "height",
        "roof": "over",
        "in_from_front_m": "in_front",
        "in_from_right_m": "in_side",
        "access": "reached",
        "access_limit_mps": "gust_limit",
        "people_needed": "people",
        "setup_minutes": "setup_minutes",
        "cover_minutes_each": "cover_minutes",
        "bring_in_minutes_each": "bring_in_minutes",
        "tickets": "tickets",
        "isolate_at": "isolate_at",
        "washdown": "washdown",
        "washdown_times": "washdown_times",
        "may_flood_m": "puddle",
        "spray.height_m": "spray_height",
        "spray.distance_m": "spray_distance",
        "spray.bearing_deg": "spray_towards",
        "spray.lost_litres_per_minute": "spray_litres",
        "spray.on": "spray_times",
    }
)
"""Key of a position in the file -> the field that it is typed in"""
ON_TOP = ""

Items = Mapping[str, Mapping[str, str]]
"""An item as problems name it, `positions[3]` -> key below it -> field"""


def by_field(problems: Sequence[Problem], items: Items) -> dict[str, list[Problem]]:
    """Problems by the field they stand beside; what concerns any other item of the show, or
    nothing that can be typed here, under `ON_TOP`.
    """
    found: dict[str, list[Problem]] = {}
    for problem in problems:
        found.setdefault(_field(problem, items), []).append(problem)
    return found


def _field(problem: Problem, items: Items) -> str:
    key = problem.key or ""
    if problem.code == "form":
        return key
    for item, fields in items.items():
        if key.startswith(f"{item}."):
            # `washdown_times[2]` is the second that was typed in one field.
            return fields.get(key.removeprefix(f"{item}.").partition("[")[0], ON_TOP)
    return ON_TOP
