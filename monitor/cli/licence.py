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
    from collections.abc import Iterable
    from pathlib import Path

    from monitor.domain import Feed
    from monitor.feeds.sheet_parts import Sheet


def licence_option(command: click.decorators.FC) -> click.decorators.FC:
    """`--accept-licence`, given as `accepted`."""
    return click.option(
        "--accept-licence",
        "accepted",
        is_flag=True,
        help="Confirm the terms of the weather services used; remembered for this show.",
    )(command)


def settle_licences(folder: Path, used: Iterable[tuple[Sheet, Feed]], *, accepted: bool) -> None:
    """See that every feed's terms are confirmed: remembered, given now, or asked once.

    Raises BadInputError where nobody is there to be asked. The answer is kept in the show's
    database under `consent/<sheet>`, with the words that were agreed to; other words ask anew.
    """
    asked = {sheet.id: says for sheet, feed in used if (says := needs_consent(sheet, feed))}
    if not asked:
        return
    db = open_database(folder / DATABASE)
    try:
        for sheet_id, says in asked.items():
            key = f"consent/{sheet_id}"
            before = recall(db, key)
            if isinstance(before, dict) and before.get("says") == says:
                continue
            if not (accepted or _agreed(says)):
                raise BadInputError([_refusal(sheet_id, says)])
            remember(db, key, {"says": says, "agreed_at": iso_utc(now())})
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
        "Give --accept-licence once to confirm, or a base_url of your own in [[feeds]].",
        key=f"feeds.{sheet_id}",
    )
