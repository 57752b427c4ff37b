"""One position: what hangs there, the worst of it, and what the log says of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from monitor.domain import LogEntry, Position
from monitor.planning.workable import gust_at_position
from monitor.report.findings import Line
from monitor.report.material import Material
from monitor.units import to_moment


@dataclass(frozen=True, slots=True)
class Place:
    """A position with at least one fixture."""

    position: Position
    lines: tuple[Line, ...]
    """Every exposure that was there for some of the time, worst first"""
    entries: tuple[LogEntry, ...]
    gust_mps: float
    """Strongest gust at its height, NaN not known"""
    gust_at: datetime | None

    @property
    def worst(self) -> Line:
        """The exposure its picture shows."""
        return self.lines[0]

    @property
    def count(self) -> int:
        """Fixtures there, those that were moved to it or away from it included."""
        return sum(line.count for line in self.lines)

    def bands(self) -> dict[str, int]:
        """Fixtures by how far they are through their allowance."""
        found: dict[str, int] = {}
        for line in self.lines:
            found[line.band] = found.get(line.band, 0) + line.count
        return found


def places(material: Material, lines: Sequence[Line]) -> tuple[Place, ...]:
    """The positions in the order of their worst exposure; `lines` come worst first."""
    at: dict[str, list[Line]] = {}
    homes: dict[str, set[str]] = {}
    for line in lines:
        for name in line.positions:
            at.setdefault(name, []).append(line)
            homes.setdefault(name, set()).update(f.id for f in line.fixtures)
    show = material.show
    found = []
    for name, there in at.items():
        position = show.positions[name]
        gust = gust_at_position(material.exposure.steps, position, show.site)[0]
        known = np.isfinite(gust).any()
        peak = int(np.nanargmax(gust)) if known else 0
        starts = material.exposure.steps.weather.starts
        found.append(
            Place(
                position,
                tuple(there),
                tuple(
                    e
                    for e in sorted(material.log, key=lambda e: e.at)
                    if name in (e.position, e.to) or e.fixture in homes[name]
                ),
                float(gust[peak]) if known else float("nan"),
                to_moment(float(starts[peak])) if known else None,
            )
        )
    return tuple(found)
