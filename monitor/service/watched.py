"""The show folder while the service runs: read again when it changes, the last good one kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem, UnableError
from monitor.exposure.rig import Rig
from monitor.show import ShowFolder, folder_of, read_show, rig_through_time, secret
from monitor.store.history import revisions

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Contact, Show

_NAMES = ("show.toml", "fixtures.csv", "log.csv")

Signature = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True)
class Watched:
    """A show folder as read."""

    folder: ShowFolder

    @property
    def show(self) -> Show:
        """The show it describes."""
        return self.folder.show

    @property
    def contacts(self) -> Mapping[str, Contact]:
        """Whom to tell, by name."""
        return {contact.name: contact for contact in self.show.contacts}


class FolderWatch:
    """Keeps the last good reading of a show folder.

    Only the evaluating thread looks; the others take `current`, which is replaced whole.
    """

    def __init__(self, path: Path, environ: Mapping[str, str]) -> None:
        self.path = path
        self._environ = environ
        self._seen = self._taken = self._signature()
        self.current = self._read()
        self._rig: tuple[tuple[str, tuple[int, ...]], Rig] | None = None
        self.broken: BadInputError | UnableError | None = None
        """Why the files as they stand now are not used; None where they are."""

    def secret(self, reference: str) -> str:
        """Read a secret reference at the moment it is needed."""
        return secret(reference, self._environ, self.path)

    def read(self) -> ShowFolder:
        """The folder as it stands at this moment, whatever is watched."""
        return read_show(self.path, self._environ)

    def as_if(self, files: Mapping[str, bytes]) -> ShowFolder:
        """The folder as it would be with these files; nothing is written."""
        return folder_of(files, self.path, self._environ)

    def rig(self, db: Database, now: datetime) -> Rig:
        """The rig with its history; compiled again when a revision has come into force."""
        watched, kept = self.current, tuple(r.id for r in revisions(db))
        known = (watched.show.revision, kept)
        if self._rig is None or self._rig[0] != known:
            self._rig = (known, rig_through_time(db, watched.folder, self._environ, now))
        return self._rig[1]

    def look(self) -> bool:
        """Read the folder again if it has changed; True where it has, for better or worse.

        A change is taken up one look later, when whoever is writing has put the pen down.
        """
        signature = self._signature()
        settled, self._seen = signature == self._seen, signature
        if not settled or signature == self._taken:
            return False
        self._taken = signature
        before = self.current.show.revision
        try:
            self.current = self._not_emptied(self._read())
        except (BadInputError, UnableError) as fault:
            self.broken = fault
            return True
        mended, self.broken = self.broken is not None, None
        return mended or self.current.show.revision != before

    def _not_emptied(self, found: Watched) -> Watched:
        """A rig does not vanish while it is watched: a file lost its rows, or nearly so."""
        if self.current.show.fixtures and not found.show.fixtures:
            says = "fixtures.csv has no rows any more. What it held before is still watched."
            remedy = (
                "Put them back. Where the rig is gone, log it as brought in, or stop this service."
            )
            raise BadInputError([Problem("emptied", says, remedy, file="fixtures.csv")])
        return found

    def _read(self) -> Watched:
        return Watched(self.read())

    def _signature(self) -> Signature:
        """What changes whenever a file is written; reading them all would cost more."""
        found = []
        for path in [self.path / n for n in _NAMES] + sorted((self.path / "sheets").glob("*.toml")):
            try:
                status = path.stat()
            except OSError:
                continue
            found.append((path.name, status.st_mtime_ns, status.st_size))
        return tuple(found)


def in_short(fault: BadInputError | UnableError) -> str:
    """The first fault with its file and line, and how many more there are."""
    if isinstance(fault, UnableError):
        return fault.says
    first, more = fault.problems[0], len(fault.problems) - 1
    rest = f" And {more} more." if more else ""
    return f"{place_of(first)}{first.says} {first.remedy}{rest}"


def place_of(problem: Problem) -> str:
    """`show.toml line 12: `, as far as it is known."""
    if problem.file is None:
        return ""
    return f"{problem.file}{'' if problem.line is None else f' line {problem.line}'}: "
