"""What is wrong with the input, and how it is told on the way out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input: where, what, and what would be right.

    `code` is a short hyphenated name that never changes (`unknown-position`); `line` counts
    from 1; `key` is the settings path or the column. `refused` False means told, not fatal.
    """

    code: str
    says: str
    remedy: str
    file: str | None = None
    line: int | None = None
    key: str | None = None
    refused: bool = True


class DryspellError(Exception):
    """Anything the program says to a person on its way out."""


class BadInputError(DryspellError):
    """The input is wrong; carries every problem found. Exit code 2."""

    def __init__(self, problems: tuple[Problem, ...] | list[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(p.says for p in self.problems))


class UnableError(DryspellError):
    """The machine would not let it (disk, port, lock, fault). Exit code 3."""

    def __init__(self, says: str, remedy: str) -> None:
        self.says = says
        self.remedy = remedy
        super().__init__(f"{says} {remedy}")
