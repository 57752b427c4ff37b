"""What an answer amounts to: a forecast, nothing newer, or whose fault it is. Pure."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from monitor.feeds.decode import error_reason
from monitor.feeds.paths import found
from monitor.feeds.strict_json import parse_json

if TYPE_CHECKING:
    from monitor.feeds.exchange import Answer
    from monitor.feeds.request import Asked
    from monitor.feeds.sheet_parts import Sheet

Kind = Literal["new", "unchanged", "passing", "config-fault", "throttled"]

_EXCERPT = 300


@dataclass(frozen=True, slots=True)
class Verdict:
    """`says` is for the operator; `fault` is its short name, None where all is well."""

    kind: Kind
    says: str
    fault: str | None = None
    reason: str = ""
    """What the service itself says is wrong."""


def verdict(
    sheet: Sheet, request: Asked, answer: Answer, *, conditional: bool, last_sha256: str | None
) -> Verdict:
    """Judge an answer; `conditional`: it was asked only for something newer."""
    if answer.status == 304 and conditional:
        return Verdict("unchanged", f"{request.host} has nothing newer.")
    parsed: Any = None
    broken = ""
    try:
        parsed = parse_json(answer.body)
    except ValueError as fault:
        broken = str(fault)
    reason = request.masked(error_reason(parsed, sheet) or "")
    if not 200 <= answer.status < 300:
        return _by_status(sheet, request.host, answer.status, reason)
    unfit = _unfit(sheet, request.host, answer, broken)
    if unfit is not None:
        return unfit
    if sheet.errors.flag and found(parsed, sheet.errors.flag):
        because = f": {reason}" if reason else "."
        says = f"{request.host} answered with an error{because}"
        return Verdict("passing", says, "error-answer", reason)
    if last_sha256 == sha256(answer):
        return Verdict("unchanged", f"{request.host} sent the same forecast again.")
    return Verdict("new", f"{request.host} sent a forecast.")


def excerpt(request: Asked, answer: Answer) -> str:
    """The beginning of the body on one line, without any key."""
    # Masked before it is cut: a key over the edge would show in part.
    text = request.masked(answer.body[: 4 * _EXCERPT].decode("utf-8", "replace"))
    printable = "".join(c if c.isprintable() else " " for c in text)
    return request.masked(" ".join(printable.split()))[:_EXCERPT]


def _by_status(sheet: Sheet, host: str, status: int, reason: str) -> Verdict:
    name = f"status-{status}"
    because = f": {reason}" if reason else "."
    if status == 429:
        return Verdict("throttled", f"{host} asks for fewer requests{because}", name, reason)
    client_side = 400 <= status < 500 and status not in sheet.errors.retry
    if status in sheet.errors.config_fault or client_side:
        hint = (
            "Check key, plan and contact in [[feeds]] (some turn down a request without a contact "
            "in its User-Agent, or with more than four decimals of a degree)."
            if status in (401, 403)
            else "The service may have changed or ended: check the sheet and base_url."
        )
        return Verdict(
            "config-fault",
            f"{host} turns the request down ({status}){because} {hint}",
            name,
            reason,
        )
    return Verdict("passing", f"{host} is out of order ({status}){because}", name, reason)


def _unfit(sheet: Sheet, host: str, answer: Answer, broken: str) -> Verdict | None:
    """Something else than the service answered, or only in part."""
    kind = answer.headers.get("Content-Type", "").split(";")[0].strip().lower()
    if kind == "text/html" or answer.body.lstrip()[:1] == b"<":
        return Verdict(
            "passing",
            f"{host} answered with a web page: the network's sign-in page, or a block.",
            "web-page",
        )
    allowed = sheet.request.allow_types
    if allowed and kind and kind not in allowed:
        return Verdict(
            "passing",
            f"{host} answered with {kind[:60]}, which the sheet does not take.",
            "content-type",
        )
    if broken:
        return Verdict("passing", f"The answer of {host} cannot be read: {broken}.", "not-json")
    return None


def sha256(answer: Answer) -> str:
    """The digest by which the same body is known again."""
    return hashlib.sha256(answer.body).hexdigest()
