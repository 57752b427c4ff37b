"""How far the last word on an alert has come with those it was for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.store.database import in_plain_words
from monitor.store.records import from_text, to_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.store.outbox import State


@dataclass(frozen=True, slots=True)
class Reach:
    """One message to one recipient of a contact, as far as it matters for whose turn is next."""

    contact: str
    state: State
    attempts: int
    sent_at: datetime | None
    held_until: datetime | None
    """It waits for its moment, and was never tried; None: it does not"""


@in_plain_words()
def told_of(db: Database, alert: str) -> tuple[datetime, tuple[str, ...]] | None:
    """When an alert was last told, and the contacts it ever was; None: never."""
    rows = db.execute(
        "SELECT contact, max(queued_at) FROM messages"
        " JOIN alert_changes ON alert_changes.id = messages.change"
        " WHERE alert_changes.alert = ? GROUP BY contact ORDER BY min(messages.id)",
        [alert],
    ).fetchall()
    if not rows:
        return None
    return from_text(max(at for _, at in rows)), tuple(contact for contact, _ in rows)


@in_plain_words()
def reach_of(db: Database, alert: str, since: datetime) -> tuple[Reach, ...]:
    """Every message about an alert that was queued at or after a moment."""
    rows = db.query(
        """
        SELECT contact, state, attempts, not_before,
            (SELECT max(at) FROM outcomes
                WHERE outcomes.message = messages.id AND result = 'sent') AS sent_at
        FROM messages JOIN outbox ON outbox.message = messages.id
        JOIN alert_changes ON alert_changes.id = messages.change
        WHERE alert_changes.alert = ? AND queued_at >= ? ORDER BY messages.id
        """,
        [alert, to_text(since)],
    )
    return tuple(
        Reach(
            row["contact"],
            row["state"],
            row["attempts"],
            None if row["sent_at"] is None else from_text(row["sent_at"]),
            from_text(row["not_before"])
            if row["not_before"] is not None and row["state"] == "queued" and not row["attempts"]
            else None,
        )
        for row in list(rows)
    )
