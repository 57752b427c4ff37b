"""Asking a weather service once: what came of it, and when to ask again.

Nothing is waited for here and nothing is stored: the caller keeps `memory`, a JSON object,
for each feed and site across restarts, and asks again at `next_try_at`.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.feeds.exchange import Answer, Broken, Limits, exchange
from monitor.feeds.issue import issue_time
from monitor.feeds.notices import age_s, not_told_today, notices, skew_s
from monitor.feeds.request import Asked, Asker, Unaskable, first_url, host_of
from monitor.feeds.resolve import Resolved, Unresolved, resolve
from monitor.feeds.verdict import Kind, Verdict, excerpt, sha256, verdict
from monitor.feeds.waiting import (
    CONFIG_FAULT_S,
    WIDE_S,
    back_off,
    kept_moment,
    retry_after,
    until_fresh,
    until_limit_clears,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import requests

    from monitor.domain import Feed, Site
    from monitor.feeds.line import Lines
    from monitor.feeds.sheet_parts import Sheet

_TOO_FAR = timedelta(hours=25)
"""No wait is this long: a next try further ahead was set by a clock that has been put back."""
_KEPT_HEADERS = ("ETag", "Last-Modified", "Expires", "Date", "Content-Type", "Retry-After")
_ANOTHER_ACCEPT = "application/json;q=0.9, */*;q=0.5"
"""What a cache on the way has not answered yet."""
_GONE = (301, 308, 400, 404, 410)


@dataclass(frozen=True, slots=True)
class Fetched:
    """What came of asking.

    `new` has a body to decode. `unchanged` (a 304, or the same body again) is contact and
    not a newer forecast. `passing` mends itself, `config-fault` needs a person, `throttled`
    asks for patience. `says` is for the operator and holds no key and no address but the
    host; `fault` is its short name, which never changes (`stopped`: it was ended from here).
    `issued` is when the forecast was issued, where another address says so.
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
    """What the server says beside it, each once a day."""
    host: str = ""
    issued: datetime | None = None


@dataclass(frozen=True, slots=True)
class _Asking:
    """Everything that stays the same while one feed is asked once."""

    asker: Asker
    memory: Mapping[str, Any]
    now: Callable[[], datetime]
    jitter: float
    session: requests.Session | None = None
    lines: Lines | None = None

    @property
    def sheet(self) -> Sheet:
        return self.asker.sheet

    def poll_s(self, at: datetime) -> float:
        minutes = self.asker.feed.poll_minutes
        poll = self.sheet.request.poll if minutes is None else minutes * 60.0
        wide_until = kept_moment(self.memory.get("wide_until"))
        return poll * 2 if wide_until is not None and at < wide_until else poll

    def next_try(self, at: datetime, wait_s: float) -> datetime:
        return at + timedelta(seconds=wait_s + self.jitter * self.sheet.request.jitter)

    def heard(
        self,
        request: Asked,
        conditions: Mapping[str, str] | None = None,
        last_sha256: str | None = None,
    ) -> tuple[Verdict, Answer | None]:
        """Ask, and what the answer amounts to."""
        limits = Limits(self.sheet.request.deadline, self.sheet.request.max_bytes)
        try:
            answer = exchange(request, conditions or {}, limits, self.session, self.lines)
        except Broken as fault:
            needs_person = fault.fault in ("redirect", "request")
            kind: Kind = "config-fault" if needs_person else "passing"
            return Verdict(kind, fault.says, fault.fault), None
        judged = verdict(
            self.sheet, request, answer, conditional=bool(conditions), last_sha256=last_sha256
        )
        return judged, answer


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
    lines: Lines | None = None,
    days: tuple[date, date] | None = None,
) -> Fetched:
    """Ask a feed once. Never raises for anything the network or the server does.

    `secret` reads a reference such as `env:NAME`; `jitter` is the share (0 to 1, drawn by
    the caller) of the sheet's jitter that is put on top of the wait. `lines` can end it from
    another thread. `days`: the first and the last to ask for, where the sheet has blanks for
    them; else from today, UTC, for as long as the sheet says.
    """
    if days is None:
        today = now().astimezone(UTC).date()
        days = (today, today + timedelta(days=sheet.request.days))
    asker = Asker(sheet, site, feed, secret, days)
    asking = _Asking(asker, memory, now, jitter, session, lines)
    try:
        return _fetched(asking)
    except Unaskable as fault:
        judged = Verdict("config-fault", f"{sheet.id}: {fault.says}", "request")
        return _failed(asking, judged, host_of(feed.base_url or first_url(sheet)))


def due(memory: Mapping[str, Any], now: datetime) -> bool:
    """Whether a feed may be asked, by what was kept from the last time."""
    at = kept_moment(memory.get("next_try_at"))
    return at is None or at <= now or at - now > _TOO_FAR


def is_patient(memory: Mapping[str, Any], now: datetime) -> bool:
    """Whether the server has asked to be left alone until later than this."""
    until = kept_moment(memory.get("throttled_until"))
    return until is not None and timedelta(0) < until - now <= _TOO_FAR


