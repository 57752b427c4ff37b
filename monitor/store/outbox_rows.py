"""What stands in the outbox: a message to a recipient, and what became of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from monitor.domain import Message
from monitor.store.records import from_json, from_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlite_utils import Database

Result = Literal["sent", "retry", "given-up", "cancelled"]
State = Literal["queued", "sent", "given-up", "cancelled"]


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """One message to one recipient. `id` stays the same over every attempt and restart."""

    id: str
    number: int
    message: Message
    contact: str
    recipient: str
    queued_at: datetime
    expires_at: datetime
    attempt: int
    """1 on the first attempt."""
    joined: tuple[OutboxRow, ...] = ()
    """What is told with it, to the same recipient."""


@dataclass(frozen=True, slots=True)
class Hold:
    """A row that must not be sent yet; it is asked about again at `until`."""

    until: datetime


@dataclass(frozen=True, slots=True)
class Send:
    """The row to send now, and the rows that go with it and are not sent themselves."""

    number: int
    joined: tuple[int, ...] = ()


Choose = Callable[["OutboxRow"], Hold | Send]
"""What to do with a row that is due."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What became of a row. A `given-up` is to be told to somebody else: nobody has it."""

    row: OutboxRow
    result: Result
    detail: str
    at: datetime
    next_try_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message to one recipient as it stands, for the report."""

    row: OutboxRow
    state: State
    settled_at: datetime | None
    detail: str
    """What came of the last attempt, empty before the first."""


@dataclass(frozen=True, slots=True)
class Undelivered:
    """How far delivery is behind; `by_contact` counts the waiting ones."""

    oldest_age_s: float | None
    waiting: int
    failing: int
    """Waiting, and failed at least once."""
    given_up: int
    by_contact: Mapping[str, int]


def deliveries_where(db: Database, where: str, arguments: list[Any]) -> tuple[Delivery, ...]:
    """The messages for which an SQL condition of this package holds, in the order queued."""
    rows = db.query(
        f"""
        SELECT messages.*, outbox.state, outbox.attempts, last.at AS last_at, last.detail
        FROM messages JOIN outbox ON outbox.message = messages.id
        LEFT JOIN outcomes AS last ON last.id =
            (SELECT max(id) FROM outcomes WHERE outcomes.message = messages.id)
        WHERE {where} ORDER BY messages.id
        """,  # noqa: S608 - the conditions of this module
        arguments,
    )
    return tuple(
        Delivery(
            OutboxRow(
                id=row["key"],
                number=row["id"],
                message=from_json(Message, row["body"]),
                contact=row["contact"],
                recipient=row["recipient"],
                queued_at=from_text(row["queued_at"]),
                expires_at=from_text(row["expires_at"]),
                attempt=row["attempts"],
            ),
            row["state"],
            from_text(row["last_at"]) if row["state"] != "queued" else None,
            row["detail"] or "",
        )
        for row in list(rows)
    )


def rows_where(db: Database, where: str, arguments: list[Any]) -> tuple[OutboxRow, ...]:
    """The same, as rows to send."""
    return tuple(delivery.row for delivery in deliveries_where(db, where, arguments))
