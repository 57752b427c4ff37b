from __future__ import annotations

import sqlite3

import pytest
from stored_samples import HOUR, MINUTE, NOON, alert

from monitor.domain import Declared
from monitor.store.chain import verify
from monitor.store.declared import declared, record_declared, stops_since
from monitor.store.history import record_change

FIRST = Declared(NOON, "height", "Odile", "tower-2", "wind dropped, structure looked at")
SECOND = Declared(NOON - HOUR, "power", "Ines")


def test_declarations_by_the_time_they_were_made_for(db):
    assert declared(db) == ()
    assert record_declared(db, FIRST, "k1", NOON)
    assert record_declared(db, SECOND, "k2", NOON)
    assert declared(db) == (SECOND, FIRST)
    assert verify(db).rows == 2


def test_sent_twice_it_is_kept_once(db):
    assert record_declared(db, FIRST, "k1", NOON)
    assert not record_declared(db, FIRST, "k1", NOON + HOUR)
    assert declared(db) == (FIRST,)
    with pytest.raises(sqlite3.IntegrityError):
        record_declared(db, SECOND, "k1", NOON)


@pytest.mark.parametrize("sql", ["DELETE FROM declarations", "UPDATE declarations SET body = '{}'"])
def test_they_are_never_taken_back(db, sql):
    record_declared(db, FIRST, "k1", NOON)
    with pytest.raises(sqlite3.IntegrityError, match="history is never"):
        db.execute(sql)


def test_an_altered_one_is_found(db):
    record_declared(db, FIRST, "k1", NOON)
    db.execute("DROP TRIGGER declarations_unaltered")
    db.execute("UPDATE declarations SET body = replace(body, 'Odile', 'Tomas')")
    assert "declarations row 1 was altered" in verify(db).says


def test_a_stop_begins_once_however_often_it_is_told(db):
    site = {"position": None, "kind": "stop"}
    for minute, changed in (
        (0, alert(1, "start")),
        (10, alert(1, "stop")),
        (20, alert(1, "stop")),
        (30, alert(2, "stop", **site)),
        (40, alert(1, "start")),
        (50, alert(1, "stop")),
        (60, alert(2, "stood-down", **site)),
    ):
        record_change(db, changed, "wind", NOON + minute * MINUTE)

    def minute_of(at):
        return None if at is None else (at - NOON) / MINUTE

    found = [
        (minute_of(s.begun_at), minute_of(s.lifted_at), s.position) for s in stops_since(db, NOON)
    ]
    assert found == [(10, 40, "tower-2"), (30, 60, None), (50, None, "tower-2")]
    # one lifted by then is left out, one that stands is not
    later = stops_since(db, NOON + 40 * MINUTE)
    assert [s.position for s in later] == [None, "tower-2"]
