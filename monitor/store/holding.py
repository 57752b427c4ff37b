"""Messages that wait for their moment: who got what lately, and what waits for the same one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.store.database import immediate
from monitor.store.outbox_rows import rows_where
from monitor.store.records import from_text, to_text

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Stage
    from monitor.store.outbox_rows import OutboxRow

_LOOK_BACK = 500
"""So many outcomes are looked through for what was sent lately: far more than in ten minutes."""


@dataclass(frozen=True, slots=True)
class Got:
    """A message that went to a recipient."""

    thread: str
    stage: Stage | None
    queued_at: datetime
    at: datetime | None
    """None: it is under way"""


def got_lately(
    db: Database, whom: Collection[tuple[str, str]], since: datetime, now: datetime
) -> tuple[Got, ...]:
    """What any of these (contact, recipient) was sent after `since`, or is being sent.

    On-watch messages, outlooks and tests are left out, and what was told with another: it
    was no buzz of its own.
    """
    found = db.execute(
        """
        SELECT contact, recipient, thread, json_extract(body, '$.stage'), queued_at, outcomes.at
        FROM outcomes JOIN messages ON messages.id = outcomes.message
        JOIN outbox ON outbox.message = messages.id AND joined_to IS NULL
        WHERE outcomes.id > (SELECT coalesce(max(id), 0) FROM outcomes) - ?3
            AND result = 'sent' AND outcomes.at > ?1 AND outcomes.at <= ?2
            AND json_extract(body, '$.kind') NOT IN ('watch', 'test')
        UNION ALL
        SELECT contact, recipient, thread, json_extract(body, '$.stage'), queued_at, NULL
        FROM outbox JOIN messages ON messages.id = outbox.message
        WHERE state = 'queued' AND leased_until > ?2
            AND json_extract(body, '$.kind') NOT IN ('watch', 'test')
        """,
        [to_text(since), to_text(now), _LOOK_BACK],
    ).fetchall()
    return tuple(
        Got(thread, stage, from_text(queued_at), None if at is None else from_text(at))
        for contact, recipient, thread, stage, queued_at, at in found
        if (contact, recipient) in whom
    )


def waiting_beside(db: Database, row: OutboxRow, now: datetime) -> tuple[OutboxRow, ...]:
    """What was never tried yet of what the same recipient of the same contact waits for."""
    return rows_where(
        db,
        "state = 'queued' AND attempts = 0 AND joined_to IS NULL AND expires_at > ?1"
        " AND contact = ?2 AND recipient = ?3 AND messages.id <> ?4",
        [to_text(now), row.contact, row.recipient, row.number],
    )


def told_alike(db: Database, row: OutboxRow) -> frozenset[tuple[str, str]]:
    """Each (contact, recipient) that has, or is still to get, the very word that a row tells."""
    found = db.execute(
        "SELECT contact, recipient FROM messages JOIN outbox ON outbox.message = messages.id"
        " WHERE thread = ? AND queued_at = ? AND state IN ('queued', 'sent')",
        [row.message.thread, to_text(row.queued_at)],
    )
    return frozenset((contact, recipient) for contact, recipient in found.fetchall())


def ask_again(db: Database) -> None:
    """Have every row that waits for its moment asked about anew."""
    with immediate(db):
        db.execute(
            "UPDATE outbox SET not_before = NULL WHERE state = 'queued' AND not_before IS NOT NULL"
        )


def was_told(db: Database, row: OutboxRow, since: datetime) -> bool:
    """Whether the same recipient was sent something of the same thread since a moment."""
    found = db.execute(
        "SELECT 1 FROM messages JOIN outcomes ON outcomes.message = messages.id"
        " WHERE thread = ? AND contact = ? AND recipient = ? AND result = 'sent'"
        " AND outcomes.at >= ? LIMIT 1",
        [row.message.thread, row.contact, row.recipient, to_text(since)],
    ).fetchone()
    return found is not None
