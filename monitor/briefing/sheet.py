"""What a sheet is: one page of short sections, the same on paper and in a mail."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with lines under it, or with a table. It is never empty: nothing is said aloud."""

    key: str
    title: str
    lines: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    spoken: tuple[str, ...] = ()
    """The rows as sentences; empty: each cell after the head of its column"""

    def said(self) -> tuple[str, ...]:
        """Everything under the heading as plain lines, the table first."""
        return (*(self.spoken or map(self._row, self.rows)), *self.lines)

    def _row(self, row: tuple[str, ...]) -> str:
        first, *rest = row
        named = zip(self.heads[1:], rest, strict=True)
        return f"{first}: {', '.join(f'{head.lower()} {cell}' for head, cell in named if cell)}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page."""

    kind: Literal["handover", "daily"]
    title: str
    lead: tuple[str, ...]
    """Under the title: who and when, and the weather in a sentence"""
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    """In full, for the mail"""
    in_short: str
    """The same for the page, which has little room"""
    foot: str
    radio: str
    subject: str
    signs: tuple[str, ...] = ()
    """Boxes to tick, each with a name and a time"""
    picture: str = ""
    """SVG, safe to set as it is"""
    data: Mapping[str, Any] = field(default_factory=dict)

    def section(self, key: str) -> Section:
        """The section of a key; KeyError where there is none."""
        return {section.key: section for section in self.sections}[key]


def bounded(lines: Sequence[str], most: int, rest: str) -> tuple[str, ...]:
    """The first lines, and in one more how many are left off: `And 3 more in the log.`"""
    if len(lines) <= most:
        return tuple(lines)
    return (*lines[: most - 1], f"And {len(lines) - most + 1} more {rest}.")
