"""Addresses under which one person answers one alert without a token of their own.

What stands in such an address is the number of the change that it was sent with and a code
over alert, contact and recipient, made with a secret that is drawn once and stays in the
database. So nothing has to be kept for each message, nothing can be guessed, and an address
says nothing to anybody else who reads it. It ends with its alert, at the latest after
`HOLDS`, and when its person is taken out of the show folder.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.delivery import recipients
from monitor.store.history import change_of, latest_change, recall, remember
from monitor.store.records import to_json

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Alert, Contact, Show

PATH = "/answer/"
ADDRESS = re.compile(r"([1-9][0-9]{0,14})-([A-Za-z0-9_-]{22})", re.ASCII)
"""128 bits of the code are 22 characters of base64 without its padding."""
HOLDS = timedelta(days=7)
DRAWN_KEY = "links/drawn"
LABEL = "Answer here"


@dataclass(frozen=True, slots=True)
class Linked:
    """Whose address it is, and the alert it answers."""

    alert: Alert
    by: str
    """Who answers, for the log: the person whose contact it is, else the contact, with the
    mailbox where it has several"""
    ended: bool
    """The alert has ended, or the address is too old: nothing can be answered any more"""


def links_for(
    db: Database, show: Show, alert: Alert, contact: Contact, recipient: str
) -> tuple[tuple[str, str], ...]:
    """(label, address) for a message about the alert as it stands; none without `public_url`.

    In the transaction that queues the message: the first one ever draws the secret.
    """
    public = show.page.public_url
    if public is None or alert.kind != "work" or alert.stage == "stood-down":
        return ()
    change = latest_change(db, alert.id)
    if change is None:
        return ()
    code = _code(_secret(db), change, alert.id, contact.name, recipient)
    return ((LABEL, f"{public.rstrip('/')}{PATH}{change}-{code}"),)


def linked(db: Database, show: Show, address: str, now: datetime) -> Linked | None:
    """What an address stands for; None where it is none of ours. Writes nothing."""
    parts, secret = ADDRESS.fullmatch(address), recall(db, DRAWN_KEY)
    if parts is None or secret is None:
        return None
    found = change_of(db, int(parts[1]))
    if found is None:
        return None
    for contact in show.contacts:
        for recipient in recipients(contact):
            code = _code(secret, found.id, found.alert.id, contact.name, recipient)
            if hmac.compare_digest(code, parts[2]):
                old = now - found.at > HOLDS
                latest = change_of(db, latest_change(db, found.alert.id) or found.id) or found
                ended = old or latest.alert.stage == "stood-down"
                return Linked(latest.alert, _who(show, contact, recipient), ended)
    return None


def _who(show: Show, contact: Contact, recipient: str) -> str:
    """The person whose contact it is; what several share is named itself, with the mailbox."""
    theirs = [person.name for person in show.crew.people if person.contact == contact.name]
    if len(recipients(contact)) > 1:
        return f"{contact.name} ({recipient})" if contact.kind == "email" else contact.name
    return theirs[0] if len(theirs) == 1 else contact.name


def _secret(db: Database) -> str:
    kept: Any = recall(db, DRAWN_KEY)
    if isinstance(kept, str):
        return kept
    drawn = secrets.token_hex(32)
    remember(db, DRAWN_KEY, drawn)
    return drawn


def _code(secret: str, change: int, alert_id: str, contact: str, recipient: str) -> str:
    said = to_json([change, alert_id, contact, recipient]).encode("ascii")
    whole = hmac.new(bytes.fromhex(secret), said, hashlib.sha256).digest()
    return base64.urlsafe_b64encode(whole[:16]).rstrip(b"=").decode("ascii")
