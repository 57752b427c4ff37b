"""A warning service on loopback that counts what it is asked."""

from __future__ import annotations

import threading
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass
class Answer:
    body: bytes = b""
    status: int = 200
    kind: str = "application/xml"
    headers: dict[str, str] = field(default_factory=dict)


@dataclass
class Office:
    """`pages` by path; what is not there is 404."""

    url: str = ""
    pages: dict[str, Answer] = field(default_factory=dict)
    asked: Counter[str] = field(default_factory=Counter)
    headers: list[dict[str, str]] = field(default_factory=list)

    def put(self, path: str, body: bytes, **more: Any) -> str:
        self.pages[path] = Answer(body, **more)
        return f"{self.url}{path}"


@contextmanager
def warning_office():
    office = Office()

    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *said: Any) -> None:
            pass

        def do_GET(self) -> None:
            office.asked[self.path] += 1
            office.headers.append(dict(self.headers))
            found = office.pages.get(self.path, Answer(b"not here", 404, "text/plain"))
            status, body = found.status, found.body
            tag = found.headers.get("ETag")
            if tag is not None and self.headers.get("If-None-Match") == tag:
                status, body = 304, b""
            self.send_response(status)
            for name, value in found.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Type", found.kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    office.url = f"http://127.0.0.1:{server.server_address[1]}"
    try:
        yield office
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
