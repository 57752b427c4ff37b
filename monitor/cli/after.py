"""`dryspell report`: what the weather did to the gear, after the event."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor import report as reports
from monitor.cli.surroundings import DATABASE, moment_of, now, read, show_option
from monitor.cli.writing import tell
from monitor.domain import BadInputError, Problem, UnableError
from monitor.store.database import open_database

if TYPE_CHECKING:
    from datetime import datetime


@click.command()
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to write the report into.",
)
@click.option("--from", "from_text", metavar="TIME", help="Begin there; site time, or with offset.")
@click.option("--to", "to_text", metavar="TIME", help="End there; site time, or with offset.")
@show_option
def report(out: Path, from_text: str | None, to_text: str | None, folder: Path) -> int:
    """Write what every fixture took, what was told and what was done: HTML and CSV.

    TIME is like 2027-07-16T08:00.
    """
    show = read(folder).show
    from_, to = moment_of(from_text, "--from", show), moment_of(to_text, "--to", show)
    _refuse_backwards(from_, to)
    path = folder / DATABASE
    if not path.exists():
        raise UnableError(
            f"There is no {DATABASE} in {folder}: nothing has been watched or logged there yet.",
            "Give the folder of a show that was watched; dryspell rehearse --report needs none.",
        )
    db = open_database(path)
    try:
        material = reports.material_from(db, folder, now(), from_, to)
    finally:
        db.close()
    reports.write_report(out, material)
    tell([f"The report is in {out}."])
    return 0


def _refuse_backwards(from_: datetime | None, to: datetime | None) -> None:
    if from_ is not None and to is not None and to <= from_:
        raise BadInputError(
            [
                Problem(
                    "backwards",
                    "The end is not after the beginning.",
                    "Give --to a later time than --from.",
                    key="--to",
                )
            ]
        )
