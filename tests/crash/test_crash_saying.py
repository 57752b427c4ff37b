"""The service killed while a phone says what was done: its retry finds it kept once, or keeps it."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from urllib.parse import urlencode

import pytest
from service_site import free_port, wait_for, write_show

from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.devices import link_of, make_link, sign_in
from monitor.store.history import log_entries
from monitor.web.own_forms import form_token

pytestmark = [pytest.mark.crash, pytest.mark.slow]

KILLS = 4
ENTRIES = ("covered", "wet", "uncovered", "isolated")


RUN = [sys.executable, "-c", "from monitor.cli import main; main()", "run", "--show"]


def start(folder):
    return subprocess.Popen(
        [*RUN, str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


class Phone:
    """Sends a word over a socket of its own, and says what came back; None: nothing did."""

    def __init__(self, port, secret):
        self.port, self.secret = port, secret

    def request(self, **fields):
        body = urlencode({"csrf": form_token(self.secret), **fields}).encode()
        head = (
            f"POST /say/log HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n"
            f"Origin: http://127.0.0.1:{self.port}\r\nCookie: duty-{self.port}={self.secret}\r\n"
            "Accept: application/json\r\nConnection: close\r\n"
            "Content-Type: application/x-www-form-urlencoded\r\n"
            f"Content-Length: {len(body)}\r\n\r\n"
        )
        return head.encode() + body

    def calls(self):
        return socket.create_connection(("127.0.0.1", self.port), timeout=15)

    def say(self, **fields):
        try:
            with self.calls() as line:
                line.sendall(self.request(**fields))
                answer = b""
                while more := line.recv(4096):
                    answer += more
        except OSError:
            return None
        return int(answer.split(b" ", 2)[1]) if answer.count(b"\r\n") else None


@pytest.fixture
def site(tmp_path):
    """(folder, phone) of a show with one phone signed in, and nothing running."""
    port = free_port()
    folder = write_show(tmp_path / "show", contacts=f'[page]\nlisten = "127.0.0.1:{port}"\n')
    at = datetime.now(UTC)
    with closing(open_database(folder / "dryspell.db")) as db:
        link = link_of(db, make_link(db, "crew", "Night crew", at))
        _, secret = sign_in(db, link, "Dario", at)
    return folder, Phone(port, secret)


@contextmanager
def running(folder, port):
    service = start(folder)
    try:
        wait_for(lambda: _listens(port))
        yield service
    finally:
        service.kill()
        service.communicate()


def kept(folder):
    with closing(open_database(folder / "dryspell.db")) as db:
        return [row["key"] for row in db.query("SELECT key FROM log_entries ORDER BY id")]


@pytest.mark.parametrize("cut", ["in the middle of what is sent", "after it is kept"])
def test_a_server_killed_during_a_log_entry_and_the_phone_says_it_again(site, cut):
    folder, phone = site
    word = tap(random.Random(5))
    said = phone.request(**word)
    with running(folder, phone.port) as service, phone.calls() as line:
        if cut == "after it is kept":
            # The answer is not read: the signal is gone before it comes.
            line.sendall(said)
            wait_for(lambda: kept(folder))
        else:
            line.sendall(said[:-10])
        os.kill(service.pid, signal.SIGKILL)
        service.wait(20)
    before = kept(folder)
    with running(folder, phone.port):
        again = [phone.say(**word) for _ in range(2)]
    assert (before, again) == (
        ([word["id"]], [200, 200]) if cut == "after it is kept" else ([], [201, 200])
    )
    assert kept(folder) == [word["id"]]


def tap(dice):
    return {
        "id": uuid.uuid4().hex,
        "entry": dice.choice(ENTRIES),
        "position": "wash",
        "at": datetime.now(UTC).isoformat(),
    }


def test_killed_again_and_again_what_was_said_stands_once_and_in_order(site):
    folder, phone = site
    dice = random.Random(random.randrange(2**32))
    queue, waiting = [], []
    for blows in [*[True] * KILLS, False]:
        with running(folder, phone.port) as service:
            more = [tap(dice) for _ in range(40)]
            queue += more
            waiting += more
            if blows:
                after = dice.uniform(0.0, 0.25)
                blow = threading.Timer(after, os.kill, (service.pid, signal.SIGKILL))
                blow.start()
            # In order, and again with the signal back: whatever got no answer stays waiting.
            while waiting and phone.say(**waiting[0]) in (200, 201):
                waiting.pop(0)
            if blows:
                blow.join()
    assert waiting == []
    with closing(open_database(folder / "dryspell.db")) as db:
        stands = log_entries(db)
        assert verify(db).ok
    assert kept(folder) == [word["id"] for word in queue]
    assert [(e.entry, e.at.isoformat()) for e in stands] == [(w["entry"], w["at"]) for w in queue]
    assert {e.by for e in stands} == {"Dario"}


def _listens(port):
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        time.sleep(0.02)
        return False
    return True
