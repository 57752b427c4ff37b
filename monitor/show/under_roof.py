"""Whether a place fits under its roof: inside it in plan, and below its edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.domain import Roof

Misfit = tuple[str, str, str, str]
"""Key, code, what is wrong, remedy."""


def misfits(
    roof: Roof, height_m: float | None, from_front_m: float | None, from_right_m: float | None
) -> Iterator[Misfit]:
    """What of the three does not fit; what is None is not looked at.

    The edges themselves count as inside: a lamp may hang right at the lip.
    """
    if height_m is not None and height_m >= roof.edge_height_m:
        yield (
            "height_m",
            "above-roof-edge",
            f"at {height_m:g} m, not below the {roof.edge_height_m:g} m edge of roof {roof.id}",
            f"Give a height_m below {roof.edge_height_m:g}, or mend edge_height_m of the roof.",
        )
    sides = (
        ("front", from_front_m, roof.depth_m, "depth_m"),
        ("right", from_right_m, roof.width_m, "width_m"),
    )
    for side, inset, extent, key in sides:
        if inset is not None and not 0 <= inset <= extent:
            yield (
                f"in_from_{side}_m",
                "outside-roof",
                f"{inset:g} m in from the {side} of roof {roof.id}, and its {key} is {extent:g}",
                f"Give in_from_{side}_m from 0 to {extent:g}, or mend {key} of the roof.",
            )
