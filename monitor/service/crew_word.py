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
from monitor.service.cover_words import cover_notes
from monitor.service.entries import Said, as_sent, entries_of
from monitor.service.possible import OUT_ONLY
from monitor.service.speaks_against import against_switching_on
from monitor.service.tested_words import inspection_notes
from monitor.store.database import immediate
from monitor.store.history import (
    alerts_as_they_stand,
    log_entries,
    recall,
    record_log,
    remember,
)
from monitor.store.records import to_json
from monitor.store.tokens import holders

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
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
    sent: object = None,
) -> Kept:
    """Keep a log entry; for an alert, all its entries or none.

    `sender` is who did it where the entry names nobody. `sent` is the word as it came, where
    what was said was made of it with what changes, such as the moment of receipt.

    Raises
    ------
    BadInputError : with every fault in it, or because its id stands for another word
    """
    with immediate(db):
        if is_known(db, word_id, sender, "log", as_sent(said) if sent is None else sent):
            return Kept(is_new=False)
        said = replace(said, by=said.by or sender)
        alerts = alerts_as_they_stand(db)
        entries = entries_of(said, show, alerts, now, spelt, log_entries(db))
        record_entries(db, entries, now, word_id)
        notes = notes_on(entries, show, now, log_entries(db))
        notes += inspection_notes(db, entries, show)
        notes += against_switching_on(db, entries, show, now)
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


def notes_on(
    entries: tuple[LogEntry, ...], show: Show, now: datetime, log: Sequence[LogEntry]
) -> list[str]:
    """What there is to say about entries that were kept; `log` is how it stands with them."""
    notes = cover_notes(entries, show, log, now)
    if entries and (entries[0].at - now).total_seconds() > _AHEAD_S:
        notes.append("That time is still to come: it counts from then on.")
    load_in = show.event.load_in_at
    if any(e.entry in OUT_ONLY and e.at == now < load_in for e in entries) and not any(
        e.entry == "put-out" and e.at <= now for e in log
    ):
        local = load_in.astimezone(show.site.timezone)
        notes.append(
            f"Load-in is {local:%a} {local.day} {local:%B %Y %H:%M}: it counts from then on. What "
            "is out already is logged as put-out, or load_in_at is corrected."
        )
    return list(dict.fromkeys(notes))
