"""One server on loopback that replays every fault of a weather service, byte by byte if need be."""

from __future__ import annotations

import gzip
import json
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

Reply = Callable[["Handler"], None]


class Handler(BaseHTTPRequestHandler):
    server: FaultServer

    def do_GET(self) -> None:
        self.server.asked.append((self.path, dict(self.headers)))
        path = self.path.partition("?")[0]
        reply = self.server.by_path.get(path, self.server.reply)
        try:
            reply(self)
        except OSError:
            self.server.hung_up.set()

    def date_time_string(self, timestamp: float | None = None) -> str:
        """The server's clock, which the test sets."""
        return format_datetime(self.server.clock().astimezone(UTC), usegmt=True)

    def log_message(self, *args: Any) -> None:
        pass


class FaultServer(ThreadingHTTPServer):
    """`reply` is the answer to every request, but to those of a path in `by_path`."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, reply: Reply, clock: Callable[[], datetime]) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.reply = reply
        self.by_path: dict[str, Reply] = {}
        self.clock = clock
        self.scheme = "http"
        self.asked: list[tuple[str, dict[str, str]]] = []
        self.hung_up = threading.Event()
        self.closing = threading.Event()

    def handle_error(self, request: Any, client_address: Any) -> None:
        self.hung_up.set()

    @property
    def url(self) -> str:
        return f"{self.scheme}://127.0.0.1:{self.server_address[1]}"


def real_time() -> datetime:
    return datetime.now(UTC)


@contextmanager
def fault_server(
    reply: Reply, clock: Callable[[], datetime] = real_time, *, tls_in: Path | None = None
) -> Iterator[FaultServer]:
    """`tls_in`: a folder for a certificate that nobody vouches for; then the server speaks TLS."""
    server = FaultServer(reply, clock)
    if tls_in is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(own_certificate(tls_in))
        server.socket = context.wrap_socket(server.socket, server_side=True)
        server.scheme = "https"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield server
    finally:
        server.closing.set()
        server.shutdown()
        thread.join()
        server.server_close()


def own_certificate(folder: Path) -> Path:
    """A certificate for 127.0.0.1 that its own key has signed."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .sign(key, hashes.SHA256())
    )
    path = folder / "server.pem"
    path.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        + made.public_bytes(serialization.Encoding.PEM)
    )
    return path


# ---------------------------------------------------------------- replies


def sends(body: bytes = b"", status: int = 200, length: int | None = None, **headers: str) -> Reply:
    """A plain answer; `length` may lie, -1 leaves it out. Header names with underscores."""

    def reply(handler: Handler) -> None:
        handler.send_response(status)
        for name, value in {"Content_Type": "application/json", **headers}.items():
            handler.send_header(name.replace("_", "-"), value)
        if length != -1:
            handler.send_header("Content-Length", str(len(body) if length is None else length))
        handler.end_headers()
        handler.wfile.write(body)

    return reply


def says(answer: Any, status: int = 200, **headers: str) -> Reply:
    return sends(json.dumps(answer).encode(), status, **headers)


def cut_with_length(body: bytes) -> Reply:
    return sends(body[:-200], length=len(body))


def cut_and_closed(body: bytes) -> Reply:
    """No length and no chunks: the end of the connection looks like the end of the body."""
    return sends(body[:-200], length=-1, Connection="close")


def cut_in_chunks(body: bytes) -> Reply:
    """The last chunk is announced and does not come."""

    def reply(handler: Handler) -> None:
        handler.protocol_version = "HTTP/1.1"
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Transfer-Encoding", "chunked")
        handler.end_headers()
        handler.wfile.write(b"%x\r\n%s\r\n%x\r\n" % (len(body) - 200, body[:-200], 200))
        handler.close_connection = True

    return reply


def bomb(megabytes: int = 50) -> Reply:
    """Small on the wire, large unpacked."""
    return sends(gzip.compress(b" " * megabytes * 1_000_000, 9), Content_Encoding="gzip")


def drips(part: str, pause_s: float = 0.02) -> Reply:
    """A byte at a time: in the status line, between headers, or in the body."""

    def reply(handler: Handler) -> None:
        start = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
        if part == "status":
            start, slow = b"HTTP/1.1 ", b"2" * 100_000
        elif part == "headers":
            slow = b"".join(b"X-%d: y\r\n" % i for i in range(10_000))
        else:
            start, slow = start + b"\r\n", b" " * 100_000
        handler.wfile.write(start)
        for i in range(len(slow)):
            handler.wfile.write(slow[i : i + 1])
            handler.wfile.flush()
            if handler.server.closing.wait(pause_s):
                return

    return reply


def silent(handler: Handler) -> None:
    """Takes the request and says nothing."""
    handler.server.closing.wait(30)


def page(text: str = "<!DOCTYPE html><p>Please sign in to the network") -> Reply:
    return sends(text.encode(), Content_Type="text/html; charset=utf-8")
