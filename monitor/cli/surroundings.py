"""The clock, the environment and the folder of the show: read here and nowhere else."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from monitor.domain import BadInputError, Problem, UnableError
from monitor.show import read_show, secret
from monitor.show.clock import ClockError, moment

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from monitor.domain import Show
    from monitor.show import ShowFolder

Command = TypeVar("Command", bound="Callable[..., Any]")

DATABASE = "dryspell.db"
SHOW_FILE = "show.toml"


def now() -> datetime:
    """The moment it is, in UTC."""
    return datetime.now(tz=UTC)


def environ() -> Mapping[str, str]:
    """The environment as it is now."""
    return dict(os.environ)


def show_option(command: Command) -> Command:
    """`--show DIR`, else DRYSPELL_SHOW, else the current folder; given as `folder`."""
    return click.option(
        "--show",
        "folder",
        metavar="DIR",
        envvar="DRYSPELL_SHOW",
        default=".",
        type=click.Path(path_type=Path),
        help="Folder of the show. Without it: DRYSPELL_SHOW, else the current folder.",
    )(command)


def json_option(command: Command) -> Command:
    """`--json FILE`, given as `json_file`."""
    return click.option(
        "--json",
        "json_file",
        metavar="FILE",
        help="Also write the result as JSON; - writes it to standard output, and nothing else.",
    )(command)


def read(folder: Path) -> ShowFolder:
    """The show of a folder, or BadInputError with every problem."""
    return read_show(folder, environ())


def secret_of(folder: Path) -> Callable[[str], str]:
    """Reads a secret reference of the show in `folder` at the moment it is needed."""
    return lambda reference: secret(reference, environ(), folder)


def site_time(moment: datetime, show: Show) -> str:
    """A moment on the site's clock: "Thu 15 July 13:00"."""
    local = moment.astimezone(show.site.timezone)
    return f"{local:%a} {local.day} {local:%B %H:%M}"


def moment_of(text: str | None, option: str, show: Show) -> datetime | None:
    """The moment an option gives, in site time or with an offset; None where it is not given."""
    if text is None:
        return None
    try:
        return moment(text, show.site.timezone)
    except ClockError as fault:
        raise BadInputError([Problem(fault.code, fault.says, fault.remedy, key=option)]) from None


def bytes_of(path: Path, what: str) -> bytes:
    """A file the user named; `what` it should be, for the message where it is not there."""
    try:
        return path.read_bytes()
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
        raise BadInputError(
            [Problem("missing-file", "There is no such file.", f"Give {what}.", file=str(path))]
        ) from None
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"{path} cannot be read: {why}.", "See that this account may read it."
        ) from None


def refuse_show_folder(out: Path, option: str) -> None:
    """Keep a report out of a show's own folder, whose fixtures.csv it would write over."""
    if (out / SHOW_FILE).exists():
        raise BadInputError(
            [
                Problem(
                    "folder-taken",
                    f"{out} is the folder of a show, whose own files a report would write over.",
                    f"Give a folder for the report alone, such as {out / 'report'}.",
                    key=option,
                )
            ]
        )
