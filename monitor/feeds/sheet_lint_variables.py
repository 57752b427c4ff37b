"""What is wrong with one variable of a feed sheet: source, cover, statistic, unit."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from monitor.feeds.findings import Finding, path_findings
from monitor.feeds.sheet_parts import CANONICAL
from monitor.units import UNIT_TABLE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.feeds.sheet_parts import Sheet, VariablePart
    from monitor.toml_places import Path

_STATS = {
    "precip": ("sum", "rate"),
    "gust": ("max",),
    "thunder": ("code",),
}
_VECTORS = ("wind", "gust", "direction")
_PERIODIC = ("preceding", "following")
_PERCENTILE = re.compile(r"[_.-](?:p|q)\d{1,2}(?![a-z0-9])|percentile|quantile", re.IGNORECASE)


def variable(name: str, var: VariablePart, sheet: Sheet) -> Iterator[Finding]:
    """Every fault of one variable."""
    yield from _source(name, var, sheet)
    yield from _cover(name, var, sheet)
    yield from _paths(name, var)
    yield from _unit(name, var)


def percentiles(sheet: Sheet) -> Iterator[Finding]:
    """Percentiles are of each variable for itself: side by side they are no possible weather."""
    where = "and the driest wind does not come with the wettest rain"
    named = [name for name, var in sheet.vars.items() if any(map(_PERCENTILE.search, var.sources))]
    if len(named) > 1:
        yield Finding(
            ("vars", named[1]),
            "percentiles",
            f"{' and '.join(named)} are each read from a percentile, {where}.",
            "Read one run whole, or members.",
        )
    if sheet.members is None:
        return
    try:
        pattern = re.compile(sheet.members.pattern)
    except re.error:
        return
    for path in {p for var in sheet.vars.values() for p in var.sources}:
        leaf = path.rsplit(".", 1)[-1]
        match = pattern.fullmatch(f"{leaf}_p90")
        if match and match.groupdict().get("var") == leaf:
            yield Finding(
                ("members", "pattern"),
                "percentiles",
                f"The pattern takes {leaf}_p90 for a member; it is a percentile, {where}.",
                "Write it so that only whole members fit, like _member01.",
            )
            return


def _source(name: str, var: VariablePart, sheet: Sheet) -> Iterator[Finding]:
    at: Path = ("vars", name)
    given = [
        key
        for key, there in (
            ("path", var.path is not None),
            ("first_of", bool(var.first_of)),
            ("vector", var.vector is not None),
        )
        if there
    ]
    if len(given) != 1 and not (not given and var.fallback):
        yield Finding(
            at,
            "missing-key" if not given else "bad-value",
            f"{name} has {' and '.join(given) or 'no path'}.",
            "Give one of path, first_of or vector.",
        )
    if var.vector and name not in _VECTORS:
        yield Finding(
            (*at, "vector"),
            "bad-value",
            f"{name} has no components.",
            f"A vector is for {', '.join(_VECTORS)}.",
        )
    if sheet.members and var.first_of:
        yield Finding(
            (*at, "first_of"),
            "bad-value",
            "Members cannot each choose their own period.",
            "Name one path.",
        )
    if sheet.shape.kind == "intervals" and (var.first_of or var.vector):
        yield Finding(
            (*at, given[0] if given else "path"),
            "bad-value",
            f"In intervals each list has its own stamps, and {name} is read from several lists.",
            "Name one path.",
        )
    if var.fallback and name != "gust":
        yield Finding(
            (*at, "fallback"),
            "bad-value",
            f"{name} cannot be derived from the wind.",
            "A fallback is for the gust.",
        )
    if var.time_path and sheet.shape.kind != "columns":
        yield Finding(
            (*at, "time_path"),
            "bad-value",
            f"{name} has a list of stamps of its own, and the answer is {sheet.shape.kind}.",
            "Take time_path out.",
        )
    if var.value and sheet.shape.kind != "intervals":
        yield Finding(
            (*at, "value"), "bad-value", "value is for intervals.", "Put the whole way into path."
        )


def _cover(name: str, var: VariablePart, sheet: Sheet) -> Iterator[Finding]:
    at: Path = ("vars", name)
    if var.cover in _PERIODIC and var.period is None and not var.first_of:
        yield Finding(
            at,
            "missing-key",
            f"{name} covers the time {var.cover} its stamp, and how long is not said.",
            'Give period, for example period = "1h".',
        )
    if var.first_of and (var.cover not in _PERIODIC or var.period is not None):
        yield Finding(
            (*at, "cover"),
            "bad-value",
            f"{name} is read from several periods.",
            "Its cover is preceding or following, and period stands in first_of only.",
        )
    if name == "precip" and var.cover == "instant" and var.stat != "rate":
        yield Finding(
            (*at, "cover"),
            "bad-value",
            "Rain at an instant is not an amount.",
            "Say whether it covers the time preceding or following the stamp; "
            "an intensity is a rate.",
        )
    if var.cover == "run_total" and (name, var.stat) != ("precip", "sum"):
        yield Finding(
            (*at, "cover"),
            "bad-value",
            f"{name} as a {var.stat} does not add up over the run.",
            "run_total is for the rain, as a sum.",
        )
    stated = sheet.time.format == "interval" or sheet.time.start_path is not None
    if var.cover == "interval" and not stated:
        yield Finding(
            (*at, "cover"),
            "bad-value",
            f"{name} covers an interval, and the stamps are of moments.",
            'Give format = "interval" or start_path in [time].',
        )
    if var.cover != "interval" and sheet.time.format == "interval":
        yield Finding(
            (*at, "cover"),
            "bad-value",
            "The stamps are intervals.",
            'Give cover = "interval".',
        )


def _paths(name: str, var: VariablePart) -> Iterator[Finding]:
    at: Path = ("vars", name)
    series: list[tuple[Path, str | None]] = [
        ((*at, "path"), var.path),
        ((*at, "time_path"), var.time_path),
        ((*at, "value"), var.value),
        *(((*at, "vector", i), path) for i, path in enumerate(var.vector or ())),
        *(((*at, "first_of", i, "path"), one.path) for i, one in enumerate(var.first_of)),
    ]
    for place, text in series:
        if text is not None:
            yield from path_findings(place, text, series=True)
    if var.unit_check:
        yield from path_findings((*at, "unit_check", "at"), var.unit_check.at, series=False)


def _unit(name: str, var: VariablePart) -> Iterator[Finding]:
    at: Path = ("vars", name)
    canonical = next(unit for key, (unit, _, _) in CANONICAL.items() if key == name)
    if var.vector:
        canonical = "m/s"
    if var.stat == "rate":
        canonical += "/h"
    right = _STATS.get(name, ("mean",))
    if var.stat not in right:
        yield Finding(
            (*at, "stat"),
            "bad-value",
            f"{name} cannot be a {var.stat}.",
            f"It is read as {' or '.join(right)}.",
        )
    if var.stat == "code":
        if not var.map:
            yield Finding(
                at,
                "missing-key",
                f"{name} has no map of its codes.",
                'Give map, for example map = { "95" = "yes", "*" = "no" }; each is yes, no or '
                "unknown.",
            )
        for key in var.map:
            if key.startswith(">=") and not _is_number(key[2:]):
                yield Finding(
                    (*at, "map", key), "bad-value", f"{key!r} names no number.", "Write >=30."
                )
    elif var.unit is None and var.stat in right:
        yield Finding(
            at, "missing-key", f"{name} has no unit.", f"Give unit, one of {_fitting(canonical)}."
        )
    elif var.unit is None:
        # What it is has to be right first: a code has no unit.
        return
    elif UNIT_TABLE.get(var.unit, ("", 0, 0))[0] != canonical:
        yield Finding(
            (*at, "unit"),
            "unknown-unit",
            f"{var.unit!r} is not a unit of {name}.",
            f"Known are: {_fitting(canonical)}.",
        )
    elif var.unit_check and UNIT_TABLE[var.unit] != UNIT_TABLE.get(
        var.unit_check.is_, UNIT_TABLE[var.unit]
    ):
        yield Finding(
            (*at, "unit"),
            "unit-mismatch",
            f"{name} is read as {var.unit} but checked to be {var.unit_check.is_}.",
            "Change unit and unit_check together.",
        )


def _fitting(canonical: str) -> str:
    return ", ".join(u for u, (c, _, _) in UNIT_TABLE.items() if c == canonical)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
