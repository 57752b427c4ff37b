"""Log entries taken back: a row of the log that puts nothing in the place of another."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.store import chain
from monitor.store.database import immediate
from monitor.store.records import from_json, to_json, to_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """Who took an entry back, and why."""

    by: str | None = None
    note: str | None = None


_KEY = "withdrawn"


def withdraw_log(
    db: Database, replaces: str, key: str, received_at: datetime, withdrawal: Withdrawal
) -> None:
    """Take the standing entry of key `replaces` back; it stays in the history.

    The entry must be there, stand, and be no withdrawal itself: whoever calls has looked.
    """
    with immediate(db):
        (at,) = db.execute("SELECT at FROM log_entries WHERE key = ?", [replaces]).fetchone()
        chain.add(
            db,
            "log",
            {
                "key": key,
                "at": at,
                "received_at": to_text(received_at),
                "replaces": replaces,
                "entry": to_json({_KEY: json.loads(to_json(withdrawal))}),
            },
            received_at,
        )


def withdrawal_in(body: str) -> Withdrawal | None:
    """The withdrawal that a row of the log holds; None: it holds an entry."""
    if not body.startswith(f'{{"{_KEY}":'):
        return None
    return from_json(Withdrawal, json.dumps(json.loads(body)[_KEY]))
