"""Inspections of this show and of earlier ones, kind by kind, and what each kind teaches."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem
from monitor.learning.allowance import learn
from monitor.learning.seen import Learned, NotEnough, Seen

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from monitor.service.inspected import Inspected

NEEDED = ("type", "code", "condition", "count", "part", "result", "used", "weather_known")
"""Columns of `dryspell results --csv` that are read"""
_FOUND = {"dry": False, "damp": True, "water-inside": True}
_MOST_PROBLEMS = 20
_MOST_PIECES = 10_000
"""In one row"""


@dataclass(frozen=True, order=True, slots=True)
class Kind:
    """Gear that is taken as alike."""

    type: str
    code: str
    condition: str


@dataclass(frozen=True, slots=True)
class Found:
    """What one row says: of one kind, with which result."""

    kind: Kind
    seen: tuple[Seen, ...]


def of_row(row: Inspected) -> Found | None:
    """What one inspection of this show teaches; None: nothing."""
    if not row.known:
        return None
    kind = Kind(row.type or "", row.code, row.condition)
    return _found(kind, row.result, row.used, row.count, row.part)


def _found(
    kind: Kind, result: str | None, used: float, count: int, part: tuple[int, int] | None
) -> Found | None:
    """Dry: all that were looked at. Damp in so many: those; of a whole row, one at least."""
    damp = _FOUND.get(result or "")
    if damp is None or used <= 0.0:
        return None
    looked_at = count if part is None else part[0]
    if damp and part is not None:
        return Found(kind, (Seen(used, damp=True),) * looked_at)
    return Found(kind, (Seen(used, damp, looked_at),))


def from_csv(content: bytes, name: str) -> Iterator[Found]:
    """The rows of a file that `dryspell results --csv` wrote.

    Raises
    ------
    BadInputError : with every fault in it, up to twenty
    """
    problems: list[Problem] = []
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInputError([_problem(name, None, "It is not UTF-8 text.")]) from None
    rows = csv.DictReader(io.StringIO(text))
    try:
        lacking = [column for column in NEEDED if column not in (rows.fieldnames or ())]
        every = [(rows.line_num, row) for row in rows]
    except csv.Error as fault:
        raise BadInputError([_problem(name, rows.line_num, f"It is no table: {fault}.")]) from None
    if lacking:
        raise BadInputError([_problem(name, 1, f"It has no column {', '.join(lacking)}.")])
    found = []
    for line, row in every:
        try:
            found.append(_of_cells(row))
        except ValueError as fault:
            problems.append(_problem(name, line, f"{fault}"))
            if len(problems) >= _MOST_PROBLEMS:
                break
    if problems:
        raise BadInputError(problems)
    yield from (one for one in found if one is not None)


def _of_cells(row: Mapping[str, str | None]) -> Found | None:
    cells = {key: row[key] for key in NEEDED}
    lacking = [key for key, cell in cells.items() if cell is None]
    if lacking:
        raise ValueError(f"The row has too few cells: {', '.join(lacking)}.")
    return _of_whole({key: (cell or "").strip() for key, cell in cells.items()})


def _of_whole(row: Mapping[str, str]) -> Found | None:
    kind = Kind(_unguarded(row["type"]), row["code"], row["condition"])
    used, count = _number(row, "used"), round(_number(row, "count"))
    part = None
    if row["part"]:
        some, of, whole = row["part"].partition(" of ")
        if not (of and some.isdigit() and whole.isdigit() and 0 < int(some) <= _MOST_PIECES):
            raise ValueError(f"part is {row['part']!r}, and would be like 3 of 15.")
        part = int(some), int(whole)
    if row["weather_known"] != "yes":
        return None
    return _found(kind, row["result"], used, count, part)


def _unguarded(text: str) -> str:
    """Without the mark that keeps a spreadsheet from calculating a name."""
    return text[1:] if text[:1] == "'" and text[1:2] in ("=", "+", "-", "@") else text


def _number(row: Mapping[str, str], key: str) -> float:
    try:
        number = float(row[key])
    except ValueError:
        number = -1.0
    if not 0.0 <= number <= _MOST_PIECES:
        raise ValueError(f"{key} is {row[key]!r}, and would be a number.")
    return number


def _problem(name: str, line: int | None, says: str) -> Problem:
    remedy = "Give a file that dryspell results --csv wrote, as it wrote it."
    return Problem("bad-results", says, remedy, file=name, line=line)


def by_kind(found: Iterable[Found]) -> dict[Kind, Sequence[Seen]]:
    """Everything that was seen, of each kind."""
    together: dict[Kind, list[Seen]] = defaultdict(list)
    for one in found:
        together[one.kind] += one.seen
    return dict(sorted(together.items()))


def learn_all(found: Iterable[Found]) -> dict[Kind, Learned | NotEnough]:
    """What each kind teaches."""
    return {kind: learn(seen) for kind, seen in by_kind(found).items()}
