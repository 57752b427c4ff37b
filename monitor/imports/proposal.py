"""What would be written into a show folder, what stands there already, what is left out and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.domain import Problem
from monitor.imports.drawn import Ask, Drawn


@dataclass(frozen=True, slots=True)
class NewPosition:
    """A position for show.toml, with only the keys that are known."""

    id: str
    name: str
    values: Mapping[str, str | float]


@dataclass(frozen=True, slots=True)
class NewRow:
    """A row for fixtures.csv; `says` is its way up in words."""

    id: str
    drawn: Drawn
    cells: Mapping[str, str]
    says: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """All of an import; nothing of it is written yet."""

    source: str
    positions: tuple[NewPosition, ...]
    rows: tuple[NewRow, ...]
    there: tuple[str, ...]
    """Of the same name already, left as they are; each with what differs"""
    left_out: tuple[tuple[NewRow, str], ...]
    """As far as they are known, each with what it waits for"""
    asks: tuple[Ask, ...]
    notes: tuple[Problem, ...]
    files: Mapping[str, bytes]
    """The show's files as they would be, those that change, in the order to write them"""

    @property
    def needed(self) -> tuple[Ask, ...]:
        """What has to be answered before all is in."""
        return tuple(ask for ask in self.asks if ask.needed)
