"""`dryspell report`: what the weather did to the gear, after the event."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import click

from monitor.cli.exit_codes import ATTENTION
from monitor.cli.surroundings import (
    DATABASE,
    environ,
    moment_of,
    now,
    read,
    refuse_show_folder,
    show_option,
)
from monitor.cli.writing import tell
from monitor.domain import UnableError
from monitor.report import material_from, write_report
from monitor.store.database import open_database


@click.command()
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder to write the report into.",
)
@click.option("--from", "from_text", metavar="TIME", help="Begin there; site time, or with offset.")
@click.option("--to", "to_text", metavar="TIME", help="End there; site time, or with offset.")
@show_option
def report(out: Path, from_text: str | None, to_text: str | None, folder: Path) -> int:
    """Write what every fixture took, what was told and what was done: HTML and CSV.

    TIME is like 2027-07-16T08:00.
    """
    refuse_show_folder(out, "--out")
    found = read(folder)
    from_ = moment_of(from_text, "--from", found.show)
    to = moment_of(to_text, "--to", found.show)
    path = folder / DATABASE
    if not path.exists():
        raise UnableError(
            f"There is no {DATABASE} in {folder}: nothing has been watched or logged there yet.",
            "Give the folder of a show that was watched; dryspell rehearse --report needs none.",
        )
    db = open_database(path)
    with closing(db.conn):
        material = material_from(db, found, now(), from_, to, environ())
    written = write_report(out, material)
    tell(f"Wrote {file}" for file in written)
    if material.chain is not None and not material.chain.ok:
        click.echo(f"The history does not hold: {material.chain.says}", err=True)
        return ATTENTION
    return 0
