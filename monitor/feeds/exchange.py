"""One question to a server and its whole answer, within a time and a size. No judgement."""

from __future__ import annotations

import logging
import re
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal
from urllib.parse import urljoin, urlsplit

import requests
from urllib3.exceptions import (
    ConnectTimeoutError,
    DecodeError,
    HTTPError,
    NameResolutionError,
    NewConnectionError,
    ProtocolError,
    ReadTimeoutError,
)

from monitor.feeds.line import Line, LineAdapter, Lines

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.feeds.request import Asked

Fault = Literal[
    "name",
    "refused",
    "timeout",
    "deadline",
    "too-big",
    "cut",
    "certificate",
    "redirect",
    "request",
    "stopped",
]

CONNECT_S, READ_S = 3.05, 20.0
_PAUSES_S = (0.1, 0.5)
_CHUNK = 65536
_MOST_REDIRECTS = 3
_REDIRECTS = (301, 302, 303, 307, 308)
_QUERY = re.compile(r"\?[^\s'\"]+")


class _WithoutQuery(logging.Filter):
    """The library names whole addresses in its warnings; a key in the query must not be read."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.msg, record.args = _QUERY.sub("?...", record.getMessage()), ()
        return True


for _name in ("urllib3.connection", "urllib3.connectionpool", "urllib3.util.retry"):
    logging.getLogger(_name).addFilter(_WithoutQuery())


class Broken(Exception):  # noqa: N818 - the network's doing, told by `fault`
    """No answer, or not all of it; `says` names no more of the address than its host."""

    def __init__(self, fault: Fault, says: str) -> None:
        self.fault = fault
        self.says = says
        super().__init__(says)


@dataclass(frozen=True, slots=True)
class Answer:
    """Status, headers and the unpacked body."""

    status: int
    headers: Mapping[str, str]
    body: bytes
    moved: bool
    """Whether the server said that it has moved for good."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What an answer may cost: its whole time [s] and its unpacked size."""

    deadline_s: float
    max_bytes: int


def exchange(
    asked: Asked,
    conditions: Mapping[str, str],
    limits: Limits,
    session: requests.Session | None = None,
    lines: Lines | None = None,
) -> Answer:
    """Ask, follow at most three redirects, read all; raises Broken.

    `lines` can end it from another thread, wherever it stands.
    """
    lines = lines or Lines()
    own = session is None
    ends_at = time.monotonic() + limits.deadline_s
    with lines.one() as line:
        session = session or one_line_session(line)
        watch = threading.Timer(limits.deadline_s, line.cut)
        watch.daemon = True
        watch.start()
        try:
            answer = _tried(session, asked, conditions, limits, ends_at, line)
        except Broken:
            if lines.cut_off:
                raise _stopped() from None
            if line.cut_off or time.monotonic() >= ends_at:
                raise _too_slow(asked.host, limits) from None
            raise
        finally:
            watch.cancel()
            if own:
                session.close()
        # A body without a stated length ends quietly when it is shut from outside.
        if lines.cut_off:
            raise _stopped()
        if line.cut_off:
            raise _too_slow(asked.host, limits)
    return answer


def _tried(
    session: requests.Session,
    asked: Asked,
    conditions: Mapping[str, str],
    limits: Limits,
    ends_at: float,
    line: Line,
) -> Answer:
    """Two quick tries more where no connection comes about; the rest is for the caller."""
    pauses = list(_PAUSES_S)
    while True:
        try:
            return _answer(session, asked, conditions, limits, ends_at)
        except (requests.RequestException, HTTPError, OSError, ValueError) as fault:
            # `from None`: the text of the fault holds the whole address, key and all.
            broken = _broken(fault, asked.host)
            if broken.fault not in ("name", "refused") or not pauses or line.cut_off:
                raise broken from None
        pause = pauses.pop(0)
        if time.monotonic() + pause >= ends_at:
            raise broken
        time.sleep(pause)


def one_line_session(line: Line) -> requests.Session:
    """A session whose one connection can be cut from outside."""
    session = requests.Session()
    session.mount("https://", LineAdapter(line))
    session.mount("http://", LineAdapter(line))
    # Otherwise a password kept for that host in the user's .netrc would be sent along.
    session.auth = _as_it_is
    return session


def _as_it_is(request: requests.PreparedRequest) -> requests.PreparedRequest:
    return request


