"""A warning at its line of show.toml."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from monitor.domain import Problem
from monitor.show.findings import SHOW_FILE, dotted
from monitor.toml_places import line_of, toml_places

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.toml_places import Path


class AtLine:
    """Makes warnings, each with the line of its key where the file can still be read.

    Parameters
    ----------
    files : what the show was read from
    """

    def __init__(self, files: Mapping[str, bytes]) -> None:
        text = files.get(SHOW_FILE, b"").decode("utf-8", "replace").removeprefix("\ufeff")
        try:
            tomllib.loads(text)
            self._places: Mapping[Path, int] = toml_places(text)
        except ValueError:
            self._places = {}

    def __call__(self, path: Path, code: str, says: str, remedy: str) -> Problem:
        """The warning of a key."""
        line = line_of(self._places, path)
        return Problem(
            code, says, remedy, file=SHOW_FILE, line=line, key=dotted(path), refused=False
        )
