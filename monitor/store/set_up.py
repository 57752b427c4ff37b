"""Who described the rig anew, and when: only added to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.domain import SetUp
from monitor.store import chain
from monitor.store.database import in_plain_words
from monitor.store.records import from_json, to_json, to_text

if TYPE_CHECKING:
    from sqlite_utils import Database


def record_set_up(db: Database, change: SetUp) -> None:
    """Keep one change, in the caller's transaction."""
    chain.add(db, "set-up", {"at": to_text(change.at), "body": to_json(change)}, change.at)


@in_plain_words()
def changes_between(db: Database, base: str, now: str) -> tuple[SetUp, ...]:
    """The changes that led from one revision of the show folder to another, oldest first; those
    that are known of, where the files were changed by hand in between.
    """
    found: list[SetUp] = []
    for change in reversed(set_up_changes(db)):
        if now == base:
            break
        if change.revision == now:
            found.append(change)
            now = change.before
    return tuple(reversed(found))


@in_plain_words()
def set_up_changes(db: Database) -> tuple[SetUp, ...]:
    """Every change, in their order."""
    rows = list(db.query("SELECT body FROM set_up_changes ORDER BY id"))
    return tuple(from_json(SetUp, row["body"]) for row in rows)
