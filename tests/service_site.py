"""A small show with real surroundings on loopback: a weather server, a mail server, a receiver."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from standardwebhooks import Webhook

SECRET = "whsec_" + "c2VydmljZS10ZXN0LXNlY3JldC0wMTIz"
"""base64 of 24 bytes: service-test-secret-0123"""

ENVIRON = {"HOOK_SECRET": SECRET}

SHOW = """
format = 1

[site]
name = "Lower meadow"
latitude = 52.0
longitude = -2.0
elevation_m = 40
timezone = "Europe/London"
terrain = "field"
ground = "grass"

[event]
load_in_at = "{load_in}"

[[positions]]
id = "wash"
name = "Lawn wash"
height_m = 0.5
access = "ground"
isolate_at = "Lawn distribution"

[[covers]]
id = "hood"
name = "Tarp hood"
keeps_out_to_deg = 75
gust_limit_mps = 18
in_stock = 12

[crew]
parties = 1
call_out_minutes = 20

{feeds}
{contacts}
"""

FIXTURES = """id,code,position,name,count,mount,condition,cover
WASH,IP20,wash,LED wash,6,upright,hire,hood
"""

SHEET = """
extends = "open-meteo"
[feed]
id = "local-weather"
use = "any"
[request]
poll = "{poll}"
jitter = "0s"
"""


def write_show(
    folder: Path,
    *,
    feeds: str = "",
    contacts: str = "",
    load_in: datetime | None = None,
    poll: str = "1s",
    files: dict[str, str] | None = None,
) -> Path:
    """A show folder of one position; gear is out since three hours."""
    started = load_in or datetime.now(UTC) - timedelta(hours=3)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "sheets").mkdir(exist_ok=True)
    text = SHOW.format(
        load_in=started.isoformat(timespec="minutes"), feeds=feeds, contacts=contacts
    )
    (folder / "show.toml").write_text(text, encoding="utf-8")
    (folder / "fixtures.csv").write_text(FIXTURES, encoding="utf-8")
    (folder / "sheets" / "local-weather.toml").write_text(SHEET.format(poll=poll), encoding="utf-8")
    for name, content in (files or {}).items():
        (folder / name).write_text(content, encoding="utf-8")
    return folder


def feed_of(url: str, **more: Any) -> str:
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in more.items())
    return f'[[feeds]]\nsheet = "local-weather"\nbase_url = "{url}"\n{lines}'


def mail_to(port: int, *to: str, name: str = "crew chief", more: str = "gap_minutes = 0") -> str:
    """`gap_minutes` 0: each message by itself, as soon as it is queued."""
    return (
        f'[[contacts]]\nname = "{name}"\nkind = "email"\nhost = "127.0.0.1"\nport = {port}\n'
        f'security = "none"\nfrom = "watch@example.org"\nto = {json.dumps(list(to))}\n{more}\n'
    )


def hook_to(url: str, name: str = "desk") -> str:
    return (
        f'[[contacts]]\nname = "{name}"\nkind = "webhook"\nurl = "{url}"\n'
        'secret = "env:HOOK_SECRET"\n'
    )


def payload(now: datetime, rain_in_h: int = 2, hours: int = 48, mm: float = 8.0) -> bytes:
    """What the weather server says: rain from the hour that begins `rain_in_h` hours on."""
    first = now.replace(minute=0, second=0, microsecond=0) - timedelta(hours=3)
    stamps = [first + timedelta(hours=i) for i in range(hours)]
    wet_from = first + timedelta(hours=3 + rain_in_h)
    # a stamp is the end of the hour it tells the rain of
    rain = [mm if wet_from < s <= wet_from + timedelta(hours=6) else 0.0 for s in stamps]
    hourly = {
        "time": [s.strftime("%Y-%m-%dT%H:%M") for s in stamps],
        "precipitation": rain,
        "wind_speed_10m": [3.0] * hours,
        "wind_gusts_10m": [6.0] * hours,
        "wind_direction_10m": [220] * hours,
        "temperature_2m": [15.0] * hours,
        "dew_point_2m": [9.0] * hours,
        "cloud_cover": [90] * hours,
        "weather_code": [61 if mm else 3 for mm in rain],
    }
    units = {
        "precipitation": "mm",
        "wind_speed_10m": "m/s",
        "wind_gusts_10m": "m/s",
        "wind_direction_10m": "°",
        "temperature_2m": "°C",
        "dew_point_2m": "°C",
        "cloud_cover": "%",
    }
    return json.dumps({"utc_offset_seconds": 0, "hourly_units": units, "hourly": hourly}).encode()


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class _Quiet(BaseHTTPRequestHandler):
    def log_message(self, *said: Any) -> None:
        pass

    def answer(self, status: int, body: bytes = b"") -> None:
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that was killed in the middle is what these tests are about."""


