"""The server as a server: its address, its end, slow and strange clients, the service beside."""

from __future__ import annotations

import logging
import os
import signal
import socket
import subprocess
import threading
import time
from contextlib import ExitStack, closing, contextmanager, suppress
from urllib.parse import urlsplit

import pytest
import requests
from service_site import feed_of, free_port, payload, wait_for, weather_server
from waitress import wasyncore
from waitress.adjustments import Adjustments
from web_site import RUN, bearer, listening_at, now, run_service, served, show_folder, stamp

from monitor.domain import UnableError
from monitor.service import Pace, serve
from monitor.service.watched import FolderWatch
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.tokens import make_token
from monitor.web import listening as listening_module
from monitor.web.beside import Beside
from monitor.web.listening import listening
from monitor.web.place import Place


def place_of(folder, listen, public_url=None):
    public = "" if public_url is None else f'public_url = "{public_url}"\n'
    show_folder(folder, outside=f'[page]\nlisten = "{listen}"\n{public}')
    return FolderWatch(folder, {})


def connect(site):
    parts = urlsplit(site.url)
    return socket.create_connection((parts.hostname, parts.port), timeout=10)


# ---------------------------------------------------------------- where


def has_version_6():
    """Whether this machine can speak to itself in version 6 at all."""
    try:
        socket.create_server(("::1", 0), family=socket.AF_INET6).close()
    except OSError:
        return False
    return True


LOOPBACKS = [("127.0.0.1:0", "http://127.0.0.1:"), ("localhost:0", "http://127.0.0.1:")]
LOOPBACKS += [("[::1]:0", "http://[::1]:")] * has_version_6()


@pytest.mark.parametrize(("listen", "url"), LOOPBACKS)
def test_the_address_is_said_with_the_port_it_came_to(tmp_path, listen, url):
    with listening(place_of(tmp_path, listen), now) as lines:
        line, page = lines
        assert line.startswith(f"Listening at {url}")
        assert page.startswith(f"The duty page is at {url}")
        said = line.split()[2]
        assert requests.get(f"{said}/health", timeout=10).status_code == 503
    with pytest.raises(requests.ConnectionError):
        requests.get(f"{said}/health", timeout=10)


@pytest.mark.parametrize(
    ("listen", "public_url", "in_clear"),
    [
        ("0.0.0.0:0", None, True),
        ("0.0.0.0:0", "http://duty.example.org", True),
        ("0.0.0.0:0", "https://duty.example.org", False),
        ("127.0.0.1:0", "http://duty.example.org", False),
    ],
)
def test_tokens_that_cross_in_clear_are_said(tmp_path, listen, public_url, in_clear):
    with listening(place_of(tmp_path, listen, public_url), now) as lines:
        assert any("in clear" in line for line in lines) is in_clear


def test_a_port_that_is_taken(tmp_path):
    with closing(socket.create_server(("127.0.0.1", 0))) as other:
        listen = f"127.0.0.1:{other.getsockname()[1]}"
        with pytest.raises(UnableError) as taken, listening(place_of(tmp_path, listen), now):
            pass
    assert listen in taken.value.says
    assert "listen under [page]" in taken.value.remedy


def test_an_address_that_this_machine_has_not(tmp_path):
    # 192.0.2.0/24 is for documents (RFC 5737): nobody's
    with (
        pytest.raises(UnableError, match=r"no address 192\.0\.2\.1:80"),
        listening(place_of(tmp_path, "192.0.2.1:80"), now),
    ):
        pass


def test_the_command_says_that_the_port_is_taken(tmp_path):
    folder = show_folder(tmp_path / "show")
    with closing(socket.create_server(("127.0.0.1", 0))) as other:
        listen = f"127.0.0.1:{other.getsockname()[1]}"
        done = subprocess.run(
            [*RUN, str(folder)],
            env={**os.environ, "DRYSPELL_PAGE__LISTEN": listen},
            capture_output=True,
            text=True,
            check=False,
            timeout=30,
        )
    assert done.returncode == 3
    assert done.stdout == ""
    assert "listen under [page]" in done.stderr
    assert "Traceback" not in done.stderr


# ---------------------------------------------------------------- slow and strange clients


def test_an_answer_under_way_at_the_end_is_given(folder, monkeypatch):
    inside, may_end = threading.Event(), threading.Event()
    real = Place.opened

    @contextmanager
    def slow(self):
        inside.set()
        assert may_end.wait(10)
        with real(self) as db:
            yield db

    with served(folder) as site:
        monkeypatch.setattr(Place, "opened", slow)
        answers = []
        asker = threading.Thread(target=lambda: answers.append(site.get("/api/v1/state")))
        asker.start()
        assert inside.wait(10)
        threading.Timer(0.2, may_end.set).start()
    asker.join(10)
    assert [answer.status_code for answer in answers] == [200]


