"""`dryspell log` and `dryspell answer`: what the crew did, and what it says to an alert.

Both write to the show's database while the service runs; it takes them up at its next look.
"""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING, get_args

import click

from monitor.cli.surroundings import DATABASE, environ, now, read, show_option, site_time
from monitor.cli.writing import tell
from monitor.domain import AnswerKind, CannotBecause, EntryKind, InspectionResult
from monitor.service.answering import AnswerSaid, keep_answer, target_of
from monitor.service.crew_word import keep_log
from monitor.service.entries import READINGS, Said, entries_of
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
@click.option("--earth", metavar="OHM", help="For inspected: earth continuity as tested.")
@click.option("--insulation", metavar="MEGOHM", help="For inspected: insulation as tested.")
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
    earth: str | None,
    insulation: str | None,
    by: str | None,
    note: str | None,
    folder: Path,
) -> int:
    """Record what the crew did, at the time it happened; late is better than not at all.

    ENTRY is put-out, covered, uncovered, brought-in, inspected, cleaned, isolated, energised,
    capped, uncapped, moved or wet. TIME is like 2027-07-16T08:00.
    """
    show = read(folder).show
    said = Said(
        entry, position, fixture, alert, at, count, to, result, by, note, earth, insulation
    )
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
@click.argument("answer", metavar="ANSWER", type=click.Choice(get_args(AnswerKind)))
@click.option(
    "--because",
    metavar="REASON",
    type=click.Choice(get_args(CannotBecause)),
    help="For cannot: no-lift, too-windy, act-on-stage, no-cover or other.",
)
@click.option(
    "--until", metavar="TIME", help="For cannot: until when; 23:30 is the next one. Site time."
)
@click.option("--by", metavar="NAME", help="Who answers. Without it: this account.")
@click.option("--note", metavar="TEXT", help="Anything else to keep.")
@show_option
def answer(
    alert: str,
    answer: AnswerKind,
    because: CannotBecause | None,
    until: str | None,
    by: str | None,
    note: str | None,
    folder: Path,
) -> int:
    """Answer an alert: doing, done, cannot or not-needed.

    done records in the log that its work was done now, for all that it names. On cannot the
    crew's evening is planned anew at once, and the next turn of contacts is told. The others
    are kept, and those who wait for an answer hear no more of it.
    """
    show = read(folder).show
    at = now()
    account = environ().get("LOGNAME") or environ().get("USER")
    said = AnswerSaid(alert, answer, because, until, by or account, note)
    if not (folder / DATABASE).exists():
        target_of(alert, {}, _spelt("alert"))
    with closing(open_database(folder / DATABASE)) as db:
        kept = keep_answer(db, said, show, at, _spelt)
    tell([f"Alert {alert}: {answer}, {site_time(at, show)} site time."])
    tell(_recorded(kept, show))
    tell(_follows(answer))
    return 0


def _spelt(name: str) -> str:
    """A name as it is written on this command line."""
    if name in READINGS:
        return f"--{name.partition('_')[0]}"
    return name.upper() if name == "answer" else f"--{name}"


def _recorded(kept: Kept, show: Show) -> list[str]:
    lines = []
    for entry in kept.entries:
        what = f"position {entry.position}" if entry.fixture is None else f"fixture {entry.fixture}"
        part = f", {entry.count[0]} of {entry.count[1]}" if entry.count is not None else ""
        lines.append(f"Logged: {what} {entry.entry}{part}, {site_time(entry.at, show)} site time.")
    return [*lines, *kept.notes]


def _follows(answer: AnswerKind) -> list[str]:
    """What an answer does, said plainly."""
    if answer == "done":
        return []
    kept = "It is kept. Nothing counts as covered or brought in until that is logged."
    return [kept, "It is planned anew at once."] if answer == "cannot" else [kept]
