"""The server itself: a socket, a thread that minds the connections, and four that answer."""

from __future__ import annotations

import errno
import logging
import socket
import threading
import time
from contextlib import contextmanager, suppress
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ErrorTask, ThreadedTaskDispatcher

from monitor.alerts.by_email import is_loopback
from monitor.domain import UnableError
from monitor.service.links import ADDRESS
from monitor.store.devices import LINK_ADDRESS
from monitor.store.tokens import TOKEN
from monitor.web.answers import BODY_BYTES, PROBLEM_JSON, TOO_LARGE, problem_body
from monitor.web.app import HEADERS, create_app
from monitor.web.place import Place

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

    from monitor.domain import Page
    from monitor.service.seen import Seen
    from monitor.service.watched import FolderWatch

THREADS = 4
CONNECTIONS = 200
"""From so many on the one that has been idle for longest is closed for each that comes: a
browser keeps several open after each page, and silent ones shall keep nobody out."""
IDLE_S = 30
"""A connection on which nothing moves is closed after this [s]."""
ARRIVES_IN_S = 20
"""So is one whose request has not come in whole in this time: it drips [s]."""
CLEAN_EVERY_S = 5
GRACE_S = 5.0
"""Answers under way at the end are waited for as long as this [s]."""
HEADER_BYTES = 16 * 1024
READ_BYTES = 4 * BODY_BYTES
"""What is too large is read as far as this, so that the sender hears of it: a connection
that is closed on a sender drops the answer too."""

_ROOM = 10
"""Connections over all of them, and sockets of the server's own, before none is taken in."""
_LAST_READS = 16
_TICK_S = 1.0
"""The thread looks at least this often whether it is to end [s]."""


_KEPT_OUT = ((TOKEN, "(token)"), (ADDRESS, "(link)"), (LINK_ADDRESS, "(link)"))


class _Redacted(logging.Filter):
    """Takes tokens out of what the server library logs: it writes addresses."""

    def filter(self, record: logging.LogRecord) -> bool:
        said = record.getMessage()
        if record.exc_info:
            said += "\n" + logging.Formatter().formatException(record.exc_info)
        for kept_out, stands_for in _KEPT_OUT:
            said = kept_out.sub(stands_for, said)
        record.msg, record.args = said, ()
        record.exc_info = record.exc_text = None
        return True


_REDACTED = _Redacted()
_log = logging.getLogger(__name__)


class _Refusal(ErrorTask):
    """A request that was refused before the application saw it, answered as all others are."""

    def execute(self) -> None:
        """Write the answer, and close."""
        fault: Any = self.request
        status = HTTPStatus(fault.error.code)
        too_large = status == HTTPStatus.REQUEST_ENTITY_TOO_LARGE
        says = TOO_LARGE if too_large else "This request cannot be read."
        body = problem_body(status, says).encode()
        self.status = f"{status.value} {status.phrase}"
        self.response_headers = [("Content-Type", PROBLEM_JSON), *HEADERS.items()]
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


class _Channel(HTTPChannel):
    """A connection that knows how long its request has been coming in."""

    error_task_class = _Refusal
    began: float | None = None
    unsent: tuple[int, float] = (0, 0.0)
    """So much of an answer waited to be taken, and since when"""

    def received(self, data: bytes) -> bool:
        """Take in what came."""
        taken = super().received(data)
        if self.request is None:
            self.began = None
        elif self.began is None:
            self.began = time.monotonic()
        return taken

    def quiet_s(self) -> float:
        """How long nothing has moved on it; of a request that drips, since it began [s]."""
        dripped = 0.0 if self.began is None else time.monotonic() - self.began
        return max(dripped, time.time() - self.last_activity)

    def is_stuck(self) -> bool:
        """Whether its client has taken nothing of an answer for too long."""
        now = time.monotonic()
        if self.unsent[0] != self.total_outbufs_len:
            self.unsent = self.total_outbufs_len, now
        return self.unsent[0] > 0 and now - self.unsent[1] > IDLE_S

    def handle_close(self) -> None:
        """Close; what lies unread would make the system drop our answer on its way."""
        with suppress(OSError):
            for _ in range(_LAST_READS):
                if self.socket is None or not self.socket.recv(BODY_BYTES):
                    break
        super().handle_close()


class _Server(TcpWSGIServer):
    """Accepts, and closes what idles or drips, or takes no answer."""

    channel_class = _Channel

    def maintenance(self, now: float) -> None:
        """Close what nobody will miss."""
        super().maintenance(int(now))
        late = time.monotonic() - ARRIVES_IN_S
        channels: Any = self.active_channels
        for channel in channels.values():
            dripping = channel.began is not None and channel.began < late
            if dripping and not channel.requests:
                channel.will_close = True

    def make_room(self) -> None:
        """Close who takes nothing of an answer; where all places are taken, the quietest too.

        Not left to the loop: it closes what can be written to, and these cannot. To be called
        between two rounds of it: within one the number of what is closed may be another's.
        """
        channels: Any = self.active_channels
        for channel in [*channels.values()]:
            if channel.is_stuck():
                channel.handle_close()
        if len(channels) >= CONNECTIONS:
            idle = [channel for channel in channels.values() if not channel.requests]
            if idle:
                max(idle, key=_Channel.quiet_s).handle_close()