def test_a_client_that_says_nothing_holds_up_neither_the_others_nor_the_end(folder):
    with served(folder) as site:
        idle = [connect(site) for _ in range(20)]
        half = connect(site)
        half.sendall(b"POST /api/v1/log HTTP/1.1\r\nContent-Length: 50\r\n\r\n{")
        started = time.monotonic()
        assert site.get("/metrics").status_code == 200
        assert time.monotonic() - started < 2
        ending = time.monotonic()
    assert time.monotonic() - ending < 2
    for line in (*idle, half):
        line.close()


@pytest.mark.parametrize("says", [b"", b"GET / HTTP/1.1\r\nHost: loc"])
def test_silent_connections_keep_nobody_out(folder, monkeypatch, says):
    monkeypatch.setattr(listening_module, "CONNECTIONS", 12)
    monkeypatch.setattr(listening_module, "_ROOM", 4)
    with served(folder) as site, ExitStack() as open_, requests.Session() as crew:
        silent = [open_.enter_context(closing(connect(site))) for _ in range(20)]
        for line in silent:
            line.sendall(says)
        for n in range(20):  # each browser stays connected after its page, as browsers do
            browser = open_.enter_context(requests.Session())
            for asks in (browser, crew):
                began = time.monotonic()
                answer = asks.get(f"{site.url}/no-signal", timeout=10)
                assert (answer.status_code, time.monotonic() - began < 2) == (200, True), n
        line = silent[0]
        line.settimeout(5)
        assert line.recv(1) == b""  # idle for longest, closed


