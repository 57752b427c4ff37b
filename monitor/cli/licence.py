"""The licence gate: a service that is free for some uses only is asked about once."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from monitor.cli.surroundings import DATABASE, now
from monitor.domain import BadInputError, Problem
from monitor.feeds.request import needs_consent
from monitor.store.database import open_database
from monitor.store.history import recall, remember
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from monitor.domain import Feed
    from monitor.feeds.sheet_parts import Sheet


def settle_licences(
    folder: Path, used: Iterable[tuple[Sheet, Feed]], *, accepted: bool = False
) -> None:
    """See that every feed's terms are confirmed: remembered, given now, or asked once.

    Raises BadInputError where nobody is there to be asked. The answer is kept in the show's
    database under `consent/<sheet>`, with the words that were agreed to; other words ask anew.
    """
    asked = {sheet.id: says for sheet, feed in used if (says := needs_consent(sheet, feed))}
    if not asked:
        return
    agreed = _remembered(folder, asked)
    open_ones = {sheet_id: says for sheet_id, says in asked.items() if says not in agreed}
    problems = [
        _refusal(sheet_id, says)
        for sheet_id, says in open_ones.items()
        if not (accepted or _agreed(says))
    ]
    if problems:
        raise BadInputError(problems)
    _remember(folder, open_ones)


def _remembered(folder: Path, asked: Mapping[str, str]) -> set[str]:
    """The sentences that were agreed to before."""
    if not (folder / DATABASE).exists():
        return set()
    db = open_database(folder / DATABASE)
    try:
        kept = [recall(db, f"consent/{sheet_id}") for sheet_id in asked]
    finally:
        db.close()
    return {str(one.get("says")) for one in kept if isinstance(one, dict)}


def _remember(folder: Path, agreed: Mapping[str, str]) -> None:
    if not agreed:
        return
    db = open_database(folder / DATABASE)
    try:
        for sheet_id, says in agreed.items():
            remember(db, f"consent/{sheet_id}", {"says": says, "agreed_at": iso_utc(now())})
    finally:
        db.close()


def _agreed(says: str) -> bool:
    if not sys.stdin.isatty():
        return False
    click.echo(says, err=True)
    return click.confirm("Is that so?", default=False, err=True)


def _refusal(sheet_id: str, says: str) -> Problem:
    return Problem(
        "licence",
        f"{sheet_id} was not asked for weather. {says}",
        f"If it is: dryspell feed --sheet {sheet_id} --accept-licence. It is asked once and "
        "remembered.",
        key=f"feeds.{sheet_id}",
    )
