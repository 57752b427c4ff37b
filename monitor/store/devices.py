"""Who looks at the duty page: a link for each role, and the devices that came in by it.

A link's secret and a device's are 32 random bytes each, so nothing can be guessed, and only a
digest of each is kept. What each may do follows from the link it came by. A link that is
withdrawn ends every device that came by it, in the same transaction.

Among the devices that are in, no two bear one name, nor the name of a token: the log says who
did what by that name. When each came and went stands in the history (`access_changes`), so a
name can be read back to one device even after another bears it. Names of links are never used
twice.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import unicodedata
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from monitor.domain import BadInputError, Problem
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_text, to_text
from monitor.store.tokens import holders
from monitor.store.typed import without_unseen

if TYPE_CHECKING:
    from collections.abc import Collection

    from sqlite_utils import Database

Role = Literal["crew", "chief", "guest"]

SECRET = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)
"""32 bytes are 43 characters of base64 without its padding."""

IN = "/in/"
"""Before a link's secret in an address."""
LINK_ADDRESS = re.compile(rf"{IN}{SECRET.pattern}", re.ASCII)
"""To be taken out of every log."""

NOTED_EVERY = timedelta(minutes=1)
"""Between two notes of when a device last said something."""

LONGEST_NAME = 40

_Change = Literal["link-made", "link-withdrawn", "came-in", "went-out"]


@dataclass(frozen=True, slots=True)
class Link:
    """A way in; its secret is known to whoever was given it, and to nobody here."""

    id: int
    name: str
    role: Role
    made_at: datetime
    withdrawn_at: datetime | None


@dataclass(frozen=True, slots=True)
class Device:
    """A phone or a desk that is in, and whoever holds it."""

    id: int
    name: str
    role: Role
    link: str
    came_at: datetime
    left_at: datetime | None
    last_said_at: datetime | None
    """When it last said something; looking is not noted, for looking changes nothing."""


# ---------------------------------------------------------------- links


def make_link(db: Database, role: Role, name: str, at: datetime, by: str | None = None) -> str:
    """A new link; its secret is returned this once and cannot be had again."""
    name = plain_name(name, "NAME")
    secret = secrets.token_urlsafe(32)
    with immediate(db):
        known = {_folded(link.name): link for link in links(db)}
        if _folded(name) in known:
            raise BadInputError([_link_taken(known[_folded(name)], known)])
        db.execute(
            "INSERT INTO links (name, role, digest, made_at) VALUES (?, ?, ?, ?)",
            [name, role, _digest(secret), to_text(at)],
        )
        _keep(db, "link-made", at, role=role, link=name, by=by)
    return secret


def withdraw_link(
    db: Database, name: str, at: datetime, by: str | None = None
) -> tuple[str, ...] | None:
    """End a link, and every device that came by it, at once.

    Returns
    -------
    The names of the devices that were in by it; None where it was withdrawn before
    """
    with immediate(db):
        known = {_folded(link.name): link for link in links(db)}
        link = known.get(_folded(" ".join(name.split())))
        if link is None:
            open_ = ", ".join(f'"{one.name}"' for one in known.values() if not one.withdrawn_at)
            remedy = f"In use are: {open_}." if open_ else "None is in use."
            says = f"There is no link {name[:60]!r}."
            raise BadInputError([Problem("unknown-link", says, remedy, key="NAME")])
        if link.withdrawn_at is not None:
            return None
        db.execute("UPDATE links SET withdrawn_at = ? WHERE id = ?", [to_text(at), link.id])
        _keep(db, "link-withdrawn", at, role=link.role, link=link.name, by=by)
        ended = [device for device in devices(db) if device.link == link.name]
        for device in ended:
            _end(db, device, at, by)
    return tuple(device.name for device in ended)


@in_plain_words()
def links(db: Database) -> tuple[Link, ...]:
    """Every link there has been, in that order."""
    rows = db.query("SELECT id, name, role, made_at, withdrawn_at FROM links ORDER BY id")
    return tuple(_link(row) for row in list(rows))


@in_plain_words()
def show_mark(db: Database) -> str:
    """Stands for the show whose page this is, made of its first link.

    A phone may have waited with words for the page of another show at the same address.
    """
    first = db.execute("SELECT digest FROM links ORDER BY id LIMIT 1").fetchone()
    return "" if first is None else _digest(first[0])[:16]


@in_plain_words()
def link_of(db: Database, secret: str) -> Link | None:
    """The link of this secret; None where there is none, or it is withdrawn."""
    row = _found(db, "SELECT * FROM links WHERE digest = ?", secret)
    return None if row is None or row["withdrawn_at"] is not None else _link(row)


# ---------------------------------------------------------------- devices


def sign_in(
    db: Database, link: Link, person: str, at: datetime, instead_of: Device | None = None
) -> tuple[Device, str]:
    """Let a device in by a link, under the name of whoever holds it.

    Its secret is always a new one, never one that it came with. A name that another device
    bears gets a number.

    Parameters
    ----------
    instead_of : as whom the same device was in until now

    Raises
    ------
    BadInputError : the name cannot be one, or the link was withdrawn meanwhile
    """
    name = plain_name(person, "name")
    secret = secrets.token_urlsafe(32)
    with immediate(db):
        if not any(one.id == link.id and one.withdrawn_at is None for one in links(db)):
            says, remedy = "This link was withdrawn.", "Ask for a new one."
            raise BadInputError([Problem("link-withdrawn", says, remedy, key="link")])
        if instead_of is not None:
            sign_out(db, instead_of, at)
        name = _free(name, {_folded(one) for one in _borne(db)})
        cursor = db.execute(
            "INSERT INTO devices (link, name, digest, came_at) VALUES (?, ?, ?, ?)",
            [link.id, name, _digest(secret), to_text(at)],
        )
        _keep(db, "came-in", at, role=link.role, link=link.name, device=name, by=name)
        made = Device(int(cursor.lastrowid or 0), name, link.role, link.name, at, None, None)
    return made, secret