def test_who_takes_no_answer_holds_no_thread(folder, monkeypatch):
    """An answer that is larger than what is held for a client waits for it in its thread."""
    monkeypatch.setattr(listening_module, "IDLE_S", 0.5)
    monkeypatch.setattr(listening_module, "CLEAN_EVERY_S", 0)
    monkeypatch.setattr(Adjustments, "outbuf_high_watermark", 10_000)
    small = [(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)]
    monkeypatch.setattr(Adjustments, "socket_options", small)
    with served(folder) as site, ExitStack() as open_:
        ask = f"GET {Beside().addresses['duty.js']} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode()
        for _ in range(listening_module.THREADS):
            line = socket.socket()
            open_.enter_context(closing(line))
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            line.connect((urlsplit(site.url).hostname, urlsplit(site.url).port))
            line.sendall(ask * (8000 // len(ask)))
        time.sleep(0.3)
        assert site.get("/health").status_code in (200, 503)


def test_a_request_that_drips_is_cut_off(folder, monkeypatch):
    monkeypatch.setattr(listening_module, "ARRIVES_IN_S", 0.3)
    monkeypatch.setattr(listening_module, "CLEAN_EVERY_S", 0)
    with served(folder) as site, closing(connect(site)) as line:
        line.settimeout(5)
        began = time.monotonic()
        line.sendall(b"POST /api/v1/log HTTP/1.1\r\nContent-Length: 1000\r\n\r\n")
        with suppress(OSError):
            while time.monotonic() - began < 5:
                line.sendall(b"a")
                time.sleep(0.05)
        assert time.monotonic() - began < 5


def test_a_client_that_leaves_in_the_middle_is_no_fault(folder, caplog):
    with served(folder) as site:
        for _ in range(20):
            with closing(connect(site)) as line:
                line.sendall(b"GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n")
                line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        assert site.get("/metrics").status_code == 200
    # How long the queue is goes by the machine's load, and is no fault.
    said = [r for r in caplog.records if r.name != "waitress.queue"]
    assert [r for r in said if r.levelno >= logging.WARNING] == []


def test_a_fault_among_the_connections_does_not_end_the_server(folder, monkeypatch, caplog):
    monkeypatch.setattr(listening_module, "_TICK_S", 0.05)
    real, broken = wasyncore.loop, threading.Event()

    def loop(*args, **more):
        if not broken.is_set():
            broken.set()
            raise OSError("bad descriptor")
        real(*args, **more)

    monkeypatch.setattr(wasyncore, "loop", loop)
    with served(folder) as site:
        assert broken.wait(5)
        assert site.get("/metrics").status_code == 200
    assert "minding the connections: OSError" in caplog.text


def test_two_requests_on_one_connection(folder):
    with served(folder) as site, requests.Session() as session:
        for _ in range(3):
            assert session.get(site.url + "/metrics", timeout=10).status_code == 200
        assert session.post(site.url + "/api/v1/log", timeout=10).status_code == 401
        assert session.get(site.url + "/metrics", timeout=10).status_code == 200


def test_what_the_library_logs_holds_no_token(folder, caplog):
    token = "dryspell_" + "Ab1-_" * 8 + "xyz"
    with listening(FolderWatch(folder, {}), now):
        for name in ("waitress", "wasyncore"):
            logger = logging.getLogger(name)
            logger.error("Exception while serving %s", f"/api/v1/observations/gateway/{token}")
            logger.error("it failed", exc_info=ValueError(token))
    assert "/api/v1/observations/gateway/(token)" in caplog.text
    assert "ValueError: (token)" in caplog.text
    assert token not in caplog.text


# ---------------------------------------------------------------- beside the service


def test_the_service_and_its_server_from_start_to_end(tmp_path):
    lines, stop = [], threading.Event()

    def serve_it():
        serve(
            folder,
            {},
            clock=now,
            say=lines.append,
            pace=Pace(poll_s=0.1, look_s=0.1, evaluate_s=60, deliver_s=0.1, clock_s=0.1),
            stop=stop,
            beside=lambda cycle: listening(cycle.watch, now),
        )

    with weather_server(payload(now(), rain_in_h=30)) as sky:
        folder = show_folder(tmp_path / "show", feeds=feed_of(sky.url))
        service = threading.Thread(target=serve_it)
        service.start()
        try:
            wait_for(lambda: any(line.startswith("Listening at") for line in lines))
            url = next(line.split()[2] for line in lines if line.startswith("Listening at"))
            # the first evaluation follows the first answer of the feed
            wait_for(lambda: requests.get(f"{url}/health", timeout=10).status_code == 200)
            with closing(open_database(folder / "dryspell.db")) as db:
                headers = bearer(make_token(db, "mast", now()))

            def evaluated():
                state = requests.get(f"{url}/api/v1/state", headers=headers, timeout=10).json()
                assert [feed["state"] for feed in state["feeds"]] == ["current"]
                return state["evaluated_at"]

            time.sleep(1.1)  # times of evaluations are told to the second
            before = evaluated()
            entry = {"id": "from-a-phone", "entry": "covered", "position": "wash"}
            posted = requests.post(f"{url}/api/v1/log", json=entry, headers=headers, timeout=10)
            assert posted.status_code == 201
            # nothing is woken by it: the service sees the new row at its next look
            wait_for(lambda: evaluated() > before)
        finally:
            stop.set()
            service.join(20)
    assert not service.is_alive()
    assert lines[-1].startswith("Stopped.")
    with pytest.raises(requests.ConnectionError):
        requests.get(f"{url}/health", timeout=10)
    with closing(open_database(folder / "dryspell.db")) as db:
        assert verify(db).ok


def test_a_second_service_is_told_of_the_folder_and_not_of_the_port(tmp_path):
    folder = show_folder(tmp_path / "show", outside=f'[page]\nlisten = "127.0.0.1:{free_port()}"\n')
    process = run_service(folder)
    try:
        listening_at(process)
        second = subprocess.run(
            [*RUN, str(folder)], capture_output=True, text=True, check=False, timeout=30
        )
    finally:
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=20)
    assert second.returncode == 3
    assert "already watching" in second.stderr
    assert (process.returncode, err) == (0, "")
    assert "Nothing is watched now" in out


def test_killed_in_the_middle_of_a_post_and_sent_again_it_stands_once(tmp_path):
    """kill -9 while posts are under way; whoever had no answer sends the same again."""
    folder = show_folder(tmp_path / "show")
    with closing(open_database(folder / "dryspell.db")) as db:
        headers = bearer(make_token(db, "phone", now()))
    left, minute = [], stamp(now())[:-3]
    for n in range(120):
        word = {"id": f"word-{n:04d}", "entry": "wet", "position": "wash"}
        reading = {"station": "mast", "time": f"{minute}{n // 2:02d}.{n % 2}Z", "temp_c": 15}
        left += [("/api/v1/log", word), ("/api/v1/observations", reading)]
    kills = 0
    while left:
        process = run_service(folder)
        url = listening_at(process)
        killer = threading.Timer(0.15, process.kill)
        if kills < 3:
            killer.start()
        try:
            with requests.Session() as session:
                while left:
                    path, body = left[0]
                    answer = session.post(url + path, json=body, headers=headers, timeout=10)
                    assert answer.status_code in (200, 201), answer.text
                    left.pop(0)
        except requests.RequestException:
            kills += 1
        finally:
            killer.cancel()
            process.kill()
            process.communicate()
    assert kills == 3
    with closing(open_database(folder / "dryspell.db")) as db:
        keys = [row["key"] for row in db.query("SELECT key FROM log_entries ORDER BY id")]
        assert sorted(keys) == [f"word-{n:04d}" for n in range(120)]
        assert db.execute("SELECT count(*) FROM readings").fetchone() == (120,)
        assert verify(db).ok
