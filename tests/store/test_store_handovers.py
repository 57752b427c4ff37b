"""Handing over is kept in the history, bound into its chain."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.handovers import Handover, last_handover, record_handover

AT = datetime(2027, 7, 15, 22, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def db(tmp_path):
    made = open_database(tmp_path / "dryspell.db")
    yield made
    made.conn.close()


def test_the_latest_until_a_moment(db):
    assert last_handover(db, AT) is None
    first, second = Handover(AT, "Ines", "Dario"), Handover(AT + 10 * HOUR, "Dario", "Ines")
    record_handover(db, second)
    record_handover(db, first)
    assert last_handover(db, AT - HOUR) is None
    assert last_handover(db, AT + HOUR) == first
    assert last_handover(db, AT + 11 * HOUR) == second


def test_it_cannot_be_altered_or_taken_away(db):
    record_handover(db, Handover(AT, "Ines", "Dario"))
    assert verify(db).ok
    for change in ("DELETE FROM handovers", "UPDATE handovers SET taken_by = 'Suki'"):
        with pytest.raises(Exception, match="history is never"):
            db.execute(change)
    assert verify(db).ok


def test_an_altered_name_breaks_the_chain(db):
    record_handover(db, Handover(AT, "Ines", "Dario"))
    db.execute("DROP TRIGGER handovers_unaltered")
    db.execute("UPDATE handovers SET taken_by = 'Suki'")
    found = verify(db)
    assert not found.ok
    assert "handovers row 1 was altered" in found.says
