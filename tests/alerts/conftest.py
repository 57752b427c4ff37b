"""A mail server, a web server and a certificate authority, all real and on loopback."""

from __future__ import annotations

import datetime as dt
import ssl
import threading
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING

import pytest
from aiosmtpd.controller import Controller
from alert_servers import free_port
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

if TYPE_CHECKING:
    from pathlib import Path


# ---------------------------------------------------------------- mail


@dataclass
class Mailbox:
    """Keeps what arrives; `answers` are given in turn to RCPT, then to DATA."""

    mails: list = field(default_factory=list)
    rcpt: str = "250 OK"
    data: str = "250 OK"

    async def handle_RCPT(self, server, session, envelope, address, options):
        if self.rcpt.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.rcpt

    async def handle_DATA(self, server, session, envelope):
        if self.data.startswith("250"):
            self.mails.append(envelope)
        return self.data


@pytest.fixture
def mail_server():
    """Starts a mail server; call it for (mailbox, port)."""
    running = []

    def start(**options) -> tuple[Mailbox, int]:
        mailbox = Mailbox()
        server = Controller(mailbox, hostname="127.0.0.1", port=free_port(), **options)
        server.start()
        running.append(server)
        return mailbox, server.port

    yield start
    for server in running:
        server.stop()


# ---------------------------------------------------------------- certificates


@dataclass(frozen=True)
class Authority:
    """A certificate authority of our own and one server certificate it signed."""

    root: Path
    server: ssl.SSLContext


@pytest.fixture(scope="session")
def authority(tmp_path_factory) -> Authority:
    folder = tmp_path_factory.mktemp("certificates")
    root_key = ec.generate_private_key(ec.SECP256R1())
    root_name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Test authority")])
    day = dt.timedelta(days=1)
    now = dt.datetime.now(dt.UTC)

    def certificate(name, key):
        return (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(root_name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - day)
            .not_valid_after(now + day)
        )

    usage = x509.KeyUsage(True, False, False, False, False, True, True, False, False)
    root = (
        certificate(root_name, root_key)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .sign(root_key, hashes.SHA256())
    )
    key = ec.generate_private_key(ec.SECP256R1())
    names = [x509.DNSName("localhost")]
    server = (
        certificate(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")]), key)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    (folder / "root.pem").write_bytes(root.public_bytes(pem))
    (folder / "server.pem").write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
        + server.public_bytes(pem)
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "server.pem")
    return Authority(folder / "root.pem", context)


@pytest.fixture
def trusted(authority, monkeypatch) -> Authority:
    """The authority is trusted for this test."""
    monkeypatch.setenv("SSL_CERT_FILE", str(authority.root))
    return authority


# ---------------------------------------------------------------- web


@dataclass
class Receiver:
    """A web server that answers as told and keeps what it was sent."""

    url: str = ""
    status: int = 204
    headers: dict = field(default_factory=dict)
    body: bytes = b""
    requests: list = field(default_factory=list)


@pytest.fixture
def receiver():
    told = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            length = int(self.headers.get("Content-Length", 0))
            told.requests.append((self.path, dict(self.headers), self.rfile.read(length)))
            self.send_response(told.status)
            for name, value in told.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(told.body)))
            self.end_headers()
            self.wfile.write(told.body)

        do_GET = do_POST

        def log_message(self, *said):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    told.url = f"http://127.0.0.1:{server.server_port}/hook?key=sesame"
    yield told
    server.shutdown()
    thread.join()
    server.server_close()
