"""What a check of a sheet finds, and which paths it lets stand."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

import jmespath
from jmespath.exceptions import JMESPathError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.toml_places import Path

# A projection leaves out nulls and so shifts a series against its stamps.
_PROJECTION = re.compile(r"\[\s*(\]|\*|\?|-?\d*\s*:)|\*")


class Finding(NamedTuple):
    """A fault of a sheet, before it is known on which line it stands."""

    path: Path
    code: str
    says: str
    remedy: str


def path_findings(at: Path, text: str, *, series: bool) -> Iterator[Finding]:
    """Faults of a JMESPath; `series`: what it finds is laid against stamps."""
    try:
        jmespath.compile(text)
    except (JMESPathError, RecursionError):
        yield Finding(at, "bad-path", f"{text!r} is not a JMESPath.", "Write it like hourly.time.")
    if series and _PROJECTION.search(text):
        yield Finding(
            at,
            "projection",
            f"{text!r} goes over a list and would leave out its nulls, which shifts the rest.",
            "Name the list itself, without [], [*], [?, a slice or *.",
        )
