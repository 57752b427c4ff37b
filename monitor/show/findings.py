"""What is wrong with a settings file, gathered with the place of each fault."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.domain import Problem
from monitor.toml_places import Path, line_of

if TYPE_CHECKING:
    from collections.abc import Mapping

SHOW_FILE = "show.toml"

_ITEMS = {
    "roofs": "roof",
    "positions": "position",
    "covers": "cover",
    "feeds": "feed",
    "contacts": "contact",
    "washdowns": "washdown",
}


class Findings:
    """Problems of show.toml and of the variables that override it.

    Parameters
    ----------
    document : the file as parsed
    places : line of every key of it
    overridden : variable by the (section, key) that it sets
    """

    def __init__(
        self,
        document: Mapping[str, object],
        places: Mapping[Path, int],
        overridden: Mapping[tuple[str, str], str],
    ) -> None:
        self._document = document
        self._places = places
        self._overridden = overridden
        self.problems: list[Problem] = []
        self.notes: list[Problem] = []

    def refuse(self, path: Path, code: str, says: str, remedy: str) -> None:
        """Something that cannot stand."""
        self.problems.append(self._problem(path, code, says, remedy, refused=True))

    def tell(self, path: Path, code: str, says: str, remedy: str) -> None:
        """Something to know, and no more."""
        self.notes.append(self._problem(path, code, says, remedy, refused=False))

    def line(self, path: Path) -> int | None:
        """The line of a key, or of what holds it."""
        return line_of(self._places, path)

    def value(self, path: Path) -> object:
        """What the file gives at `path`; None where it gives nothing."""
        here: object = self._document
        for step in path:
            if (isinstance(here, dict) and step in here) or (
                isinstance(here, list) and isinstance(step, int) and step < len(here)
            ):
                held: Any = here
                here = held[step]
            else:
                return None
        return here

    def owner(self, path: Path) -> str:
        """The section or item that holds a key: "[site]", "position tower-a"."""
        section = str(path[0]) if path else ""
        if len(path) > 1 and isinstance(path[1], int):
            word = _ITEMS.get(section, section)
            name_key = {"feeds": "sheet", "contacts": "name"}.get(section, "id")
            name = self.value((*path[:2], name_key))
            return f"{word} {name if isinstance(name, str) and name else path[1] + 1}"
        return f"[{section}]"

    def _problem(self, path: Path, code: str, says: str, remedy: str, *, refused: bool) -> Problem:
        variable = self._overridden.get((str(path[0]), str(path[1]))) if len(path) > 1 else None
        if variable is not None:
            return Problem(code, says, remedy, file="environment", key=variable, refused=refused)
        return Problem(
            code,
            says,
            remedy,
            file=SHOW_FILE,
            line=self.line(path),
            key=dotted(path) or None,
            refused=refused,
        )


def dotted(path: Path) -> str:
    """`positions[3].height_m`: items of a list are counted from 1."""
    said = ""
    for step in path:
        said += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if said else step
    return said
