"""What the crew says, kept: log entries and answers to alerts.

The command line and the server both call this, so that one set of rules holds. Each word
may carry an id that its sender made; the same word under the same id is kept once, also
where it comes again by the token that took the place of a withdrawn one.
"""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from monitor.domain import BadInputError, Problem
from monitor.service.entries import Said, entries_of
from monitor.show.nearest import suggestion
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand, recall, record_log, remember
from monitor.store.records import to_json
from monitor.store.tokens import holders
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Alert, EntryKind, LogEntry, Show

Answer = Literal["doing", "done", "cannot", "not-needed"]

_ENTRY_OF: dict[str, EntryKind] = {
    "cover": "covered",
    "bring-in": "brought-in",
    "isolate": "isolated",
    "uncover": "uncovered",
    "clean": "cleaned",
}
_AHEAD_S = 60.0
"""Further ahead than this, a time is worth a word [s]."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What came of a word: the log entries it made, or that it was known already."""

    is_new: bool
    entries: tuple[LogEntry, ...] = ()
    notes: tuple[str, ...] = ()
    """What keeps an entry from counting as the crew may think, in sentences."""


def keep_log(
    db: Database,
    said: Said,
    show: Show,
    now: datetime,
    spelt: Callable[[str], str],
    word_id: str | None = None,
    sender: str | None = None,
) -> Kept:
    """Keep a log entry; for an alert, all its entries or none.

    `sender` is who did it where the entry names nobody.

    Raises
    ------
    BadInputError : with every fault in it, or because its id stands for another word
    """
    with immediate(db):
        if _known(db, word_id, sender, "log", said):
            return Kept(is_new=False)
        said = replace(said, by=said.by or sender)
        entries = entries_of(said, show, alerts_as_they_stand(db), now, spelt)
        _record(db, entries, now, word_id)
    return Kept(is_new=True, entries=entries, notes=tuple(_notes(entries, show, now)))


def keep_answer(
    db: Database,
    alert_id: str,
    answer: Answer,
    by: str | None,
    show: Show,
    now: datetime,
    spelt: Callable[[str], str],
    word_id: str | None = None,
    sender: str | None = None,
) -> Kept:
    """Keep an answer to an alert; `done` logs that its work was done now, for all it names.

    Raises
    ------
    BadInputError : no such alert, or no work that could be done; or another word of this id
    """
    with immediate(db):
        if _known(db, word_id, sender, "answer", [alert_id, answer, by]):
            return Kept(is_new=False)
        by = by or sender
        alerts = alerts_as_they_stand(db)
        target = target_of(alert_id, alerts, spelt("alert"))
        entries: tuple[LogEntry, ...] = ()
        if answer == "done":
            done = Said(_entry_of(target, spelt("answer")), alert=alert_id, by=by)
            entries = entries_of(done, show, alerts, now, spelt)
        _record(db, entries, now, word_id)
        _note_answer(db, alert_id, {"answer": answer, "at": iso_utc(now), "by": by})
    return Kept(is_new=True, entries=entries, notes=tuple(_notes(entries, show, now)))


def answer_to(db: Database, alert_id: str) -> dict[str, str | None] | None:
    """The latest answer to an alert: `answer`, `at` and `by`; None where there is none."""
    kept: Any = recall(db, _answer_key(alert_id))
    if not isinstance(kept, dict):
        return None
    return {name: kept.get(name) for name in ("answer", "at", "by")}


def _answer_key(alert_id: str) -> str:
    return f"answer/{alert_id}"


def _note_answer(db: Database, alert_id: str, latest: Mapping[str, str | None]) -> None:
    """Under `answer/<alert>`: the latest answer, with the ones before it."""
    key = _answer_key(alert_id)
    before = recall(db, key)
    earlier = [*before.pop("earlier", []), before] if isinstance(before, dict) else []
    remember(db, key, {**latest, "earlier": earlier})


def _known(db: Database, word_id: str | None, sender: str | None, kind: str, word: object) -> bool:
    """Whether this very word was kept under its id before; from now on it is.

    The word as sent is compared, not what was made of it: an alert that has changed since,
    or the moment of receipt, must not make another word of one that is sent again. Two
    senders who happen on one id are told: the word of the second would be lost unheard.
    """
    if word_id is None:
        return False
    key = f"word/{word_id}"
    digest = hashlib.sha256(to_json([kind, word]).encode("ascii")).hexdigest()
    before: Any = recall(db, key)
    if before is None:
        remember(db, key, {"digest": digest, "sender": sender})
        return False
    if before["digest"] != digest:
        raise BadInputError([_used(word_id, "something else that was sent")])
    if before["sender"] != sender and _may_write(db, before["sender"]):
        raise BadInputError([_used(word_id, f"what {before['sender']} sent")])
    return True


def _may_write(db: Database, sender: str | None) -> bool:
    return any(h.name == sender and h.withdrawn_at is None for h in holders(db))


def _used(word_id: str, by: str) -> Problem:
    return Problem(
        "id-used",
        f"The id {word_id} already stands for {by}.",
        "Make a new id for each thing said; the old one only to send the same again.",
        key="id",
    )


def _record(
    db: Database, entries: tuple[LogEntry, ...], received_at: datetime, word_id: str | None
) -> None:
    stem = word_id or uuid.uuid4().hex
    for number, entry in enumerate(entries, 1):
        key = stem if number == 1 else f"{stem}#{number}"
        record_log(db, entry, key, received_at)


def target_of(alert_id: str, alerts: Mapping[str, Alert], key: str) -> Alert:
    """The alert of that id; BadInputError where there is none. `key` is what gave the id."""
    if alert_id in alerts:
        return alerts[alert_id]
    remedy = suggestion(alert_id, alerts) if alerts else "None has been raised yet."
    says = f"Alert {alert_id[:80]} is not known here."
    raise BadInputError([Problem("unknown-alert", says, remedy, key=key)])


def _entry_of(alert: Alert, key: str) -> EntryKind:
    """The log entry that an alert's work ends with."""
    if alert.action in _ENTRY_OF:
        return _ENTRY_OF[alert.action]
    if alert.action == "inspect":
        says, remedy = (
            "An inspection needs its result.",
            f"Use: dryspell log inspected --alert {alert.id} --result RESULT. Or post that.",
        )
    else:
        says, remedy = (
            f"Alert {alert.id} is about {alert.kind}; it asks for no work that could be done.",
            "Answer doing, cannot or not-needed.",
        )
    raise BadInputError([Problem("no-entry", says, remedy, key=key)])


def _notes(entries: tuple[LogEntry, ...], show: Show, now: datetime) -> list[str]:
    notes: list[str] = []
    for entry in entries:
        if entry.entry == "covered":
            notes += _cover_notes(entry, show)
    if entries and (entries[0].at - now).total_seconds() > _AHEAD_S:
        notes.append("That time is still to come: it counts from then on.")
    return list(dict.fromkeys(notes))


def _cover_notes(entry: LogEntry, show: Show) -> list[str]:
    """What keeps a logged cover from counting."""
    if entry.count is not None and entry.count[0] < entry.count[1]:
        return ["Until all of it is covered it counts as uncovered."]
    here = [f for f in show.fixtures if entry.fixture == f.id or entry.position == f.position]
    bare = [f.id for f in here if f.cover is None]
    if not bare:
        return []
    named = ", ".join(bare[:5]) + (", ..." if len(bare) > 5 else "")
    return [f"fixtures.csv names no cover for {named}: counted as uncovered."]
