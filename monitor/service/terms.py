"""Terms of use that somebody has to agree to before a service is asked; asked once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.domain import Problem
from monitor.feeds.request import needs_consent
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD
from monitor.store.history import recall

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Feed


def consent_key(sheet_id: str) -> str:
    """Under what the consent to a sheet's terms is kept."""
    return f"consent/{sheet_id}"


def unanswered(db: Database | None, feeds: Sequence[Feed], folder: Path) -> list[Problem]:
    """The terms of use that nobody has agreed to yet, as problems of the show folder."""
    found = []
    for feed in feeds:
        if feed.sheet == RECORD:
            continue
        sheet = find_sheet(feed.sheet, folder)
        says = needs_consent(sheet, feed)
        if says is not None and not _agreed(db, sheet.id, says):
            found.append(
                Problem(
                    "licence",
                    f"{sheet.id} was not asked for weather. {says}",
                    f"If it is: dryspell feed --sheet {sheet.id} --accept-licence. "
                    "It is asked once and remembered.",
                    file="show.toml",
                    key=f"feeds.{sheet.id}",
                )
            )
    return found


def _agreed(db: Database | None, sheet_id: str, says: str) -> bool:
    """Whether these very words were agreed to; other words ask anew."""
    kept: Any = None if db is None else recall(db, consent_key(sheet_id))
    return isinstance(kept, dict) and kept.get("says") == says
