"""Workbooks (.xlsx): the cells of one sheet as texts, formulas by the value they were saved with.

A workbook is a zip of XML, so it is looked over like one before the library opens it.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

from openpyxl import load_workbook

from monitor.domain import UnableError
from monitor.imports.archive import looked_over, refused
from monitor.imports.cells import MOST_BYTES, MOST_ROWS, Cells
from monitor.imports.plain_xml import look_over

if TYPE_CHECKING:
    from collections.abc import Iterator

    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

_MOST_PART = 100_000_000
_MOST_TOGETHER = 200_000_000
MOST_COLUMNS = 200
_PARTS = re.compile(r".*\.(xml|rels|vml)", re.IGNORECASE)
_FAULTS = ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!")


def read_workbook(file: Path) -> tuple[Cells, ...]:
    """Every sheet that has anything in it and is not hidden."""
    data = _looked_over(file)
    with warnings.catch_warnings():
        # The library warns of what it leaves out: pictures, drop-down lists. None of it counts.
        warnings.simplefilter("ignore")
        try:
            values, formulas = _open(data, data_only=True), _open(data, data_only=False)
            found = [
                _cells(values, formulas, sheet.title)
                for sheet in values.worksheets
                if sheet.sheet_state == "visible"
            ]
        except _TooLarge as fault:
            raise refused(
                "too-large",
                f"{file.name} is larger than a list of fixtures can be: {fault}.",
                "Copy the list into a workbook of its own.",
                file.name,
            ) from None
        except Exception as fault:  # noqa: BLE001 - the library raises whatever it stumbles over
            raise refused(
                "broken-workbook",
                f"{file.name} cannot be read as a workbook ({type(fault).__name__}).",
                "Open it in a spreadsheet and save it again as .xlsx, or as CSV.",
                file.name,
            ) from None
    return tuple(cells for cells in found if cells.rows)


class _TooLarge(Exception):  # noqa: N818 - it leaves this module as a BadInputError
    """More rows or columns than anybody has fixtures."""


def _looked_over(file: Path) -> bytes:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise refused(
                "too-large",
                f"{file.name} is larger than a list of fixtures can be.",
                "Copy the list into a workbook of its own.",
                file.name,
            )
        data = file.read_bytes()
    except FileNotFoundError:
        raise refused(
            "missing-file", "There is no such file.", "Look at its name.", file.name
        ) from None
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(f"{file} cannot be read: {why}.", "See that it may be read.") from None
    together = 0
    with looked_over(io.BytesIO(data), file.name) as archive:
        if "[Content_Types].xml" not in archive.names:
            raise refused(
                "broken-workbook",
                f"{file.name} is no workbook of the kind .xlsx.",
                "Save it again as .xlsx, or as CSV.",
                file.name,
            )
        for entry in archive.names:
            if _PARTS.fullmatch(entry):
                part = archive.read(entry, _MOST_PART)
                together += len(part)
                if together > _MOST_TOGETHER:
                    raise refused(
                        "zip-bomb",
                        f"{file.name} is not opened: it unpacks to more than any list has.",
                        "Copy the list into a workbook of its own.",
                        file.name,
                    )
                look_over(part, entry, file.name)
    return data


def _open(data: bytes, *, data_only: bool) -> Workbook:
    return load_workbook(io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False)


def _cells(values: Workbook, formulas: Workbook, title: str) -> Cells:
    rows: list[tuple[int, tuple[str, ...]]] = []
    valueless: dict[tuple[int, int], str] = {}
    both = zip(_rows(values[title]), _rows(formulas[title]), strict=True)
    before: tuple[Any, ...] | None = None
    for number, (value_row, formula_row) in enumerate(both, 1):
        if value_row is before:
            continue  # a gap: the library gives the same empty row again and again
        before = value_row
        texts = []
        for column, (cell, written) in enumerate(zip(value_row, formula_row, strict=True)):
            text = _text(cell.value)
            if text in _FAULTS:
                valueless[number, column] = f"it shows {text}"
                text = ""
            elif cell.value is None and written.data_type == "f" and cell.data_type != "str":
                # A formula that came to an empty text was saved with that; this one with nothing.
                valueless[number, column] = "it holds a formula that was saved without its value"
            texts.append(text)
        if any(texts) or any((number, c) in valueless for c in range(len(texts))):
            if number > MOST_ROWS:
                raise _TooLarge(f"sheet {title} has more than {MOST_ROWS:,} rows")
            if len(texts) > MOST_COLUMNS and texts[MOST_COLUMNS]:
                raise _TooLarge(f"sheet {title} has more than {MOST_COLUMNS} columns")
            rows.append((number, tuple(texts)))
    return Cells(title, tuple(rows), valueless)


def _rows(sheet: Worksheet) -> Iterator[tuple[Any, ...]]:
    """Its rows, one column past the limit, whatever the sheet says of its own size."""
    sheet.reset_dimensions()  # type: ignore[attr-defined]  # a sheet opened for reading has it
    yield from sheet.iter_rows(max_col=MOST_COLUMNS + 1)


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # 15 digits are what a spreadsheet shows; more are the traces of binary.
        return f"{value:.15g}"
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    return str(value).strip()
