"""The crew's log looked up, and its entries corrected or taken back: nothing is wiped out.

An entry goes by its number, which the list shows. What is corrected or withdrawn stays in the
history with who did that; what follows from the log is worked out again without it.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, LogEntry, Problem
from monitor.service.crew_word import Kept, notes_on
from monitor.service.entries import READINGS, Said, entries_of
from monitor.service.possible import hanging
from monitor.service.tested_words import inspection_notes
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand, log_entries, record_log, stored_log
from monitor.store.withdrawn import Withdrawal, withdraw_log

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.store.history import StoredEntry

_OF_ITS_KIND = ("to", "result", "count", *READINGS)
"""What a correction to another kind of entry does not take over."""
_PLACES = ("position", "fixture", "alert")


@dataclass(frozen=True, slots=True)
class Written:
    """One entry as sent, and what became of it."""

    number: int
    entry: LogEntry
    received_at: datetime
    corrected_by: int | None = None
    withdrawn: Withdrawal | None = None
    withdrawn_at: datetime | None = None


def written(db: Database, show: Show, position: str | None = None) -> tuple[Written, ...]:
    """Every entry in the order it came in; with `position`, of what hangs there or hung there."""
    rows = stored_log(db)
    by_key = {row.key: row for row in rows}
    found = []
    for row in sorted(rows, key=lambda row: row.id):
        if row.withdraws is not None or not _is_of(row.entry, position, show, rows):
            continue
        later = None if row.replaced_by is None else by_key[row.replaced_by]
        if later is None:
            found.append(Written(row.id, row.entry, row.received_at))
        elif later.withdraws is None:
            found.append(Written(row.id, row.entry, row.received_at, later.id))
        else:
            taken = later.withdraws
            found.append(
                Written(row.id, row.entry, row.received_at, None, taken, later.received_at)
            )
    return tuple(found)


def _is_of(entry: LogEntry, position: str | None, show: Show, rows: Sequence[StoredEntry]) -> bool:
    if position is None or position in (entry.position, entry.to):
        return True
    if entry.fixture is None:
        return False
    standing = [r.entry for r in rows if r.replaced_by is None and r.withdraws is None]
    hangs = hanging(show, standing, entry.at).get(entry.fixture)
    return hangs is not None and hangs.position == position


def withdraw(
    db: Database,
    numbers: Sequence[str],
    withdrawal: Withdrawal,
    now: datetime,
    key: str,
) -> tuple[LogEntry, ...]:
    """Take entries back, all or none; gives what they were. `key` is what gave the numbers."""
    with immediate(db):
        rows = _standing(db, numbers, key)
        for row in rows:
            withdraw_log(db, row.key, uuid.uuid4().hex, now, withdrawal)
    return tuple(row.entry for row in rows)


def correct(
    db: Database,
    number: str,
    given: Mapping[str, str | None],
    show: Show,
    now: datetime,
    spelt: Callable[[str], str],
) -> Kept:
    """Put a corrected entry in the place of one; what is not given stays as it was.

    Parameters
    ----------
    given : fields of `Said` as typed; None: not given
    """
    with immediate(db):
        (row,) = _standing(db, [number], spelt("correct"))
        said = _corrected(row.entry, {name: text for name, text in given.items() if text})
        others = [
            other.entry
            for other in stored_log(db)
            if other.replaced_by is None and other.withdraws is None and other.id != row.id
        ]
        # A time that is not given stays as it was, and was looked at then.
        at = row.entry.at if said.at is None else now
        entries = entries_of(said, show, alerts_as_they_stand(db), at, spelt, others)
        if len(entries) != 1:
            says = f"That alert is {len(entries)} entries, and one is corrected."
            remedy = f"Give {spelt('position')} ID or {spelt('fixture')} ID."
            raise BadInputError([Problem("not-one-entry", says, remedy, key=spelt("alert"))])
        record_log(db, entries[0], uuid.uuid4().hex, now, replaces=row.key)
        notes = notes_on(entries, show, now, log_entries(db))
        notes += inspection_notes(db, entries, show)
    return Kept(is_new=True, entries=entries, notes=tuple(notes))


def _corrected(was: LogEntry, given: Mapping[str, str]) -> Said:
    """The old entry as it would be typed, without its time, with what is given in its place."""
    said = Said(
        was.entry,
        position=was.position,
        fixture=was.fixture,
        count=None if was.count is None else f"{was.count[0]} of {was.count[1]}",
        to=was.to,
        result=was.result,
        by=was.by,
        note=was.note,
        earth_ohm=None if was.earth_ohm is None else repr(was.earth_ohm),
        insulation_mohm=None if was.insulation_mohm is None else repr(was.insulation_mohm),
    )
    away: set[str] = set()
    if given.get("entry", was.entry) != was.entry:
        away.update(_OF_ITS_KIND)
    if any(name in given for name in _PLACES):
        away.update(("position", "fixture", "count"))
    plain = dict.fromkeys(away)
    known = {f.name for f in fields(Said)}
    changes: dict[str, object] = {**plain, **{n: t for n, t in given.items() if n in known}}
    return replace(said, **changes)  # type: ignore[arg-type]


def _standing(db: Database, numbers: Sequence[str], key: str) -> list[StoredEntry]:
    """The entries of those numbers; BadInputError for each that is not there or stands no more."""
    rows = stored_log(db)
    by_number = {f"{row.id}": row for row in rows if row.withdraws is None}
    by_key = {row.key: row for row in rows}
    found, problems = [], []
    for number in dict.fromkeys(text.strip().lstrip("#") for text in numbers):
        row = by_number.get(number)
        if row is None:
            says = f"There is no log entry {number[:40]}."
            problems.append(Problem("unknown-entry", says, _LOOK, key=key))
        elif row.replaced_by is not None:
            later = by_key[row.replaced_by]
            if later.withdraws is not None:
                says, remedy = f"Entry {number} was withdrawn.", "Log what was done as a new entry."
            else:
                says = f"Entry {number} was corrected by {later.id}."
                remedy = f"Give {later.id}."
            problems.append(Problem("replaced-entry", says, remedy, key=key))
        else:
            found.append(row)
    if problems:
        raise BadInputError(problems)
    return found


_LOOK = "dryspell log --list shows the numbers."
