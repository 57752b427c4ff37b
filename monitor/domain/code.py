"""The code on the label."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Code:
    """An ingress-protection code as understood.

    `dust` is the lowest first digit of the label, None where not stated. `water` holds the
    digits that are credited after the rules for double labels: (6, 7) for IP66/IP67, (0,) for
    IP65/IP20, () for X. `label` is the text as typed, `canonical` the same in standard form.
    """

    label: str
    canonical: str
    dust: int | None
    water: tuple[int, ...]
    dust_k: bool = False
    water_k: bool = False
    letters: str = ""
    repairs: tuple[str, ...] = ()
    two_parts: bool = False

    @property
    def unstated(self) -> tuple[str, ...]:
        """Which digits the label leaves open: "dust", "water"."""
        names = []
        if self.dust is None:
            names.append("dust")
        if not self.water:
            names.append("water")
        return tuple(names)
