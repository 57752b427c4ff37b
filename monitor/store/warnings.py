"""Official warnings as received, each message once, with the bytes it came in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from monitor.planning.official import OfficialWarning
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_json, from_text, to_json, to_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class StoredMessage:
    """One message of a service: every warning in it."""

    id: int
    received_at: datetime
    warnings: tuple[OfficialWarning, ...]


@dataclass(frozen=True, slots=True)
class _Body:
    """What is kept of a message as a row; `matters_until` lets old ones be left unread."""

    matters_until: datetime
    warnings: tuple[OfficialWarning, ...]


def record_message(
    db: Database, warnings: Sequence[OfficialWarning], raw: bytes, received_at: datetime
) -> bool:
    """Keep the warnings of one message and its bytes; False where the message was known.

    A message is known by its sender, its identifier and its time of sending, as others refer
    to it.
    """
    first = warnings[0]
    with immediate(db):
        if first.key in known_messages(db, first.service, [first.key]):
            return False
        # A cancel ends what may have begun long before, so what was sent last matters too.
        until = max(max(w.until, w.sent) for w in warnings).astimezone(UTC)
        chain.add(
            db,
            "warning",
            {
                "service": first.service,
                "identifier": first.key,
                "received_at": to_text(received_at),
                "body": to_json(_Body(until, tuple(warnings))),
                "raw_sha256": chain.put_content(db, raw),
            },
            received_at,
        )
    return True


@in_plain_words()
def known_messages(db: Database, service: str, keys: Sequence[str]) -> frozenset[str]:
    """Those of the keys whose message has been received from the service."""
    known: set[str] = set()
    for start in range(0, len(keys), 500):
        some = keys[start : start + 500]
        marks = ", ".join("?" for _ in some)
        rows = db.execute(
            "SELECT identifier FROM official_warnings"  # noqa: S608 - only marks
            f" WHERE service = ? AND identifier IN ({marks})",
            [service, *some],
        )
        known.update(row[0] for row in rows)
    return frozenset(known)


@in_plain_words()
def stored_messages(
    db: Database, after_id: int = 0, matters_after: datetime | None = None
) -> tuple[StoredMessage, ...]:
    """Messages in the order they came; `matters_after` leaves out what was over before."""
    rows = db.execute(
        "SELECT id, received_at, body FROM official_warnings WHERE id > ?"
        " AND json_extract(body, '$.matters_until') >= ? ORDER BY id",
        [after_id, "" if matters_after is None else to_text(matters_after)],
    )
    return tuple(
        StoredMessage(row[0], from_text(row[1]), from_json(_Body, row[2]).warnings)
        for row in rows.fetchall()
    )


@in_plain_words()
def message_bytes(db: Database, message_id: int) -> bytes | None:
    """The bytes in which a message came."""
    found = db.execute(
        "SELECT raw_sha256 FROM official_warnings WHERE id = ?", [message_id]
    ).fetchone()
    return None if found is None else chain.get_content(db, found[0])
