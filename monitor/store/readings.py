"""Readings of the stations on the site, and the crew's word on rain, as they came in.

Only added to. One station says one thing of one moment: the first that came stays.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from monitor.domain import BadInputError, Problem, Reading
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_text, to_json, to_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class StoredReading:
    """A reading as received."""

    id: int
    received_at: datetime
    reading: Reading


def add_reading(db: Database, reading: Reading, received_at: datetime) -> bool:
    """Keep a reading, however late it comes in; False where it was known already.

    Raises
    ------
    BadInputError : another reading of this station and moment is kept; that one stays
    """
    body = _body(reading)
    with immediate(db):
        known = db.execute(
            "SELECT body FROM readings WHERE station = ? AND at = ?",
            [reading.station, to_text(reading.at)],
        ).fetchone()
        if known is not None:
            if known[0] == body:
                return False
            raise BadInputError([_other(reading)])
        chain.add(
            db,
            "reading",
            {
                "station": reading.station,
                "at": to_text(reading.at),
                "received_at": to_text(received_at),
                "body": body,
            },
            received_at,
        )
    return True


@in_plain_words()
def readings_after(db: Database, after_id: int = 0) -> tuple[StoredReading, ...]:
    """The readings that came after the one of that id, in the order they came."""
    rows = db.execute(
        "SELECT id, station, at, received_at, body FROM readings WHERE id > ? ORDER BY id",
        [after_id],
    )
    return tuple(
        StoredReading(row, from_text(received_at), _reading(station, at, body))
        for row, station, at, received_at, body in rows.fetchall()
    )


_USUAL = {f.name: f.default for f in fields(Reading) if f.name not in ("station", "at")}


def _body(reading: Reading) -> str:
    """Only what it says: a station that sends every minute would fill the disk with nulls."""
    said = {
        name: value for name, usual in _USUAL.items() if (value := getattr(reading, name)) != usual
    }
    return to_json(said)


def _reading(station: str, at: str, body: str) -> Reading:
    said: dict[str, Any] = json.loads(body)
    if "told" in said:
        said["told"] = tuple(said["told"])
    return Reading(station, from_text(at), **said)


def _other(reading: Reading) -> Problem:
    return Problem(
        "reading-conflict",
        f"Another reading of {reading.station} at {to_text(reading.at)} is kept already.",
        "It stays as it is. Send each reading once, with a time of its own.",
        key="time",
    )
