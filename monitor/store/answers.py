"""What was answered to alerts, and whom each was told to in which turn: only added to."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.domain import Answered, Turn
from monitor.store import chain
from monitor.store.database import in_plain_words
from monitor.store.history import alerts_as_they_stand
from monitor.store.records import from_json, from_text, to_json, to_text

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlite_utils import Database

_WAITED = timedelta(seconds=10)
"""What came so long after it was given waited for a signal."""


def record_answer(db: Database, answered: Answered, received_at: datetime | None = None) -> int:
    """Keep an answer; returns the id of the row. `received_at` None: as soon as it was given."""
    return chain.add(db, "answer", _cells(answered), received_at or answered.at)


@in_plain_words()
def answers_as_news(db: Database) -> tuple[Answered, ...]:
    """The answers in the order in which they came, without those that were no news by then.

    One that waited for a signal changes nothing for whoever waits for an answer, where a newer
    one to the same alert had come, or the order that is asked now had not begun. What is left
    out is left out for ever: a turn counts the answers that were known to it.
    """
    rows = db.query(
        "SELECT body, chain.n AS n, chain.at AS came_at FROM answers "
        "JOIN chain ON chain.kind = 'answer' AND chain.row = answers.id ORDER BY answers.id"
    )
    news = list(_of_before(db))
    for row in list(rows):
        answered = from_json(Answered, row["body"])
        if from_text(row["came_at"]) - answered.at > _WAITED:
            began = _asked_since(db, answered.alert, row["n"])
            newer = (a for a in news if a.alert == answered.alert and a.at > answered.at)
            if any(newer) or (began is not None and began > answered.at):
                continue
        news.append(answered)
    return tuple(news)


def _asked_since(db: Database, alert: str, before: int) -> datetime | None:
    """Since when the order was asked that stood before a link of the chain; None: no order."""
    rows = db.query(
        "SELECT body FROM turns JOIN chain ON chain.kind = 'turn' AND chain.row = turns.id "
        "WHERE alert = ? AND chain.n < ? ORDER BY turns.id DESC LIMIT 1",
        [alert, before],
    )
    return next((from_json(Turn, row["body"]).began for row in list(rows)), None)


@in_plain_words()
def answers(db: Database) -> tuple[Answered, ...]:
    """Every answer there has been, in the order in which they were given.

    That is the order in which they came, whatever the clock did meanwhile; but one that waited
    on a phone without a signal stands before those that were given after it.
    """
    rows = db.query(
        "SELECT body, chain.at AS came_at FROM answers "
        "JOIN chain ON chain.kind = 'answer' AND chain.row = answers.id ORDER BY answers.id"
    )
    given = list(_of_before(db))
    for row in list(rows):
        answered = from_json(Answered, row["body"])
        waited = from_text(row["came_at"]) - answered.at > _WAITED
        later = (n for n, one in enumerate(given) if _after(one, answered)) if waited else ()
        given.insert(next(iter(later), len(given)), answered)
    return tuple(given)


def record_turn(db: Database, turn: Turn) -> int:
    """Keep whom an alert was told to, in the transaction that queues the messages."""
    return chain.add(db, "turn", _cells(turn), turn.at)


@in_plain_words()
def turns(db: Database, alert: str | None = None) -> tuple[Turn, ...]:
    """Every turn of an alert, or of all of them, oldest first."""
    if alert is None:
        rows = db.query("SELECT body FROM turns ORDER BY id")
    else:
        rows = db.query("SELECT body FROM turns WHERE alert = ? ORDER BY id", [alert])
    return tuple(from_json(Turn, row["body"]) for row in list(rows))


def _after(one: Answered, other: Answered) -> bool:
    return one.alert == other.alert and one.at > other.at


def _cells(said: Answered | Turn) -> dict[str, chain.Cell]:
    return {"alert": said.alert, "at": to_text(said.at), "body": to_json(said)}


_NOTE = "answer/"


def _of_before(db: Database) -> Iterator[Answered]:
    """Answers from before they had a table: a note for each alert, which kept no place."""
    notes = list(
        db.query("SELECT key, value FROM notes WHERE key GLOB ? ORDER BY key", [f"{_NOTE}*"])
    )
    if not notes:
        return
    alerts = alerts_as_they_stand(db)
    found: list[Answered] = []
    for note in notes:
        latest: Any = json.loads(note["value"])
        alert_id = note["key"].removeprefix(_NOTE)
        alert = alerts.get(alert_id)
        found += [
            Answered(
                from_text(said["at"]),
                alert_id,
                said["answer"],
                position=None if alert is None else alert.position,
                fixtures=() if alert is None else alert.fixtures,
                by=said.get("by"),
            )
            for said in (*latest.get("earlier", ()), latest)
        ]
    yield from sorted(found, key=lambda answered: answered.at)
