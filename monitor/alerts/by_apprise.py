"""Sends one message through the library Apprise: text messages, chat, push.

The address of a target holds its keys, so it is a secret reference like any other, and one
target is one row of the outbox. The library answers yes or no and puts the why into its log
together with parts of the address; what it logged is read here and told without them.
"""

from __future__ import annotations

import importlib.util
import logging
import queue
import re
import threading
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from monitor.alerts.by_email import is_loopback
from monitor.alerts.statuses import lasts
from monitor.alerts.words import one_line
from monitor.domain import Outcome

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from monitor.domain import Contact, Message

LIBRARY = "apprise"
DEADLINE_S = 45.0
"""For one attempt [s]; under the outbox lease. The library's own limits count each answer anew."""

PIECES_AT_MOST = 3
"""A service with a limit gets the whole text in so many pieces, else the radio line."""

_STATUS = re.compile(r"\berror=(\d{3})\b")
_PARTS = re.compile(r"[/:@?&=#,+;\s]+")
_LIKE_A_KEY = re.compile(r"[A-Za-z0-9+/_-]{16,}={0,2}")
_SHORTEST_PART = 3
_URGENT = frozenset({"start", "overdue", "stop"})

_loading = threading.Lock()


@dataclass(frozen=True, slots=True)
class Target:
    """What the library makes of an address."""

    service: str
    targets: int
    """How many it tells: one failing has all of them told again."""
    encrypted_as: str | None
    """How to begin it where it would send in the open; None where it does not."""


def installed() -> bool:
    """Whether the library is there."""
    return importlib.util.find_spec(LIBRARY) is not None


def look(url: str) -> Target | None:
    """What an address is, without calling it; None where the library cannot read it."""
    plugin = _plugin(url)
    if plugin is None:
        return None
    schema = url.partition(":")[0].strip().lower()
    closed = _names(plugin.secure_protocol)
    open_air = (
        not plugin.secure
        and schema in _names(plugin.protocol)
        and not is_loopback(str(plugin.host or ""))
    )
    return Target(
        service=str(plugin.service_name),
        targets=max(1, len(plugin)),
        encrypted_as=closed[0] if open_air and closed else None,
    )


def send(
    message: Message,
    contact: Contact,
    recipient: str,
    row_id: str,  # noqa: ARG001 - the library carries no id: a repeat may show twice
    *,
    secret: str | None,
    now: datetime,  # noqa: ARG001
) -> Outcome:
    """One attempt; `recipient` is the reference of the target, `secret` its address."""
    if not installed():
        return _lasting(f"contact {contact.name} needs the library {LIBRARY}: it is not installed")
    if not secret or recipient not in contact.to:
        return _lasting(f"contact {contact.name} has no such target")
    plugin = _plugin(secret)
    if plugin is None:
        return _lasting(f"the url of contact {contact.name} is none that {LIBRARY} can read")
    title, body = _words(message, contact, plugin)
    service = str(plugin.service_name)
    said = _within(DEADLINE_S, lambda: _notify(plugin, title, body, message))
    if said is None:
        return Outcome(sent=False, detail=f"{service} did not answer within {DEADLINE_S:.0f} s")
    sent, lines = said
    if sent:
        return Outcome(sent=True, detail=f"accepted by {service}")
    statuses = [int(code) for line in lines for code in _STATUS.findall(line)]
    why = masked(lines[-1], secret) if lines else "it gives no reason"
    return Outcome(
        sent=False,
        lasting=bool(statuses) and all(lasts(status) for status in statuses),
        detail=f"{service}: {why}",
    )


def masked(text: str, url: str) -> str:
    """One short line without any part of the address, however it was written."""
    _, _, rest = url.partition("://")
    parts = {part for part in _PARTS.split(rest) if len(part) >= _SHORTEST_PART}
    parts |= {unquote(part) for part in parts}
    line = one_line(text)
    for part in sorted(parts, key=len, reverse=True):
        line = line.replace(part, "***")
    return _LIKE_A_KEY.sub("***", line)[:200]


def _words(message: Message, contact: Contact, plugin: Any) -> tuple[str, str]:
    """Title and body: the whole text where it can be read in one go, else the radio line."""
    if contact.short:
        return "", message.radio
    longest = int(plugin.body_maxlen or 0)
    one_liner = int(plugin.body_max_line_count or 0) > 0
    if one_liner or 0 < longest * PIECES_AT_MOST < len(message.text):
        # What is told with it may have no room in its radio line: then by lines of their own.
        others = [str(other["radio"]) for other in message.data.get("then", ()) if "radio" in other]
        return "", (" " if one_liner else "\n").join([message.radio, *others])
    # Where there is no field for a title, the first line of the text says it already.
    return (message.subject if plugin.title_maxlen > 0 else ""), message.text


def _plugin(url: str) -> Any | None:
    """The library's own sender, held to our rules whatever its address asks for."""
    with _loading, warnings.catch_warnings():
        # Its first use loads every service it knows, some of them with warnings of their own.
        warnings.simplefilter("ignore")
        import apprise  # noqa: PLC0415 - an extra, and slow to load

        log = logging.getLogger(LIBRARY)
        if log.propagate:
            # What it says of an address it cannot read would go to standard error, keys and all.
            log.addHandler(logging.NullHandler())
            log.propagate = False
        plugin: Any = apprise.Apprise.instantiate(url, asset=_asset(apprise))
    if plugin is None:
        return None
    plugin.optional = False  # else a failure would be reported as sent
    plugin.retry = 0  # the outbox tries again
    plugin.redirects = False
    plugin.verify_certificate = True
    plugin.overflow_mode = apprise.OverflowMode.SPLIT
    return plugin


def _asset(apprise: Any) -> Any:
    return apprise.AppriseAsset(
        app_id="Dryspell",
        app_desc="Weather monitor",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        http_redirects=False,
        async_mode=False,
        # No limit of its own: it would hand the work to a thread that holds up our stop.
        service_timeout=0,
    )


def _notify(plugin: Any, title: str, body: str, message: Message) -> tuple[bool, list[str]]:
    import apprise  # noqa: PLC0415

    sender = apprise.Apprise(asset=plugin.asset)
    sender.add(plugin)
    result = sender.notify(
        body=body,
        title=title,
        notify_type=(
            apprise.NotifyType.WARNING if message.stage in _URGENT else apprise.NotifyType.INFO
        ),
        body_format=apprise.NotifyFormat.TEXT,
    )
    lines = [entry.message for each in result for entry in each.logs()]
    return bool(result), lines or [entry.message for entry in result.call_logs()]


def _within(
    seconds: float, work: Callable[[], tuple[bool, list[str]]]
) -> tuple[bool, list[str]] | None:
    """What the work says, or None when it takes longer: then it is left to itself."""
    said: queue.SimpleQueue[tuple[bool, list[str]] | Exception] = queue.SimpleQueue()

    def run() -> None:
        try:
            said.put(work())
        except Exception as fault:  # noqa: BLE001 - raised again below
            said.put(fault)

    threading.Thread(target=run, name="by-apprise", daemon=True).start()
    try:
        answer = said.get(timeout=seconds)
    except queue.Empty:
        return None
    if isinstance(answer, Exception):
        raise answer
    return answer


def _names(protocol: Any) -> tuple[str, ...]:
    """The library gives one name, several, or none."""
    if not protocol:
        return ()
    return (protocol,) if isinstance(protocol, str) else tuple(protocol)


def _lasting(detail: str) -> Outcome:
    return Outcome(sent=False, lasting=True, detail=detail)
