"""What is wrong with a feed sheet that reads well: paths, units, zones, blanks."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import jmespath
from jmespath.exceptions import JMESPathError

from monitor.feeds.sheet_parts import CANONICAL
from monitor.feeds.template import template_fault
from monitor.units import UNIT_TABLE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.feeds.sheet_parts import Sheet, VariablePart
    from monitor.toml_places import Path

RECORD = "record"
"""The id in `[[feeds]]` that stands for a weather record file and needs no sheet."""

LOOPBACK = ("127.0.0.1", "localhost", "::1")

# A projection leaves out nulls and so shifts a series against its stamps.
_PROJECTION = re.compile(r"\[\s*(\]|\*|\?|-?\d*\s*:)|\*")
_SECRET_PLACE = re.compile(r"(query|header)\.\S+")
_SECRET_FROM = re.compile(r"key|env:[A-Za-z_][A-Za-z0-9_]*|file:.+")
_STATS = {
    "precip": ("sum", "rate"),
    "gust": ("max",),
    "thunder": ("code",),
}


class Finding(NamedTuple):
    """A fault of a sheet, before it is known on which line it stands."""

    path: Path
    code: str
    says: str
    remedy: str


def findings(sheet: Sheet) -> Iterator[Finding]:
    """Every fault of a sheet whose keys and types are right."""
    if sheet.id == RECORD:
        yield Finding(("feed", "id"), "reserved-id", "The id record is taken.", "Give another id.")
    yield from _request(sheet)
    yield from _paths(sheet)
    yield from _time(sheet)
    if "precip" not in sheet.vars:
        yield Finding(
            ("vars",), "missing-key", "There is no [vars.precip].", "Say where the rain is."
        )
    for name, var in sheet.vars.items():
        yield from _variable(name, var)
    yield from _members(sheet)


def _request(sheet: Sheet) -> Iterator[Finding]:
    request = sheet.request
    parts = urlsplit(request.url)
    plain = parts.scheme == "http" and parts.hostname in LOOPBACK
    if not (parts.hostname and (parts.scheme == "https" or plain)):
        yield Finding(
            ("request", "url"),
            "bad-url",
            "The address does not begin with https:// and a host.",
            "Use https; http is for a server on this machine.",
        )
    templates: list[tuple[Path, str]] = [(("request", "url"), request.url)]
    templates += [
        (("request", "params", k), v) for k, v in request.params.items() if isinstance(v, str)
    ]
    templates += [(("request", "headers", k), v) for k, v in request.headers.items()]
    for path, text in templates:
        fault = template_fault(text)
        if fault:
            yield Finding(path, "bad-blank", fault, "Use {lat:.4f} and its like.")
    for place, source in request.secrets.items():
        if not _SECRET_PLACE.fullmatch(place):
            yield Finding(
                ("request", "secrets", place),
                "bad-secret",
                f"A secret cannot be put at {place}.",
                "Name the place query.NAME or header.NAME.",
            )
        if not _SECRET_FROM.fullmatch(source):
            yield Finding(
                ("request", "secrets", place),
                "bad-secret",
                f"The secret for {place} is not a reference.",
                "Write key, env:NAME or file:PATH; never the secret itself.",
            )


def _paths(sheet: Sheet) -> Iterator[Finding]:
    plain: list[tuple[Path, str | None]] = [
        (("errors", "flag"), sheet.errors.flag),
        (("errors", "reason"), sheet.errors.reason),
        (("time", "offset_path"), sheet.time.offset_path),
    ]
    if sheet.run.issued and not sheet.run.issued.startswith("header:"):
        plain.append((("run", "issued"), sheet.run.issued))
    series: list[tuple[Path, str | None]] = [(("time", "path"), sheet.time.path)]
    for name, var in sheet.vars.items():
        series.append((("vars", name, "path"), var.path))
        if var.unit_check:
            plain.append((("vars", name, "unit_check", "at"), var.unit_check.at))
    for path, text in (*plain, *series):
        if text is not None and not _compiles(text):
            yield Finding(
                path, "bad-path", f"{text!r} is not a JMESPath.", "Write it like hourly.time."
            )
    for path, text in series:
        if text is not None and _PROJECTION.search(text):
            yield Finding(
                path,
                "projection",
                f"{text!r} goes over a list and would leave out its nulls, which shifts the rest.",
                "Name the list itself, without [], [*], [?, a slice or *.",
            )


def _compiles(text: str) -> bool:
    try:
        jmespath.compile(text)
    except (JMESPathError, RecursionError):
        return False
    return True


def _time(sheet: Sheet) -> Iterator[Finding]:
    time = sheet.time
    naive = time.format == "iso" or (
        time.format.startswith("strptime:") and "%z" not in time.format
    )
    if naive and time.zone is None:
        yield Finding(
            ("time",),
            "missing-key",
            "Stamps may come without an offset and no zone is given for them.",
            'Give zone, for example zone = "UTC".',
        )
    if time.zone is not None:
        try:
            ZoneInfo(time.zone)
        except (KeyError, ValueError, OSError):
            yield Finding(
                ("time", "zone"),
                "unknown-zone",
                f"{time.zone!r} is not a time zone.",
                "Use a name like UTC or Europe/Vienna.",
            )


def _variable(name: str, var: VariablePart) -> Iterator[Finding]:
    at: Path = ("vars", name)
    canonical = next(unit for key, (unit, _, _) in CANONICAL.items() if key == name)
    if var.stat == "rate":
        canonical += "/h"
    if var.cover != "instant" and var.period is None:
        yield Finding(
            at,
            "missing-key",
            f"{name} covers the time {var.cover} its stamp, and how long is not said.",
            'Give period, for example period = "1h".',
        )
    if name == "precip" and var.cover == "instant":
        yield Finding(
            (*at, "cover"),
            "bad-value",
            "Rain at an instant is not an amount.",
            "Say whether it covers the time preceding or following the stamp.",
        )
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
                at, "missing-key", f"{name} has no map of its codes.", "Give map = { ... }."
            )
    elif var.unit is None:
        yield Finding(at, "missing-key", f"{name} has no unit.", "Give unit.")
    elif UNIT_TABLE.get(var.unit, ("", 0, 0))[0] != canonical:
        fitting = ", ".join(u for u, (c, _, _) in UNIT_TABLE.items() if c == canonical)
        yield Finding(
            (*at, "unit"),
            "unknown-unit",
            f"{var.unit!r} is not a unit of {name}.",
            f"Known are: {fitting}.",
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


def _members(sheet: Sheet) -> Iterator[Finding]:
    if sheet.members is None:
        return
    try:
        groups = re.compile(sheet.members.pattern).groupindex
    except re.error:
        groups = {}
    if not {"var", "m"} <= set(groups):
        yield Finding(
            ("members", "pattern"),
            "bad-value",
            "The pattern does not read, or lacks the groups var and m.",
            "Write it like (?P<var>[a-z0-9_]+?)(?:_member(?P<m>\\d{2}))?",
        )
    for name, var in sheet.vars.items():
        if not var.path.startswith(sheet.members.parent + "."):
            yield Finding(
                ("vars", name, "path"),
                "bad-path",
                f"{var.path!r} is not under {sheet.members.parent}, where the members are.",
                f"Begin it with {sheet.members.parent}.",
            )
