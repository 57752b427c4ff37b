"""`dryspell import`: positions and fixtures from a drawing or a list that is there already."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.cli.exit_codes import ATTENTION, DONE
from monitor.cli.surroundings import bytes_of, environ, json_option, read, show_option
from monitor.cli.writing import tell, write_file, write_json
from monitor.domain import BadInputError, Problem, UnableError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.imports.proposal import Proposal

SCHEMA = "dryspell.import/1"


@click.command("import")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--north",
    type=click.FloatRange(0, 360),
    metavar="DEG",
    help="Compass bearing of the drawing's +Y: 0 if it points north, 90 if east.",
)
@click.option(
    "--zero-at",
    type=click.FloatRange(-100, 150),
    default=0.0,
    metavar="METRES",
    help="How high above the ground the drawing's zero is, such as a stage deck's top.",
)
@click.option("--sheet", metavar="NAME", help="Which sheet of a workbook holds the list.")
@click.option(
    "--ask",
    "ask_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Write what is asked to a new CSV file, to be filled in.",
)
@click.option(
    "--answers",
    "answers_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The file that --ask wrote, with answers.",
)
@click.option("--write", is_flag=True, help="Write it; without this nothing of the show changes.")
@json_option
@show_option
def import_rig(
    file: Path,
    north: float | None,
    zero_at: float,
    sheet: str | None,
    ask_file: Path | None,
    answers_file: Path | None,
    write: bool,
    json_file: str | None,
    folder: Path,
) -> int:
    """Say what FILE, a drawing (.mvr) or a list (.xlsx, .csv), would add to a show.

    With --write it is added. What the file does not say is asked, and what waits for a needed
    answer is left out. What the show has already stays as it is.
    """
    # What reads them is heavy, and in part an extra.
    from monitor.imports.answers import Answers, read_answers, written  # noqa: PLC0415
    from monitor.imports.merging import proposal  # noqa: PLC0415
    from monitor.imports.put_down import put_down  # noqa: PLC0415
    from monitor.imports.reading import read_rig  # noqa: PLC0415
    from monitor.imports.telling import as_json, in_words  # noqa: PLC0415

    _refuse_without_libraries(file)
    show = read(folder)
    answers = Answers()
    if answers_file is not None:
        answers = read_answers(
            bytes_of(answers_file, "the file that --ask wrote"), answers_file.name
        )
    rig = read_rig(file, answers, zero_at_m=zero_at, sheet=sheet)
    found = proposal(rig, answers, show, environ(), north)
    if ask_file is not None:
        _refuse_taken(ask_file)
        write_file(written(found.asks), str(ask_file))
    if write and found.files:
        put_down(folder, show.files, found.files)
    done = write and bool(found.files)
    tell(in_words(found, written=done), json_file)
    tell(_next(found, file, folder, ask_file, written=done), json_file)
    write_json({"schema": SCHEMA, **as_json(found, written=done)}, json_file)
    return ATTENTION if found.needed else DONE


def _next(
    found: Proposal, file: Path, folder: Path, ask_file: Path | None, *, written: bool
) -> Iterator[str]:
    yield ""
    if not written:
        yield "Nothing of the show is changed."
    if found.asks and ask_file is None:
        yield f"To answer: dryspell import {file} --show {folder} --ask questions.csv"
    elif found.asks:
        yield f"Fill in {ask_file}, then give it: --answers {ask_file}"
    if written:
        yield f"See how it is understood: dryspell check --show {folder}"
    elif found.rows:
        yield "To write it: the same again with --write"


def _refuse_without_libraries(file: Path) -> None:
    from monitor.imports.reading import LIBRARIES  # noqa: PLC0415

    missing = [name for name in LIBRARIES.get(file.suffix.lower(), ()) if find_spec(name) is None]
    if missing:
        raise UnableError(
            f"Reading {file.suffix.lower()} files needs {' and '.join(missing)}.",
            'Install them beside this program: pip install "dryspell[rig-files]".',
        )


def _refuse_taken(ask_file: Path) -> None:
    if ask_file.exists():
        raise BadInputError(
            [
                Problem(
                    "file-taken",
                    f"{ask_file} is there already, perhaps with answers in it.",
                    "Give the name of a new file.",
                    key="--ask",
                )
            ]
        )
