"""A stage that a contact does not want must not drop the one it does."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

from monitor.domain import Contact, Message
from monitor.service.telling import send
from monitor.store.database import immediate, open_database
from monitor.store.outbox import deliveries

NOON = datetime(2027, 7, 1, 12, tzinfo=UTC)


def word(stage, minutes):
    return Message(
        "truss-1",
        "stop" if stage == "stop" else "work",
        stage,
        f"{stage} it is",
        "text",
        "radio",
        {},
        "alert-truss-1",
        NOON + timedelta(minutes=minutes),
    )


def states(tmp_path, *stages):
    show = SimpleNamespace(
        contacts=(Contact("desk", "folder", stages=("start",), path="x"),),
        event=SimpleNamespace(quiet_hours=None),
    )
    with open_database(tmp_path / "dryspell.db") as db:
        for n, stage in enumerate(stages):
            with immediate(db):
                said = word(stage, n)
                send(db, show, said, said.at, said.at + timedelta(hours=6))
        return [(d.row.message.stage, d.state) for d in deliveries(db)]


def test_overdue_that_is_not_wanted_leaves_the_start_to_arrive(tmp_path):
    assert states(tmp_path, "start", "overdue") == [("start", "queued")]


def test_a_stop_drops_the_start_whatever_is_wanted(tmp_path):
    assert states(tmp_path, "start", "stop") == [("start", "cancelled"), ("stop", "queued")]


def test_no_longer_needed_drops_the_start_though_it_is_not_told(tmp_path):
    assert states(tmp_path, "start", "stood-down") == [("start", "cancelled")]
