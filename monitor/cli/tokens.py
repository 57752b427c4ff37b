"""`dryspell token`: who may post readings, log entries and answers from outside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from monitor.cli.show_database import has_database, opened
from monitor.cli.surroundings import now, show_option
from monitor.cli.writing import tell
from monitor.store.tokens import holders, make_token, withdraw_token
from monitor.units import iso_utc

if TYPE_CHECKING:
    from pathlib import Path


@click.group()
def token() -> None:
    """Make, list and withdraw tokens: who may post from outside.

    A token opens everything that can be posted and /api/v1/state. Give each device and each
    program its own, so that one can be withdrawn without the others.
    """


@token.command()
@click.argument("name", metavar="NAME")
@show_option
def make(name: str, folder: Path) -> int:
    """Make a token for NAME and print it, this once.

    The token alone is printed on standard output. A name is never used twice.
    """
    with opened(folder) as db:
        made = make_token(db, name, now())
    click.echo(made)
    click.echo(
        f"This is the token of {name}. Keep it where only {name} reads it: only its digest is"
        " kept here, so it cannot be shown again.",
        err=True,
    )
    return 0


@token.command(name="list")
@show_option
def list_(folder: Path) -> int:
    """List the tokens: name, made, last written with, withdrawn. Never the token itself."""
    if not has_database(folder):
        tell(["No token has been made."])
        return 0
    with opened(folder) as db:
        found = holders(db)
    if not found:
        tell(["No token has been made."])
        return 0
    width = max(len(holder.name) for holder in found)
    for holder in found:
        wrote, ended = holder.last_used_at, holder.withdrawn_at
        said = [
            f"made {iso_utc(holder.made_at)}",
            "never wrote" if wrote is None else f"last wrote {iso_utc(wrote)}",
            *([] if ended is None else [f"withdrawn {iso_utc(ended)}"]),
        ]
        tell([f"{holder.name:{width}}  {', '.join(said)}"])
    return 0


@token.command()
@click.argument("name", metavar="NAME")
@show_option
def withdraw(name: str, folder: Path) -> int:
    """Withdraw the token of NAME; it opens nothing from this moment."""
    with opened(folder) as db:
        ended = withdraw_token(db, name, now())
    tell(
        [
            f"The token of {name} is withdrawn."
            if ended
            else f"The token of {name} was withdrawn before."
        ]
    )
    return 0
