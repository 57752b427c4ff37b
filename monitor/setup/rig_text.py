"""The text of fixtures.csv with rows put in, changed or taken out; what is not named stays.

Columns, their order and their headings stay as the file has them, columns that count for
nothing too. Written back as UTF-8 with the file's own separator.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from monitor.show.plain_text import plain_text

FIXTURES_FILE = "fixtures.csv"
_FIRST = ("id", "code", "position")
Cells = Mapping[str, str]
"""Column -> text"""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table of text as it stands."""

    columns: tuple[str, ...]
    """As the reader knows them: `IP code` is ip_code"""
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    separator: str = ","
    line_end: str = "\n"

    def at(self, row: Sequence[str], column: str) -> str:
        """A cell of a row; empty where there is none."""
        if column not in self.columns:
            return ""
        place = self.columns.index(column)
        return row[place].strip() if place < len(row) else ""

    def written(self) -> bytes:
        """The file."""
        out = io.StringIO(newline="")
        writer = csv.writer(out, delimiter=self.separator, lineterminator=self.line_end)
        writer.writerow(self.headings)
        writer.writerows(self.rows)
        return out.getvalue().encode("utf-8")


def sheet_of(data: bytes) -> Sheet:
    """A CSV file as it stands; an empty one has the columns that every row must have."""
    text, _ = plain_text(data, FIXTURES_FILE)
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = ";" if first.count(";") > first.count(",") else ","
    lines = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator) if row]
    lines = [row for row in lines if any(cell.strip() for cell in row)]
    if not lines:
        return Sheet(_FIRST, _FIRST, ())
    headings = tuple(lines[0])
    columns = tuple(re.sub(r"[^a-z0-9]+", "_", h.strip().lower()).strip("_") for h in headings)
    end = "\r\n" if "\r\n" in text else "\n"
    return Sheet(columns, headings, tuple(tuple(row) for row in lines[1:]), separator, end)


def with_rows(sheet: Sheet, rows: Sequence[Cells]) -> Sheet:
    """Rows put in by their id: a known id has the cells that are given changed, a new one is
    added at the end of its position's rows. Columns that are wanted and not there are added.
    """
    wanted = {column for cells in rows for column, text in cells.items() if text}
    wide = _with_columns(sheet, [c for c in _in_order(rows) if c in wanted])
    found = [list(row) for row in wide.rows]
    by_id = {wide.at(row, "id"): n for n, row in enumerate(found)}
    for cells in rows:
        name = cells["id"]
        if name in by_id:
            found[by_id[name]] = _changed(wide, found[by_id[name]], cells)
            continue
        made = _changed(wide, [""] * len(wide.columns), cells)
        after = _last_of(wide, found, cells.get("position", ""))
        found.insert(after, made)
        by_id = {wide.at(row, "id"): n for n, row in enumerate(found)}
    return Sheet(
        wide.columns, wide.headings, tuple(tuple(r) for r in found), wide.separator, wide.line_end
    )


def with_columns_at(sheet: Sheet, position: str, cells: Cells) -> Sheet:
    """Every row of a position with these cells."""
    names = [sheet.at(row, "id") for row in sheet.rows if sheet.at(row, "position") == position]
    return with_rows(sheet, [{"id": name, **cells} for name in names]) if names else sheet


def without(sheet: Sheet, names: Collection[str]) -> Sheet:
    """The rows without those of some ids; what they fed is fed by nothing."""
    kept = []
    for row in sheet.rows:
        if sheet.at(row, "id") in names:
            continue
        if sheet.at(row, "fed_by") in names:
            row = tuple(_changed(sheet, list(row), {"fed_by": ""}))  # noqa: PLW2901
        kept.append(row)
    return Sheet(sheet.columns, sheet.headings, tuple(kept), sheet.separator, sheet.line_end)


def _in_order(rows: Sequence[Cells]) -> list[str]:
    return list(dict.fromkeys(column for cells in rows for column in cells))


def _with_columns(sheet: Sheet, wanted: Sequence[str]) -> Sheet:
    more = tuple(column for column in wanted if column not in sheet.columns)
    if not more:
        return sheet
    width = len(sheet.columns)
    rows = tuple((*row, *[""] * (width - len(row)), *[""] * len(more)) for row in sheet.rows)
    return Sheet(
        (*sheet.columns, *more), (*sheet.headings, *more), rows, sheet.separator, sheet.line_end
    )


def _changed(sheet: Sheet, row: list[str], cells: Cells) -> list[str]:
    row = [*row, *[""] * (len(sheet.columns) - len(row))]
    for column, text in cells.items():
        if column in sheet.columns:
            row[sheet.columns.index(column)] = text
    return row


def _last_of(sheet: Sheet, rows: Sequence[Sequence[str]], position: str) -> int:
    mine = [n for n, row in enumerate(rows) if sheet.at(row, "position") == position]
    return mine[-1] + 1 if mine else len(rows)