@contextmanager
def _running(handler: type[_Quiet]):
    server = _Server(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@dataclass
class Sky:
    """The weather server; `body` None: out of order."""

    url: str = ""
    body: bytes | None = None
    asked: int = 0
    holds: threading.Event | None = None
    """Answers only when this is set"""


@contextmanager
def weather_server(body: bytes | None):
    sky = Sky(body=body)

    class Handler(_Quiet):
        def do_GET(self) -> None:
            sky.asked += 1
            if sky.holds is not None:
                sky.holds.wait(20)
            if sky.body is None:
                self.answer(503)
            else:
                self.answer(200, sky.body)

    with _running(Handler) as sky.url:
        yield sky


@dataclass
class Desk:
    """A webhook receiver that verifies every signature with the reference library."""

    url: str = ""
    status: int = 204
    holds: threading.Event | None = None
    """Answers only when this is set"""
    reached: threading.Event = field(default_factory=threading.Event)
    got: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    """(webhook-id, body as verified)"""
    refused: int = 0


@contextmanager
def desk_receiver(*, verifies: bool = True):
    """`verifies` False where the test's clock is not the machine's, which a signature holds."""
    desk = Desk()
    verifier = Webhook(SECRET)

    class Handler(_Quiet):
        def do_POST(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            body = self.rfile.read(length)
            if len(body) < length:
                return  # the sender died in the middle: nothing has arrived
            try:
                if verifies:
                    verifier.verify(body, dict(self.headers))
                verified = json.loads(body)
            except Exception:
                desk.refused += 1
                self.answer(401)
                return
            desk.reached.set()
            if desk.holds is not None:
                desk.holds.wait(20)
            if 200 <= desk.status < 300:
                desk.got.append((self.headers["webhook-id"], verified))
            self.answer(desk.status)

    with _running(Handler) as url:
        desk.url = f"{url}/hook"
        yield desk


class Mailbox:
    """Keeps what arrives whole."""

    def __init__(self) -> None:
        self.mails: list[Any] = []

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.mails.append(envelope)
        return "250 OK"


@contextmanager
def mail_server(port: int | None = None):
    mailbox = Mailbox()
    server = Controller(mailbox, hostname="127.0.0.1", port=port or free_port())
    server.start()
    try:
        yield mailbox, server.port
    finally:
        server.stop()


RUNNER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
import os
from monitor.domain import BadInputError, UnableError
from monitor.service import Pace, serve

try:
    serve(
        Path(sys.argv[1]),
        os.environ,
        clock=lambda: datetime.now(UTC),
        say=lambda line: print(line, flush=True),
        pace=Pace(poll_s=0.1, look_s=0.1, evaluate_s=0.5, deliver_s=0.1, clock_s=0.2),
    )
except BadInputError as fault:
    print(*(p.says for p in fault.problems), sep="\\n", file=sys.stderr)
    sys.exit(2)
except UnableError as fault:
    print(fault.says, file=sys.stderr)
    sys.exit(3)
"""
"""The service as a process of its own, at a pace for tests."""


def start_service(folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", RUNNER, str(folder)],
        env={**os.environ, **ENVIRON},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def wait_for(condition: Callable[[], Any], seconds: float = 20.0) -> None:
    """Until something a server or a process does has happened."""
    ends = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < ends, "it did not happen in time"
        time.sleep(0.02)
