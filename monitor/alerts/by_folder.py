"""Lays one message in a folder as a mail and as JSON, whole or not at all.

For a rehearsal, a machine that picks files up, or a show without any other contact. Doing it
again writes the same bytes under the same names.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.alerts import envelope, mail
from monitor.alerts.clock import utc_stamp
from monitor.domain import Outcome

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.domain import Contact, Message

SENDER = "Dryspell <dryspell@localhost.invalid>"


def send(
    message: Message,
    contact: Contact,
    recipient: str,  # noqa: ARG001 - every sender takes the same arguments
    row_id: str,
    *,
    secret: str | None,  # noqa: ARG001
    now: datetime,  # noqa: ARG001
) -> Outcome:
    """Write NAME.eml and NAME.json; `contact.path` is the folder, made if it is missing."""
    if not contact.path:
        return Outcome(sent=False, lasting=True, detail=f"contact {contact.name} has no path")
    folder = Path(contact.path)
    name = file_name(message, row_id)
    composed = mail.compose(message, sender=SENDER, recipient=None, row_id=row_id)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(folder / f"{name}.json", envelope.body(message) + b"\n")
        _write(folder / f"{name}.eml", composed.as_bytes())
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        return Outcome(sent=False, detail=f"could not write to {contact.path}: {why}")
    return Outcome(sent=True, detail=f"written as {name}")


def file_name(message: Message, row_id: str) -> str:
    """`20270715T204000Z-start-3f9a1c...`: in order of time, one per row."""
    what = message.stage or message.kind
    digest = hashlib.sha256(row_id.encode("utf-8", "backslashreplace")).hexdigest()[:12]
    return f"{utc_stamp(message.at)}-{what}-{digest}"


def _write(path: Path, content: bytes) -> None:
    """The whole file under its name, or no file; a reader never sees half of one."""
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        part.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise
