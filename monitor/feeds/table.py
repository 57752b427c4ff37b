"""A CSV file as people really save it: headed rows with their line numbers.

Read, and told: UTF-8 with or without its mark, Windows-1252, commas or semicolons.
Refused: what cannot be a table of text, an empty file, a heading twice.
"""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import dataclass

from monitor.domain import BadInputError, Problem

_SAVE_AS = "Save it as CSV UTF-8 with commas or semicolons between the cells."


@dataclass(frozen=True, slots=True)
class Table:
    """Headings in lower case, rows with the line each ends on, and how it was read."""

    headings: tuple[str, ...]
    heading_line: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    semicolons: bool
    told: tuple[str, ...]


def read_table(data: bytes, name: str) -> Table:
    """The rows of a CSV file; rows without any text are passed over."""
    told: list[str] = []
    text = _text(data, name, told)
    first = next((line for line in text.splitlines() if line.strip()), None)
    if first is None:
        raise _refused("empty-file", f"{name} is empty.", "Give a file with a heading row.", name)
    semicolons = first.count(";") > first.count(",")
    if "\t" in first and not semicolons and "," not in first:
        raise _refused("delimiter", f"{name} has tabs between its cells.", _SAVE_AS, name)
    if semicolons:
        told.append(f"{name}: read with semicolons between the cells")

    # newline="" leaves line ends inside quotes to the csv module, as its manual asks.
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=";" if semicolons else ",", strict=True
    )
    rows: list[tuple[int, tuple[str, ...]]] = []
    headings: tuple[str, ...] | None = None
    heading_line = 0
    try:
        for cells in reader:
            stripped = tuple(cell.strip() for cell in cells)
            if not any(stripped):
                continue
            if headings is None:
                headings = tuple(cell.lower() for cell in stripped)
                heading_line = reader.line_num
            else:
                rows.append((reader.line_num, stripped))
    except csv.Error as fault:
        raise _refused(
            "broken-row",
            f"Line {reader.line_num} of {name} cannot be read as CSV: {fault}.",
            "Look for a quotation mark that is not closed.",
            name,
            reader.line_num,
        ) from None
    if headings is None:
        raise _refused("empty-file", f"{name} is empty.", "Give a file with a heading row.", name)
    twice = sorted({h for h in headings if h and headings.count(h) > 1})
    if twice:
        raise _refused(
            "repeated-column",
            f"The heading {', '.join(twice)} stands more than once.",
            "Keep one of them.",
            name,
            heading_line,
        )
    return Table(headings, heading_line, tuple(rows), semicolons, tuple(told))


def _text(data: bytes, name: str, told: list[str]) -> str:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or b"\0" in data:
        raise _refused("encoding", f"{name} is not saved as plain text.", _SAVE_AS, name)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise _refused(
            "encoding",
            f"Line {line} of {name} has a character that is neither UTF-8 nor Windows-1252.",
            _SAVE_AS,
            name,
            line,
        ) from None
    told.append(f"{name}: read as Windows-1252, since it is not UTF-8")
    return text


def _refused(
    code: str, says: str, remedy: str, name: str, line: int | None = None
) -> BadInputError:
    return BadInputError([Problem(code, says, remedy, file=name, line=line)])
