"""`dryspell declare`: a competent person on site opens work at height, or power, again."""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING, get_args

import click

from monitor.cli.exit_codes import ATTENTION
from monitor.cli.surroundings import DATABASE, now, read, show_option, site_time
from monitor.cli.writing import tell
from monitor.service.declared import DeclaredSaid, Opened, declared_of, in_words, keep_declared
from monitor.service.declared import declarations as declarations_of
from monitor.store.database import open_database

if TYPE_CHECKING:
    from pathlib import Path


@click.command()
@click.argument("what", metavar="WHAT", required=False, type=click.Choice(get_args(Opened)))
@click.option("--by", metavar="NAME", help="Who declares it. Needed.")
@click.option("--position", metavar="ID", help="Only this position. Without it: the whole site.")
@click.option("--at", metavar="TIME", help="When; site time, or with offset. Without it: now.")
@click.option("--note", metavar="TEXT", help="Anything else to keep.")
@show_option
def declare(
    what: Opened | None,
    by: str | None,
    position: str | None,
    at: str | None,
    note: str | None,
    folder: Path,
) -> int:
    """Declare work at height, or power, open again; without WHAT, list what was declared.

    WHAT is height or power. It is kept with the name, and answered with what still speaks
    against it, and then ends with 1. The monitor itself opens neither. TIME is like
    2027-07-16T18:10, or 18:10.
    """
    show = read(folder).show
    received_at = now()
    path = folder / DATABASE
    if what is None:
        if not path.exists():
            tell(["Nothing is declared."])
            return 0
        with closing(open_database(path)) as db:
            listed = [f"{in_words(one, show, received_at)}." for one in declarations_of(db)]
        tell([line[0].upper() + line[1:] for line in listed] or ["Nothing is declared."])
        return 0
    said = DeclaredSaid(what, by, position, at, note)
    if not path.exists():
        # What is refused makes no database.
        declared_of(said, show, received_at, _spelt)
    with closing(open_database(path)) as db:
        kept = keep_declared(db, said, show, received_at, _spelt)
    made = kept.declared
    assert made is not None
    where = "the whole site" if made.position is None else f"position {made.position}"
    opened = "work at height" if made.what == "height" else "power"
    tell([f"Kept: {opened}, {where}, {site_time(made.at, show)} site time, by {made.by}."])
    tell(kept.notes)
    return ATTENTION if kept.is_contested else 0


def _spelt(name: str) -> str:
    """A name as it is written on this command line."""
    return f"--{name}"
