"""`dryspell answer`: what the crew says to an alert.

It writes to the show's database while the service runs, which takes it up at its next look.
"""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING, get_args

import click

from monitor.cli.logged import recorded, spelt
from monitor.cli.surroundings import DATABASE, environ, now, read, show_option, site_time
from monitor.cli.writing import tell
from monitor.domain import AnswerKind, CannotBecause
from monitor.service.answering import AnswerSaid, keep_answer, target_of
from monitor.store.database import open_database

if TYPE_CHECKING:
    from pathlib import Path


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
        target_of(alert, {}, spelt("alert"))
    with closing(open_database(folder / DATABASE)) as db:
        kept = keep_answer(db, said, show, at, spelt)
    tell([f"Alert {alert}: {answer}, {site_time(at, show)} site time."])
    tell(recorded(kept, show))
    tell(_follows(answer))
    return 0


def _follows(answer: AnswerKind) -> list[str]:
    """What an answer does, said plainly."""
    if answer == "done":
        return []
    kept = "It is kept. Nothing counts as covered or brought in until that is logged."
    return [kept, "It is planned anew at once."] if answer == "cannot" else [kept]
