"""`dryspell run` with a server that drips: what has to be worked out is, and a stop is at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime

import fault_server as server
from service_site import (
    ENVIRON,
    desk_receiver,
    feed_of,
    free_port,
    hook_to,
    payload,
    start_service,
    wait_for,
    weather_server,
    write_show,
)

from monitor.service.evaluated import last_evaluated
from monitor.store.chain import verify
from monitor.store.database import open_database

COMMAND = "from monitor.cli import main; main()"

SECOND = """
extends = "open-meteo"
[feed]
id = "second"
use = "any"
[request]
poll = "1s"
jitter = "0s"
"""


def now() -> datetime:
    return datetime.now(UTC)


def evaluated(db):
    found = last_evaluated(db)
    return None if found is None else found.at


def ends_cleanly(service, within_s):
    began = time.monotonic()
    service.send_signal(signal.SIGTERM)
    said, complained = service.communicate(timeout=10)
    assert time.monotonic() - began < within_s
    assert service.returncode == 0
    assert "Traceback" not in said + (complained or "")
    assert said.splitlines()[-1].startswith("Stopped. Nothing is watched now.")


def test_evaluations_and_the_other_feed_are_on_time_while_a_poll_hangs(tmp_path):
    good = server.sends(payload(now(), rain_in_h=30))
    with (
        server.fault_server(good) as slow,
        weather_server(payload(now(), rain_in_h=1)) as sky,
        desk_receiver() as desk,
    ):
        second = feed_of(sky.url).replace("local-weather", "second")
        folder = write_show(
            tmp_path / "show",
            feeds=feed_of(slow.url) + second,
            contacts=hook_to(desk.url),
            files={"sheets/second.toml": SECOND},
        )
        service = start_service(folder)
        try:
            wait_for(lambda: slow.asked and desk.got)
            # The sheet's deadline is 25 s: from its next poll on the first feed only hangs.
            slow.reply = server.drips("body")
            hanging = len(slow.asked) + 1
            wait_for(lambda: len(slow.asked) >= hanging)
            db = open_database(folder / "dryspell.db")
            with closing(db.conn):
                asked, seen, late = sky.asked, [], []
                ends_at = time.monotonic() + 2.5
                while time.monotonic() < ends_at:
                    at = evaluated(db)
                    late.append((now() - at).total_seconds())
                    if at not in seen:
                        seen.append(at)
                    time.sleep(0.02)
                assert len(slow.asked) == hanging
                # Every 0.5 s, or 0.1 s after something came in; a busy machine may double that.
                assert len(seen) >= 3
                assert max(late) < 1.5
                # Asked every second all the while.
                assert sky.asked >= asked + 2
                # The rain of the second feed was told, by a message that was delivered.
                assert any(b["data"].get("action") == "cover" for _, b in desk.got)
            ends_cleanly(service, 2.5)
        finally:
            service.kill()
            service.wait()
        assert slow.hung_up.wait(2)
    db = open_database(folder / "dryspell.db")
    with closing(db.conn):
        assert verify(db).ok


def test_the_command_itself_ends_at_once_during_a_drip_of_headers(tmp_path):
    with server.fault_server(server.drips("headers")) as slow, desk_receiver() as desk:
        folder = write_show(tmp_path / "show", feeds=feed_of(slow.url), contacts=hook_to(desk.url))
        service = subprocess.Popen(
            [sys.executable, "-c", COMMAND, "run", "--show", str(folder)],
            env={**os.environ, **ENVIRON, "DRYSPELL_PAGE__LISTEN": f"127.0.0.1:{free_port()}"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            wait_for(lambda: slow.asked)
            # As at any time of day: the scheduler has work under way.
            ends_cleanly(service, 3.5)
        finally:
            service.kill()
            service.wait()
        assert slow.hung_up.wait(2)
