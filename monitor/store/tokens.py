"""Bearer tokens: who may write from outside. Only a digest of each is kept.

A token is 32 random bytes, so there is nothing to guess and nothing to look up in a list of
usual passwords: a plain SHA-256 of it is as good as a slow hash, and costs microseconds on
every request. A slow hash is for what people make up.

A name stays taken when its token is withdrawn: the log says who wrote by this name, and two
tokens under one name could not be told apart there.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.domain import BadInputError, Problem
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_text, to_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlite_utils import Database

PREFIX = "dryspell_"
"""So that a token that strayed into a file or a chat is known for what it is."""

TOKEN = re.compile(rf"{PREFIX}[A-Za-z0-9_-]{{43}}", re.ASCII)
"""32 bytes are 43 characters of base64 without its padding."""

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}", re.ASCII)

NOTED_EVERY = timedelta(minutes=1)
"""Between two notes of the last use: a gauge that posts often must not double every write."""


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds a token; the token itself is known to nobody else."""

    id: int
    name: str
    made_at: datetime
    withdrawn_at: datetime | None
    last_used_at: datetime | None
    """When it last wrote; looking is not noted, for looking changes nothing."""


def make_token(db: Database, name: str, at: datetime) -> str:
    """A new token for `name`; it is returned this once and cannot be had again."""
    if NAME.fullmatch(name) is None:
        raise BadInputError(
            [
                Problem(
                    "bad-name",
                    f"{name[:60]!r} cannot be the name of a token.",
                    "Give up to 40 letters, digits, dots, hyphens and underscores, the first a "
                    "letter or a digit.",
                    key="NAME",
                )
            ]
        )
    token = PREFIX + secrets.token_urlsafe(32)
    with immediate(db):
        names = {holder.name: holder for holder in holders(db)}
        if name in names:
            raise BadInputError([_taken(names[name], names)])
        db.execute(
            "INSERT INTO tokens (name, digest, made_at) VALUES (?, ?, ?)",
            [name, _digest(token), to_text(at)],
        )
    return token


def withdraw_token(db: Database, name: str, at: datetime) -> bool:
    """End a token at once; False where it was withdrawn before."""
    with immediate(db):
        known = {holder.name: holder for holder in holders(db)}
        if name not in known:
            listed = ", ".join(n for n, h in known.items() if h.withdrawn_at is None)
            remedy = f"In use are: {listed}." if listed else "None is in use."
            says = f"There is no token {name[:60]!r}."
            raise BadInputError([Problem("unknown-token", says, remedy, key="NAME")])
        cursor = db.execute(
            "UPDATE tokens SET withdrawn_at = ? WHERE name = ? AND withdrawn_at IS NULL",
            [to_text(at), name],
        )
        return bool(cursor.rowcount)


@in_plain_words()
def holders(db: Database) -> tuple[Holder, ...]:
    """Everybody who was ever given a token, in that order."""
    return tuple(_holder(row) for row in list(db.query("SELECT * FROM tokens ORDER BY id")))


@in_plain_words()
def holder_of(db: Database, token: str) -> Holder | None:
    """Whose token this is; None where it is nobody's, or withdrawn.

    It is found by its digest, which nobody can steer who does not know the token, and then
    compared in constant time: how long the answer takes says nothing about it.
    """
    if TOKEN.fullmatch(token) is None:
        return None
    digest = _digest(token)
    for row in list(db.query("SELECT * FROM tokens WHERE digest = ?", [digest])):
        if hmac.compare_digest(row["digest"], digest) and row["withdrawn_at"] is None:
            return _holder(row)
    return None


def note_use(db: Database, holder: Holder, at: datetime) -> None:
    """Note that a token wrote, at most once a minute; in the transaction of what it wrote."""
    last = holder.last_used_at
    if last is not None and timedelta(0) <= at - last < NOTED_EVERY:
        return
    with immediate(db):
        db.execute("UPDATE tokens SET last_used_at = ? WHERE id = ?", [to_text(at), holder.id])


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("ascii")).hexdigest()


def _holder(row: dict[str, Any]) -> Holder:
    return Holder(
        row["id"],
        row["name"],
        from_text(row["made_at"]),
        _moment(row["withdrawn_at"]),
        _moment(row["last_used_at"]),
    )


def _moment(text: str | None) -> datetime | None:
    return None if text is None else from_text(text)


def _taken(holder: Holder, names: Iterable[str]) -> Problem:
    known, number = {*names}, 2
    while f"{holder.name}-{number}" in known:
        number += 1
    free = f"{holder.name}-{number}"
    if holder.withdrawn_at is None:
        says = f"{holder.name} has a token already, and it cannot be shown again."
        remedy = f"Withdraw it if it is lost, and make one for {free}."
    else:
        says = f"{holder.name} had a token that was withdrawn; what it wrote keeps that name."
        remedy = f"Give another name, such as {free}."
    return Problem("name-taken", says, remedy, key="NAME")
