"""Sends one message to one mailbox over SMTP, and says what came of it.

The server's certificate is always verified; an unencrypted connection is only ever made to
this machine. A refusal is lasting when the server says so (5xx); everything that may heal by
itself, a bad certificate on a borrowed network included, is tried again.
"""

from __future__ import annotations

import contextlib
import ipaddress
import re
import smtplib
import socket
import ssl
import threading
from typing import TYPE_CHECKING, Any

from monitor.alerts import mail
from monitor.alerts.words import one_line
from monitor.domain import Outcome

if TYPE_CHECKING:
    from datetime import datetime
    from email.message import EmailMessage

    from monitor.domain import Contact, Message

TIMEOUT_S = 15.0
_LIKE_A_LOG_IN = re.compile(r"[A-Za-z0-9+/]{16,}={0,2}")
"""Base64 of a log-in, as long as any worth having; a long word lost with it is no loss."""
"""For each answer of the server [s]."""

DEADLINE_S = 45.0
"""For the whole conversation [s]; under the outbox lease, so nobody else sends meanwhile."""

PORTS = {"tls": 465, "starttls": 587, "none": 25}

_HELLO_NAME = "[127.0.0.1]"
"""What smtplib itself falls back to; asking for our own name can hang where DNS is away."""


def send(
    message: Message,
    contact: Contact,
    recipient: str,
    row_id: str,
    *,
    secret: str | None,
    now: datetime,  # noqa: ARG001 - every sender takes the same arguments
) -> Outcome:
    """One attempt. `secret` is the password of `contact.user`."""
    fault = _not_ready(contact, secret)
    if fault:
        return Outcome(sent=False, lasting=True, detail=fault)
    try:
        sender = contact.sender or ""
        composed = mail.compose(message, sender=sender, recipient=recipient, row_id=row_id)
        envelope = (mail.address(sender).addr_spec, mail.address(recipient).addr_spec)
        _converse(composed, contact, envelope, secret)
    except (mail.BadAddressError, OSError, UnicodeError) as failed:
        # smtplib's exceptions are OSErrors too
        return _failed(failed, contact, secret)
    return Outcome(sent=True, detail=f"accepted by {contact.host}")


def _not_ready(contact: Contact, secret: str | None) -> str:
    if not contact.host or not contact.sender:
        return f"contact {contact.name} has no mail server or no sender address"
    if contact.security == "none" and not is_loopback(contact.host):
        return f"security none is only for this machine, not for {contact.host}"
    if contact.user and secret is None:
        return f"contact {contact.name} has a user and no password"
    return ""


def is_loopback(host: str) -> bool:
    """True for this machine, by name or number; no look-up is made."""
    if host.lower().rstrip(".") == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


class _Watched(smtplib.SMTP):
    """A connection that is hung up on after the deadline, from the greeting on.

    The time-out of a socket starts anew at every byte, so a server that drips could hold
    the outbox for hours.
    """

    _timer: threading.Timer | None = None

    def connect(
        self,
        host: str = "localhost",
        port: int = 0,
        source_address: Any = None,
    ) -> tuple[int, bytes]:
        self._timer = threading.Timer(DEADLINE_S, self._hang_up)
        self._timer.daemon = True
        self._timer.start()
        try:
            return super().connect(host, port, source_address)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        super().close()

    def _hang_up(self) -> None:
        if self.sock is not None:
            with contextlib.suppress(OSError):
                self.sock.shutdown(socket.SHUT_RDWR)


class _WatchedTls(_Watched, smtplib.SMTP_SSL):
    pass


def _converse(
    composed: EmailMessage, contact: Contact, envelope: tuple[str, str], secret: str | None
) -> None:
    server = _connected(contact)
    try:
        server.ehlo()
        if contact.security == "starttls":
            server.starttls(context=ssl.create_default_context())
            server.ehlo()
        if contact.user:
            server.login(contact.user, secret or "")
        server.send_message(composed, envelope[0], [envelope[1]])
        # Accepted. A server that now fails to say goodbye has the mail all the same.
        with contextlib.suppress(smtplib.SMTPException, OSError):
            server.quit()
    finally:
        server.close()


def _connected(contact: Contact) -> smtplib.SMTP:
    host = contact.host or ""
    port = contact.port or PORTS[contact.security]
    if contact.security == "tls":
        return _WatchedTls(
            host, port, _HELLO_NAME, timeout=TIMEOUT_S, context=ssl.create_default_context()
        )
    return _Watched(host, port, _HELLO_NAME, timeout=TIMEOUT_S)


def _failed(fault: Exception, contact: Contact, secret: str | None) -> Outcome:
    """What a failure means: lasting where trying again cannot help."""
    if isinstance(fault, smtplib.SMTPException):
        code, said = _answer(fault)
        words = _plain(f"{code} {said}" if code else said, secret)
        return Outcome(
            sent=False, lasting=500 <= code <= 599, detail=f"the mail server says: {words}"
        )
    if isinstance(fault, mail.BadAddressError):
        return Outcome(sent=False, lasting=True, detail=str(fault))
    if isinstance(fault, ssl.SSLCertVerificationError):
        why = f"the certificate of {contact.host} is not trusted: {fault.verify_message}"
        return Outcome(sent=False, detail=why)
    if isinstance(fault, UnicodeError):
        why = "the mail server cannot be given this address or password: not plain letters"
        return Outcome(sent=False, lasting=True, detail=why)
    why = _plain(str(fault) or type(fault).__name__, secret)
    return Outcome(sent=False, detail=f"no connection to {contact.host}: {why}")


def _answer(fault: smtplib.SMTPException) -> tuple[int, str]:
    """Code and words of a refusal; code 0 where the conversation broke off."""
    code = 0
    said: str | bytes = str(fault) or type(fault).__name__
    if isinstance(fault, smtplib.SMTPRecipientsRefused) and fault.recipients:
        code, said = next(iter(fault.recipients.values()))
    elif isinstance(fault, smtplib.SMTPResponseException):
        code, said = fault.smtp_code, fault.smtp_error
    return code, said.decode("utf-8", "replace") if isinstance(said, bytes) else said


def _plain(text: str, secret: str | None) -> str:
    """One line without the password, in clear or as a log-in line that a server repeats."""
    hidden = text.replace(secret, "***") if secret else text
    return _LIKE_A_LOG_IN.sub("***", one_line(hidden))[:200]
