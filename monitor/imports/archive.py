"""A zip file from elsewhere, looked over before anything in it is opened.

Nothing is ever unpacked to disk. What is read is read up to a limit, whatever the file says of
its own sizes.
"""

from __future__ import annotations

import re
import struct
import zipfile
import zlib
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING

from monitor.domain import BadInputError, Problem, UnableError

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_FILES = 5000
MOST_UNPACKED = 4_000_000_000
"""Of all together, by what the file says; models and pictures are never opened [bytes]."""
_RATIO = 200
"""Text packs to a fiftieth at best; beyond this it was made to burst."""
_SMALL = 5_000_000
"""What unpacks to no more bursts nothing, however well it packs [bytes]."""
_CHUNK = 65_536
_BROKEN = (
    *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError),
    *(NotImplementedError, RuntimeError, OverflowError),
)
"""What the library raises for a zip file that is none, by where it stumbles"""
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ABSOLUTE = re.compile(r"[\\/]|[A-Za-z]:")


class Archive:
    """A zip file that was looked over."""

    def __init__(self, package: zipfile.ZipFile, name: str) -> None:
        self._package = package
        self.name = name
        self._entries = {entry.filename: entry for entry in package.infolist()}

    @property
    def names(self) -> tuple[str, ...]:
        """What is in it."""
        return tuple(self._entries)

    def read(self, entry: str, most: int) -> bytes:
        """One of its files, whole; refused where it is longer than `most`."""
        found = self._entries[entry]
        if found.flag_bits & 1:
            raise refused(
                "locked-archive",
                f"{entry} in {self.name} is locked with a password.",
                "Export it again without one.",
                self.name,
            )
        burst = found.file_size > _SMALL and found.file_size > _RATIO * found.compress_size
        if found.file_size > most or burst:
            raise _bomb(self.name, f"{entry} unpacks to {_mb(found.file_size)}")
        data = bytearray()
        try:
            with self._package.open(found) as file:
                while chunk := file.read(_CHUNK):
                    data += chunk
                    if len(data) > most:
                        raise _bomb(self.name, f"{entry} unpacks to over {_mb(most)}")
        except _BROKEN:
            raise _broken(self.name, f"{entry} in it cannot be unpacked") from None
        return bytes(data)


@contextmanager
def looked_over(source: Path | IO[bytes], name: str) -> Iterator[Archive]:
    """The zip file, if it is one that may be opened; BadInputError where not."""
    try:
        size = source.stat().st_size if isinstance(source, Path) else source.seek(0, 2)
        package = zipfile.ZipFile(source)
    except FileNotFoundError:
        raise refused("missing-file", "There is no such file.", "Look at its name.", name) from None
    except OSError as fault:
        if fault.strerror is None:
            raise _broken(name, "it is no zip file, or only part of one") from None
        raise UnableError(
            f"{name} cannot be read: {fault.strerror}.", "See that it may be read."
        ) from None
    except _BROKEN:
        raise _broken(name, "it is no zip file, or only part of one") from None
    with package:
        _look_over(package, name, size)
        yield Archive(package, name)


def _look_over(package: zipfile.ZipFile, name: str, size: int) -> None:
    entries = package.infolist()
    if len(entries) > MOST_FILES:
        raise _bomb(name, f"it holds {len(entries)} files")
    unpacked = sum(entry.file_size for entry in entries)
    packed = sum(entry.compress_size for entry in entries)
    if unpacked > MOST_UNPACKED or (unpacked > 50 * _SMALL and unpacked > _RATIO * size):
        raise _bomb(name, f"it unpacks to {_mb(unpacked)}")
    if packed > size:
        raise _bomb(name, "its files lie over one another")
    seen: set[str] = set()
    for entry in entries:
        shown = entry.filename[:80]
        if _ABSOLUTE.match(entry.filename) or ".." in re.split(r"[\\/]", entry.filename):
            raise refused(
                "path-out-of-archive",
                f"{name} holds a file that names a place outside of it: {shown!r}.",
                "No drawing program writes that. Ask where the file is from; export it again.",
                name,
            )
        if entry.filename in seen:
            raise _broken(name, f"it holds {shown!r} twice")
        seen.add(entry.filename)
        if entry.compress_type not in _METHODS:
            raise _broken(name, f"{shown!r} in it is packed in a way these files may not be")


def refused(code: str, says: str, remedy: str, file: str) -> BadInputError:
    """One reason why a file is not read."""
    return BadInputError([Problem(code, says, remedy, file=file)])


def _bomb(name: str, how: str) -> BadInputError:
    return refused(
        "zip-bomb",
        f"{name} is not opened: {how}, more than any rig has.",
        "Ask where the file is from; export it again without models and pictures.",
        name,
    )


def _broken(name: str, how: str) -> BadInputError:
    return refused("broken-archive", f"{name} cannot be read: {how}.", "Export it again.", name)


def _mb(size: int) -> str:
    return f"{size / 1_000_000:,.0f} MB"
