"""What kind of fixture a drawing means, in words: from the type files (GDTF) that lie in it.

A type file has a name, a shape and channels. It has no protection code, so none comes from here.
"""

from __future__ import annotations

import contextlib
import io
from typing import TYPE_CHECKING

import pygdtf

from monitor.domain import BadInputError, Problem
from monitor.imports.archive import looked_over, refused
from monitor.imports.plain_cells import one_line
from monitor.imports.plain_xml import look_over

if TYPE_CHECKING:
    from monitor.imports.archive import Archive

_DESCRIPTION = "description.xml"
_MOST_TYPE = 100_000_000
_MOST_DESCRIPTION = 20_000_000
_MOST_TOGETHER = 400_000_000
"""Of all type files that are opened [bytes]."""
_ENDING = ".gdtf"


class FixtureTypes:
    """Names of types by what a fixture names its type file; each file is opened once."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._named: dict[str, str | None] = {}
        self._together = 0
        self.notes: list[Problem] = []

    def name(self, spec: str | None) -> str | None:
        """What the type is called; without its file, what the file would be called."""
        if spec is None or not spec.strip():
            return None
        if spec not in self._named:
            entry = self._entry(spec.strip())
            found = None if entry is None else self._opened(entry)
            self._named[spec] = found or _of_file(spec)
        return self._named[spec]

    def _entry(self, spec: str) -> str | None:
        # The library gives names as an old zip file spells them; a new one spells them plainly.
        spellings = [spec]
        with contextlib.suppress(UnicodeError):
            spellings.append(spec.encode("cp437").decode("utf-8"))
        spellings += [f"{one}{_ENDING}" for one in spellings]
        return next((one for one in spellings if one in self._archive.names), None)

    def _opened(self, entry: str) -> str | None:
        where = f"{entry} in {self._archive.name}"
        data = self._archive.read(entry, _MOST_TYPE)
        self._together += len(data)
        if self._together > _MOST_TOGETHER:
            self._tell(f"{where} is not opened: there are too many type files.")
            return None
        try:
            self._look_over(data, where)
        except BadInputError as fault:
            if not all(problem.code.startswith("broken") for problem in fault.problems):
                raise  # made to harm: nothing of the whole file is trusted
            self._tell(f"{where} cannot be read.")
            return None
        try:
            with pygdtf.FixtureType(io.BytesIO(data)) as found:
                return one_line(found.long_name) or one_line(found.name)
        except Exception as fault:  # noqa: BLE001 - the library raises whatever it stumbles over
            self._tell(f"{where} cannot be read by the library ({type(fault).__name__}).")
            return None

    def _look_over(self, data: bytes, where: str) -> None:
        with looked_over(io.BytesIO(data), where) as inner:
            if _DESCRIPTION not in inner.names:
                raise refused("broken-type", f"{where} holds no {_DESCRIPTION}.", "", where)
            description = inner.read(_DESCRIPTION, _MOST_DESCRIPTION)
        look_over(description.rstrip(b"\0"), _DESCRIPTION, where)

    def _tell(self, says: str) -> None:
        self.notes.append(
            Problem(
                "type-file",
                says,
                "The name of that file stands for the type; nothing else is taken from it.",
                file=self._archive.name,
                refused=False,
            )
        )


def _of_file(spec: str) -> str | None:
    """`Maker@Type@remark.gdtf` means Type."""
    bare = spec.strip()
    if bare.lower().endswith(_ENDING):
        bare = bare[: -len(_ENDING)]
    parts = [part for part in bare.split("@") if part.strip()]
    return one_line(parts[1] if len(parts) > 1 else bare)
