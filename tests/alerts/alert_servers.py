"""Small servers for what a well-behaved one never does."""

from __future__ import annotations

import socket
import threading
from contextlib import closing, contextmanager


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def raw_server(talk):
    """A server that does `talk(connection)` to the first who connects."""
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        connection, _ = listener.accept()
        with connection:
            talk(connection)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield listener.getsockname()[1]
    finally:
        thread.join(5)
        listener.close()
