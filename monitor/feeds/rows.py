"""Answers that are a list of records, each with its stamp and all its variables.

Every path is looked up in each record by itself: what a record lacks is missing there, and
nothing moves up into its place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.feeds.columns import absent
from monitor.feeds.paths import found
from monitor.feeds.samples import Rejected, Stated
from monitor.feeds.stamps import epochs, starts_of
from monitor.feeds.units_stated import check_unit, check_units

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.feeds.sheet_parts import Sheet, Variable


def rows(answer: Any, sheet: Sheet, told: list[str]) -> dict[Variable, Stated]:
    """Each variable that the records have."""
    records = _records(answer, sheet)
    stamps = epochs([found(r, sheet.time.path or "@") for r in records], sheet.time, told)
    if not np.isfinite(stamps).any():
        raise Rejected("time", "no stamp can be placed in time")
    starts = None
    if sheet.time.start_path:
        starts = starts_of([found(r, sheet.time.start_path) for r in records], sheet.time, told)
    stated: dict[Variable, Stated] = {}
    for name, part in sheet.vars.items():
        sources = [[found(record, path) for record in records] for path in part.sources]
        filled = [r for i, r in enumerate(records) if any(s[i] is not None for s in sources)]
        if not filled:
            absent(name, part, told)
            continue
        check_unit(answer, name, part)
        check_units(filled, name, part)
        covered = starts if part.cover == "interval" else None
        stated[name] = Stated(stamps, covered, [[source] for source in sources])
    return stated


def _records(answer: Any, sheet: Sheet) -> list[Any]:
    where, each = sheet.shape.records or "@", sheet.shape.each
    records = _listed(found(answer, where))
    if records is None:
        raise Rejected("shape", f"there is no list of records at {where}")
    if each is not None:
        records = list(_nested(records, each))
    if not records:
        raise Rejected("empty", f"there is no record at {where}")
    return records


def _nested(outer: list[Any], each: str) -> Iterator[Any]:
    """The records of the list inside each record, which they know as `outer`."""
    for record in outer:
        for inner in _listed(found(record, each)) or []:
            fields = inner if isinstance(inner, dict) else {"value": inner}
            yield {**fields, "outer": record}


def _listed(there: Any) -> list[Any] | None:
    """A list of records; an object is taken as records that have their names as `key`."""
    if isinstance(there, list):
        return there
    if isinstance(there, dict):
        return [
            {**(value if isinstance(value, dict) else {"value": value}), "key": key}
            for key, value in there.items()
        ]
    return None
