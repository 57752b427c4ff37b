"""log.csv: what the crew did and when; a rehearsal reads it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, cast, get_args

from monitor.domain import EntryKind, InspectionResult, LogEntry
from monitor.show.clock import ClockError, moment
from monitor.show.nearest import suggestion
from monitor.show.values import Between, OneOf

if TYPE_CHECKING:
    from collections.abc import Collection
    from zoneinfo import ZoneInfo

    from monitor.show.csv_file import CsvFile, Row

LOG_FILE = "log.csv"
COLUMNS = [
    "at",
    "entry",
    "position",
    "fixture",
    "count",
    "to",
    "result",
    "by",
    "note",
    "earth_ohm",
    "insulation_mohm",
]
REQUIRED = ("at", "entry")

_ENTRY = OneOf(*get_args(EntryKind))
_RESULT = OneOf(*get_args(InspectionResult))
HIGHEST_READING = 1_000_000.0
"""Of an inspection, in ohm or megohm: no tester shows more."""
_READING = Between(0.0, HIGHEST_READING)
_PART_OF = re.compile(r"(\d{1,6})\s*(?:of|/)\s*(\d{1,6})", re.IGNORECASE | re.ASCII)


def log_entries(
    file: CsvFile,
    position_ids: Collection[str] | None,
    fixture_ids: Collection[str] | None,
    zone: ZoneInfo | None,
) -> tuple[LogEntry, ...]:
    """Every row that can be read; what refers to ids None is not held against the row."""
    read = (_entry(row, position_ids, fixture_ids, zone) for row in file.rows())
    return tuple(entry for entry in read if entry is not None)


def _entry(
    row: Row,
    position_ids: Collection[str] | None,
    fixture_ids: Collection[str] | None,
    zone: ZoneInfo | None,
) -> LogEntry | None:
    stamp = row.needed("at")
    at = None
    if stamp is not None and zone is not None:
        try:
            at = moment(stamp, zone)
        except ClockError as fault:
            row.refuse(fault.code, "at", f"at: {fault.says}", fault.remedy)
    if row.lacks("entry"):
        row.refuse(
            "missing-value", "entry", "entry is empty.", f"Give one of {', '.join(_ENTRY.names)}."
        )
    entry = row.one_of("entry", _ENTRY)
    position = _place(row, "position", position_ids)
    fixture = _place(row, "fixture", fixture_ids)
    if row.has("position") == row.has("fixture"):
        both = row.has("position")
        row.refuse(
            "position-or-fixture",
            "position",
            "position and fixture are both given." if both else "no position or fixture is given.",
            "Give one of them.",
        )
    to = _place(row, "to", position_ids)
    if entry == "moved" and not row.has("to"):
        row.refuse("missing-value", "to", "to is empty.", "Give the position it was moved to.")
    result = row.one_of("result", _RESULT)
    for column, wanted in (("to", "moved"), ("result", "inspected")):
        if entry is not None and entry != wanted and row.has(column):
            row.refuse(
                "not-for-entry",
                column,
                f"{column} is given with {entry}.",
                f"Leave it out: {column} belongs to {wanted}.",
            )
    count = _count(row)
    earth = row.number("earth_ohm", _READING, "ohm")
    insulation = row.number("insulation_mohm", _READING, "megohm")
    for column in ("earth_ohm", "insulation_mohm"):
        if row.has(column):
            _refuse_reading(row, column, entry)
    if at is None or entry is None:
        return None
    return LogEntry(
        at=at,
        entry=cast("EntryKind", entry),
        position=position,
        fixture=fixture,
        count=count,
        to=to,
        result=cast("InspectionResult | None", result),
        by=row.text("by"),
        note=row.text("note"),
        earth_ohm=earth,
        insulation_mohm=insulation,
    )


def _refuse_reading(row: Row, column: str, entry: str | None) -> None:
    """Hold a reading against what it is given with: it is of one fixture, inspected."""
    if entry is not None and entry != "inspected":
        row.refuse(
            "not-for-entry",
            column,
            f"{column} is given with {entry}.",
            f"Leave it out: {column} belongs to inspected.",
        )
    elif row.has("position"):
        row.refuse(
            "not-one-fixture",
            column,
            f"{column} is given for a position; a reading is of one fixture.",
            "Give it with the fixture, one row each.",
        )


def _place(row: Row, column: str, ids: Collection[str] | None) -> str | None:
    name = row.text(column)
    if name is None or ids is None or name in ids:
        return name
    joined = "-".join(name.split())
    if joined in ids:
        return joined
    kind = "fixture" if column == "fixture" else "position"
    row.refuse(
        f"unknown-{kind}", column, f"{column} {name} is not in the show.", suggestion(joined, ids)
    )
    return None


def _count(row: Row) -> tuple[int, int] | None:
    """How many of how many ("3 of 15"); None for all of it."""
    text = row.text("count")
    if text is None:
        return None
    found = _PART_OF.fullmatch(text)
    if found is None or not 1 <= int(found[1]) <= int(found[2]):
        row.refuse("bad-count", "count", f'count is "{text[:40]}".', 'Write it like "3 of 15".')
        return None
    return int(found[1]), int(found[2])
