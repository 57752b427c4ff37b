"""A real web server on loopback whose every answer the test writes, byte by byte if need be."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

Reply = Callable[["Handler"], None]


class Handler(BaseHTTPRequestHandler):
    server: Server

    def do_GET(self) -> None:
        self.server.asked.append((self.path, dict(self.headers)))
        replies = self.server.replies
        reply = replies.pop(0) if len(replies) > 1 else replies[0]
        try:
            reply(self)
        except OSError:
            # The client hung up in the middle, which is what these tests are about.
            self.server.hung_up.set()

    def log_message(self, *args: Any) -> None:
        pass


class Server(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, replies: list[Reply]) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.replies = replies
        self.asked: list[tuple[str, dict[str, str]]] = []
        self.hung_up = threading.Event()
        self.closing = threading.Event()

    def handle_error(self, request: Any, client_address: Any) -> None:
        self.hung_up.set()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"


@contextmanager
def serving(*replies: Reply) -> Iterator[Server]:
    """The answers in turn; the last one repeats."""
    server = Server(list(replies))
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield server
    finally:
        server.closing.set()
        server.shutdown()
        thread.join()
        server.server_close()


def sends(body: bytes = b"", status: int = 200, length: int | None = None, **headers: str) -> Reply:
    """A plain answer; `length` may lie. Header names are written with underscores."""

    def reply(handler: Handler) -> None:
        handler.send_response(status)
        wanted = {"Content_Type": "application/json", **headers}
        for name, value in wanted.items():
            handler.send_header(name.replace("_", "-"), value)
        if length != -1:
            handler.send_header("Content-Length", str(len(body) if length is None else length))
        handler.end_headers()
        handler.wfile.write(body)

    return reply
