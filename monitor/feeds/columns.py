"""Answers with one list of stamps and a list of equal length for each variable."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.feeds.paths import found
from monitor.feeds.samples import Rejected, Stated
from monitor.feeds.stamps import epochs
from monitor.feeds.units_stated import check_unit

if TYPE_CHECKING:
    from monitor.domain import Floats
    from monitor.feeds.sheet_parts import Sheet, Variable, VariablePart


def columns(
    answer: Any, sheet: Sheet, told: list[str]
) -> tuple[tuple[str, ...], dict[Variable, Stated]]:
    """Member ids, and each variable that the answer has.

    A list whose length is not that of the stamps is left out, never shifted.
    """
    times: dict[str, Floats] = {}

    def stamps_at(path: str) -> Floats:
        if path not in times:
            times[path] = _stamps(answer, path, sheet, told)
        return times[path]

    stamps_at(sheet.time.path or "")
    members, by_member = _member_lists(answer, sheet)
    stated: dict[Variable, Stated] = {}
    for name, part in sheet.vars.items():
        stamps = stamps_at(part.time_path or sheet.time.path or "")
        lists = [_lists(answer, path, members, by_member) for path in part.sources]
        sources = _of_equal_length(lists, len(stamps), name, part, told)
        if sources is None:
            continue
        # Of what is null throughout there is nothing to mistake, and its unit may be "undefined".
        if any(value is not None for source in sources for each in source for value in each):
            check_unit(answer, name, part)
        starts = None
        if part.cover == "interval" and sheet.time.start_path:
            starts = stamps_at(sheet.time.start_path)
            if len(starts) != len(stamps):
                raise Rejected("shape", "there are not as many starts as stamps")
        stated[name] = Stated(stamps, starts, sources)
    return members, stated


def _stamps(answer: Any, path: str, sheet: Sheet, told: list[str]) -> Floats:
    stamps = found(answer, path)
    if not isinstance(stamps, list):
        raise Rejected("shape", f"there is no list of stamps at {path}")
    if not stamps:
        raise Rejected("empty", f"there is no stamp at {path}")
    times = epochs(stamps, sheet.time, told)
    if not np.isfinite(times).any():
        raise Rejected("time", "no stamp can be placed in time")
    return times


def _member_lists(answer: Any, sheet: Sheet) -> tuple[tuple[str, ...], dict[tuple[str, str], Any]]:
    """Ids of the members in order, the single or control run being 0, and what the answer has
    for each variable of each (key of the variable, id).
    """
    if sheet.members is None:
        return ("0",), {}
    keys = found(answer, sheet.members.parent)
    pattern = re.compile(sheet.members.pattern)
    wanted = {_leaf(path) for part in sheet.vars.values() for path in part.sources}
    by_member = {
        (match["var"], _member_id(match.groupdict())): values
        for key, values in (keys if isinstance(keys, dict) else {}).items()
        if (match := pattern.fullmatch(key)) and match["var"] in wanted
    }
    ids = {member for _, member in by_member}
    return tuple(sorted(ids, key=_in_order)) or ("0",), by_member


def _leaf(path: str) -> str:
    return path.rsplit(".", 1)[-1]


def _member_id(groups: dict[str, str | None]) -> str:
    number = groups["m"] or "0"
    # A decimal digit of any script is a digit of a member's number.
    plain = str(int(number)) if number.isdecimal() and len(number) < 9 else number
    model = groups.get("model")
    return f"{model}-{plain}" if model else plain


def _in_order(member: str) -> tuple[str, int, str]:
    model, _, number = member.rpartition("-")
    return (model, int(number) if number.isdecimal() else -1, number)


def _lists(
    answer: Any, path: str, members: tuple[str, ...], by_member: dict[tuple[str, str], Any]
) -> list[Any]:
    """What the answer has at a path, one entry for each member; None where nothing."""
    if not by_member:
        return [found(answer, path) for _ in members]
    return [by_member.get((_leaf(path), m)) for m in members]


def _of_equal_length(
    lists: list[list[Any]], length: int, name: str, part: VariablePart, told: list[str]
) -> list[list[list[Any]]] | None:
    """For each source the lists that can be laid against the stamps, nulls for the others;
    None: no list can.
    """
    nulls: list[Any] = [None] * length
    unequal = False
    sources: list[list[list[Any]]] = []
    for source in lists:
        fitting = [v if isinstance(v, list) and len(v) == length else nulls for v in source]
        unequal |= any(isinstance(v, list) and len(v) != length for v in source)
        sources.append(fitting)
    if unequal:
        told.append(f"{name}: left out where its length is not that of the stamps, {length}")
    if all(values is nulls for fitting in sources for values in fitting):
        absent(name, part, told, said=unequal)
        return None
    return sources


def absent(name: str, part: VariablePart, told: list[str], *, said: bool = False) -> None:
    """Tell that a variable is not there (unless that is `said`), or reject for want of it."""
    if not said and (part.sources or part.fallback is None):
        told.append(f"{name}: not in the answer")
    if part.required:
        raise Rejected("missing-variable", told[-1] if told else f"{name}: not in the answer")
