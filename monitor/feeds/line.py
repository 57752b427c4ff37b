"""Connections that can be cut off from outside, wherever the exchange stands.

The time limit of a socket counts from byte to byte, so a server that drips outlives it,
in the handshake, between headers or in the body. A line keeps a handle on every socket it
opens and shuts them when told to.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager, suppress
from socket import SHUT_RDWR, socket
from typing import TYPE_CHECKING, Any

from requests.adapters import HTTPAdapter
from urllib3 import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.connection import HTTPConnection, HTTPSConnection

if TYPE_CHECKING:
    from collections.abc import Iterator


class Line:
    """The sockets of one exchange, so that they can be shut from outside."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._held: list[socket] = []
        self.cut_off = False

    def hold(self, connection: socket) -> None:
        """Keep a second handle: the first goes into TLS and out of reach."""
        with self._lock:
            if self.cut_off:
                connection.close()
                raise TimeoutError("the time is up")
            self._held.append(connection.dup())

    def cut(self) -> None:
        """Shut every connection; whoever waits on one wakes up."""
        with self._lock:
            self.cut_off = True
            for handle in self._held:
                with suppress(OSError):
                    handle.shutdown(SHUT_RDWR)

    def release(self) -> None:
        """Give the handles back."""
        with self._lock:
            for handle in self._held:
                handle.close()
            self._held.clear()


class Lines:
    """The lines of every exchange under way, so that one word ends them all."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: set[Line] = set()
        self.cut_off = False

    @contextmanager
    def one(self) -> Iterator[Line]:
        """A line for one exchange; it is cut already where all have been."""
        line = Line()
        with self._lock:
            self._open.add(line)
            if self.cut_off:
                line.cut()
        try:
            yield line
        finally:
            with self._lock:
                self._open.discard(line)
            line.release()

    def cut(self) -> None:
        """Shut every line, and those that are still to be opened."""
        with self._lock:
            self.cut_off = True
            for line in self._open:
                line.cut()


class LineAdapter(HTTPAdapter):
    """Connects with every socket held by a line."""

    def __init__(self, line: Line) -> None:
        class Plain(HTTPConnection):
            def _new_conn(self) -> socket:
                connection = super()._new_conn()
                line.hold(connection)
                return connection

        class Secured(HTTPSConnection):
            def _new_conn(self) -> socket:
                connection = super()._new_conn()
                line.hold(connection)
                return connection

        class PlainPool(HTTPConnectionPool):
            ConnectionCls = Plain

        class SecuredPool(HTTPSConnectionPool):
            ConnectionCls = Secured

        self._pools = {"http": PlainPool, "https": SecuredPool}
        super().__init__()

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        """Have direct connections made by the held kind."""
        super().init_poolmanager(*args, **kwargs)
        self.poolmanager.pool_classes_by_scheme = self._pools

    def proxy_manager_for(self, proxy: str, **kwargs: Any) -> Any:
        """Have connections by way of a proxy made by the held kind too."""
        manager = super().proxy_manager_for(proxy, **kwargs)
        manager.pool_classes_by_scheme = self._pools
        return manager
