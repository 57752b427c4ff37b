"""A show folder to one record, or every fault of all its files at once."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem, Show, UnableError
from monitor.feeds.sheet import read_sheet
from monitor.show.csv_file import CsvFile
from monitor.show.findings import SHOW_FILE
from monitor.show.fixtures import COLUMNS as FIXTURE_COLUMNS
from monitor.show.fixtures import FIXTURES_FILE, OTHER_NAMES, Surroundings, fixtures
from monitor.show.fixtures import REQUIRED as FIXTURE_REQUIRED
from monitor.show.logfile import COLUMNS as LOG_COLUMNS
from monitor.show.logfile import LOG_FILE, log_entries
from monitor.show.logfile import REQUIRED as LOG_REQUIRED
from monitor.show.plain_text import plain_text
from monitor.show.show_file import ShowFile, read_show_file

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.domain import Fixture, LogEntry


@dataclass(frozen=True, slots=True)
class ShowFolder:
    """A show as described, what to tell about its reading, and the very bytes it was read from.

    `files` is by name within the folder; the show's revision is the hash of them.
    """

    path: Path
    show: Show
    notes: tuple[Problem, ...]
    files: Mapping[str, bytes]


def read_show(folder: Path, environ: Mapping[str, str]) -> ShowFolder:
    """Read show.toml, fixtures.csv, log.csv if it is there, and the folder's own sheets.

    Raises BadInputError with every problem of every file; nothing is written.
    """
    return folder_of(_files(folder), folder, environ)


def folder_of(files: Mapping[str, bytes], folder: Path, environ: Mapping[str, str]) -> ShowFolder:
    """The same from files at hand, such as a revision that was kept."""
    problems = [_absent(name) for name in (SHOW_FILE, FIXTURES_FILE) if name not in files]
    notes: list[Problem] = []
    problems += _sheet_problems(files)

    read = ShowFile.unread()
    if SHOW_FILE in files:
        read = read_show_file(files, folder, environ)
        problems += read.problems
        notes += read.notes

    rig: tuple[Fixture, ...] = ()
    fixture_ids: set[str] | None = None
    if FIXTURES_FILE in files:
        rig, table = _fixtures(files[FIXTURES_FILE], read)
        problems += table.problems
        notes += table.notes
        # An id of a row refused for something else is no mistake of the log's.
        ids = {row.text("id") for row in table.rows()}
        fixture_ids = {i for i in ids if i is not None} or None
    if LOG_FILE in files:
        log = CsvFile(files[LOG_FILE], LOG_FILE, LOG_COLUMNS, LOG_REQUIRED)
        log_entries(log, read.position_ids, fixture_ids, read.zone)
        problems += log.problems
        notes += log.notes
    show = read.show(rig, revision_of(files))
    if problems or show is None:
        raise BadInputError(problems)
    return ShowFolder(folder, show, tuple(notes), files)


def read_log(source: Path | bytes, show: Show) -> tuple[LogEntry, ...]:
    """The entries of a log.csv, in the order of its rows."""
    name = LOG_FILE
    if isinstance(source, Path):
        name = source.name
        try:
            source = source.read_bytes()
        except FileNotFoundError:
            raise BadInputError([_absent(name)]) from None
        except OSError as fault:
            raise _unreadable(name, fault) from None
    table = CsvFile(source, name, LOG_COLUMNS, LOG_REQUIRED)
    ids = {fixture.id for fixture in show.fixtures}
    entries = log_entries(table, show.positions.keys(), ids, show.site.timezone)
    if table.problems:
        raise BadInputError(table.problems)
    return entries


def revision_of(files: Mapping[str, bytes]) -> str:
    """sha256 over names, lengths and bytes, in the order of the names."""
    hashed = hashlib.sha256()
    for name in sorted(files):
        hashed.update(f"{name}\n{len(files[name])}\n".encode())
        hashed.update(files[name])
    return hashed.hexdigest()


def _files(folder: Path) -> dict[str, bytes]:
    if not folder.is_dir():
        raise BadInputError(
            [
                Problem(
                    "missing-folder",
                    f"There is no show folder {folder}.",
                    "Give the folder that has show.toml in it, or make one with: dryspell new DIR.",
                    file=str(folder),
                )
            ]
        )
    names = [SHOW_FILE, FIXTURES_FILE, LOG_FILE]
    names += [f"sheets/{path.name}" for path in sorted((folder / "sheets").glob("*.toml"))]
    files: dict[str, bytes] = {}
    for name in names:
        try:
            files[name] = (folder / name).read_bytes()
        except FileNotFoundError:
            continue
        except OSError as fault:
            raise _unreadable(name, fault) from None
    return files


def _absent(name: str) -> Problem:
    return Problem(
        "missing-file",
        f"{name} is not there.",
        f"Write {name}, or begin with a starter show: dryspell new DIR --from stage.",
        file=name,
    )


def _unreadable(name: str, fault: OSError) -> UnableError:
    why = fault.strerror or type(fault).__name__
    return UnableError(f"{name} cannot be read: {why}.", "See that the account may read it.")


def _fixtures(data: bytes, read: ShowFile) -> tuple[tuple[Fixture, ...], CsvFile]:
    table = CsvFile(data, FIXTURES_FILE, FIXTURE_COLUMNS, FIXTURE_REQUIRED, OTHER_NAMES)
    around = Surroundings(read.position_ids, read.cover_ids, read.positions, read.roofs)
    return fixtures(table, around), table


def _sheet_problems(files: Mapping[str, bytes]) -> list[Problem]:
    """Faults of the folder's own feed sheets, whether a feed uses them or not."""
    problems: list[Problem] = []
    for name, data in files.items():
        if name.startswith("sheets/"):
            try:
                read_sheet(plain_text(data, name)[0], name)
            except BadInputError as fault:
                problems += fault.problems
    return problems
