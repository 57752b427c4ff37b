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
from contextlib import closing
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

KILLS = 6
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

    def say(self, **fields):
        body = urlencode({"csrf": form_token(self.secret), **fields}).encode()
        head = (
            f"POST /say/log HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n"
            f"Origin: http://127.0.0.1:{self.port}\r\nCookie: duty={self.secret}\r\n"
            "Accept: application/json\r\nConnection: close\r\n"
            "Content-Type: application/x-www-form-urlencoded\r\n"
            f"Content-Length: {len(body)}\r\n\r\n"
        )
        try:
            with socket.create_connection(("127.0.0.1", self.port), timeout=15) as line:
                line.sendall(head.encode() + body)
                answer = b""
                while more := line.recv(4096):
                    answer += more
        except OSError:
            return None
        return int(answer.split(b" ", 2)[1]) if answer.count(b"\r\n") else None


def tap(dice):
    return {
        "id": uuid.uuid4().hex,
        "entry": dice.choice(ENTRIES),
        "position": "wash",
        "at": datetime.now(UTC).isoformat(),
    }


def test_a_word_that_was_cut_off_is_sent_again_and_stands_once(tmp_path):
    dice, port = random.Random(random.randrange(2**32)), free_port()
    folder = write_show(tmp_path / "show", contacts=f'[page]\nlisten = "127.0.0.1:{port}"\n')
    at = datetime.now(UTC)
    with closing(open_database(folder / "dryspell.db")) as db:
        link = link_of(db, make_link(db, "crew", "Night crew", at))
        _, secret = sign_in(db, link, "Dario", at)
    phone, queue, waiting = Phone(port, secret), [], []
    for blows in [*[True] * KILLS, False]:
        service = start(folder)
        try:
            wait_for(lambda: _listens(port))
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
        finally:
            service.kill()
            service.communicate()
    assert waiting == []
    with closing(open_database(folder / "dryspell.db")) as db:
        kept = log_entries(db)
        keys = [row["key"] for row in db.query("SELECT key FROM log_entries ORDER BY id")]
        assert verify(db).ok
    assert keys == [word["id"] for word in queue]
    assert [(e.entry, e.at.isoformat()) for e in kept] == [(w["entry"], w["at"]) for w in queue]
    assert {e.by for e in kept} == {"Dario"}


def _listens(port):
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        time.sleep(0.02)
        return False
    return True
