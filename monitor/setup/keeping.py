"""Files of the show folder put in place of the old: looked through first, all or none, by name.

The change is kept in the history in the same transaction; a file that cannot be written takes
that back. Who has the old files in hand is refused, so that nobody's change is lost.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem, SetUp, UnableError
from monitor.show import ShowFolder
from monitor.store.database import immediate
from monitor.store.set_up import changes_between, record_set_up

if TYPE_CHECKING:
    from sqlite_utils import Database

    from monitor.domain import Show

SHOW_FIRST = ("show.toml", "fixtures.csv")
"""Rows name positions: the file that has them is written first."""

CHANGED = "changed-meanwhile"
"""Code of the problem that somebody else was faster"""


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
            raise BadInputError([_changed_meanwhile(db, base, before)])
        after = as_if({**before.files, **files})
        if after.show.revision == base:
            return before
        record_set_up(db, change(after.show.revision))
        _write(before, files)
    return after


def _changed_meanwhile(db: Database, base: str, now: ShowFolder) -> Problem:
    """Who was faster, and with what: it is not to be undone unseen."""
    show = now.show
    said = [
        f"{change.by} at {change.at.astimezone(show.site.timezone):%H:%M}: "
        f"{_place(show, change.position)}{change.says}"
        for change in changes_between(db, base, show.revision)
    ]
    who = "; ".join(said) or "by hand in its files"
    return Problem(
        CHANGED,
        f"The show was changed while this was open: {who}.",
        "What you typed still stands here and is not kept. See that it takes none of that back, "
        "then keep it again.",
    )


def _place(show: Show, position: str | None) -> str:
    known = None if position is None else show.positions.get(position)
    return "" if known is None else f"{known.name}, "


def _write(before: ShowFolder, files: Mapping[str, bytes]) -> None:
    """Every new file beside the old one first, then each in its place; where that fails, those
    that are in their place already are put back.
    """
    folder = before.path
    ready: list[tuple[Path, Path]] = []
    placed: list[str] = []
    name = ""
    try:
        for name in sorted(files, key=_turn):
            place = (folder / name).resolve()
            beside = place.with_name(f".{place.name}.new")
            with beside.open("wb") as file:
                ready.append((beside, place))
                file.write(files[name])
                file.flush()
                os.fsync(file.fileno())
            if place.exists():
                shutil.copymode(place, beside)
        for name, (beside, place) in zip(sorted(files, key=_turn), ready, strict=True):
            beside.replace(place)
            placed.append(name)
    except OSError as fault:
        for beside, _ in ready:
            beside.unlink(missing_ok=True)
        for done in placed:
            (folder / done).write_bytes(before.files[done])
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
        f"{key} {_short(old[key])} to {_short(value)}" if key in old else f"{key} {_short(value)}"
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
