"""The record as tables for a spreadsheet: a file for each kind of row."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import get_origin

from monitor.report.record import Record
from monitor.report.record_events import (
    AlertChange,
    AlertScoreRow,
    ForecastRow,
    ForecastScoreRow,
    MessageRow,
    WeatherRow,
)
from monitor.report.record_parts import Part
from monitor.report.record_units import (
    CareRow,
    Carried,
    CoverSpan,
    PositionRow,
    Unit,
    UnitEntry,
)

Cell = str | float | int | datetime | tuple[str, ...] | None

_FORMULA = "=+-@＝＋－＠"
"""A spreadsheet takes a cell that begins so, full-width forms included, for a formula."""
_WHOSE = ("id", "serial", "owner")
"""What stands before a row that is of one unit."""


def neutral(text: str) -> str:
    """Text that no spreadsheet runs: an apostrophe before what would begin a formula."""
    if text.lstrip()[:1] in _FORMULA and text.strip():
        return f"'{text}"
    return f"'{text}" if text[:1] in "\t\r\n" and text else text


def tables(record: Record) -> dict[str, bytes]:
    """Every table by the name of its file."""
    scores = record.alert_scores
    return {
        "fixtures.csv": _table(Unit, record.units),
        "positions.csv": _table(PositionRow, record.positions),
        "covers.csv": _of_units(CoverSpan, [(u, u.covers) for u in record.units]),
        "unit-log.csv": _of_units(UnitEntry, [(u, u.log) for u in record.units]),
        "earlier-shows.csv": _of_units(Carried, [(u, u.carried) for u in record.units]),
        "drying.csv": _table(CareRow, record.drying),
        "cleaning.csv": _table(CareRow, record.cleaning),
        "alerts.csv": _table(AlertChange, record.alerts),
        "alert-scores.csv": _table(AlertScoreRow, () if scores is None else scores.rows),
        "messages.csv": _table(MessageRow, record.messages),
        "weather.csv": _table(WeatherRow, record.weather),
        "forecasts.csv": _table(ForecastRow, record.forecasts),
        "scores.csv": _table(ForecastScoreRow, record.forecast_scores),
    }


def _columns(kind: type[Part]) -> list[str]:
    """Its figures and texts; lists of parts have tables of their own."""
    return [
        name
        for name, field in kind.model_fields.items()
        if not (get_origin(field.annotation) is tuple and _holds_parts(field.annotation))
    ]


def _holds_parts(annotation: object) -> bool:
    inner = getattr(annotation, "__args__", (None,))[0]
    return isinstance(inner, type) and issubclass(inner, Part)


def _table(kind: type[Part], rows: Sequence[Part]) -> bytes:
    columns = _columns(kind)
    return _csv(columns, ([getattr(row, name) for name in columns] for row in rows))


def _of_units(kind: type[Part], rows: Sequence[tuple[Unit, Sequence[Part]]]) -> bytes:
    """Rows of single units, worst unit first, each with whose it is."""
    columns = _columns(kind)
    header = [*_WHOSE, *("id_there" if name == "id" else name for name in columns)]
    return _csv(
        header,
        (
            [*(getattr(unit, name) for name in _WHOSE), *(getattr(row, name) for name in columns)]
            for unit, theirs in rows
            for row in theirs
        ),
    )


def _csv(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """UTF-8 with its mark, for spreadsheets guess otherwise; times in site time with offset."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue().encode("utf-8-sig")


def _cell(value: Cell) -> str | int:
    """Numbers in full, a cell left empty for what is not known or never came."""
    if value is None:
        return ""
    if isinstance(value, str):
        return neutral(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, tuple):
        return neutral(" ".join(value))
    return value if isinstance(value, int) else f"{value:.10g}"
