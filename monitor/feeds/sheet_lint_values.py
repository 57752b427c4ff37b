"""Values of a feed sheet that read well and can never be right: waits, ranges, formats, keys."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from monitor.feeds.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.feeds.sheet_parts import Sheet, VariablePart
    from monitor.toml_places import Path

LEAST_POLL_S = 1.0
LONGEST_PERIOD_S = 86400.0
"""Of a stated period; a forecast has none longer than a day."""

_SECRET_NAME = re.compile(
    r"(?:^|[-_.])(?:api|app|auth|access|subscription)?(?:key|token|secret|password|authorization)$"
    r"|^app[-_]?id$",
    re.IGNORECASE,
)
_NOT_RAIN = re.compile(r"snowfall|snow_?depth|snow_?height|probab|likelihood|chance", re.IGNORECASE)
_RAIN_OF_SNOW = re.compile(r"water|equivalent|melt", re.IGNORECASE)
_CONSTANT = re.compile(r"[`']")
_ORDER = re.compile(r"\b(sort|sort_by|reverse|keys|values)\s*\(")
_QUOTED = re.compile(r'"(?:\\.|[^"\\])*"')


def values(sheet: Sheet) -> Iterator[Finding]:
    """Every value that cannot be right."""
    yield from _waits(sheet)
    yield from _open_secrets(sheet)
    yield from _stamp_format(sheet)
    yield from _limits(sheet)
    yield from _member_counts(sheet)
    for name, var in sheet.vars.items():
        yield from _of_variable(name, var)


def _waits(sheet: Sheet) -> Iterator[Finding]:
    request, run = sheet.request, sheet.run
    waits: list[tuple[Path, float | None, float]] = [
        (("request", "poll"), request.poll, LEAST_POLL_S),
        (("request", "deadline"), request.deadline, 0.1),
        (("run", "max_age"), run.max_age, LEAST_POLL_S),
        (("run", "reaches"), run.reaches, LEAST_POLL_S),
        *(
            (("resolve", i, "keep"), part.keep, LEAST_POLL_S)
            for i, part in enumerate(sheet.resolve)
        ),
    ]
    for at, wait, least in waits:
        if wait is not None and wait < least:
            yield Finding(
                at,
                "bad-value",
                f"{at[-1]} is too short to be meant.",
                "Write it with its unit, like 25s, 10m, 8h or 7d.",
            )


def _open_secrets(sheet: Sheet) -> Iterator[Finding]:
    """A key in the file goes wherever the file goes."""
    both = (("params", sheet.request.params), ("headers", sheet.request.headers))
    for table, entries in both:
        for name, value in entries.items():
            if not _SECRET_NAME.search(name) or "{" in str(value):
                continue
            where = "query" if table == "params" else "header"
            yield Finding(
                ("request", table, name),
                "open-secret",
                f"{name} looks like a key, and stands open in the sheet.",
                f'Put it into secrets: "{where}.{name}" = "key", and the key itself into an '
                "environment variable or a file.",
            )


def _stamp_format(sheet: Sheet) -> Iterator[Finding]:
    """A format has to hold the year, and which half of the day an hour is of."""
    if not sheet.time.format.startswith("strptime:"):
        return
    form = sheet.time.format.removeprefix("strptime:")
    moment = datetime(2026, 11, 22, 13, 0, tzinfo=UTC)
    try:
        read = datetime.strptime(moment.strftime(form), form)  # noqa: DTZ007
    except ValueError:
        read = None
    if read is None or read.year != moment.year or read.hour not in (0, moment.hour):
        yield Finding(
            ("time", "format"),
            "bad-value",
            f"{form!r} does not hold the date and the hour of a stamp.",
            "Write it like strptime:%Y-%m-%d %H:%M.",
        )


def _limits(sheet: Sheet) -> Iterator[Finding]:
    for word in sheet.errors.limits:
        if not word.strip() or word != word.lower():
            yield Finding(
                ("errors", "limits", word),
                "bad-value",
                f"{word!r} is found in no reason: they are compared in small letters.",
                "Write a word of the reason in small letters.",
            )
    good = [s for s in (*sheet.errors.retry, *sheet.errors.config_fault) if s < 300]
    if good:
        yield Finding(
            ("errors",),
            "bad-value",
            f"{good[0]} is no failure.",
            "Name statuses from 400 on; flag is for a good status that is an error.",
        )


def _member_counts(sheet: Sheet) -> Iterator[Finding]:
    members = sheet.members
    if members is None:
        return
    if members.at_least > members.expect:
        yield Finding(
            ("members", "at_least"),
            "bad-value",
            f"At least {members.at_least} members are asked for, and {members.expect} expected.",
            "Give at_least no more than expect.",
        )


def _of_variable(name: str, var: VariablePart) -> Iterator[Finding]:
    at: Path = ("vars", name)
    periods: list[tuple[Path, float | None]] = [((*at, "period"), var.period)]
    periods += [((*at, "first_of", i, "period"), p.period) for i, p in enumerate(var.first_of)]
    for where, period in periods:
        if period is not None and not 0 < period <= LONGEST_PERIOD_S:
            yield Finding(
                where,
                "bad-value",
                f"{name} cannot be of a period of {period:g} s.",
                "Write it with its unit, like 15m, 1h or 6h.",
            )
    if var.plausible is not None and not var.plausible[0] < var.plausible[1]:
        yield Finding(
            (*at, "plausible"),
            "bad-value",
            f"Nothing lies between {var.plausible[0]:g} and {var.plausible[1]:g}.",
            "Give the least value first, then the greatest.",
        )
    if var.cover == "instant" and var.period is not None and var.stat != "rate":
        yield Finding(
            (*at, "period"),
            "bad-value",
            f"{name} is of an instant, and an instant has no length.",
            "Take period out, or say whether it covers the time preceding or following.",
        )
    places: list[tuple[Path, str | None]] = [((*at, "path"), var.path), ((*at, "value"), var.value)]
    places += [((*at, "vector", i), path) for i, path in enumerate(var.vector or ())]
    places += [((*at, "first_of", i, "path"), one.path) for i, one in enumerate(var.first_of)]
    for where, path in places:
        if path is not None:
            yield from _series(where, name, path)


def _series(at: Path, name: str, path: str) -> Iterator[Finding]:
    bare = _QUOTED.sub("", path)
    if _CONSTANT.search(bare):
        yield Finding(
            at,
            "constant",
            f"{path!r} puts a fixed value where the service says nothing: not known is not dry.",
            "Name the place of the value alone.",
        )
    if _ORDER.search(bare):
        yield Finding(
            at,
            "projection",
            f"{path!r} puts the values into another order than that of the stamps.",
            "Name the list itself.",
        )
    if name == "precip" and _NOT_RAIN.search(path) and not _RAIN_OF_SNOW.search(path):
        yield Finding(
            at,
            "not-rain",
            f"{path!r} looks like a depth of snow or a probability, not like an amount of rain.",
            "Name the amount of precipitation as water.",
        )
