"""`dryspell handover` and `dryspell daily`: one page for the shift change, one for the morning."""

from __future__ import annotations

from contextlib import closing
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.alerts.words import one_line
from monitor.briefing.daily import daily_sheet
from monitor.briefing.handover import handover_sheet
from monitor.briefing.room import fitted
from monitor.briefing.written import as_page, as_screen
from monitor.cli.surroundings import DATABASE, environ, now, show_option, site_time
from monitor.cli.writing import tell, write_file
from monitor.domain import BadInputError, Problem, UnableError
from monitor.service.briefings import known_now
from monitor.service.watched import FolderWatch
from monitor.store.database import open_database
from monitor.store.handovers import Handover, record_handover

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.briefing.known import Known
    from monitor.briefing.sheet import Sheet

_LONGEST_NAME = 80


@click.command()
@click.option("--out", metavar="FILE", help="Also write the page, for A4, as HTML.")
@click.option("--print-text", is_flag=True, help="Print the sheet as text even with --out.")
@click.option("--given-by", metavar="NAME", help="Who hands over. Ticks, with --taken-by.")
@click.option("--taken-by", metavar="NAME", help="Who takes over. Ticks, with --given-by.")
@show_option
def handover(
    out: str | None, print_text: bool, given_by: str | None, taken_by: str | None, folder: Path
) -> int:
    """Write the handover sheet: what one shift must know from the other.

    With both names, record that both sides have ticked; the next sheet says so.
    """
    if given_by is not None or taken_by is not None:
        made = _both(given_by, taken_by)
        watch = FolderWatch(folder, environ())
        _there(folder)
        with closing(open_database(folder / DATABASE)) as db:
            record_handover(db, made)
        at = site_time(made.at, watch.current.show)
        tell([f"Handed over by {made.given_by} to {made.taken_by}, {at} site time: both ticked."])
        if out is None and not print_text:
            return 0
    return _written(folder, handover_sheet, out, print_text=print_text)


@click.command()
@click.option("--out", metavar="FILE", help="Also write the page, for A4, as HTML.")
@click.option("--print-text", is_flag=True, help="Print the sheet as text even with --out.")
@show_option
def daily(out: str | None, print_text: bool, folder: Path) -> int:
    """Write the daily sheet: the next 24 hours on one page, for the morning briefing."""
    return _written(folder, daily_sheet, out, print_text=print_text)


def _written(
    folder: Path, made: Callable[[Known, int], Sheet], out: str | None, *, print_text: bool
) -> int:
    watch = FolderWatch(folder, environ())
    _there(folder)
    with closing(open_database(folder / DATABASE)) as db:
        known = known_now(db, watch, now())
    if out is not None:
        write_file(as_page(fitted(partial(made, known))).encode("utf-8", "replace"), out)
        tell([f"Wrote {out}"])
    if out is None or print_text:
        click.echo(as_screen(made(known, 0)))
    return 0


def _there(folder: Path) -> None:
    if not (folder / DATABASE).exists():
        raise UnableError(
            f"There is no {DATABASE} in {folder}: nothing has been watched or logged there yet.",
            "Start the watch with dryspell run, or give the folder of a show that is watched.",
        )


def _both(given_by: str | None, taken_by: str | None) -> Handover:
    """Both names, or BadInputError: one side alone hands nothing over."""
    problems = []
    names = {"--given-by": one_line(given_by or ""), "--taken-by": one_line(taken_by or "")}
    for option, name in names.items():
        if not name:
            says, remedy = "One side alone does not hand over.", f"Give {option} NAME too."
            problems.append(Problem("missing-name", says, remedy, key=option))
        elif len(name) > _LONGEST_NAME:
            says = f"The name has {len(name)} letters."
            remedy = f"Give one of at most {_LONGEST_NAME}."
            problems.append(Problem("long-name", says, remedy, key=option))
    if problems:
        raise BadInputError(problems)
    return Handover(now(), names["--given-by"], names["--taken-by"])
