"""Asking a warning service once: its index or its features, and each message it newly lists.

Nothing is stored here: the caller keeps `memory`, a flat JSON object, across restarts, and
asks again at its `next_try_at`. A message is fetched once; one that could not be read is
tried three times, and stays a trouble while it is listed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from monitor import __version__
from monitor.domain import Site, WarningsFrom
from monitor.feeds.cap import MOST_BYTES as MOST_MESSAGE_BYTES
from monitor.feeds.cap import read_cap
from monitor.feeds.cap_area import lies_elsewhere, site_area
from monitor.feeds.cap_fields import Refused
from monitor.feeds.cap_geojson import MOST_BYTES as MOST_FEATURES_BYTES
from monitor.feeds.cap_geojson import read_geojson
from monitor.feeds.cap_index import MOST_BYTES as MOST_INDEX_BYTES
from monitor.feeds.cap_index import Listed, read_index, why_not_followed, why_not_moved
from monitor.feeds.exchange import Answer, Broken, Limits, exchange
from monitor.feeds.line import Lines
from monitor.feeds.request import APP, Asked, host_of
from monitor.feeds.waiting import CONFIG_FAULT_S, back_off, retry_after, until_fresh
from monitor.planning.official import OfficialWarning
from monitor.units import SECONDS_PER_MINUTE

INDEX_S, MESSAGE_S = 25.0, 15.0
MOST_TIME = timedelta(seconds=60)
"""So long one asking may take in all; what is left is fetched the next time."""
MORE_AFTER_S = 60.0
"""Until the rest of a long index is fetched [s]."""
TRIES = 3
_JITTER_S = 20.0
_LONGEST_OVER_POLL = 2.0
"""An answer that wants to be kept for longer than this many polls is asked for all the same:
a warning is worth more than a spared request.
"""

_ACCEPTS = {
    "cap": "application/atom+xml, application/rss+xml, application/cap+xml, application/xml, "
    "text/xml;q=0.9, */*;q=0.1",
    "geojson": "application/geo+json, application/json;q=0.9",
    "message": "application/cap+xml, application/xml;q=0.9, text/xml;q=0.9, */*;q=0.1",
}


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it came: every warning in it, and its bytes."""

    warnings: tuple[OfficialWarning, ...]
    raw: bytes


@dataclass(frozen=True, slots=True)
class Gathered:
    """What came of asking. `ok`: all that the service lists has been read, now or before."""

    ok: bool
    says: str
    at: datetime
    memory: dict[str, Any]
    messages: tuple[Message, ...] = ()
    faulty: bool = False
    """Something failed; not `ok` without it is a long index that is still being read."""


@dataclass(slots=True)
class _Asking:
    source: WarningsFrom
    site: Site
    memory: Mapping[str, Any]
    now: Callable[[], datetime]
    jitter: float
    lines: Lines | None
    faults: list[str] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)
    left: int = 0
    """Messages that are listed and not fetched yet"""
    wait_s: float = 0.0

    def ask(self, url: str, accepts: str, limits: Limits, conditions: dict[str, str]) -> Answer:
        about = f" {self.source.contact}" if self.source.contact else ""
        headers = {"User-Agent": f"{APP}/{__version__}{about}", "Accept": _ACCEPTS[accepts]}
        why = why_not_followed if accepts == "message" else why_not_moved
        asked = Asked(url, (), headers, (), lambda there: why(there, self.source.url))
        return exchange(asked, conditions, limits, lines=self.lines)

    @property
    def stopped(self) -> bool:
        return self.lines is not None and self.lines.cut_off


def gather(
    source: WarningsFrom,
    site: Site,
    memory: Mapping[str, Any],
    *,
    now: Callable[[], datetime],
    jitter: float = 0.0,
    lines: Lines | None = None,
) -> Gathered | None:
    """Ask a service once. Never raises for anything the network or the server does.

    `jitter` is a share (0 to 1, drawn by the caller) of a little more waiting; `lines` can
    end it from another thread, and then there is no result.
    """
    digest = asked_as(source)
    if memory.get("asked") != digest:
        memory = {"asked": digest, "failures": memory.get("failures", 0)}
    asking = _Asking(source, site, memory, now, jitter, lines)
    most = MOST_INDEX_BYTES if source.form == "cap" else MOST_FEATURES_BYTES
    try:
        answer = asking.ask(source.url, source.form, Limits(INDEX_S, most), _conditions(memory))
    except Broken as fault:
        if asking.stopped:
            return None
        needs_person = fault.fault in ("redirect", "request")
        return _failed(asking, fault.says, CONFIG_FAULT_S if needs_person else 0.0)
    if answer.status == 304 and _conditions(memory):
        return _good(asking, answer, dict(memory))
    if answer.status != 200:
        return _turned_down(asking, answer)
    try:
        kept = _taken(asking, answer)
    except Refused as fault:
        return _failed(asking, f"The answer of {host_of(source.url)} was not used: {fault.says}.")
    if asking.stopped:
        return None
    return _good(asking, answer, kept)


def asked_as(source: WarningsFrom) -> str:
    """Changes when what was remembered of a service no longer is about what is asked."""
    return _digest(f"{source.url} {source.form} {source.language}")


def _conditions(memory: Mapping[str, Any]) -> dict[str, str]:
    """Only something newer is asked for, if all that there was has been read."""
    if not memory.get("whole"):
        return {}
    if memory.get("etag"):
        return {"If-None-Match": str(memory["etag"])}
    if memory.get("last_modified"):
        return {"If-Modified-Since": str(memory["last_modified"])}
    return {}


