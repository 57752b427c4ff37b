"""A service killed at random points: what it had acknowledged is there, and never by half."""

from __future__ import annotations

import subprocess
import sys

import pytest

from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.history import alert_changes
from monitor.store.outbox import deliveries

ROUNDS = 20

# Imports once, then forks a writer per round and kills it: starting Python anew for each
# would take most of the time.
NURSERY = """
import os, pathlib, random, signal, sys, time
from datetime import timedelta
sys.path.insert(0, sys.argv[3])
from stored_samples import NOON, HOUR, alert, message
from monitor.domain import Outcome
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change
from monitor.store.outbox import enqueue, free_leases, lease, settle

path, acknowledged = pathlib.Path(sys.argv[1]), sys.argv[2]
draw = random.Random(int(sys.argv[4]))

def write(turn):
    said = os.open(acknowledged, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    with open_database(path) as db:
        free_leases(db, NOON)
        for n in range(1_000_000):
            number = f"{turn}-{n}"
            with immediate(db):
                record_change(db, alert(number), "rain", NOON)
                for to in ("a@example.org", "b@example.org"):
                    enqueue(db, message(number), "crew", to, at=NOON, expires_at=NOON + HOUR)
            os.write(said, f"queued alert-{number}\\n".encode())
            row = lease(db, NOON)
            settle(db, row, Outcome(sent=True), NOON)
            os.write(said, f"sent {row.id}\\n".encode())

open_database(path).close()
for turn in range(int(sys.argv[5])):
    child = os.fork()
    if child == 0:
        write(turn)
    time.sleep(draw.uniform(0.01, 0.12))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), status
"""


@pytest.mark.crash
def test_killed_at_random_points_nothing_is_lost_or_half_written(path, tmp_path, request):
    acknowledged = tmp_path / "acknowledged"
    # The seed of the run, so that a failure can be had again.
    seed = str(getattr(request.config.option, "randomly_seed", 1))
    nursery = subprocess.run(
        [sys.executable, "-c", NURSERY, path, acknowledged, request.path.parent, seed, str(ROUNDS)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (nursery.returncode, nursery.stderr) == (0, "")
    said = [line.split() for line in acknowledged.read_text().splitlines()]
    with open_database(path) as db:
        report = verify(db)
        changes = {change.alert.id for change in alert_changes(db)}
        rows = deliveries(db)
    assert report.ok, report.says
    told = {}
    for delivery in rows:
        told.setdefault(delivery.row.message.alert_id, set()).add(delivery.row.recipient)
    assert set(told) == changes
    assert all(to == {"a@example.org", "b@example.org"} for to in told.values())
    assert {name for what, name in said if what == "queued"} <= changes
    sent = {d.row.id for d in rows if d.state == "sent"}
    assert {name for what, name in said if what == "sent"} <= sent
    assert len(changes) > ROUNDS