class Listener:
    """A bound socket, served by threads of its own from `start` until `stop`."""

    def __init__(self, place: Place, page: Page) -> None:
        """Bind; UnableError where the address cannot be had."""
        self._socket = _bound(page.listen)
        self._map: dict[int, Any] = {}
        self._dispatcher = ThreadedTaskDispatcher()
        self._server = _Server(
            create_app(place),
            self._map,
            True,  # noqa: FBT003 - waitress's order
            self._socket,
            dispatcher=self._dispatcher,
            adj=Adjustments(
                sockets=[self._socket],
                threads=THREADS,
                ident="",
                connection_limit=CONNECTIONS + _ROOM,
                channel_timeout=IDLE_S,
                cleanup_interval=CLEAN_EVERY_S,
                max_request_header_size=HEADER_BYTES,
                max_request_body_size=READ_BYTES,
                inbuf_overflow=READ_BYTES,
                log_socket_errors=False,
            ),
            sockinfo=(self._socket.family, self._socket.type, 0, self._socket.getsockname()),
            bind_socket=False,
        )
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._mind, name="web", daemon=True)

    @property
    def address(self) -> tuple[str, int]:
        """Host and port as bound."""
        host, port = self._socket.getsockname()[:2]
        return str(host), int(port)

    @property
    def url(self) -> str:
        """Where it is to be reached from this machine's point of view."""
        host, port = self.address
        return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"

    def start(self) -> None:
        """Answer from now on."""
        self._dispatcher.set_thread_count(THREADS)
        self._thread.start()

    def stop(self) -> None:
        """Take no new connection, let what is under way end, and close."""
        self._ending.set()
        with suppress(OSError):
            self._server.pull_trigger()
        if self._thread.is_alive():
            self._thread.join()
        wasyncore.close_all(self._map, ignore_all=True)
        self._socket.close()

    def _mind(self) -> None:
        while not self._ending.is_set():
            try:
                self._server.make_room()
                wasyncore.loop(_TICK_S, use_poll=True, map=self._map, count=1)
            except Exception as fault:  # noqa: BLE001 - whatever it was, the next may be heard
                _log.error("minding the connections: %s", type(fault).__name__)
                self._ending.wait(_TICK_S)
        wasyncore.dispatcher.close(self._server)
        until = time.monotonic() + GRACE_S
        while self._under_way() and time.monotonic() < until:
            wasyncore.loop(0.05, use_poll=True, map=self._map, count=1)
        self._dispatcher.shutdown(timeout=1)

    def _under_way(self) -> bool:
        channels: Any = self._server.active_channels
        return any(channel.requests or channel.writable() for channel in channels.values())


@contextmanager
def listening(
    watch: FolderWatch,
    clock: Callable[[], datetime],
    seen: Callable[[], Seen | None] = lambda: None,
) -> Iterator[Sequence[str]]:
    """The server beside the service, for as long as this lasts; gives what to say of it.

    Raises
    ------
    UnableError : the address under [page] listen cannot be had
    """
    for name in ("waitress", "wasyncore"):
        logging.getLogger(name).addFilter(_REDACTED)
    # A queue of a few requests is nothing to tell the crew of.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    page = watch.current.show.page
    listener = Listener(Place(watch, clock, seen), page)
    listener.start()
    try:
        yield _said(listener, page)
    finally:
        listener.stop()


def _said(listener: Listener, page: Page) -> list[str]:
    where = page.public_url or listener.url
    lines = [
        f"Listening at {listener.url} for readings, log entries and answers.",
        f"The duty page is at {where}. Let a phone in: dryspell link make crew --name NAME.",
    ]
    secured = page.public_url is not None and urlsplit(page.public_url).scheme == "https"
    if not is_loopback(listener.address[0]) and not secured:
        lines.append(
            "Tokens and sign-ins cross the network in clear: only for a network of the site's own. "
            "Else put a server that speaks https before it, and set public_url under [page]."
        )
    return lines


def _bound(listen: str) -> socket.socket:
    host, _, port = listen.rpartition(":")
    host = host.strip("[]")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            bound.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        bound.bind(("127.0.0.1" if host == "localhost" else host, int(port)))
        # Here, for it is now that another program's claim shows.
        bound.listen(128)
    except OSError as fault:
        bound.close()
        raise UnableError(*_why(fault, listen)) from None
    return bound


def _why(fault: OSError, listen: str) -> tuple[str, str]:
    match fault.errno:
        case errno.EADDRINUSE:
            return (
                f"Another program already listens at {listen}.",
                "Stop it, or set another in listen under [page] of show.toml: 127.0.0.1:8037.",
            )
        case errno.EADDRNOTAVAIL:
            return (
                f"This machine has no address {listen}.",
                "Set one of its own in listen under [page] of show.toml; 0.0.0.0 is all of them.",
            )
        case errno.EACCES | errno.EPERM:
            return (
                f"This account may not listen at {listen}.",
                "Set a port of 1024 or more in listen under [page] of show.toml.",
            )
        case _:
            return (
                f"Nothing can be heard at {listen}: {fault.strerror or type(fault).__name__}.",
                "Look at listen under [page] of show.toml.",
            )
