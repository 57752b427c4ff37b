"""Starter shows: a folder with ready positions, to be changed to what is really there."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Literal, get_args

from monitor.builtin import builtin
from monitor.domain import BadInputError, Problem, UnableError
from monitor.show.findings import SHOW_FILE
from monitor.show.fixtures import FIXTURES_FILE
from monitor.show.logfile import LOG_FILE

if TYPE_CHECKING:
    from pathlib import Path

Starter = Literal["stage", "tower", "ground", "tent"]
STARTERS: tuple[Starter, ...] = get_args(Starter)


def write_starter(kind: Starter, folder: Path) -> tuple[Path, ...]:
    """Write the files of a starter show into `folder`, all of them or none.

    A folder that has any file of a show already is refused and left as it is.
    """
    there = [name for name in (SHOW_FILE, FIXTURES_FILE, LOG_FILE) if (folder / name).exists()]
    if there:
        raise BadInputError(
            [
                Problem(
                    "folder-taken",
                    f"{folder} has a show in it already: {', '.join(there)}.",
                    "Give a new folder; nothing there was changed.",
                    file=str(folder),
                )
            ]
        )
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in (FIXTURES_FILE, SHOW_FILE):
            data = builtin("starters", kind, name).read_bytes()
            # "x": another hand may have put one there since; it stays as it is.
            with (folder / name).open("xb") as file:
                written.append(folder / name)
                file.write(data)
    except OSError as fault:
        for path in written:
            path.unlink(missing_ok=True)
        for path in made:
            with contextlib.suppress(OSError):
                path.rmdir()
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"The starter show cannot be written to {folder}: {why}.",
            "Give a folder that can be made and written to; nothing was left behind.",
        ) from None
    return tuple(written)
