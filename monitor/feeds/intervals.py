"""Answers with a list for each variable, whose items have their own stamp or interval."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.feeds.columns import absent
from monitor.feeds.paths import found
from monitor.feeds.samples import Rejected, Stated
from monitor.feeds.stamps import epochs, intervals_of, starts_of
from monitor.feeds.units_stated import check_unit, check_units

if TYPE_CHECKING:
    from monitor.feeds.sheet_parts import Sheet, Variable


def intervals(answer: Any, sheet: Sheet, told: list[str]) -> dict[Variable, Stated]:
    """Each variable that the answer has."""
    stated: dict[Variable, Stated] = {}
    for name, part in sheet.vars.items():
        items = found(answer, part.path) if part.path is not None else None
        if not isinstance(items, list) or not items:
            absent(name, part, told)
            continue
        value_path = part.value or sheet.shape.value
        values = [found(item, value_path) for item in items]
        if any(value is not None for value in values):
            check_unit(answer, name, part)
        check_units(
            (item for item, value in zip(items, values, strict=True) if value is not None),
            name,
            part,
        )
        written = [found(item, sheet.shape.interval) for item in items]
        starts = None
        if sheet.time.format == "interval":
            starts, stamps = intervals_of(written, sheet.time, told)
        else:
            stamps = epochs(written, sheet.time, told)
            if sheet.time.start_path and part.cover == "interval":
                opened = [found(item, sheet.time.start_path) for item in items]
                starts = starts_of(opened, sheet.time, told)
        stated[name] = Stated(stamps, starts, [[values]])
    if not stated:
        raise Rejected("empty", "none of the variables has a list of values")
    return stated