def _answer(
    session: requests.Session,
    asked: Asked,
    conditions: Mapping[str, str],
    limits: Limits,
    ends_at: float,
) -> Answer:
    url, params = asked.url, list(asked.params)
    headers = {**asked.headers, **conditions, "Accept-Encoding": "gzip, deflate"}
    moved = False
    for _ in range(_MOST_REDIRECTS + 1):
        with session.get(
            url,
            params=params,
            headers=headers,
            timeout=(CONNECT_S, min(READ_S, limits.deadline_s)),
            stream=True,
            allow_redirects=False,
        ) as response:
            target = response.headers.get("Location")
            if response.status_code not in _REDIRECTS or target is None:
                body = _body(response, asked.host, limits, ends_at)
                return Answer(response.status_code, response.headers, body, moved)
            if asked.keyed:
                raise Broken(
                    "redirect",
                    f"{asked.host} sends the request on to another address. A key is not sent "
                    "after it; set base_url to the address it has now.",
                )
            moved = moved or response.status_code in (301, 308)
            url, params = _followed(url, target, asked), []
            if asked.why_not is not None and (why := asked.why_not(url)):
                raise Broken("redirect", f"{asked.host} sends the request on: {why}.")
    raise Broken("redirect", f"{asked.host} sends the request on more than three times.")


def _followed(url: str, target: str, asked: Asked) -> str:
    there = urljoin(url, target)
    plain_from_start = urlsplit(asked.url).scheme == "http"
    allowed = ("http", "https") if plain_from_start else ("https",)
    if urlsplit(there).scheme not in allowed:
        raise Broken("redirect", f"{asked.host} sends the request on to an unprotected address.")
    return there


def _body(response: requests.Response, host: str, limits: Limits, ends_at: float) -> bytes:
    """The unpacked body; its size counts after unpacking, so a small bomb is seen."""
    parts: list[bytes] = []
    size = 0
    while part := response.raw.read1(_CHUNK, decode_content=True):
        size += len(part)
        if size > limits.max_bytes:
            raise Broken(
                "too-big", f"The answer of {host} is larger than {limits.max_bytes} bytes."
            )
        if time.monotonic() >= ends_at:
            raise _too_slow(host, limits)
        parts.append(part)
    return b"".join(parts)


def _stopped() -> Broken:
    return Broken("stopped", "The monitor is being stopped.")


def _too_slow(host: str, limits: Limits) -> Broken:
    return Broken("deadline", f"{host} had not answered in full after {limits.deadline_s:g} s.")


# First match wins, so the narrow ones stand first. {} is the host.
_FAULTS: tuple[tuple[tuple[type[Exception], ...], Fault, str], ...] = (
    (
        (NameResolutionError,),
        "name",
        "The name {} could not be found: no network, or a typo.",
    ),
    # Also a timeout to the library, in some of its versions.
    ((NewConnectionError,), "refused", "{} could not be reached."),
    (
        (requests.exceptions.SSLError,),
        "certificate",
        "The certificate of {} could not be verified: a wrong clock, or an intruding server.",
    ),
    (
        (requests.Timeout, ReadTimeoutError, ConnectTimeoutError),
        "timeout",
        "{} did not answer in time.",
    ),
    (
        (requests.exceptions.ContentDecodingError, DecodeError),
        "cut",
        "The answer of {} could not be unpacked.",
    ),
    (
        (requests.exceptions.InvalidURL, requests.exceptions.InvalidHeader),
        "request",
        "The request to {} cannot be made with these settings.",
    ),
    (
        # A connection came about, and what came over it is no answer, or no whole one.
        (requests.exceptions.ChunkedEncodingError, ProtocolError),
        "cut",
        "The answer of {} broke off.",
    ),
    ((requests.ConnectionError,), "refused", "{} could not be reached."),
    (
        (HTTPError, OSError),
        "cut",
        "The answer of {} broke off.",
    ),
    ((ValueError,), "request", "The request to {} cannot be made with these settings."),
)


def _broken(fault: Exception, host: str) -> Broken:
    inner = fault.args[0] if fault.args else None
    layers = [fault, inner, getattr(inner, "reason", None)]
    for kinds, name, says in _FAULTS:
        if any(isinstance(layer, kinds) for layer in layers):
            return Broken(name, says.format(host))
    return Broken("refused", f"{host} could not be reached.")
