"""What came of asking each feed last, and the names its notes are kept under."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from monitor.feeds.sheet_lint import RECORD
from monitor.service.places import Place
from monitor.store.database import immediate
from monitor.store.history import recall, remember
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database

    from monitor.domain import Feed


@dataclass(frozen=True, slots=True)
class Word:
    """What came of asking a feed last."""

    ok: bool
    says: str
    at: datetime
    fault: str | None = None
    """Its short name, as Fetched has it; None where all is well"""
    kind: str | None = None
    """passing | throttled | config-fault, where it failed"""
    host: str = ""
    began: str = ""
    """How an answer began that could not be used"""
    place: Place | None = None
    """What it was asked for; None: it does not depend on that"""


def word_key(source: str) -> str:
    """Under what the last word of a feed is kept."""
    return f"feed-word/{source}"


def memory_key(source: str) -> str:
    """Under what the next try and the ETags of a feed are kept."""
    return f"feed/{source}"


def last_word(db: Database, source: str) -> Word | None:
    """What came of asking a feed last, None where it never was."""
    kept: Any = recall(db, word_key(source))
    return None if kept is None else from_json(Word, to_json(kept))


def keep_word(db: Database, source: str, word: Word) -> None:
    """Keep what came of asking a feed, and count where it failed."""
    with immediate(db):
        remember(db, word_key(source), word)
        if not word.ok:
            counted, kind = failures(db, source), word.kind or "passing"
            remember(db, _failures_key(source), {**counted, kind: counted.get(kind, 0) + 1})


def failures(db: Database, source: str) -> dict[str, int]:
    """How often asking a feed has failed, by the kind of failure."""
    kept: Any = recall(db, _failures_key(source))
    return kept if isinstance(kept, dict) else {}


def _failures_key(source: str) -> str:
    return f"feed-failures/{source}"


def named(feeds: Sequence[Feed]) -> list[tuple[str, Feed]]:
    """Every feed with the name its runs are kept under: its sheet's or its record's."""
    names: list[tuple[str, Feed]] = []
    for feed in feeds:
        name = feed.file if feed.sheet == RECORD and feed.file else feed.sheet
        taken = sum(1 for _, other in names if (other.file or other.sheet) == name)
        names.append((f"{name} {taken + 1}" if taken else name, feed))
    return names
