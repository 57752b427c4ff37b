"""The running service killed at random points: no alert is lost, none is half written."""

from __future__ import annotations

import email
import os
import random
import signal
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from email import policy

import pytest
from service_site import (
    ENVIRON,
    desk_receiver,
    feed_of,
    hook_to,
    mail_server,
    mail_to,
    payload,
    wait_for,
    weather_server,
    write_show,
)

from monitor.domain import LogEntry
from monitor.store.chain import head, verify
from monitor.store.database import open_database
from monitor.store.history import alert_changes, open_alerts, recall, record_log
from monitor.store.outbox import deliveries, undelivered

pytestmark = [pytest.mark.crash, pytest.mark.slow]

KILLS = 30

DRIVER = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
from monitor.service import Pace, serve

# Everything is loaded once; each service is a process of its own, there in an instant.
for _ in sys.stdin:
    pid = os.fork()
    if pid == 0:
        print(f"pid {os.getpid()}", flush=True)
        try:
            serve(
                Path(sys.argv[1]),
                os.environ,
                clock=lambda: datetime.now(UTC),
                say=lambda line: None,
                pace=Pace(poll_s=0.05, look_s=0.05, evaluate_s=0.2, deliver_s=0.05, clock_s=0.1),
            )
            os._exit(0)
        except BaseException as fault:
            print(f"fault {fault!r}", flush=True)
            os._exit(9)
    print(f"ended {os.waitpid(pid, 0)[1]}", flush=True)
"""


@contextmanager
def driver(folder):
    """Starts services one after another; yields start() -> pid and ended() -> wait status."""
    process = subprocess.Popen(
        [sys.executable, "-c", DRIVER, str(folder)],
        env={**os.environ, **ENVIRON},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )

    running = []

    def line(kind):
        said = process.stdout.readline().split(maxsplit=1)
        assert said[0] == kind, said
        return int(said[1])

    def start():
        process.stdin.write("start\n")
        process.stdin.flush()
        running.append(line("pid"))
        return running[0]

    def ended():
        status = line("ended")
        running.clear()
        return status

    try:
        yield start, ended
    finally:
        for pid in running:
            os.kill(pid, signal.SIGKILL)
        process.stdin.close()
        process.wait(20)
        process.stdout.close()


@contextmanager
def read_db(folder):
    db = open_database(folder / "dryspell.db")
    with closing(db.conn):
        yield db


def test_killed_again_and_again_nothing_is_lost(tmp_path):
    dice = random.Random(random.randrange(2**32))
    with (
        weather_server(payload(datetime.now(UTC))) as sky,
        mail_server() as (mailbox, port),
        desk_receiver() as desk,
    ):
        people = ("a@example.org", "b@example.org")
        folder = write_show(
            tmp_path / "show",
            feeds=feed_of(sky.url),
            contacts=mail_to(port, *people) + hook_to(desk.url),
            poll="1s",
        )
        with driver(folder) as (start, ended):
            for n in range(KILLS):
                # Another forecast each time: earlier, later, more or less, so alerts change.
                sky.body = payload(
                    datetime.now(UTC), rain_in_h=dice.choice([1, 3, 5]), mm=dice.choice([2.0, 9.0])
                )
                pid = start()
                time.sleep(dice.uniform(0.02, 1.0))
                os.kill(pid, signal.SIGKILL)
                assert ended() == signal.SIGKILL
                if n == KILLS // 2:
                    with read_db(folder) as db:
                        entry = LogEntry(datetime.now(UTC), "inspected", position="wash")
                        record_log(db, entry, "from-the-crew", datetime.now(UTC))
            pid = start()
            with read_db(folder) as db:
                wait_for(lambda: _at_rest(db))
            os.kill(pid, signal.SIGTERM)
            assert ended() == 0
        with read_db(folder) as db:
            _nothing_is_lost(db, [("crew chief", p) for p in people] + [("desk", "desk")])
            _nothing_is_half_written(db)
            sent = [d.row for d in deliveries(db) if d.state == "sent"]
    _what_is_sent_has_arrived(sent, mailbox, desk)


def _at_rest(db):
    """Nothing waits to be sent, and two looks later nothing has been added."""
    before = head(db)
    time.sleep(0.7)
    waiting = undelivered(db, datetime.now(UTC)).waiting
    return recall(db, "watch/state") is not None and not waiting and head(db) == before


def _nothing_is_lost(db, everybody):
    """Every change has a message to everybody, sent, or overtaken by a later one that was."""
    changes = alert_changes(db)
    rows = deliveries(db)
    assert len({c.at for c in changes if c.alert.kind in ("work", "stop")}) >= 3
    assert {d.state for d in rows} <= {"sent", "cancelled"}
    for change in changes:
        told = [
            d
            for d in rows
            if d.row.message.alert_id == change.alert.id and d.row.message.at == change.at
        ]
        assert sorted((d.row.contact, d.row.recipient) for d in told) == sorted(everybody)
    last: dict[tuple[str, str, str], str] = {}
    for d in rows:
        last[d.row.message.thread, d.row.contact, d.row.recipient] = d.state
    assert set(last.values()) == {"sent"}


def _nothing_is_half_written(db):
    assert verify(db).ok
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    remembered = {o["alert"]["id"] for o in recall(db, "watch/state")["open"]}
    kept = {a.alert.id for a in open_alerts(db) if a.alert.kind in ("work", "stop")}
    assert remembered == kept


def _what_is_sent_has_arrived(sent, mailbox, desk):
    assert desk.refused == 0
    by_web = {row.id for row in sent if row.contact == "desk"}
    assert by_web <= {row_id for row_id, _ in desk.got}
    mails = [email.message_from_bytes(m.content, policy=policy.default) for m in mailbox.mails]
    texts = [mail.get_body(("plain",)).get_content() for mail in mails]
    # a mail that broke off would lack its last lines
    assert all("Written " in text for text in texts)
    arrived = {
        (m.rcpt_tos[0], text.replace("\r\n", "\n").strip())
        for m, text in zip(mailbox.mails, texts, strict=True)
    }
    wanted = {(r.recipient, r.message.text.strip()) for r in sent if r.contact != "desk"}
    assert wanted <= arrived
