"""How often things happened, counted from the history itself, so that a restart loses none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.store.database import in_plain_words
from monitor.store.records import from_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class RunsOf:
    """What one feed has given."""

    new: int
    again: int
    """How often it said that its last run still holds."""
    last_at: datetime
    """When it last gave either."""


@in_plain_words()
def runs_by_source(db: Database) -> dict[str, RunsOf]:
    """What each feed has given."""
    rows = db.execute(
        "SELECT source, count(*), sum(coalesce(times, 1)) - count(*),"
        " max(coalesce(last_at, received_at))"
        " FROM weather_runs LEFT JOIN weather_seen ON weather_seen.run = weather_runs.id"
        " GROUP BY source"
    )
    return {
        source: RunsOf(new, again, from_text(last_at))
        for source, new, again, last_at in rows.fetchall()
    }


@in_plain_words()
def attempts_by_contact(db: Database) -> dict[tuple[str, str], int]:
    """(contact, outcome) -> how many attempts to send ended so."""
    rows = db.execute(
        "SELECT contact, result, count(*) FROM outcomes"
        " JOIN messages ON messages.id = outcomes.message GROUP BY contact, result"
    )
    return {(contact, result): count for contact, result, count in rows.fetchall()}


@in_plain_words()
def last_readings(db: Database) -> dict[str, datetime]:
    """Of each station, the moment of its latest reading."""
    rows = db.execute("SELECT station, max(at) FROM readings GROUP BY station")
    return {station: from_text(at) for station, at in rows.fetchall()}
