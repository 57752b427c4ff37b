"""Answers with one list of stamps and a list of equal length for each variable."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import jmespath
import numpy as np
from jmespath.exceptions import JMESPathError

from monitor.feeds.samples import Rejected, Samples, cleaned
from monitor.feeds.stamps import check_offset, epochs

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.domain import Floats
    from monitor.feeds.sheet_parts import Sheet, Variable, VariablePart

_OVERLAP_S = 1e-6


def columns(
    answer: Any, sheet: Sheet, told: list[str]
) -> tuple[tuple[str, ...], dict[Variable, Samples]]:
    """Member ids, and each variable the answer has, as samples (member, sample).

    A list whose length is not that of the stamps is left out, never shifted.
    """
    stamps = found(answer, sheet.time.path)
    if not isinstance(stamps, list):
        raise Rejected("shape", f"there is no list of stamps at {sheet.time.path}")
    if not stamps:
        raise Rejected("empty", f"there is no stamp at {sheet.time.path}")
    times = epochs(stamps, sheet.time, told)
    placed = np.isfinite(times)
    if not placed.any():
        raise Rejected("time", "no stamp can be placed in time")
    if sheet.time.offset_path:
        check_offset(found(answer, sheet.time.offset_path), times[placed].min(), sheet.time)
    members = _member_ids(answer, sheet)
    series: dict[Variable, Samples] = {}
    for name, part in sheet.vars.items():
        lists = _lists(answer, sheet, part, members)
        raw = _of_equal_length(lists, len(stamps), name, part, told)
        if raw is None:
            continue
        check_unit(answer, name, part)
        values = cleaned(raw, name, part, told)
        series[name] = _over_time(times[placed], values[:, placed], name, part)
    return members, series


def found(answer: Any, path: str) -> Any:
    """What stands at a path of the answer; None where nothing does."""
    try:
        return jmespath.search(path, answer)
    except JMESPathError:
        # A function of the path was given something of another kind: the shape is not there.
        return None


def check_unit(answer: Any, name: str, part: VariablePart) -> None:
    """Reject an answer whose own word for the unit is not what the sheet expects."""
    if part.unit_check is None:
        return
    stated = found(answer, part.unit_check.at)
    if stated != part.unit_check.is_:
        raise Rejected(
            "unit",
            f"{name} came in {str(stated)[:20] if stated is not None else 'no stated unit'}, "
            f"the sheet expects {part.unit_check.is_}",
        )


def _member_ids(answer: Any, sheet: Sheet) -> tuple[str, ...]:
    """Numbers of the members, rising; the single or control run is 0."""
    if sheet.members is None:
        return ("0",)
    keys = found(answer, sheet.members.parent)
    pattern = re.compile(sheet.members.pattern)
    wanted = {part.path.rsplit(".", 1)[-1] for part in sheet.vars.values()}
    numbers = {
        int(match["m"] or 0)
        for key in (keys if isinstance(keys, dict) else {})
        if (match := pattern.fullmatch(key)) and match["var"] in wanted
    }
    return tuple(str(n) for n in sorted(numbers)) or ("0",)


def _lists(answer: Any, sheet: Sheet, part: VariablePart, members: tuple[str, ...]) -> list[Any]:
    """What the answer has for a variable, one entry for each member; None where nothing."""
    if sheet.members is None:
        return [found(answer, part.path)]
    pattern = re.compile(sheet.members.pattern)
    keys: Mapping[str, Any] = found(answer, sheet.members.parent) or {}
    wanted = part.path.rsplit(".", 1)[-1]
    by_member = {
        str(int(match["m"] or 0)): values
        for key, values in keys.items()
        if (match := pattern.fullmatch(key)) and match["var"] == wanted
    }
    return [by_member.get(m) for m in members]


def _of_equal_length(
    lists: list[Any], length: int, name: str, part: VariablePart, told: list[str]
) -> list[list[Any]] | None:
    """The lists that can be laid against the stamps, nulls for the others; None: no list can."""
    nulls: list[Any] = [None] * length
    fitting: list[list[Any]] = []
    unequal = 0
    for values in lists:
        fits = isinstance(values, list) and len(values) == length
        unequal += isinstance(values, list) and not fits
        fitting.append(values if fits else nulls)
    if unequal:
        told.append(f"{name}: left out where its length is not that of the stamps, {length}")
    if all(values is nulls for values in fitting):
        if not unequal:
            told.append(f"{name}: not in the answer")
        if part.required:
            raise Rejected("missing-variable", told[-1])
        return None
    return fitting


def _over_time(times: Floats, values: Floats, name: str, part: VariablePart) -> Samples:
    """Samples in order of time; a stamp repeated with another value is not known."""
    unique, place = np.unique(times, return_inverse=True)
    merged = np.full((values.shape[0], len(unique)), np.nan)
    if len(unique) == len(times):
        merged[:, place] = values
    else:
        for i in range(len(unique)):
            same = values[:, place == i]
            agree = np.all(same == same[:, :1], axis=1)
            merged[:, i] = np.where(agree, same[:, 0], np.nan)
    starts = ends = unique
    if part.cover == "preceding":
        starts = unique - (part.period or 0.0)
    elif part.cover == "following":
        ends = unique + (part.period or 0.0)
    if np.any(starts[1:] < ends[:-1] - _OVERLAP_S):
        raise Rejected("overlap", f"{name}: stamps lie closer together than what each covers")
    return Samples(starts, ends, merged)
