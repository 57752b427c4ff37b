"""A table of the show folder: columns matched to known ones, cells read one by one.

Every fault is gathered with its row and column; nothing is raised after the headings fit.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from monitor.codes import CodeError, read_code
from monitor.domain import BadInputError, Problem
from monitor.feeds.row_faults import Faults
from monitor.feeds.table import Table, read_table
from monitor.show.nearest import meant, other_unit
from monitor.show.plain_text import plain_text
from monitor.show.values import NUMBER, Between, OneOf, hyphenated

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from monitor.domain import Code

_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_YES = frozenset({"yes", "y", "true", "1", "x"})
_NO = frozenset({"no", "n", "false", "0"})
_SHOWN_LENGTH = 40
_LINES_NAMED = 6


class CsvFile:
    """One table, the faults found in it and the notes to tell.

    Parameters
    ----------
    columns : every known column; the `required` ones must be there
    other_names : what a column is often called elsewhere; never guessed, but not ignored
    """

    def __init__(
        self,
        data: bytes,
        name: str,
        columns: Sequence[str],
        required: Sequence[str],
        other_names: Mapping[str, str] | None = None,
    ) -> None:
        self.name = name
        self.faults = Faults(name)
        self._notes: list[Problem] = []
        self._codes: dict[str, Code | CodeError] = {}
        self._repaired: dict[tuple[str, str], list[int]] = {}
        self._with_commas = 0
        self._table: Table | None = None
        self._places: dict[str, int] = {}
        try:
            text, notes = plain_text(data, name)
            self._notes.extend(notes)
            self._table = read_table(text.encode("utf-8"), name)
        except BadInputError as fault:
            self._broken: tuple[Problem, ...] = fault.problems
            return
        self._broken = ()
        self._notes.extend(
            Problem("delimiter", f"{told}.", "Nothing need be done.", file=name, refused=False)
            for told in self._table.told
        )
        self._match(self._table, columns, required, other_names or {})

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is refused, in the order of the rows."""
        return (*self._broken, *self.faults.problems())

    @property
    def notes(self) -> tuple[Problem, ...]:
        """What is told: how the file was read, what was ignored, codes repaired."""
        notes = list(self._notes)
        if self._with_commas:
            notes.append(
                Problem(
                    "decimal-comma",
                    f"{self.name}: decimal commas are read as points, "
                    f"in {self._with_commas} cells.",
                    "Nothing need be done.",
                    file=self.name,
                    refused=False,
                )
            )
        for (column, label), lines in self._repaired.items():
            found = self._codes[label]
            if not isinstance(found, CodeError):
                notes.append(
                    Problem(
                        "code-repaired",
                        f'{_rows(lines)}: {column} "{label}" is read as {found.canonical}: '
                        f"{'; '.join(found.repairs)}.",
                        "Mend the label in the file if that is not what is meant.",
                        file=self.name,
                        line=lines[0],
                        key=column,
                        refused=False,
                    )
                )
        return tuple(notes)

    def tell(self, code: str, line: int, column: str, says: str, remedy: str) -> None:
        """Something to know about a row, and no more."""
        self._notes.append(
            Problem(code, says, remedy, file=self.name, line=line, key=column, refused=False)
        )

    def has_column(self, column: str) -> bool:
        """Whether a heading names it."""
        return column in self._places

    def rows(self) -> Iterator[Row]:
        """The rows that have as many cells as there are headings, no more and no fewer."""
        if self._table is None:
            return
        width = len(self._table.headings)
        for line, cells in self._table.rows:
            if len(cells) != width:
                self.faults.add(
                    "ragged-row",
                    line,
                    None,
                    f"Row {line} has {len(cells)} cells and there are {width} headings.",
                    "Give every row as many cells as headings; a comma inside a cell asks for "
                    'quotes around it, a number for a point ("7.5").',
                )
                continue
            yield Row(self, line, {c: cells[i] for c, i in self._places.items() if cells[i]})

    def code(self, column: str, label: str, line: int) -> Code | None:
        """The code on a label; a label is read once, however many rows carry it."""
        if label not in self._codes:
            try:
                self._codes[label] = read_code(label)
            except CodeError as fault:
                self._codes[label] = fault
        found = self._codes[label]
        if isinstance(found, CodeError):
            self.faults.add(
                "code-unreadable", line, column, f"Row {line}, {column}: {found.says}", found.remedy
            )
            return None
        if found.repairs:
            self._repaired.setdefault((column, label), []).append(line)
        return found

    def number(self, text: str) -> float | None:
        """A number with a point, or in a table with semicolons with a comma."""
        if self._table is not None and self._table.semicolons and _COMMA_NUMBER.fullmatch(text):
            self._with_commas += 1
            text = text.replace(",", ".")
        return float(text) if NUMBER.fullmatch(text) else None

    def _match(
        self,
        table: Table,
        columns: Sequence[str],
        required: Sequence[str],
        other_names: Mapping[str, str],
    ) -> None:
        plain = [re.sub(r"[^a-z0-9]+", "_", h).strip("_") for h in table.headings]
        ignored: list[str] = []
        misspelt: set[str] = set()
        for index, (heading, column) in enumerate(zip(table.headings, plain, strict=True)):
            if column in columns and column not in self._places:
                self._places[column] = index
                continue
            if column in columns:
                self._column(table, column, "repeated-column", "stands twice", "Keep one of them.")
                continue
            near = other_names.get(column) or meant(column, columns, same_initial=True)
            # Beside the column itself, one that looks like it is something else.
            if near is not None and near not in plain:
                misspelt.add(near)
                unit = " The unit stands in the name." if other_unit(column, near) else ""
                remedy = f"Perhaps {near} is meant.{unit}"
                self._column(table, heading, "unknown-column", "is not known", remedy)
            elif heading:
                ignored.append(heading)
        for column in required:
            if column not in self._places and column not in misspelt:
                remedy = f"Needed are: {', '.join(required)}."
                self._column(table, column, "missing-column", "is missing", remedy)
        if ignored:
            plural = "columns are" if len(ignored) > 1 else "column is"
            self._notes.append(
                Problem(
                    "column-ignored",
                    f"{self.name}: the {plural} not used: {', '.join(ignored)}.",
                    f"Used are: {', '.join(columns)}.",
                    file=self.name,
                    line=table.heading_line,
                    refused=False,
                )
            )

    def _column(self, table: Table, column: str, code: str, what: str, remedy: str) -> None:
        says = f"The column {column} {what}."
        self.faults.add(code, table.heading_line, column, says, remedy)


