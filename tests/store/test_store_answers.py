"""Answers and turns: kept as they were given, bound into the chain, and those of before."""

from __future__ import annotations

import sqlite3

import pytest
from stored_samples import HOUR, MINUTE, NOON, alert

from monitor.alerts.wording import message
from monitor.domain import Answered, Outcome, Turn
from monitor.store import database
from monitor.store.answers import answers, record_answer, record_turn, turns
from monitor.store.chain import verify
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change, remember
from monitor.store.outbox import enqueue, lease, settle
from monitor.store.reached import reach_of
from monitor.store.schema import STEPS

CANNOT = Answered(
    NOON,
    "wash-1",
    "cannot",
    position="wash",
    family="protect",
    fixtures=("W1", "W2"),
    because="act-on-stage",
    until=NOON + HOUR,
    by="Ines",
    note="after the band",
)
FIRST = Turn(
    NOON,
    "wash-1",
    "start",
    "cover",
    ("crew chief", "desk"),
    "told",
    answers=2,
    until=NOON + 4 * MINUTE,
    began=NOON,
)


def test_they_come_back_as_they_were_oldest_first(db):
    doing = Answered(NOON + MINUTE, "wash-1", "doing")
    other = Answered(NOON - HOUR, "roof-2", "done", by="Ben")
    for one in (CANNOT, doing, other):
        record_answer(db, one)
    # in the order in which they were given, by whatever clock
    assert answers(db) == (CANNOT, doing, other)
    # but what waited two minutes for a signal was given before what came while it did
    late = Answered(NOON + MINUTE / 2, "wash-1", "not-needed", by="Suki")
    record_answer(db, late, NOON + 3 * MINUTE)
    assert answers(db) == (CANNOT, late, doing, other)
    plain = Turn(NOON + MINUTE, "roof-2", "notice", None, (), "told")
    for one in (FIRST, plain):
        record_turn(db, one)
    assert turns(db) == (FIRST, plain)
    assert turns(db, "roof-2") == (plain,)
    assert turns(db, "none") == ()
    assert verify(db).ok


@pytest.mark.parametrize("table", ["answers", "turns"])
def test_they_are_never_altered_and_what_is_altered_shows(db, table):
    record_answer(db, CANNOT)
    record_turn(db, FIRST)
    for change in (f"DELETE FROM {table}", f"UPDATE {table} SET alert = 'x'"):
        with pytest.raises(sqlite3.IntegrityError):
            db.execute(change)
    db.execute(f"DROP TRIGGER {table}_unaltered")
    db.execute(f"UPDATE {table} SET alert = 'x'")
    assert not verify(db).ok


def test_answers_of_before_they_had_a_table_are_read(tmp_path, monkeypatch):
    # A database of two versions ago, with the notes that it kept.
    path = tmp_path / "dryspell.db"
    with monkeypatch.context() as before:
        before.setattr(database, "STEPS", STEPS[:2])
        db = open_database(path)
    record_change(db, alert(1), "rain", NOON)
    said = {"answer": "cannot", "at": "2027-07-15T12:05:00Z", "by": "Ben"}
    earlier = [{"answer": "doing", "at": "2027-07-15T12:01:00Z", "by": None}]
    remember(db, f"answer/{alert(1).id}", {**said, "earlier": earlier})
    remember(db, "answer/gone-7", {"answer": "done", "at": "2027-07-15T12:03:00Z", "by": "x"})
    db.conn.close()
    db = open_database(path)
    try:
        record_answer(db, CANNOT)
        found = answers(db)
        assert [(a.alert, a.answer, a.by) for a in found] == [
            (alert(1).id, "doing", None),
            ("gone-7", "done", "x"),
            (alert(1).id, "cannot", "Ben"),
            ("wash-1", "cannot", "Ines"),
        ]
        assert found[0].at == NOON + MINUTE
        assert (found[0].position, found[0].fixtures) == (alert(1).position, alert(1).fixtures)
        assert (found[1].position, found[1].fixtures) == (None, ())
        assert verify(db).ok
    finally:
        db.conn.close()


def test_how_far_a_word_has_come(db):
    told = alert(1)
    with immediate(db):
        record_change(db, told, "rain", NOON)
        for who in ("a", "b", "c"):
            enqueue(db, message(told, NOON), who, who, at=NOON, expires_at=NOON + HOUR)
    row = lease(db, NOON)
    settle(db, row, Outcome(sent=True), NOON + MINUTE)
    row = lease(db, NOON)
    settle(db, row, Outcome(sent=False, lasting=True), NOON + MINUTE)
    held = (NOON + 5 * MINUTE).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    db.execute("UPDATE outbox SET not_before = ? WHERE message = 3", [held])
    found = reach_of(db, told.id, NOON)
    assert [(r.contact, r.state, r.sent_at, r.held_until) for r in found] == [
        ("a", "sent", NOON + MINUTE, None),
        ("b", "given-up", None, None),
        ("c", "queued", None, NOON + 5 * MINUTE),
    ]
    assert reach_of(db, told.id, NOON + MINUTE) == ()
    assert reach_of(db, "another", NOON) == ()
