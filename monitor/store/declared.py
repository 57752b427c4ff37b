"""What people on site declared open again, and when: only added to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.domain import Alert, Declared
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_json, from_text, to_json, to_text

if TYPE_CHECKING:
    from sqlite_utils import Database


def record_declared(db: Database, declared: Declared, key: str, received_at: datetime) -> bool:
    """Keep one declaration; False where it was known already.

    `key` is made by the sender, so that sending twice records once. A key that stands for
    another declaration is the caller's to refuse: it breaks the table's rule here.
    """
    body = to_json(declared)
    with immediate(db):
        known = db.execute("SELECT body FROM declarations WHERE key = ?", [key]).fetchone()
        if known == (body,):
            return False
        chain.add(
            db,
            "declared",
            {
                "key": key,
                "at": to_text(declared.at),
                "received_at": to_text(received_at),
                "body": body,
            },
            received_at,
        )
    return True


@in_plain_words()
def declared(db: Database) -> tuple[Declared, ...]:
    """Every declaration, by the time it was made for."""
    rows = db.query("SELECT body FROM declarations ORDER BY at, id")
    return tuple(from_json(Declared, row["body"]) for row in list(rows))


@dataclass(frozen=True, slots=True)
class Stopped:
    """A stop from when it was first told until it was lifted."""

    begun_at: datetime
    lifted_at: datetime | None
    position: str | None
    """None: the whole site"""


@in_plain_words()
def stops_since(db: Database, since: datetime) -> tuple[Stopped, ...]:
    """Every stop that stood at a moment or later, by its beginning.

    A stop that is told again while it stands has begun once.
    """
    rows = db.query(
        """
        SELECT at, body, (
            SELECT min(later.at) FROM alert_changes AS later
            WHERE later.alert = told.alert AND later.id > told.id AND later.stage <> 'stop'
        ) AS lifted_at
        FROM (SELECT id, alert, at, stage, body,
                lag(stage) OVER (PARTITION BY alert ORDER BY id) AS stage_before
            FROM alert_changes) AS told
        WHERE stage = 'stop' AND stage_before IS NOT 'stop'
            AND coalesce(lifted_at > ?, 1) ORDER BY at, id
        """,
        [to_text(since)],
    )
    return tuple(
        Stopped(
            from_text(row["at"]),
            None if row["lifted_at"] is None else from_text(row["lifted_at"]),
            from_json(Alert, row["body"]).position,
        )
        for row in list(rows)
    )
