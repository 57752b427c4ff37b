"""A table pasted from a spreadsheet: its columns recognised, each code read back at once.

Which column is what is guessed from the headings, else from the cells, and is shown to be
corrected. Nothing is invented but short names, where the paste has none, and those are shown.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from monitor.code_words import explain
from monitor.codes import CodeError, read_code
from monitor.domain import Problem
from monitor.show.fixtures import COLUMNS, OTHER_NAMES
from monitor.show.nearest import meant

KNOWN = tuple(column for column in COLUMNS if column != "position")
CODES = ("code", "supply_code", "connector_code", "connector_open_code")
MOST_ROWS = 2000
_MOST_COLUMNS = 30
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_NUMBERS = frozenset(
    {
        "tilt_deg",
        "facing_deg",
        "surface_m2",
        "height_m",
        "in_from_front_m",
        "in_from_right_m",
        "stated_mm",
        "stated_hours_in_rain",
        "value",
    }
)
_CODE_LIKE = re.compile(r"\s*IP\s*[0-9X]", re.IGNORECASE)
_SERIAL_NAMES = {"s_n": "serial", "sn": "serial", "serial_number": "serial", "serial_no": "serial"}
_OTHER = {
    **OTHER_NAMES,
    **_SERIAL_NAMES,
    **dict.fromkeys(("unit", "channel", "unit_number", "unit_id", "fixture_id"), "id"),
    **dict.fromkeys(("fixture", "lamp", "description", "label", "instrument"), "name"),
    **dict.fromkeys(("fixture_type", "model"), "type"),
    **dict.fromkeys(("connector_mated_ip", "connector_ip", "plug_ip"), "connector_code"),
    **dict.fromkeys(("connector_unmated_ip", "connector_open_ip"), "connector_open_code"),
    **dict.fromkeys(("supply_ip", "psu_ip"), "supply_code"),
    **dict.fromkeys(("owner_ref", "hire_ref"), "owner"),
    **dict.fromkeys(("value_units", "price"), "value"),
    **dict.fromkeys(("owned_by", "hire_company", "supplier"), "owner"),
}


@dataclass(frozen=True, slots=True)
class Row:
    """One pasted row as it will stand."""

    cells: Mapping[str, str]
    """Column -> text; `id` is always there"""
    reads: tuple[str, ...]
    """Each code in plain words"""
    is_new: bool
    """False: a row of this id is there already and is changed"""
    elsewhere: str | None = None
    """The position it moves from"""


@dataclass(frozen=True, slots=True)
class Pasted:
    """A paste as it is understood."""

    headings: tuple[str, ...]
    """As pasted; `1`, `2` where there are none"""
    columns: tuple[str, ...]
    """What each is taken for; empty: passed over"""
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...]
    shape: str = ""
    """Stands for its headings and what they are guessed to be: what somebody said of the columns
    is said of one shape
    """


def pasted(
    text: str,
    position: str,
    chosen: Mapping[int, str],
    known: Mapping[str, str],
    shape: str = "",
) -> Pasted:
    """What a paste says.

    Parameters
    ----------
    text : cells with tabs, semicolons or commas between them, a row to a line
    position : the id of the position that it hangs at
    chosen : number of a column -> what somebody said it is; empty: passed over
    known : id of every fixture of the show -> its position
    shape : of the paste that `chosen` was said of; of another it says nothing
    """
    try:
        lines = _cells(text)
    except csv.Error:
        says, remedy = "A cell is longer than any cell should be.", "Look for a quote left open."
        return Pasted((), (), (), (_problem(says, remedy),))
    if not lines:
        return Pasted((), (), (), (_problem("Nothing was pasted.", "Copy the rows and paste."),))
    width = max(len(line) for line in lines)
    if width > _MOST_COLUMNS or len(lines) > MOST_ROWS:
        says = f"{len(lines)} rows of {width} columns are more than this page takes."
        remedy = f"At most {MOST_ROWS} rows of {_MOST_COLUMNS} columns: paste it in parts."
        return Pasted((), (), (), (_problem(says, remedy),))
    lines = [[*line, *[""] * (width - len(line))] for line in lines]
    headed = _is_heading(lines[0])
    headings = tuple(lines[0]) if headed else tuple(str(n + 1) for n in range(width))
    body = lines[1:] if headed else lines
    if not body:
        says, remedy = "Only headings were pasted.", "Copy the rows below them too."
        return Pasted((), (), (), (_problem(says, remedy),))
    guessed = _from_headings(headings, body) if headed else _from_cells(body)
    now = ";".join(f"{h}={c}" for h, c in zip(headings, guessed, strict=True))
    said = chosen if shape in ("", now) else {}
    columns = tuple(said.get(n, guessed[n]) for n in range(width))
    problems = _faults(columns, headings)
    rows: list[Row] = []
    taken = set(known)
    seen: dict[str, int] = {}
    for number, line in enumerate(body, 2 if headed else 1):
        cells = {c: _plain(c, t) for c, t in zip(columns, line, strict=True) if c and t}
        if "id" not in cells:
            cells = {"id": _free(position, taken), **cells}
        name = "-".join(cells["id"].split())
        taken.add(name)
        if name in seen:
            problems.append(
                _problem(
                    f"{name} stands in line {seen[name]} and line {number}.",
                    "Give each row a short name of its own; for several alike use a count.",
                )
            )
        seen.setdefault(name, number)
        reads = tuple(_read_back(cells, number, problems, is_new=name not in known))
        before = known.get(name)
        rows.append(
            Row(
                {**cells, "id": name, "position": position},
                reads,
                name not in known,
                before if before not in (None, position) else None,
            )
        )
    return Pasted(headings, columns, tuple(rows), tuple(problems), now)


def _plain(column: str, text: str) -> str:
    """A number as the file writes it; any other cell as it is."""
    if column in _NUMBERS and _COMMA_NUMBER.fullmatch(text):
        return text.replace(",", ".")
    return text


def _cells(text: str) -> list[list[str]]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    tabs, half, commas = first.count("\t"), first.count(";"), first.count(",")
    separator = "\t" if tabs else ";" if half > commas else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    lines = [[" ".join(cell.split()) for cell in line] for line in reader]
    return [line for line in lines if any(line)]


def _is_heading(line: Sequence[str]) -> bool:
    """A row that names columns holds no code, and names at least one that is known."""
    if any(_CODE_LIKE.match(cell) for cell in line):
        return False
    return any(_column(cell) for cell in line)


def _column(heading: str) -> str:
    """The column that a heading means; empty where it is not known."""
    plain = re.sub(r"[^a-z0-9]+", "_", heading.lower()).strip("_")
    if plain in KNOWN:
        return plain
    found = _OTHER.get(plain) or meant(plain, KNOWN, same_initial=True) or ""
    return found if found in KNOWN else ""


def _from_headings(headings: Sequence[str], lines: Sequence[Sequence[str]]) -> list[str]:
    found: list[str] = []
    for n, heading in enumerate(headings):
        column = _column(heading)
        # What holds codes is no other column, however it is headed.
        strange = column not in CODES and any(_CODE_LIKE.match(line[n]) for line in lines)
        found.append("" if column in found or strange else column)
    return found


def _from_cells(lines: Sequence[Sequence[str]]) -> list[str]:
    """Without headings: codes and counts show themselves, texts are a name and a type."""
    found: list[str] = []
    texts = iter(("id", "name", "type") if _all_apart(lines) else ("name", "type"))
    for column in range(len(lines[0])):
        cells = [line[column] for line in lines if line[column]]
        if cells and all(_CODE_LIKE.match(cell) or cell.lower() == "none" for cell in cells):
            guess = next((code for code in CODES if code not in found), "")
        elif cells and all(cell.isdigit() and len(cell) < 4 for cell in cells):
            guess = "count" if "count" not in found else ""
        else:
            guess = next(texts, "") if cells else ""
        found.append(guess)
    return found


def _all_apart(lines: Sequence[Sequence[str]]) -> bool:
    """Whether the first column could be names of its own: short, none twice."""
    first = [line[0] for line in lines]
    return len(set(first)) == len(first) and all(
        0 < len(cell) <= 24 and " " not in cell and not _CODE_LIKE.match(cell) for cell in first
    )


def _faults(columns: Sequence[str], headings: Sequence[str]) -> list[Problem]:
    problems = [
        _problem(
            f"Two columns are taken for {column}: "
            f"{', '.join(h for h, c in zip(headings, columns, strict=True) if c == column)}.",
            "Say below what each column is.",
        )
        for column in dict.fromkeys(columns)
        if column and columns.count(column) > 1
    ]
    if "code" not in columns:
        problems.append(
            _problem(
                "No column is known to hold the ingress-protection code.",
                "Say below which one it is. Where a label has none, write none.",
            )
        )
    return problems


def _read_back(
    cells: Mapping[str, str], number: int, problems: list[Problem], *, is_new: bool
) -> list[str]:
    said = []
    for column in CODES:
        label = cells.get(column)
        if label is None:
            if column == "code" and is_new:
                problems.append(
                    _problem(
                        f"Line {number}, {cells['id']}: no code.",
                        "Write the code on its label, or none where it has none.",
                    )
                )
            continue
        try:
            code = read_code(label)
        except CodeError as fault:
            problems.append(_problem(f"Line {number}, {cells['id']}: {fault.says}", fault.remedy))
            continue
        mended = f" ({'; '.join(code.repairs)})" if code.repairs else ""
        part = "" if column == "code" else f"{column.replace('_', ' ').removesuffix(' code')}: "
        said.append(f"{part}{code.canonical}{mended}: {explain(code)[-1]}")
    return said


def _free(position: str, taken: Collection[str]) -> str:
    n = 1
    while f"{position}-{n:02d}" in taken:
        n += 1
    return f"{position}-{n:02d}"


def _problem(says: str, remedy: str) -> Problem:
    return Problem("paste", says, remedy)
