"""Who gave a watch to whom, and when: what both sides ticked. Only added to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.store import chain
from monitor.store.database import in_plain_words
from monitor.store.records import from_text, to_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class Handover:
    """One handing over that both sides put their names to."""

    at: datetime
    given_by: str
    taken_by: str


def record_handover(db: Database, handover: Handover) -> int:
    """Keep that a watch was handed over; returns the id of the row."""
    return chain.add(
        db,
        "handover",
        {
            "at": to_text(handover.at),
            "given_by": handover.given_by,
            "taken_by": handover.taken_by,
        },
        handover.at,
    )


@in_plain_words()
def last_handover(db: Database, until: datetime) -> Handover | None:
    """The latest at or before a moment, None where there was none."""
    found = db.execute(
        "SELECT at, given_by, taken_by FROM handovers WHERE at <= ? ORDER BY at DESC, id DESC"
        " LIMIT 1",
        [to_text(until)],
    ).fetchone()
    return None if found is None else Handover(from_text(found[0]), found[1], found[2])
