"""The JSON that leaves the program: type, time and data, the same by webhook and by folder.

The shape is the one the Standard Webhooks specification recommends; `data` is the alert
object, so a receiver reads one form wherever it finds it.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from monitor.units import iso_utc

if TYPE_CHECKING:
    from monitor.domain import Message


def kind_of(message: Message) -> str:
    """`dryspell.alert.start`, `dryspell.watch`, `dryspell.test`."""
    if message.kind in {"watch", "test"} or message.stage is None:
        return f"dryspell.{message.kind}"
    return f"dryspell.alert.{message.stage}"


def body(message: Message) -> bytes:
    """The bytes to sign and send: the same for every attempt, in characters no link mangles."""
    return json.dumps(
        {
            "type": kind_of(message),
            "timestamp": iso_utc(message.at),
            "data": dict(message.data),
        },
        ensure_ascii=True,
        allow_nan=False,
        separators=(",", ":"),
    ).encode("ascii")
