"""What came in and what was said, each row bound to all rows before it by its hash.

Every row of the history is written by `add`, in the caller's transaction, together with a
row of the chain: `content` is the hash of the row itself, `link` the hash of the link
before and of this chain row. `verify` computes both again from the rows as they stand.

What it cannot see: someone who may write to the file and knows this page can make a whole
new chain from any row on, and taking rows off the end leaves a shorter chain that is whole.
Only a head that was noted elsewhere (in a message, on paper) gives that away. The chain says
nothing on whether what came in was true, nor on what merely steers the work (`schema`).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple, cast

from monitor.domain import UnableError
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import to_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import datetime

    from sqlite_utils import Database

Kind = Literal[
    "weather",
    "revision",
    "log",
    "alert",
    "message",
    "outcome",
    "reading",
    "warning",
    "handover",
    "declared",
    "answer",
    "turn",
    "access",
    "set-up",
]
Cell = str | int | None

START = "0" * 64
"""The link before the first row."""

_RESTORE = "Keep this database as it is, and put back the last good copy to work with."


class _Bound(NamedTuple):
    """How a kind of row is hashed: its table, and its columns in order."""

    table: str
    columns: tuple[str, ...]


_BOUND: dict[Kind, _Bound] = {
    "weather": _Bound(
        "weather_runs",
        ("received_at", "source", "issued_at", "fetched_at", "weather_sha256", "body_sha256"),
    ),
    "revision": _Bound("revisions", ("revision", "from_time", "recorded_at", "files")),
    "log": _Bound("log_entries", ("key", "at", "received_at", "replaces", "entry")),
    "alert": _Bound("alert_changes", ("alert", "at", "stage", "reason", "body")),
    "message": _Bound(
        "messages",
        ("key", "change", "contact", "recipient", "thread", "queued_at", "expires_at", "body"),
    ),
    "outcome": _Bound("outcomes", ("message", "at", "attempt", "result", "detail")),
    "reading": _Bound("readings", ("station", "at", "received_at", "body")),
    "handover": _Bound("handovers", ("at", "given_by", "taken_by")),
    "answer": _Bound("answers", ("alert", "at", "body")),
    "turn": _Bound("turns", ("alert", "at", "body")),
    "access": _Bound("access_changes", ("at", "what", "role", "link", "device", "given_by")),
    "set-up": _Bound("set_up_changes", ("at", "body")),
    "declared": _Bound("declarations", ("key", "at", "received_at", "body")),
    "warning": _Bound(
        "official_warnings", ("service", "identifier", "received_at", "body", "raw_sha256")
    ),
}


@dataclass(frozen=True, slots=True)
class Head:
    """The end of the chain: how many rows, and the last link."""

    rows: int
    link: str


@dataclass(frozen=True, slots=True)
class ChainReport:
    """What verifying found; `first_bad` is the chain row where it first fails, if one does."""

    ok: bool
    rows: int
    head: str
    first_bad: int | None
    says: str


def add(db: Database, kind: Kind, cells: Mapping[str, Cell], at: datetime) -> int:
    """Write one row of history and its row of the chain; returns the id of the row."""
    table, columns = _BOUND[kind]
    with immediate(db):
        marks = ", ".join("?" for _ in columns)
        cursor = db.execute(
            f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})",  # noqa: S608 - our names
            [cells[column] for column in columns],
        )
        row = cast("int", cursor.lastrowid)
        before = head(db)
        bound = (before.rows + 1, to_text(at), kind, row, _content(db, kind, row))
        db.execute(
            "INSERT INTO chain (n, at, kind, row, content, link) VALUES (?, ?, ?, ?, ?, ?)",
            [*bound, _digest([before.link, *bound])],
        )
    return row


@in_plain_words()
def head(db: Database) -> Head:
    """The end of the chain, to be noted elsewhere."""
    found = db.execute("SELECT n, link FROM chain ORDER BY n DESC LIMIT 1").fetchone()
    return Head(*found) if found else Head(0, START)


def put_content(db: Database, content: bytes) -> str:
    """Keep bytes under their own hash, once however often they come; returns the hash."""
    name = hashlib.sha256(content).hexdigest()
    known = db.execute("SELECT 1 FROM contents WHERE sha256 = ?", [name]).fetchone()
    if not known:
        db.execute(
            "INSERT INTO contents (sha256, packed) VALUES (?, ?)",
            [name, zlib.compress(content)],
        )
    return name


def get_content(db: Database, name: str) -> bytes:
    """The bytes kept under their hash."""
    found = db.execute("SELECT packed FROM contents WHERE sha256 = ?", [name]).fetchone()
    if found is None:
        raise UnableError(f"The bytes kept as {name} are gone.", _RESTORE)
    try:
        return zlib.decompress(found[0])
    except zlib.error as fault:
        raise UnableError(f"The bytes kept as {name} are damaged.", _RESTORE) from fault


@in_plain_words()
def verify(db: Database, noted: Iterable[str] = ()) -> ChainReport:
    """Every hash computed again from the rows as they stand; stops at the first that fails.

    `noted` are heads that were kept elsewhere; each must be a link of this chain. Read in
    one snapshot, so a service may go on writing meanwhile.
    """
    with _any_text(db), db.atomic():
        damage = db.execute("PRAGMA quick_check(1)").fetchone()[0]
        if damage != "ok":
            end = head(db)
            return _broken(end.rows, end.link, None, f"The file is damaged: {damage}.")
        links = [START]
        whole: set[str] = set()
        for found in db.execute("SELECT n, at, kind, row, content, link FROM chain ORDER BY n"):
            wrong = _wrong_with(db, found, links, whole)
            if wrong:
                end = head(db)
                says = f"The chain does not hold at row {len(links)}: {wrong}."
                return _broken(end.rows, end.link, len(links), says)
            links.append(found[-1])
        wrong, row = _wrong_beside(db, len(links))
        if wrong:
            return _broken(len(links) - 1, links[-1], row, wrong)
    lost = [link for link in noted if link not in links]
    if lost:
        says = (
            f"The chain of {len(links) - 1} rows is whole in itself, but the head noted elsewhere"
            f" as {lost[0]} is not in it: rows were taken off its end, or it was made anew."
        )
        return _broken(len(links) - 1, links[-1], None, says)
    return ChainReport(
        ok=True, rows=len(links) - 1, head=links[-1], first_bad=None, says=_holds(links)
    )


@contextlib.contextmanager
def _any_text(db: Database) -> Iterator[None]:
    """Reads text that is no text any more as something else than it was, not as an error."""
    usual = db.conn.text_factory
    db.conn.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        db.conn.text_factory = usual


def _broken(rows: int, link: str, first_bad: int | None, says: str) -> ChainReport:
    return ChainReport(ok=False, rows=rows, head=link, first_bad=first_bad, says=says)


def _holds(links: list[str]) -> str:
    if len(links) == 1:
        return "Nothing has been recorded yet."
    return (
        f"All {len(links) - 1} rows are as they were written; the head is {links[-1]}. Rows taken"
        " off the end, or a whole new chain, show only against a head that was noted elsewhere."
    )


def _wrong_with(
    db: Database,
    found: tuple[int, str, Kind, int, str, str],
    links: list[str],
    whole: set[str],
) -> str | None:
    """What is wrong with one row of the chain, None when it holds."""
    n, at, kind, row, content, link = found
    if n != len(links):
        return "it is missing"
    if link != _digest([links[-1], n, at, kind, row, content]) or kind not in _BOUND:
        return "it was altered, or is not where it was written"
    table = _BOUND[kind].table
    now = _content(db, kind, row)
    if now is None:
        return f"its {table} row {row} was removed"
    if now != content:
        return f"its {table} row {row} was altered"
    for name in _names_in(db, kind, row):
        if name not in whole and not _is_whole(db, name):
            return f"the bytes kept as {name} for {table} row {row} were altered or removed"
        whole.add(name)
    return None


def _names_in(db: Database, kind: Kind, row: int) -> list[str]:
    """The hashes of the bytes that a row of history rests on; the row itself holds."""
    if kind == "weather":
        names = db.execute(
            "SELECT weather_sha256, body_sha256 FROM weather_runs WHERE id = ?", [row]
        ).fetchone()
        return [name for name in names if name is not None]
    if kind == "warning":
        found = db.execute("SELECT raw_sha256 FROM official_warnings WHERE id = ?", [row])
        return [found.fetchone()[0]]
    if kind == "revision":
        files = db.execute("SELECT files FROM revisions WHERE id = ?", [row]).fetchone()[0]
        return list(json.loads(files).values())
    return []


def _is_whole(db: Database, name: str) -> bool:
    try:
        return hashlib.sha256(get_content(db, name)).hexdigest() == name
    except UnableError:
        return False


def _wrong_beside(db: Database, next_row: int) -> tuple[str | None, int | None]:
    """Rows of history that no chain row names, and messages whose state no outcome bears out."""
    for kind, (table, _) in _BOUND.items():
        stray = db.execute(
            f"SELECT id FROM {table} WHERE id NOT IN"  # noqa: S608 - our names
            " (SELECT row FROM chain WHERE kind = ?) ORDER BY id LIMIT 1",
            [kind],
        ).fetchone()
        if stray:
            says = (
                f"The {table} row {stray[0]} is not in the chain: it was put in by hand, or its"
                " row of the chain was taken away."
            )
            return says, next_row
    untrue = db.execute(
        """
        SELECT chain.n, messages.id FROM messages
        JOIN chain ON chain.kind = 'message' AND chain.row = messages.id
        LEFT JOIN outbox ON outbox.message = messages.id
        WHERE coalesce(outbox.state, '') IS NOT coalesce(
            (SELECT result FROM outcomes WHERE outcomes.message = messages.id
                AND result <> 'retry'
                ORDER BY result = 'sent' DESC, id DESC LIMIT 1),
            'queued')
        ORDER BY chain.n LIMIT 1
        """
    ).fetchone()
    if untrue:
        n, message = untrue
        return f"The state of message {message} is not what its outcomes say.", n
    return None, None


def _digest(parts: list[Cell]) -> str:
    text = json.dumps(parts, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _content(db: Database, kind: Kind, row: int) -> str | None:
    """The hash of a row as it stands in its table, None where there is none."""
    table, columns = _BOUND[kind]
    found = db.execute(
        f"SELECT {', '.join(columns)} FROM {table} WHERE id = ?",  # noqa: S608 - our names
        [row],
    ).fetchone()
    return None if found is None else _digest([kind, row, *found])
