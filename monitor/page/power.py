"""What the log says of power: isolated or energised, and since when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from monitor.domain import LogEntry
from monitor.planning.under_power import in_part

Last = tuple[datetime, bool]
"""When, and whether it was isolated then"""


@dataclass(frozen=True, slots=True)
class Power:
    """The last word on power at each position and fixture. Isolated in part is not isolated."""

    places: Mapping[str, Last]
    fixtures: Mapping[str, Last]

    @classmethod
    def of(cls, log: Iterable[LogEntry]) -> Power:
        """From the log, in any order."""
        places: dict[str, Last] = {}
        fixtures: dict[str, Last] = {}
        for entry in sorted(log, key=lambda entry: entry.at):
            isolated = entry.entry == "isolated" and not in_part(entry)
            if not isolated and entry.entry != "energised":
                continue
            if entry.fixture is not None:
                fixtures[entry.fixture] = entry.at, isolated
            elif entry.position is not None:
                places[entry.position] = entry.at, isolated
        return cls(places, fixtures)

    def of_fixture(self, fixture: str, position: str) -> tuple[datetime | None, datetime | None]:
        """Since when it is isolated, since when energised; both None: the log does not say."""
        told = [
            last
            for last in (self.places.get(position), self.fixtures.get(fixture))
            if last is not None
        ]
        if not told:
            return None, None
        at, isolated = max(told, key=lambda last: last[0])
        return (at, None) if isolated else (None, at)
