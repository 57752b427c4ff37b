"""The hash that report.json holds of itself, so that one altered afterwards shows.

It is no signature: whoever alters the file can seal it anew. What cannot be made anew is a
head of the chain that was noted elsewhere.
"""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.report.record import Record

UNSEALED = "0" * 64
_SEAL = re.compile(rb'"report_sha256": "([0-9a-f]{64})",\n "title"')
"""The file's own hash: the one that stands before the title."""


def seal(made: Record) -> tuple[Record, bytes]:
    """The record with the hash of its file in it, and that file."""
    text = made.model_dump_json(indent=1).encode() + b"\n"
    digest = hashlib.sha256(text).hexdigest()
    content = _SEAL.sub(f'"report_sha256": "{digest}",\n "title"'.encode(), text, count=1)
    return made.model_copy(update={"report_sha256": digest}), content


def seal_of(content: bytes) -> tuple[str, str] | None:
    """(the hash that a file says it has, the one that it has); None where it says none."""
    found = _SEAL.search(content)
    if found is None:
        return None
    bare = content[: found.start(1)] + UNSEALED.encode() + content[found.end(1) :]
    return found[1].decode(), hashlib.sha256(bare).hexdigest()
