"""A sheet as texts, whatever kind of file it stood in."""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_BYTES = 50_000_000
MOST_ROWS = 20_000
"""More is no list of fixtures."""


@dataclass(frozen=True, slots=True)
class Cells:
    """A sheet: its rows with their numbers, and by place what is there and has no value."""

    name: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    valueless: dict[tuple[int, int], str] = field(default_factory=dict)
    """(row, column from 0) -> why there is no value"""

    def place(self, row: int, column: int) -> str:
        """What a person calls that cell: `Fixtures!C7`."""
        letters = ""
        rest = column + 1
        while rest:
            rest, digit = divmod(rest - 1, 26)
            letters = chr(ord("A") + digit) + letters
        return f"{self.name}!{letters}{row}"