class Row:
    """One row: each reader gives the value, or None where the cell is empty or refused."""

    def __init__(self, file: CsvFile, line: int, cells: dict[str, str]) -> None:
        self._file = file
        self._cells = cells
        self.line = line

    def has(self, column: str) -> bool:
        """Whether the cell holds anything."""
        return column in self._cells

    def lacks(self, column: str) -> bool:
        """Whether the cell is empty; a column that is not there was told of already."""
        return column not in self._cells and self._file.has_column(column)

    def refuse(self, code: str, column: str, says: str, remedy: str) -> None:
        """A fault of this row; `says` goes on from "Row 7, ..."."""
        self._file.faults.add(code, self.line, column, f"Row {self.line}, {says}", remedy)

    def tell(self, code: str, column: str, says: str, remedy: str) -> None:
        """Something to know about this row."""
        self._file.tell(code, self.line, column, f"Row {self.line}, {says}", remedy)

    def text(self, column: str) -> str | None:
        """A text on one line."""
        found = " ".join(self._cells.get(column, "").split())
        if len(found) > 200 or not found.isprintable():
            self.refuse(
                "bad-text", column, f"{column} is not one line of text.", "At most 200 letters."
            )
            return None
        return found or None

    def needed(self, column: str) -> str | None:
        """A text that every row must have."""
        if self.lacks(column):
            self.refuse("missing-value", column, f"{column} is empty.", f"Give {column}.")
        return self.text(column)

    def number(self, column: str, allowed: Between, unit: str = "") -> float | None:
        """A number within its limits."""
        if not self.has(column):
            return None
        text = self._cells[column]
        found = self._file.number(text)
        shown = f'"{text[:_SHOWN_LENGTH]}"'
        if found is None:
            remedy = f"Write the number alone, with a point{unit and f', in {unit}'}."
            self.refuse("bad-number", column, f"{column} is {shown}, not a number.", remedy)
            return None
        if allowed.whole and found != found // 1:
            self.refuse(
                "bad-number", column, f"{column} is {shown}, not a whole number.", "Write a count."
            )
            return None
        low = found <= allowed.low if allowed.above else found < allowed.low
        if low or found > allowed.high:
            remedy = f"It must be {allowed.words}{unit and f' {unit}'}."
            self.refuse("out-of-range", column, f"{column} is {shown}.", remedy)
            return None
        return found

    def one_of(self, column: str, allowed: OneOf) -> str | None:
        """One of some words."""
        if not self.has(column):
            return None
        word = hyphenated(self._cells[column])
        if word in allowed.names:
            return word
        near = meant(word, allowed.names)
        self.refuse(
            "unknown-choice",
            column,
            f'{column} is "{self._cells[column][:_SHOWN_LENGTH]}".',
            f"Perhaps {near} is meant." if near else f"Known are: {', '.join(allowed.names)}.",
        )
        return None

    def yes(self, column: str) -> bool:
        """Yes or no; empty is no."""
        word = self._cells.get(column, "no").lower()
        if word not in _YES | _NO:
            self.refuse(
                "unknown-choice",
                column,
                f'{column} is "{word[:_SHOWN_LENGTH]}".',
                "Write yes or no.",
            )
        return word in _YES

    def code(self, column: str) -> Code | None:
        """An ingress-protection code."""
        if not self.has(column):
            return None
        return self._file.code(column, self._cells[column], self.line)


def _rows(lines: list[int]) -> str:
    named = ", ".join(str(line) for line in lines[:_LINES_NAMED])
    more = f" and {len(lines) - _LINES_NAMED} more" if len(lines) > _LINES_NAMED else ""
    return f"Row {named}" if len(lines) == 1 else f"Rows {named}{more}"
