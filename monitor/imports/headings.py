"""What the columns of somebody's list are, by what they call them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.domain import Problem
from monitor.show.fixtures import COLUMNS

_CALLED = {
    "id": "fixture id, fixture no, fixture number, fid, channel, chan, ch, unit id, head",
    "position": "pos, location, place, truss, hang position, hanging position, where",
    "name": "label, fixture name, purpose",
    "type": "fixture type, instrument, instrument type, fixture, model, lamp, luminaire, gear",
    "code": "ip, ip code, ip rating, ip class, rating, protection, protection code, ingress",
    "count": "qty, quantity, pieces, amount, how many",
    "serial": "serial no, serial number, s/n, sn",
    "owner": "hire company, supplier, owned by",
    "mount": "mounting, orientation, hung, way up, which way up",
    "height_m": "height, trim, trim height, height above ground, hanging height, elevation, z",
    "tilt_deg": "tilt, lean",
    "facing_deg": "facing, faces",
    "access": "reached by, how reached",
    "fed_by": "fed from, fed by, power from",
    "connector_code": "connector, connectors",
    "supply_code": "psu, supply, psu code",
}
KNOWN = (*COLUMNS, "access")
_UNITS = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("cm", "centimetres", "centimeters"), "cm"),
    **dict.fromkeys(("mm", "millimetres", "millimeters"), "mm"),
    **dict.fromkeys(("ft", "feet", "foot"), "ft"),
    **dict.fromkeys(("in", "inch", "inches"), "in"),
}
_LOOKED_AT = 30
"""A title and some notes may stand above the headings; more is no list."""


def _plain(heading: str) -> str:
    return re.sub(r"[^\w/#]+", " ", heading.lower().replace("_", " ")).strip()


_BY_NAME = {_plain(column): column for column in KNOWN}
_BY_NAME |= {name: column for column, names in _CALLED.items() for name in names.split(", ")}


@dataclass(frozen=True, slots=True)
class Headings:
    """Where each known column is, in what unit heights are (None: not said), what is told."""

    row: int
    at: dict[str, int]
    unit: str | None
    height_called: str
    notes: tuple[Problem, ...]
    problems: tuple[Problem, ...]


def found(
    rows: Sequence[tuple[int, tuple[str, ...]]], file: str, sheet: str | None
) -> Headings | None:
    """The first row that names a position or an id, and something else; None where none does."""
    for number, cells in rows[:_LOOKED_AT]:
        columns = [_column(cell) for cell in cells]
        known = {column for column, _ in columns if column is not None}
        if len(known) >= 2 and known & {"id", "position"}:
            return _read(number, cells, columns, file, sheet)
    return None


def _column(heading: str) -> tuple[str | None, str | None]:
    """Which column it is, and the unit that it names."""
    plain = _plain(heading)
    if plain in _BY_NAME:
        column = _BY_NAME[plain]
        return column, "m" if column == "height_m" and plain == "height m" else None
    head, _, last = plain.rpartition(" ")
    head = head.removesuffix(" in").strip()
    if last in _UNITS and _BY_NAME.get(head) == "height_m":
        return "height_m", _UNITS[last]
    return None, None


def _read(
    number: int,
    cells: tuple[str, ...],
    columns: list[tuple[str | None, str | None]],
    file: str,
    sheet: str | None,
) -> Headings:
    at: dict[str, int] = {}
    problems: list[Problem] = []
    told: list[str] = []
    ignored: list[str] = []
    unit = None
    where = file if sheet is None else f"{file}, sheet {sheet}"
    for index, (cell, (column, named_unit)) in enumerate(zip(cells, columns, strict=True)):
        if column is None:
            if cell.strip():
                ignored.append(" ".join(cell.split())[:40])
            continue
        exact = _plain(cell) == _plain(column)
        if column in at:
            other = cells[at[column]]
            if exact and _plain(other) != _plain(column):
                at[column] = index
            elif not (not exact and _plain(other) == _plain(column)):
                problems.append(
                    Problem(
                        "two-columns",
                        f'"{other[:40]}" and "{cell[:40]}" both read as {column}.',
                        f"Call the one that is meant {column}, and the other something else.",
                        file=where,
                        line=number,
                        key=column,
                    )
                )
            continue
        at[column] = index
        if column == "height_m":
            unit = named_unit
        if not exact and not (column == "height_m" and named_unit == "m"):
            told.append(f'"{" ".join(cell.split())[:40]}" is read as {column}')
    notes = []
    if told:
        notes.append(
            Problem(
                "columns-read",
                f"{'; '.join(told)}.",
                "Call a column something else where that is not what is meant.",
                file=where,
                line=number,
                refused=False,
            )
        )
    if ignored:
        notes.append(
            Problem(
                "column-ignored",
                f"Not used: {', '.join(ignored[:20])}{' and more' if len(ignored) > 20 else ''}.",
                f"Used are: {', '.join(KNOWN)}.",
                file=where,
                line=number,
                refused=False,
            )
        )
    called = cells[at["height_m"]] if "height_m" in at else ""
    return Headings(number, at, unit, " ".join(called.split()), tuple(notes), tuple(problems))
