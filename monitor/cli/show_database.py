"""The show's database, for commands that need nothing of the show folder but that it is one."""

from __future__ import annotations

from contextlib import closing, contextmanager
from typing import TYPE_CHECKING

from monitor.cli.surroundings import DATABASE, SHOW_FILE
from monitor.domain import BadInputError, Problem
from monitor.store.database import open_database

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlite_utils import Database


@contextmanager
def opened(folder: Path) -> Iterator[Database]:
    """The database of the show in `folder`, made if absent."""
    with closing(open_database(show_folder(folder) / DATABASE)) as db:
        yield db


def has_database(folder: Path) -> bool:
    """Whether the show in `folder` has a database yet: to list nothing, none is made."""
    return (show_folder(folder) / DATABASE).exists()


def show_folder(folder: Path) -> Path:
    """The folder, if it is a show's. A show with faults in it will do: what is lost must be
    withdrawn at once.
    """
    if (folder / SHOW_FILE).is_file():
        return folder
    raise BadInputError(
        [
            Problem(
                "missing-file",
                f"There is no {SHOW_FILE} here.",
                "Give the folder of a show: --show DIR.",
                file=str(folder / SHOW_FILE),
            )
        ]
    )