def _taken(asking: _Asking, answer: Answer) -> dict[str, Any]:
    """Take in what the service lists; returns what is to be remembered of its links."""
    source = asking.source
    if source.form == "geojson":
        warnings, faults = read_geojson(answer.body, source.name)
        asking.messages += [Message((warning,), answer.body) for warning in warnings]
        asking.faults += faults
        return {}
    index = read_index(answer.body, source.url, source.name, source.language)
    asking.faults += index.faults
    for entry in index.entries:
        if entry.inside:
            asking.messages.append(Message(entry.inside, answer.body))
    return _followed(asking, [entry for entry in index.entries if not entry.inside])


def _followed(asking: _Asking, entries: list[Listed]) -> dict[str, Any]:
    """Fetch the messages that are new; remember which links need not be followed again."""
    seen: set[str] = set(asking.memory.get("seen", ()))
    tries: dict[str, int] = dict(asking.memory.get("tries", {}))
    ends_at = asking.now() + MOST_TIME
    listed = {_mark(entry): entry for entry in entries}
    for mark, entry in listed.items():
        if mark in seen or _need_not_be_read(asking, entry):
            continue
        if tries.get(mark, 0) >= TRIES:
            asking.faults.append(f"a message at {host_of(entry.link)} cannot be read")
        elif asking.stopped or asking.now() >= ends_at or asking.wait_s:
            asking.left += 1
        elif _fetched(asking, entry):
            seen.add(mark)
        else:
            tries[mark] = tries.get(mark, 0) + 1
    return {
        "seen": sorted(seen & listed.keys()),
        "tries": {mark: n for mark, n in tries.items() if mark in listed and mark not in seen},
    }


def _need_not_be_read(asking: _Asking, entry: Listed) -> bool:
    """Over, or elsewhere without doubt, by the entry itself; only where it is a first word."""
    if not entry.first:
        return False
    if entry.expires is not None and entry.expires <= asking.now():
        return True
    ours = site_area(asking.source, asking.site)
    return entry.area is not None and lies_elsewhere(entry.area, asking.site, ours)


def _fetched(asking: _Asking, entry: Listed) -> bool:
    host = host_of(entry.link)
    try:
        answer = asking.ask(entry.link, "message", Limits(MESSAGE_S, MOST_MESSAGE_BYTES), {})
        if answer.status == 429:
            asking.wait_s = retry_after(answer.headers, asking.now()) or back_off(1)
        if answer.status != 200:
            asking.faults.append(f"a message at {host} was answered with {answer.status}")
            return False
        warnings = read_cap(answer.body, asking.source.name, asking.source.language)
    except Broken as fault:
        asking.faults.append(fault.says.rstrip("."))
        return False
    except Refused as fault:
        asking.faults.append(f"a message at {host} was not used: {fault.says}")
        return False
    asking.messages.append(Message(warnings, answer.body))
    return True


def _good(asking: _Asking, answer: Answer, kept: dict[str, Any]) -> Gathered:
    """The service answered; whether all it lists could be read is told by `ok`."""
    at = asking.now()
    poll_s = asking.source.poll_minutes * SECONDS_PER_MINUTE
    whole = not asking.faults and not asking.left
    failures = int(asking.memory.get("failures", 0)) + 1 if asking.faults else 0
    wait_s = min(
        until_fresh(answer.headers.get("Expires"), poll_s, at), poll_s * _LONGEST_OVER_POLL
    )
    if asking.left:
        wait_s = min(poll_s, MORE_AFTER_S)
    elif asking.faults:
        wait_s = min(poll_s, back_off(failures))
    memory = {
        **kept,
        "asked": asking.memory.get("asked"),
        "failures": failures,
        "whole": whole,
        "etag": answer.headers.get("ETag") or (kept.get("etag") if answer.status == 304 else None),
        "last_modified": answer.headers.get("Last-Modified")
        or (kept.get("last_modified") if answer.status == 304 else None),
        "next_try_at": _next(asking, at, max(wait_s, asking.wait_s)),
    }
    host = host_of(asking.source.url)
    says = f"{host} was read: {_counted(len(asking.messages))} in its answer."
    if answer.status == 304:
        says = f"{host} has nothing newer."
    if asking.left:
        says += f" {_counted(asking.left)} more to be fetched."
    if asking.faults:
        first, more = asking.faults[0], len(asking.faults) - 1
        says += f" Not all could be read: {first}{f', and {more} more' if more else ''}."
    return Gathered(whole, says, at, memory, tuple(asking.messages), faulty=bool(asking.faults))


def _turned_down(asking: _Asking, answer: Answer) -> Gathered:
    host, status = host_of(asking.source.url), answer.status
    stated = retry_after(answer.headers, asking.now()) or 0.0
    if status == 429:
        return _failed(asking, f"{host} asks for fewer requests.", stated)
    if 400 <= status < 500 and status != 408:
        says = f"{host} turns the request down ({status}): check url and contact in [[warnings]]."
        return _failed(asking, says, max(stated, CONFIG_FAULT_S))
    return _failed(asking, f"{host} is out of order ({status}).", stated)


def _failed(asking: _Asking, says: str, least_s: float = 0.0) -> Gathered:
    at = asking.now()
    failures = int(asking.memory.get("failures", 0)) + 1
    next_try = _next(asking, at, max(back_off(failures), least_s))
    memory = {**asking.memory, "failures": failures, "next_try_at": next_try}
    return Gathered(ok=False, says=says, at=at, memory=memory, faulty=True)


def _next(asking: _Asking, at: datetime, wait_s: float) -> str:
    return (at + timedelta(seconds=wait_s + asking.jitter * _JITTER_S)).isoformat()


def _counted(messages: int) -> str:
    return "1 message" if messages == 1 else f"{messages} messages"


def _mark(entry: Listed) -> str:
    return _digest(f"{entry.link} {entry.stamp}")[:20]


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()
