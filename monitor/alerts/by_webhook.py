"""Sends one message to one web address, signed as the Standard Webhooks specification says.

The signature covers the id, the time of this attempt and the very bytes that are sent. No
redirect is followed and little of the answer is read: a receiver can neither send the
message elsewhere nor hold the outbox with a long reply.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import threading
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import requests

from monitor import __version__
from monitor.alerts import envelope
from monitor.alerts.statuses import lasts
from monitor.alerts.words import one_line
from monitor.domain import Outcome
from monitor.feeds.exchange import one_line_session
from monitor.feeds.line import Line

if TYPE_CHECKING:
    from monitor.domain import Contact, Message

TIMEOUT_S = (3.05, 20.0)
DEADLINE_S = 45.0
"""For the whole of one attempt, however slowly the answer drips."""
"""To connect, and for each piece of the answer [s]."""

ANSWER_BYTES = 500
"""How much of a refusal is read and told."""

LONGEST_WAIT_S = 900.0
"""A receiver may ask us to wait no longer than this: what we send has a deadline [s]."""

SECRET_PREFIX = "whsec_"  # noqa: S105 - the public part
SECRET_BYTES = range(24, 65)

_GONE = 410


class BadSecretError(ValueError):
    """A signing secret that is not of the form the specification asks for."""


def send(
    message: Message,
    contact: Contact,
    recipient: str,  # noqa: ARG001 - every sender takes the same arguments
    row_id: str,
    *,
    secret: str | None,
    now: datetime,
) -> Outcome:
    """One attempt; `secret` is the `whsec_` text of the contact."""
    if not contact.url:
        return _lasting(f"contact {contact.name} has no url")
    body = envelope.body(message)
    try:
        signed = headers(body, row_id, secret or "", now)
    except BadSecretError as fault:
        return _lasting(f"contact {contact.name}: {fault}")
    line = Line()
    watch = threading.Timer(DEADLINE_S, line.cut)
    watch.daemon = True
    watch.start()
    try:
        with (
            one_line_session(line) as session,
            session.post(
                contact.url,
                data=body,
                headers=signed,
                timeout=TIMEOUT_S,
                allow_redirects=False,
                stream=True,
            ) as answer,
        ):
            return _read(answer, _host(contact.url), now)
    except (requests.exceptions.RequestException, ValueError) as fault:
        if line.cut_off:
            return _passing(f"{_host(contact.url)} did not answer within {DEADLINE_S:.0f} s")
        return _failed(fault, _host(contact.url))
    finally:
        watch.cancel()
        line.release()


def _failed(fault: Exception, host: str) -> Outcome:
    """What a failure means. Its own text would carry the whole url, and any key in it."""
    if isinstance(fault, ValueError):
        # requests' invalid, schemaless and unknown-scheme addresses are ValueErrors
        return _lasting(f"the url of {host} is not one that can be called")
    if isinstance(fault, requests.exceptions.SSLError):
        return _passing(f"the certificate of {host} is not trusted, or the connection broke")
    if isinstance(fault, requests.exceptions.Timeout):
        return _passing(f"{host} did not answer in time")
    return _passing(f"no connection to {host} ({type(fault).__name__})")


def headers(body: bytes, row_id: str, secret: str, now: datetime) -> dict[str, str]:
    """The headers of one attempt over `body`."""
    if "." in row_id or not row_id.isascii() or not row_id.isprintable():
        # a full stop would let one signature stand for two readings
        raise ValueError(f"not an id that can be signed: {row_id!r}")
    stamp = str(int(now.astimezone(UTC).timestamp()))
    signed = b".".join((row_id.encode("ascii"), stamp.encode("ascii"), body))
    digest = hmac.new(_key(secret), signed, hashlib.sha256).digest()
    return {
        "Content-Type": "application/json",
        "User-Agent": f"dryspell/{__version__}",
        "webhook-id": row_id,
        "webhook-timestamp": stamp,
        "webhook-signature": f"v1,{base64.b64encode(digest).decode('ascii')}",
    }


def _key(secret: str) -> bytes:
    if not secret.startswith(SECRET_PREFIX):
        raise BadSecretError(f"a signing secret starts with {SECRET_PREFIX}")
    try:
        key = base64.b64decode(secret.removeprefix(SECRET_PREFIX), validate=True)
    except (binascii.Error, ValueError) as fault:
        raise BadSecretError(f"a signing secret is base64 after {SECRET_PREFIX}") from fault
    if len(key) not in SECRET_BYTES:
        raise BadSecretError("a signing secret holds 24 to 64 random bytes")
    return key


def _read(answer: requests.Response, host: str, now: datetime) -> Outcome:
    status = answer.status_code
    if 200 <= status < 300:
        return Outcome(sent=True, detail=f"{host} answered {status}")
    if status == _GONE:
        return _lasting(f"{host} answered 410: it wants no more messages")
    if 300 <= status < 400:
        return _lasting(f"{host} answered {status}: it points elsewhere, which is not followed")
    detail = f"{host} answered {status}{_said(answer)}"
    if lasts(status):
        return _lasting(detail)
    return Outcome(sent=False, detail=detail, retry_after_s=_retry_after(answer, now))


def _said(answer: requests.Response) -> str:
    try:
        start = next(answer.iter_content(ANSWER_BYTES), b"")
    except requests.exceptions.RequestException:
        return ""
    text = one_line(start[:ANSWER_BYTES].decode("utf-8", "replace"))
    # A refusal likes to repeat the address, and the address may hold a key.
    address = urlsplit(answer.url or "")
    for part in (address.query, address.path):
        if len(part) > 1:
            text = text.replace(part, "...")
    return f": {text[:120]}" if text else ""


def _retry_after(answer: requests.Response, now: datetime) -> float | None:
    """Seconds the receiver asks us to wait, given in seconds or as a date."""
    asked = answer.headers.get("Retry-After", "").strip()
    if not asked:
        return None
    if asked.isascii() and asked.isdigit():
        seconds = float(asked)
    else:
        try:
            at = parsedate_to_datetime(asked)
        except ValueError:
            return None
        if at.tzinfo is None:
            at = at.replace(tzinfo=UTC)
        seconds = (at - now).total_seconds()
    return min(max(seconds, 0.0), LONGEST_WAIT_S)


def _host(url: str) -> str:
    try:
        return urlsplit(url).hostname or "the receiver"
    except ValueError:
        return "the receiver"


def _lasting(detail: str) -> Outcome:
    return Outcome(sent=False, lasting=True, detail=detail)


def _passing(detail: str) -> Outcome:
    return Outcome(sent=False, detail=detail)