def sign_out(db: Database, device: Device, at: datetime, by: str | None = None) -> bool:
    """End a device at once; False where it was out before. `by` None: it went by itself."""
    with immediate(db):
        if not any(one.id == device.id for one in devices(db)):
            return False
        _end(db, device, at, by or device.name)
    return True


@in_plain_words()
def devices(db: Database) -> tuple[Device, ...]:
    """Every device that is in, in the order in which they came."""
    rows = db.query(f"{_DEVICES} WHERE left_at IS NULL ORDER BY devices.id")
    return tuple(_device(row) for row in list(rows))


@in_plain_words()
def device_of(db: Database, secret: str) -> Device | None:
    """The device of this secret; None where there is none, or it is out.

    It is found by its digest, which nobody can steer who does not know the secret.
    """
    row = _found(db, f"{_DEVICES} WHERE devices.digest = ?", secret)
    if row is None or row["left_at"] is not None or row["withdrawn_at"] is not None:
        return None
    return _device(row)


@in_plain_words()
def was_in(db: Database, secret: str) -> bool:
    """Whether this is the secret of a device that has ever been in: it was not guessed."""
    return _found(db, "SELECT digest FROM devices WHERE digest = ?", secret) is not None


def note_said(db: Database, device: Device, at: datetime) -> None:
    """Note that a device said something, at most once a minute; in the transaction of what."""
    last = device.last_said_at
    if last is not None and timedelta(0) <= at - last < NOTED_EVERY:
        return
    with immediate(db):
        db.execute("UPDATE devices SET last_said_at = ? WHERE id = ?", [to_text(at), device.id])


# ---------------------------------------------------------------- names


def plain_name(typed: str, key: str) -> str:
    """A name as it is kept: one line, in one way of writing; BadInputError where it is none."""
    name = " ".join(without_unseen(unicodedata.normalize("NFKC", typed)).split())
    if len(name) <= LONGEST_NAME and name.isprintable() and any(c.isalnum() for c in name):
        return name
    says = "No name is given." if not name else "This cannot be a name."
    remedy = f"Give up to {LONGEST_NAME} characters with a letter or a digit among them."
    raise BadInputError([Problem("bad-name", says, remedy, key=key)])


def _folded(name: str) -> str:
    return name.casefold()


def _borne(db: Database) -> list[str]:
    """The names of the devices that are in, and of whoever writes with a token."""
    return [device.name for device in devices(db)] + [holder.name for holder in holders(db)]


def _free(name: str, taken: Collection[str]) -> str:
    number, free = 2, name
    while _folded(free) in taken:
        ending = f" {number}"
        free = name[: LONGEST_NAME - len(ending)].rstrip() + ending
        number += 1
    return free


def _link_taken(link: Link, known: Collection[str]) -> Problem:
    free = _free(link.name, known)
    if link.withdrawn_at is None:
        says = f'There is a link "{link.name}" already, and it cannot be shown again.'
        remedy = f'Withdraw it if it is lost, and make one named "{free}".'
    else:
        says = f'There was a link "{link.name}" that was withdrawn; the history keeps that name.'
        remedy = f'Give another name, such as "{free}".'
    return Problem("name-taken", says, remedy, key="NAME")


# ---------------------------------------------------------------- rows

_DEVICES = (
    "SELECT devices.*, links.name AS link_name, links.role AS role, links.withdrawn_at"
    " FROM devices JOIN links ON links.id = devices.link"
)


def _keep(
    db: Database,
    what: _Change,
    at: datetime,
    *,
    role: Role,
    link: str,
    device: str | None = None,
    by: str | None,
) -> None:
    cells: dict[str, chain.Cell] = {
        "at": to_text(at),
        "what": what,
        "role": role,
        "link": link,
        "device": device,
        "given_by": by,
    }
    chain.add(db, "access", cells, at)


def _end(db: Database, device: Device, at: datetime, by: str | None) -> None:
    db.execute("UPDATE devices SET left_at = ? WHERE id = ?", [to_text(at), device.id])
    _keep(db, "went-out", at, role=device.role, link=device.link, device=device.name, by=by)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("ascii")).hexdigest()


def _found(db: Database, query: str, secret: str) -> dict[str, Any] | None:
    """The row of a secret, compared in constant time."""
    if SECRET.fullmatch(secret) is None:
        return None
    digest = _digest(secret)
    for row in list(db.query(query, [digest])):
        if hmac.compare_digest(row["digest"], digest):
            return row
    return None


def _link(row: dict[str, Any]) -> Link:
    return Link(
        row["id"],
        row["name"],
        row["role"],
        from_text(row["made_at"]),
        _moment(row["withdrawn_at"]),
    )


def _device(row: dict[str, Any]) -> Device:
    return Device(
        row["id"],
        row["name"],
        row["role"],
        row["link_name"],
        from_text(row["came_at"]),
        _moment(row["left_at"]),
        _moment(row["last_said_at"]),
    )


def _moment(text: str | None) -> datetime | None:
    return None if text is None else from_text(text)
