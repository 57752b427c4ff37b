"""What is wrong with a feed sheet that reads well: addresses, paths, shape, zones, members."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from monitor.feeds.findings import Finding, path_findings
from monitor.feeds.sheet_lint_values import values
from monitor.feeds.sheet_lint_variables import percentiles, variable
from monitor.feeds.sheet_parts import IssuedPart
from monitor.feeds.template import BLANKS, DATES, template_fault

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from monitor.feeds.sheet_parts import Sheet
    from monitor.toml_places import Path

RECORD = "record"
"""The id in `[[feeds]]` that stands for a weather record file and needs no sheet."""

LOOPBACK = ("127.0.0.1", "localhost", "::1")

_SECRET_PLACE = re.compile(r"(query|header)\.\S+")
_SECRET_FROM = re.compile(r"key|env:[A-Za-z_][A-Za-z0-9_]*|file:.+")
_BLANK_NAME = re.compile(r"[a-z][a-z0-9_]*")
_NAIVE = ("iso", "interval")


def findings(sheet: Sheet) -> Iterator[Finding]:
    """Every fault of a sheet whose keys and types are right."""
    if sheet.id == RECORD:
        yield Finding(("feed", "id"), "reserved-id", "The id record is taken.", "Give another id.")
    yield from _request(sheet)
    yield from _resolve(sheet)
    yield from _paths(sheet)
    yield from _shape(sheet)
    yield from _time(sheet)
    if "precip" not in sheet.vars:
        yield Finding(
            ("vars",), "missing-key", "There is no [vars.precip].", "Say where the rain is."
        )
    for name, var in sheet.vars.items():
        yield from variable(name, var, sheet)
    yield from percentiles(sheet)
    yield from _members(sheet)
    yield from values(sheet)


def _request(sheet: Sheet) -> Iterator[Finding]:
    request = sheet.request
    resolved = [name for part in sheet.resolve for name in part.take]
    yield from _address(("request", "url"), request.url, resolved)
    templates: list[tuple[Path, str]] = [
        (("request", "params", k), v) for k, v in request.params.items() if isinstance(v, str)
    ]
    templates += [(("request", "headers", k), v) for k, v in request.headers.items()]
    for path, text in templates:
        yield from _template(path, text, resolved)
    asks_dates = any(
        f"{{{d}}}" in t for d in DATES for t in (request.url, *dict(templates).values())
    )
    if request.kind == "archive" and not asks_dates:
        yield Finding(
            ("request", "kind"),
            "missing-key",
            "An archive is asked for days, and no part of the request names them.",
            "Use {from_date} and {to_date} in params.",
        )
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


def _address(at: Path, url: str, resolved: Collection[str]) -> Iterator[Finding]:
    """An address is https, or begins with a blank that another answer fills in."""
    yield from _template(at, url, resolved)
    if any(url.startswith(f"{{{name}}}") for name in resolved):
        return
    try:
        parts = urlsplit(url)
        host = parts.hostname
    except ValueError:
        host = None
    plain = host is not None and parts.scheme == "http" and host in LOOPBACK
    if not (host and (parts.scheme == "https" or plain)):
        yield Finding(
            at,
            "bad-url",
            "The address does not begin with https:// and a host.",
            "Use https; http is for a server on this machine.",
        )


def _template(at: Path, text: str, resolved: Collection[str]) -> Iterator[Finding]:
    fault = template_fault(text, resolved)
    if fault:
        yield Finding(at, "bad-blank", fault, "Use {lat:.4f} and its like.")


def _resolve(sheet: Sheet) -> Iterator[Finding]:
    before: list[str] = []
    for i, part in enumerate(sheet.resolve):
        yield from _address(("resolve", i, "url"), part.url, before)
        for name, path in part.take.items():
            at: Path = ("resolve", i, "take", name)
            yield from path_findings(at, path, series=False)
            if not _BLANK_NAME.fullmatch(name) or name in BLANKS or name in before:
                yield Finding(
                    at,
                    "bad-blank",
                    f"{name!r} cannot be the name of a blank, or is one already.",
                    "Give a name of small letters, such as grid_url.",
                )
            before.append(name)
    if isinstance(sheet.run.issued, IssuedPart):
        yield from _address(("run", "issued", "url"), sheet.run.issued.url, before)


def _paths(sheet: Sheet) -> Iterator[Finding]:
    shape, time, issued = sheet.shape, sheet.time, sheet.run.issued
    plain: list[tuple[Path, str | None]] = [
        (("errors", "flag"), sheet.errors.flag),
        (("errors", "reason"), sheet.errors.reason),
        (("time", "offset_path"), time.offset_path),
        (("shape", "root"), shape.root),
        # The records of a list may be gathered from several: each has its own stamp.
        (("shape", "records"), shape.records),
        (("shape", "each"), shape.each),
        (("shape", "run_start"), shape.run_start),
        *((("place", key), path) for key, path in sheet.place.model_dump().items()),
    ]
    if isinstance(issued, IssuedPart):
        plain.append((("run", "issued", "path"), issued.path))
    elif issued and not issued.startswith("header:"):
        plain.append((("run", "issued"), issued))
    series: list[tuple[Path, str | None]] = [
        (("time", "path"), time.path),
        (("time", "start_path"), time.start_path),
        (("shape", "interval"), shape.interval),
        (("shape", "value"), shape.value),
    ]
    for at, text in plain:
        if text is not None:
            yield from path_findings(at, text, series=False)
    for at, text in series:
        if text is not None:
            yield from path_findings(at, text, series=True)


def _shape(sheet: Sheet) -> Iterator[Finding]:
    kind = sheet.shape.kind
    if kind == "rows" and sheet.shape.records is None:
        yield Finding(
            ("shape",),
            "missing-key",
            "The answer is rows, and where their list stands is not said.",
            'Give records, for example records = "hours".',
        )
    if kind != "intervals" and sheet.time.path is None:
        yield Finding(
            ("time",),
            "missing-key",
            "Where the stamps stand is not said.",
            'Give path, for example path = "time".',
        )


def _time(sheet: Sheet) -> Iterator[Finding]:
    time = sheet.time
    naive = time.format in _NAIVE or (
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


def _members(sheet: Sheet) -> Iterator[Finding]:
    if sheet.members is None:
        return
    if sheet.shape.kind != "columns":
        yield Finding(
            ("members",),
            "bad-value",
            f"Members are read from columns, and the answer is {sheet.shape.kind}.",
            "Take [members] out, or read an answer of columns.",
        )
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
        for path in var.sources:
            if not path.startswith(sheet.members.parent + "."):
                yield Finding(
                    ("vars", name, "path"),
                    "bad-path",
                    f"{path!r} is not under {sheet.members.parent}, where the members are.",
                    f"Begin it with {sheet.members.parent}.",
                )