def turned_down(fetched: Fetched, sheet: Sheet, detail: str, *, jitter: float = 0.0) -> Fetched:
    """The same fetch after its body could not be used: a failure like any other.

    What would make the server answer "unchanged" next time is forgotten, since there is
    nothing good that it could be unchanged from.
    """
    memory = {
        k: v for k, v in fetched.memory.items() if k not in ("etag", "last_modified", "body_sha256")
    }
    failures = int(memory.get("failures_before", 0)) + 1
    wait_s = back_off(failures) + jitter * sheet.request.jitter
    next_try_at = fetched.at + timedelta(seconds=wait_s)
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


def _fetched(asking: _Asking) -> Fetched:
    try:
        resolved = _resolved(asking)
    except Unresolved as fault:
        return _judged(asking, fault.request, fault.answer, fault.judged)
    asking, outcome = _asked(asking, resolved)
    if outcome.status in _GONE and resolved.from_memory:
        # The place may have been given another address since that was found out.
        asking = replace(asking, memory={**asking.memory, "resolved": {}})
        try:
            resolved = _resolved(asking)
        except Unresolved:
            return outcome
        asking, outcome = _asked(asking, resolved)
    return _with_issue_time(asking, resolved, outcome)


def _resolved(asking: _Asking) -> Resolved:
    kept = asking.memory.get("resolved")
    return resolve(
        asking.sheet.resolve,
        kept if isinstance(kept, dict) else {},
        asking.now,
        asking.asker.beside,
        asking.heard,
    )


def _asked(asking: _Asking, resolved: Resolved) -> tuple[_Asking, Fetched]:
    """The forecast's own request, once more where its body breaks off or a cache is stuck."""
    memory = asking.memory
    request = asking.asker.forecast(resolved.taken)
    known = dict(memory) if memory.get("place") == _digest(request.place) else {}
    kept = {**known, **_patience(memory), "resolved": dict(resolved.kept)}
    asking = replace(asking, memory=kept)
    outcome = _ask(asking, request)
    if outcome.fault in ("cut", "not-json"):
        # A body that broke off is mostly an accident of the moment: once more, then patience.
        outcome = _ask(asking, request)
    return asking, outcome


def _ask(asking: _Asking, request: Asked) -> Fetched:
    conditions = _conditions(asking)
    last = asking.memory.get("body_sha256")
    judged, answer = asking.heard(request, conditions, last)
    if judged.kind == "unchanged" and answer and age_s(answer) >= asking.poll_s(asking.now()):
        # An old copy from a cache on the way: once past it.
        past = replace(request, headers={**request.headers, "Accept": _ANOTHER_ACCEPT})
        again, fresh = asking.heard(past, None, last)
        if again.kind == "new":
            judged, answer = again, fresh
    return _judged(asking, request, answer, judged)


def _judged(asking: _Asking, request: Asked, answer: Answer | None, judged: Verdict) -> Fetched:
    """What came of it, with all that the answer says beside the forecast."""
    if judged.fault or answer is None:
        outcome = _failed(asking, judged, request.host, answer)
    else:
        outcome = _good(asking, request, answer, judged)
    if answer is None:
        return outcome
    found = notices(asking.sheet, request.host, answer, outcome.at)
    due_now, noticed = not_told_today(found, asking.memory.get("noticed"), outcome.at)
    memory = {**outcome.memory, "noticed": noticed}
    skew = skew_s(answer, outcome.at)
    if skew is not None:
        memory |= {"skew_s": skew, "skew_at": outcome.at.isoformat()}
    return replace(
        outcome,
        status=answer.status,
        memory=memory,
        headers={k: answer.headers[k] for k in _KEPT_HEADERS if k in answer.headers},
        excerpt=excerpt(request, answer) if judged.fault else "",
        warnings=due_now,
    )


def _with_issue_time(asking: _Asking, resolved: Resolved, outcome: Fetched) -> Fetched:
    """The issue time from an address of its own; without it the forecast is as good."""
    issued = asking.sheet.run.issued
    if outcome.kind != "new" or issued is None or isinstance(issued, str):
        return outcome
    request = asking.asker.beside(issued.url, resolved.taken)
    kept = outcome.memory.get("issue")
    known, zone = kept if isinstance(kept, dict) else {}, asking.sheet.time.zone
    stated, keep = issue_time(issued.path, request, known, asking.heard, zone)
    return replace(outcome, issued=stated, memory={**outcome.memory, "issue": keep})


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
    memory.pop("throttled_until", None)
    return Fetched(judged.kind, judged.says, at, next_try_at, memory, body, host=request.host)


def _failed(asking: _Asking, judged: Verdict, host: str, answer: Answer | None = None) -> Fetched:
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
    if judged.kind == "throttled" or stated:
        memory["throttled_until"] = memory["next_try_at"]
    return Fetched(
        judged.kind,
        says,
        at,
        next_try_at,
        memory,
        retry_after_s=stated,
        fault=judged.fault,
        host=host,
    )


def _patience(memory: Mapping[str, Any]) -> dict[str, Any]:
    """What stays true when the site or the address changes: how much the server has had."""
    kept = ("failures", "wide_until", "throttled_until", "noticed")
    return {k: memory[k] for k in kept if k in memory}


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
