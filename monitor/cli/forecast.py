"""`dryspell ahead` and `dryspell run`: one look at the weather, and the watch itself."""

from __future__ import annotations

import sys
from contextlib import suppress
from typing import TYPE_CHECKING

import click

from monitor import service
from monitor.cli.exit_codes import ATTENTION, DONE
from monitor.cli.licence import settle_licences
from monitor.cli.surroundings import environ, json_option, now, read, show_option
from monitor.cli.writing import tell, write_json
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.domain import Feed
    from monitor.feeds.sheet_parts import Sheet

_SWITCH_S = 0.0005
"""How long one thread of the service may reckon while another waits to go on [s]"""


@click.command()
@show_option
@json_option
def ahead(folder: Path, json_file: str | None) -> int:
    """Fetch the weather now; say what must be done, and by when."""
    settle_licences(folder, _sheets_of(folder))
    found = service.look_ahead(folder, environ(), clock=now)
    write_json(found.json, json_file)
    tell(found.lines, json_file)
    return ATTENTION if found.attention else DONE


@click.command()
@show_option
def run(folder: Path) -> int:
    """Watch the weather and tell the crew, until stopped (Ctrl-C, or a polite kill)."""
    settle_licences(folder, _sheets_of(folder))
    # A page lets go of the interpreter at every look into the database, and while an evaluation
    # reckons gets it back only after this long: at the usual 5 ms a page of sixty looks takes
    # a third of a second.
    sys.setswitchinterval(_SWITCH_S)
    # The server's libraries are loaded for this command alone.
    from monitor.web.listening import listening  # noqa: PLC0415

    service.serve(
        folder,
        environ(),
        clock=now,
        say=_say,
        beside=lambda cycle: listening(cycle.watch, now, lambda: cycle.seen),
    )
    return DONE


def _sheets_of(folder: Path) -> list[tuple[Sheet, Feed]]:
    """The sheet of every feed of the show that asks a server."""
    feeds = read(folder).show.feeds
    return [(find_sheet(feed.sheet, folder), feed) for feed in feeds if feed.sheet != RECORD]


def _say(line: str) -> None:
    """Print a line of the service; a terminal that is gone, or a full log, must not end it."""
    with suppress(OSError):
        click.echo(line)
