"""A small sound show folder, and what reading a changed one of it comes to."""

from __future__ import annotations

import shutil
from pathlib import Path

from monitor.domain import BadInputError
from monitor.show import read_show

SAMPLES = Path(__file__).parent.parent / "samples" / "show"
ENVIRON = {"MAIL_PASSWORD": "correct-horse-battery"}


def small(folder: Path) -> Path:
    """A copy of the small show in `folder`."""
    return Path(shutil.copytree(SAMPLES / "small", folder / "show"))


def changed(folder: Path, file: str, old: str, new: str) -> Path:
    """The small show with one text of one file changed."""
    show = small(folder)
    change(show, file, old, new)
    return show


def change(show: Path, file: str, old: str, new: str) -> None:
    text = (show / file).read_text(encoding="utf-8")
    assert text.count(old) >= 1, f"{old!r} is not in {file}"
    (show / file).write_text(text.replace(old, new, 1), encoding="utf-8")


def problems(show: Path, environ=None):
    """The problems of a show, none where it reads."""
    try:
        read_show(show, ENVIRON if environ is None else environ)
    except BadInputError as fault:
        return fault.problems
    return ()


def notes(show: Path, environ=None):
    return read_show(show, ENVIRON if environ is None else environ).notes
