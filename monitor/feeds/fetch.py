"""Asking a weather service once: what came of it, and when to ask again.

Nothing is waited for here and nothing is stored: the caller keeps `memory`, a flat JSON
object, for each feed and site across restarts, and asks again at `next_try_at`.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.feeds.exchange import Answer, Broken, Limits, exchange
from monitor.feeds.request import Asked, Unaskable, asked
from monitor.feeds.verdict import Kind, Verdict, excerpt, sha256, verdict
from monitor.feeds.waiting import (
    CONFIG_FAULT_S,
    WIDE_S,
    back_off,
    http_date,
    retry_after,
    until_fresh,
    until_limit_clears,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import requests

    from monitor.domain import Feed, Site
    from monitor.feeds.sheet_parts import Sheet

_SKEW_S = 60.0
_TOO_FAR = timedelta(hours=25)
"""No wait is this long: a next try further ahead was set by a clock that has been put back."""
_KEPT_HEADERS = ("ETag", "Last-Modified", "Expires", "Date", "Content-Type", "Retry-After")


@dataclass(frozen=True, slots=True)
class Fetched:
    """What came of asking.

    `new` has a body to decode. `unchanged` (a 304, or the same body again) is contact and
    not a newer forecast. `passing` mends itself, `config-fault` needs a person, `throttled`
    asks for patience. `says` is for the operator and holds no key and no address but the
    host; `fault` is its short name, which never changes.
    """

    kind: Kind
    says: str
    at: datetime
    next_try_at: datetime
    memory: dict[str, Any]
    body: bytes | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    retry_after_s: float | None = None
    fault: str | None = None
    status: int | None = None
    excerpt: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Asking:
    """Everything that stays the same while one feed is asked once."""

    sheet: Sheet
    feed: Feed
    memory: Mapping[str, Any]
    now: Callable[[], datetime]
    jitter: float

    def poll_s(self, at: datetime) -> float:
        minutes = self.feed.poll_minutes
        poll = self.sheet.request.poll if minutes is None else minutes * 60.0
        wide_until = _moment(self.memory.get("wide_until"))
        return poll * 2 if wide_until is not None and at < wide_until else poll

    def next_try(self, at: datetime, wait_s: float) -> datetime:
        return at + timedelta(seconds=wait_s + self.jitter * self.sheet.request.jitter)


def fetch(
    sheet: Sheet,
    site: Site,
    feed: Feed,
    memory: Mapping[str, Any],
    *,
    secret: Callable[[str], str],
    now: Callable[[], datetime],
    session: requests.Session | None = None,
    jitter: float = 0.0,
) -> Fetched:
    """Ask a feed once. Never raises for anything the network or the server does.

    `secret` reads a reference such as `env:NAME`; `jitter` is the share (0 to 1, drawn by
    the caller) of the sheet's jitter that is put on top of the wait.
    """
    asking = _Asking(sheet, feed, memory, now, jitter)
    try:
        request = asked(sheet, site, feed, secret)
    except Unaskable as fault:
        return _failed(asking, Verdict("config-fault", f"{sheet.id}: {fault.says}", "request"))
    known = dict(memory) if memory.get("place") == _digest(request.place) else {}
    asking = replace(asking, memory={**known, **_patience(memory)})
    limits = Limits(sheet.request.deadline, sheet.request.max_bytes)
    outcome = _ask(asking, request, limits, session)
    if outcome.fault in ("cut", "not-json"):
        # A body that broke off is mostly an accident of the moment: once more, then patience.
        outcome = _ask(asking, request, limits, session)
    return outcome


def due(memory: Mapping[str, Any], now: datetime) -> bool:
    """Whether a feed may be asked, by what was kept from the last time."""
    at = _moment(memory.get("next_try_at"))
    return at is None or at <= now or at - now > _TOO_FAR


def turned_down(
    fetched: Fetched, sheet: Sheet, feed: Feed, detail: str, *, jitter: float = 0.0
) -> Fetched:
    """The same fetch after its body could not be used: a failure like any other.

    What would make the server answer "unchanged" next time is forgotten, since there is
    nothing good that it could be unchanged from.
    """
    memory = {
        k: v for k, v in fetched.memory.items() if k not in ("etag", "last_modified", "body_sha256")
    }
    failures = int(memory.get("failures_before", 0)) + 1
    asking = _Asking(sheet, feed, memory, lambda: fetched.at, jitter)
    next_try_at = asking.next_try(fetched.at, back_off(failures))
    memory |= {"failures": failures, "next_try_at": next_try_at.isoformat()}
    return replace(
        fetched,
        kind="passing",
        fault="rejected",
        says=f"{sheet.id}: the answer was not used: {detail}.",
        next_try_at=next_try_at,
        memory=memory,
        body=None,
    )


def _ask(
    asking: _Asking, request: Asked, limits: Limits, session: requests.Session | None
) -> Fetched:
    conditions = _conditions(asking)
    try:
        answer = exchange(request, conditions, limits, session)
    except Broken as fault:
        needs_person = fault.fault in ("redirect", "request")
        kind: Kind = "config-fault" if needs_person else "passing"
        return _failed(asking, Verdict(kind, fault.says, fault.fault))
    judged = verdict(
        asking.sheet,
        request,
        answer,
        conditional=bool(conditions),
        last_sha256=asking.memory.get("body_sha256"),
    )
    outcome = (
        _failed(asking, judged, answer) if judged.fault else _good(asking, request, answer, judged)
    )
    return replace(
        outcome,
        status=answer.status,
        headers={k: answer.headers[k] for k in _KEPT_HEADERS if k in answer.headers},
        excerpt=excerpt(request, answer) if judged.fault else "",
        warnings=_warnings(asking, request, answer, outcome.at),
    )


def _conditions(asking: _Asking) -> dict[str, str]:
    wish = asking.sheet.request.conditional
    etag, modified = asking.memory.get("etag"), asking.memory.get("last_modified")
    if wish == "etag" and etag:
        return {"If-None-Match": str(etag)}
    if wish != "none" and modified:
        return {"If-Modified-Since": str(modified)}
    return {}


def _good(asking: _Asking, request: Asked, answer: Answer, judged: Verdict) -> Fetched:
    at = asking.now()
    headers = answer.headers
    expires = headers.get("Expires") if asking.sheet.request.honour_expires else None
    next_try_at = asking.next_try(at, until_fresh(expires, asking.poll_s(at), at))
    memory = {
        **asking.memory,
        "place": _digest(request.place),
        "failures_before": asking.memory.get("failures", 0),
        "failures": 0,
        "contact_at": at.isoformat(),
        "next_try_at": next_try_at.isoformat(),
    }
    body = None
    if answer.status != 304:
        body = answer.body
        memory |= {
            "etag": headers.get("ETag"),
            "last_modified": headers.get("Last-Modified"),
            "body_sha256": sha256(answer),
        }
    if judged.kind == "new":
        memory["new_at"] = at.isoformat()
    return Fetched(judged.kind, judged.says, at, next_try_at, memory, body)


def _failed(asking: _Asking, judged: Verdict, answer: Answer | None = None) -> Fetched:
    at = asking.now()
    failures = int(asking.memory.get("failures", 0)) + 1
    stated = retry_after(answer.headers, at) if answer else None
    memory = {**asking.memory, "failures": failures}
    says = judged.says
    if judged.kind == "throttled":
        memory["wide_until"] = (at + timedelta(seconds=WIDE_S)).isoformat()
        clears = until_limit_clears(judged.reason, asking.sheet.errors.limits, at)
        if clears is not None:
            stated = max(stated or 0.0, clears[1])
            if clears[0] == "day":
                says += " The limit is for the whole day (UTC)."
    least = CONFIG_FAULT_S if judged.kind == "config-fault" else back_off(failures)
    next_try_at = asking.next_try(at, max(stated or 0.0, least))
    memory["next_try_at"] = next_try_at.isoformat()
    return Fetched(
        judged.kind, says, at, next_try_at, memory, retry_after_s=stated, fault=judged.fault
    )


def _warnings(asking: _Asking, request: Asked, answer: Answer, at: datetime) -> tuple[str, ...]:
    host = request.host
    told = []
    if answer.status in asking.sheet.errors.warn:
        told.append(f"{host} marks this service as out of date ({answer.status}).")
    if "Deprecation" in answer.headers or "Sunset" in answer.headers:
        told.append(f"{host} will end this service; look for its successor.")
    if answer.moved:
        told.append(f"{host} has moved for good; the sheet or base_url should follow.")
    date = http_date(answer.headers.get("Date"))
    if date is not None and abs((at - date).total_seconds()) > _SKEW_S:
        told.append(
            f"The clock here and that of {host} differ by {abs((at - date).total_seconds()):.0f} s."
        )
    return tuple(told)


def _patience(memory: Mapping[str, Any]) -> dict[str, Any]:
    """What stays true when the site or the address changes: how much the server has had."""
    return {k: memory[k] for k in ("failures", "wide_until") if k in memory}


def _moment(text: Any) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return moment if moment.tzinfo else None


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
