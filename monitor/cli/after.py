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
from monitor.domain import BadInputError, Problem, UnableError
from monitor.report import material_from, read_earlier, write_report
from monitor.store.chain import verify
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
@click.option(
    "--earlier",
    multiple=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="report.json of an earlier show; what each serial took there is carried on. Repeatable.",
)
@click.option(
    "--head",
    "heads",
    multiple=True,
    metavar="HASH",
    help="Head of the chain noted elsewhere, as on-watch messages have it. Repeatable.",
)
@show_option
def report(
    out: Path,
    from_text: str | None,
    to_text: str | None,
    earlier: tuple[Path, ...],
    heads: tuple[str, ...],
    folder: Path,
) -> int:
    """Write what every fixture took, what was told and what was done: HTML, JSON and CSV.

    TIME is like 2027-07-16T08:00.
    """
    refuse_show_folder(out, "--out")
    found = read(folder)
    from_ = moment_of(from_text, "--from", found.show)
    to = moment_of(to_text, "--to", found.show)
    before = read_earlier({str(path): _content(path) for path in earlier})
    noted = tuple(head.strip().lower() for head in heads)
    path = folder / DATABASE
    if not path.exists():
        raise UnableError(
            f"There is no {DATABASE} in {folder}: nothing has been watched or logged there yet.",
            "Give the folder of a show that was watched; dryspell rehearse --report needs none.",
        )
    db = open_database(path)
    with closing(db.conn):
        try:
            material = material_from(db, found, now(), from_, to, environ(), before, noted)
        except BadInputError:
            raise
        except Exception as fault:
            # What was altered may not even be readable: then the chain says where.
            chain = verify(db, noted)
            if chain.ok:
                raise
            raise UnableError(
                f"The history does not hold, and no report can be made of it: {chain.says}",
                "Keep this database as it is, and make the report from the last good copy.",
            ) from fault
    written = write_report(out, material)
    tell(f"Wrote {file}" for file in written)
    if material.chain is not None and not material.chain.ok:
        click.echo(f"The history does not hold: {material.chain.says}", err=True)
        return ATTENTION
    return 0


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise BadInputError(
            [
                Problem(
                    "unreadable-file",
                    f"{path} cannot be read: {why}.",
                    "Give the report.json of an earlier show.",
                    file=str(path),
                    key="--earlier",
                )
            ]
        ) from None
