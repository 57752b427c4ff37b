"""What the crew says, kept: log entries here, answers to alerts in `answering`.

The command line and the server both call this, so that one set of rules holds. Each word
may carry an id that its sender made; the same word under the same id is kept once, also
where it comes again by the token that took the place of a withdrawn one.
"""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from monitor.domain import BadInputError, Problem
from monitor.service.entries import Said, as_sent, entries_of
from monitor.service.tested_words import inspection_notes
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand, recall, record_log, remember
from monitor.store.records import to_json
from monitor.store.tokens import holders

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Answered, LogEntry, Show

_AHEAD_S = 60.0
"""Further ahead than this, a time is worth a word [s]."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What came of a word: the log entries it made, or that it was known already."""

    is_new: bool
    entries: tuple[LogEntry, ...] = ()
    notes: tuple[str, ...] = ()
    """What keeps an entry from counting as the crew may think, in sentences."""
    answered: Answered | None = None


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
        if is_known(db, word_id, sender, "log", as_sent(said)):
            return Kept(is_new=False)
        said = replace(said, by=said.by or sender)
        entries = entries_of(said, show, alerts_as_they_stand(db), now, spelt)
        record_entries(db, entries, now, word_id)
        notes = [*notes_on(entries, show, now), *inspection_notes(db, entries, show)]
    return Kept(is_new=True, entries=entries, notes=tuple(notes))


def is_known(
    db: Database, word_id: str | None, sender: str | None, kind: str, word: object
) -> bool:
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


def was_kept(db: Database, word_id: str) -> bool:
    """Whether a word of this id was kept before."""
    return recall(db, f"word/{word_id}") is not None


def _may_write(db: Database, sender: str | None) -> bool:
    return any(h.name == sender and h.withdrawn_at is None for h in holders(db))


def _used(word_id: str, by: str) -> Problem:
    return Problem(
        "id-used",
        f"The id {word_id} already stands for {by}.",
        "Make a new id for each thing said; the old one only to send the same again.",
        key="id",
    )


def record_entries(
    db: Database, entries: tuple[LogEntry, ...], received_at: datetime, word_id: str | None
) -> None:
    """Keep log entries under the id of the word that made them."""
    stem = word_id or uuid.uuid4().hex
    for number, entry in enumerate(entries, 1):
        key = stem if number == 1 else f"{stem}#{number}"
        record_log(db, entry, key, received_at)


def notes_on(entries: tuple[LogEntry, ...], show: Show, now: datetime) -> list[str]:
    """What there is to say about entries that were kept."""
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
