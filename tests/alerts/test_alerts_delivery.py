from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import timedelta

import pytest
from alert_samples import MAILBOX, NOW, note

from monitor.alerts import delivery
from monitor.domain import Contact, Outcome, UnableError
from monitor.store import outbox
from monitor.store.database import immediate, open_database

LATER = NOW + timedelta(hours=6)
FOLDER = "messages"


@pytest.fixture
def path(tmp_path):
    return tmp_path / "dryspell.db"


@pytest.fixture
def db(path):
    with open_database(path) as opened:
        yield opened


def queue(db, message=None, contact=FOLDER, recipient=FOLDER):
    with immediate(db):
        return outbox.enqueue(db, message or note(), contact, recipient, at=NOW, expires_at=LATER)


def step(db, contacts, now=NOW, secret=str, **more):
    return delivery.deliver_one(db, contacts, lambda: now, secret, lambda: 0.5, **more)


def laid_in(path) -> dict:
    return {FOLDER: Contact(name=FOLDER, kind="folder", path=str(path))}


def test_nothing_due(db, tmp_path):
    assert step(db, laid_in(tmp_path)) is None


def test_one_step_sends_one_message(db, tmp_path):
    row_id = queue(db)
    queue(db, note(alert_id="18", thread="alert-18"))
    settled = step(db, laid_in(tmp_path / "out"))
    assert settled.result == "sent"
    assert settled.row.id == row_id
    assert len(list((tmp_path / "out").glob("*.eml"))) == 1
    assert step(db, laid_in(tmp_path / "out")).result == "sent"
    assert step(db, laid_in(tmp_path / "out")) is None


def test_through_a_real_mail_server(db, mail_server):
    mailbox, port = mail_server()
    queue(db, contact="crew", recipient="ines@crew.example")
    settled = step(db, {"crew": replace(MAILBOX, port=port)})
    assert settled.result == "sent"
    assert mailbox.mails[0].rcpt_tos == ["ines@crew.example"]


def test_the_secret_is_read_at_the_moment_of_sending(db, receiver):
    queue(db, contact="board", recipient="board")
    contact = Contact(name="board", kind="webhook", url=receiver.url, secret="env:HOOK")
    asked = []

    def secret(reference):
        asked.append(reference)
        return "whsec_" + "A" * 32

    assert step(db, {"board": contact}, secret=secret).result == "sent"
    assert asked == ["env:HOOK"]
    assert receiver.requests[0][1]["webhook-id"] == outbox.deliveries(db)[0].row.id


def test_a_secret_that_cannot_be_read_is_told_and_tried_again(db, receiver):
    queue(db, contact="board", recipient="board")
    contact = Contact(name="board", kind="webhook", url=receiver.url, secret="file:hook")

    def secret(reference):
        raise UnableError(f"{reference} cannot be read.", "Give the service the right to.")

    settled = step(db, {"board": contact}, secret=secret)
    assert settled.result == "retry"
    assert "file:hook cannot be read." in settled.detail
    assert receiver.requests == []


def test_a_fault_of_a_sender_does_not_lose_the_message(db, monkeypatch, tmp_path):
    def broken(*_, **__):
        raise RuntimeError("password sesame")

    queue(db)
    monkeypatch.setitem(delivery.SENDERS, "folder", broken)
    settled = step(db, laid_in(tmp_path))
    assert settled.result == "retry"
    assert "RuntimeError" in settled.detail
    assert "sesame" not in settled.detail
    assert settled.next_try_at > NOW


def test_no_transaction_is_open_while_sending(db, path, monkeypatch, tmp_path):
    def writes_meanwhile(*_, **__):
        assert not db.conn.in_transaction
        other = sqlite3.connect(path, timeout=0)
        try:
            other.execute("BEGIN IMMEDIATE")
            other.execute("ROLLBACK")
        finally:
            other.close()
        return Outcome(sent=True)

    queue(db)
    monkeypatch.setitem(delivery.SENDERS, "folder", writes_meanwhile)
    assert step(db, laid_in(tmp_path)).result == "sent"


def test_a_contact_taken_out_of_the_show_is_given_up_aloud(db):
    queue(db)
    told = []
    settled = step(db, {}, on_settled=lambda s: told.append((s.result, db.conn.in_transaction)))
    assert settled.result == "given-up"
    assert told == [("given-up", True)]


def test_what_is_told_of_an_outcome_stands_or_falls_with_it(db, tmp_path):
    def fails(settled):
        raise UnableError("The disk is full.", "Make room.")

    queue(db)
    with pytest.raises(UnableError):
        step(db, laid_in(tmp_path), on_settled=fails)
    assert outbox.deliveries(db)[0].state == "queued"
    # the lease runs out and the message is sent again under the same id
    again = step(db, laid_in(tmp_path), now=NOW + timedelta(seconds=delivery.LEASE_S + 1))
    assert again.result == "sent"
    assert len(list(tmp_path.glob("*.eml"))) == 1


def test_a_wait_asked_for_is_kept(db, receiver):
    receiver.status = 429
    receiver.headers = {"Retry-After": "600"}
    queue(db, contact="board", recipient="board")
    contact = Contact(name="board", kind="webhook", url=receiver.url, secret="env:HOOK")
    settled = step(db, {"board": contact}, secret=lambda _: "whsec_" + "A" * 32)
    assert settled.result == "retry"
    assert settled.next_try_at >= NOW + timedelta(seconds=600)


def test_one_row_per_mailbox():
    two = replace(MAILBOX, to=("a@crew.example", "b@crew.example"))
    assert delivery.recipients(two) == ("a@crew.example", "b@crew.example")
    assert delivery.recipients(Contact(name="board", kind="webhook")) == ("board",)


@pytest.mark.parametrize(
    ("kind", "stage", "wanted"),
    [
        ("work", "start", True),
        ("work", "notice", False),
        ("work", "stood-down", False),
        ("work", "stop", True),
        ("stop", "stop", True),
        ("stop", "stood-down", True),
        ("weather", "notice", True),
        ("delivery", "start", True),
        ("watch", None, True),
        ("test", None, True),
    ],
)
def test_stages_filter_work_and_nothing_else(kind, stage, wanted):
    only_starts = replace(MAILBOX, stages=("start",))
    assert delivery.wants(only_starts, note(kind=kind, stage=stage)) is wanted
    assert delivery.wants(MAILBOX, note(kind=kind, stage=stage))
