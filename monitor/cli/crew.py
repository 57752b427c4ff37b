"""`dryspell log` and `dryspell answer`: what the crew did, and what it says to an alert.

Both write to the show's database while the service runs; it takes them up at its next look.
"""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING, get_args

import click

from monitor.cli.surroundings import DATABASE, environ, now, read, show_option, site_time
from monitor.cli.writing import tell
from monitor.domain import EntryKind, InspectionResult
from monitor.service.crew_word import Answer, keep_answer, keep_log, target_of
from monitor.service.entries import Said, entries_of
from monitor.store.database import open_database

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.domain import Show
    from monitor.service.crew_word import Kept


@click.command()
@click.argument("entry", type=click.Choice(get_args(EntryKind)), metavar="ENTRY")
@click.option("--position", metavar="ID", help="Everything at this position.")
@click.option("--fixture", metavar="ID", help="This row of fixtures.csv.")
@click.option("--alert", metavar="ID", help="What this alert is about.")
@click.option("--at", metavar="TIME", help="When; site time, or with offset. Without it: now.")
@click.option("--count", metavar="N", help='Only a part is done: "3 of 15".')
@click.option("--to", metavar="ID", help="For moved: the position it hangs at now.")
@click.option(
    "--result", type=click.Choice(get_args(InspectionResult)), help="For inspected: what was found."
)
@click.option("--by", metavar="NAME", help="Who did it.")
@click.option("--note", metavar="TEXT", help="Anything else to keep.")
@show_option
def log(
    entry: EntryKind,
    position: str | None,
    fixture: str | None,
    alert: str | None,
    at: str | None,
    count: str | None,
    to: str | None,
    result: InspectionResult | None,
    by: str | None,
    note: str | None,
    folder: Path,
) -> int:
    """Record what the crew did, at the time it happened; late is better than not at all.

    ENTRY is put-out, covered, uncovered, brought-in, inspected, cleaned, isolated, energised,
    capped, uncapped, moved or wet. TIME is like 2027-07-16T08:00.
    """
    show = read(folder).show
    said = Said(entry, position, fixture, alert, at, count, to, result, by, note)
    received_at = now()
    if not (folder / DATABASE).exists():
        # What is refused makes no database.
        entries_of(said, show, {}, received_at, _spelt)
    with closing(open_database(folder / DATABASE)) as db:
        kept = keep_log(db, said, show, received_at, _spelt)
    tell(_recorded(kept, show))
    return 0


@click.command()
@click.argument("alert", metavar="ALERT")
@click.argument(
    "answer", metavar="ANSWER", type=click.Choice(["doing", "done", "cannot", "not-needed"])
)
@show_option
def answer(alert: str, answer: Answer, folder: Path) -> int:
    """Answer an alert: doing, done, cannot or not-needed.

    done records in the log that its work was done now, for all that it names. The others are
    kept with the time and the name of this account; they change nothing that is computed.
    """
    show = read(folder).show
    at = now()
    by = environ().get("LOGNAME") or environ().get("USER")
    if not (folder / DATABASE).exists():
        target_of(alert, {}, _spelt("alert"))
    with closing(open_database(folder / DATABASE)) as db:
        kept = keep_answer(db, alert, answer, by, show, at, _spelt)
    tell([f"Alert {alert}: {answer}, {site_time(at, show)} site time.", *_follows(answer)])
    tell(_recorded(kept, show))
    return 0


def _spelt(name: str) -> str:
    """A name as it is written on this command line."""
    return name.upper() if name == "answer" else f"--{name}"


def _recorded(kept: Kept, show: Show) -> list[str]:
    lines = []
    for entry in kept.entries:
        what = f"position {entry.position}" if entry.fixture is None else f"fixture {entry.fixture}"
        part = f", {entry.count[0]} of {entry.count[1]}" if entry.count is not None else ""
        lines.append(f"Logged: {what} {entry.entry}{part}, {site_time(entry.at, show)} site time.")
    return [*lines, *kept.notes]


def _follows(answer: Answer) -> list[str]:
    """What an answer does, said plainly."""
    if answer == "done":
        return []
    return ["It is kept. Nothing counts as covered or brought in until that is logged."]
