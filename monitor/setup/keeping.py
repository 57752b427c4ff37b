"""Files of the show folder put in place of the old: looked through first, all or none, by name.

The change is kept in the history in the same transaction; a file that cannot be written takes
that back. Who has the old files in hand is refused, so that nobody's change is lost.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem, SetUp, UnableError
from monitor.show import ShowFolder
from monitor.store.database import immediate
from monitor.store.set_up import record_set_up

if TYPE_CHECKING:
    from sqlite_utils import Database

SHOW_FIRST = ("show.toml", "fixtures.csv")
"""Rows name positions: the file that has them is written first."""

CHANGED_MEANWHILE = Problem(
    "changed-meanwhile",
    "The show folder was changed by somebody else while this was open.",
    "What you typed still stands here: look whether it still fits, and keep it again.",
)


def keep(
    db: Database,
    read: Callable[[], ShowFolder],
    as_if: Callable[[Mapping[str, bytes]], ShowFolder],
    files: Mapping[str, bytes],
    base: str,
    change: Callable[[str], SetUp],
) -> ShowFolder:
    """Write files of the show folder; BadInputError where it would not be sound with them.

    Parameters
    ----------
    read : the folder as it stands
    as_if : the folder as it would be with other files
    files : name -> new bytes
    base : revision of the folder that the change was made on
    change : what to keep of it in the history, of the new revision

    Returns
    -------
    the folder as it stands now
    """
    with immediate(db):
        before = read()
        if before.show.revision != base:
            raise BadInputError([CHANGED_MEANWHILE])
        after = as_if({**before.files, **files})
        if after.show.revision == base:
            return before
        record_set_up(db, change(after.show.revision))
        _write(before.path, files)
    return after


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    """Every new file beside the old one first, then each in its place."""
    ready: list[tuple[Path, Path]] = []
    name = ""
    try:
        for name in sorted(files, key=_turn):
            place = (folder / name).resolve()
            beside = place.with_name(f".{place.name}.new")
            with beside.open("wb") as file:
                file.write(files[name])
                file.flush()
                os.fsync(file.fileno())
            ready.append((beside, place))
            if place.exists():
                shutil.copymode(place, beside)
        for beside, place in ready:
            name = place.name
            beside.replace(place)
    except OSError as fault:
        for beside, _ in ready:
            beside.unlink(missing_ok=True)
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"{name} could not be written: {why}.",
            "See that the account of the monitor may write the show folder, and that the disk "
            "has room. Nothing was changed.",
        ) from None


def _turn(name: str) -> int:
    return SHOW_FIRST.index(name) if name in SHOW_FIRST else len(SHOW_FIRST)


def difference(before: Mapping[str, object] | None, after: Mapping[str, object]) -> str:
    """What changed of a table of the file: `height_m 7.5 to 8; roof stage`; empty where none."""
    old = before or {}
    said = [
        f"{key} {_short(old[key])} to {_short(value)}"
        if key in old
        else f"{key} {_short(value)}"
        for key, value in after.items()
        if value is not None and old.get(key) != value
    ]
    said += [f"{key} taken out" for key, value in after.items() if value is None and key in old]
    return "; ".join(said)


def _short(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_short(one)}" for key, one in value.items())
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
