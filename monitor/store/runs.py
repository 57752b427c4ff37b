"""Weather runs as received, with the bytes they came in.

A later run never writes over an earlier one: what was forecast when is evidence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_text, to_text, weather_content, weather_from
from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Weather


@dataclass(frozen=True, slots=True, eq=False)
class StoredRun:
    """A weather run as received; `last_seen_at` is when the same run was last offered."""

    id: int
    received_at: datetime
    last_seen_at: datetime
    times_seen: int
    weather: Weather


def record_weather(
    db: Database,
    weather: Weather,
    body: bytes | None,
    received_at: datetime,
    *,
    anew: bool = False,
) -> int:
    """Keep a run as received, with the bytes it came in; returns its id.

    The run that its source sent last time is not kept twice: only when it was last seen is
    noted. One that comes back after another is a new run, for it says what holds now; so is
    one that is `anew`, asked for another place.
    """
    with immediate(db):
        name = chain.put_content(db, weather_content(weather))
        last = db.execute(
            "SELECT id, weather_sha256 FROM weather_runs WHERE source = ? ORDER BY id DESC LIMIT 1",
            [weather.source],
        ).fetchone()
        if last and last[1] == name and not anew:
            seen_again(db, last[0], received_at)
            return int(last[0])
        return chain.add(
            db,
            "weather",
            {
                "received_at": to_text(received_at),
                "source": weather.source,
                "issued_at": _text(weather.issued_at),
                "fetched_at": _text(weather.fetched_at),
                "weather_sha256": name,
                "body_sha256": None if body is None else chain.put_content(db, body),
            },
            received_at,
        )


def seen_again(db: Database, run_id: int, at: datetime) -> None:
    """The service answered that this run still holds: not new, but not silence either."""
    with immediate(db):
        db.execute(
            "INSERT INTO weather_seen (run, last_at, times) VALUES (?, ?, 2) ON CONFLICT (run)"
            " DO UPDATE SET last_at = max(last_at, excluded.last_at), times = times + 1",
            [run_id, to_text(at)],
        )


def weather_runs(db: Database, since: float | None = None) -> list[Weather]:
    """The runs received at or after `since` [s since 1970], in order of receipt."""
    return [run.weather for run in received_runs(db, since=since)]


@in_plain_words()
def received_runs(
    db: Database, since: float | None = None, after_id: int = 0
) -> tuple[StoredRun, ...]:
    """The same with their ids; `after_id` leaves out the runs up to that one."""
    rows = db.execute(
        f"{_RUNS} WHERE weather_runs.id > ? AND received_at >= ? ORDER BY weather_runs.id",
        [after_id, "" if since is None else to_text(to_moment(since))],
    )
    return tuple(_runs(db, rows.fetchall()))


@in_plain_words()
def latest_run(db: Database, source: str | None = None) -> StoredRun | None:
    """The run received last, of any source or of one."""
    rows = db.execute(
        f"{_RUNS} WHERE ?1 IS NULL OR source = ?1 ORDER BY weather_runs.id DESC LIMIT 1",
        [source],
    )
    return next(_runs(db, rows.fetchall()), None)


@in_plain_words()
def run_body(db: Database, run_id: int) -> bytes | None:
    """The bytes in which a run came."""
    found = db.execute("SELECT body_sha256 FROM weather_runs WHERE id = ?", [run_id]).fetchone()
    return None if found is None or found[0] is None else chain.get_content(db, found[0])


_RUNS = """
SELECT weather_runs.id, received_at, coalesce(last_at, received_at), coalesce(times, 1),
    weather_sha256, fetched_at
FROM weather_runs LEFT JOIN weather_seen ON weather_seen.run = weather_runs.id
"""


def _runs(db: Database, rows: list[tuple[Any, ...]]) -> Iterator[StoredRun]:
    for run, received_at, last_at, times, name, fetched_at in rows:
        weather = weather_from(chain.get_content(db, name), _moment(fetched_at))
        yield StoredRun(run, from_text(received_at), from_text(last_at), times, weather)


def _text(moment: datetime | None) -> str | None:
    return None if moment is None else to_text(moment)


def _moment(text: str | None) -> datetime | None:
    return None if text is None else from_text(text)
