"""A part that fails is told of once, ended by its own success, and past the database if need be."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from service_site import ENVIRON, desk_receiver, hook_to, mail_server, mail_to, write_show

from monitor.domain import UnableError
from monitor.service.faults import Faults
from monitor.service.watched import FolderWatch
from monitor.store.database import open_database
from monitor.store.history import alert_changes

FULL = UnableError("There is no room left on the disk.", "Free some space.")


@pytest.fixture
def around(tmp_path):
    """(faults, what it says, opens the database, mailbox, desk)"""
    with mail_server() as (mailbox, port), desk_receiver() as desk:
        contacts = mail_to(port, "a@example.org", "b@example.org") + hook_to(desk.url)
        folder = write_show(tmp_path / "show", contacts=contacts)
        said = []
        faults = Faults(FolderWatch(folder, ENVIRON), said.append)
        yield faults, said, lambda: open_database(folder / "dryspell.db"), mailbox, desk


def changes(opened):
    db = opened()
    try:
        return [c.alert for c in alert_changes(db)]
    finally:
        db.conn.close()


def works(faults, opened, part, now):
    db = opened()
    try:
        faults.works(db, part, now)
    finally:
        db.conn.close()


def test_told_once_and_ended_by_the_same_part(around):
    faults, said, opened, _, _ = around
    now = datetime.now(UTC)
    faults.fails(opened, "evaluating", ZeroDivisionError("a secret"), now)
    faults.fails(opened, "evaluating", ZeroDivisionError("a secret"), now + timedelta(seconds=5))
    (alert,) = changes(opened)
    assert (alert.kind, alert.stage) == ("weather", "notice")
    assert "a fault of the program (ZeroDivisionError)" in alert.reason
    assert not any("secret" in line for line in [*said, alert.reason])
    assert len(said) == 1
    # that another part works proves nothing
    works(faults, opened, "polling", now)
    assert len(changes(opened)) == 1
    works(faults, opened, "evaluating", now + timedelta(seconds=9))
    assert [a.stage for a in changes(opened)] == ["notice", "stood-down"]
    works(faults, opened, "evaluating", now + timedelta(seconds=10))
    assert len(changes(opened)) == 2


def test_a_fault_of_before_a_restart_is_ended_after_it(around):
    faults, said, opened, _, _ = around
    now = datetime.now(UTC)
    faults.fails(opened, "polling", FULL, now)
    again = Faults(faults._watch, said.append)
    works(again, opened, "polling", now + timedelta(seconds=9))
    assert [a.stage for a in changes(opened)] == ["notice", "stood-down"]


def test_when_nothing_can_be_written_people_are_told_directly(around):
    faults, said, _, mailbox, desk = around
    now = datetime.now(UTC)

    def full():
        raise FULL

    faults.fails(full, "evaluating", ValueError("x"), now)
    assert len(mailbox.mails) == 2
    assert "no room left on the disk" in desk.got[0][1]["data"]["reason"]
    assert said[-1] == "Told directly."
    faults.fails(full, "evaluating", ValueError("x"), now + timedelta(minutes=59))
    assert len(mailbox.mails) == 2
    faults.fails(full, "evaluating", ValueError("x"), now + timedelta(minutes=60))
    assert len(mailbox.mails) == 4


def test_a_queue_that_does_not_move_is_told_of_past_it(around):
    faults, _, opened, mailbox, _ = around
    faults.fails(opened, "delivering", KeyError("x"), datetime.now(UTC))
    assert len(mailbox.mails) == 2
    assert len(changes(opened)) == 1


def test_nobody_to_be_reached_is_said(around, tmp_path):
    _, said, opened, _, _ = around
    folder = write_show(tmp_path / "other", contacts=mail_to(9, "a@example.org"))
    faults = Faults(FolderWatch(folder, ENVIRON), said.append)
    faults.fails(opened, "delivering", FULL, datetime.now(UTC))
    assert said[-1] == "Nobody could be told directly either."
