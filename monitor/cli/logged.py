"""`dryspell log`: what the crew did, recorded, listed, corrected and withdrawn.

It writes to the show's database while the service runs, which takes it up at its next look.
"""

from __future__ import annotations

import textwrap
from contextlib import closing
from typing import TYPE_CHECKING, get_args

import click

from monitor.alerts.words import one_line
from monitor.cli.surroundings import DATABASE, now, read, show_option, site_time
from monitor.cli.writing import tell
from monitor.domain import BadInputError, EntryKind, InspectionResult, Problem
from monitor.service.crew_word import keep_log
from monitor.service.entries import READINGS, Said, entries_of
from monitor.service.log_book import Written, correct, withdraw, written
from monitor.show.nearest import suggestion
from monitor.store.database import open_database
from monitor.store.withdrawn import Withdrawal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime
    from pathlib import Path

    from monitor.domain import LogEntry, Show
    from monitor.service.crew_word import Kept

WIDTH = 79
MOST_LISTED = 20


@click.command()
@click.argument("entry", required=False, type=click.Choice(get_args(EntryKind)), metavar="ENTRY")
@click.option("--position", metavar="ID", help="Everything at this position.")
@click.option("--fixture", metavar="ID", help="This row of fixtures.csv.")
@click.option("--alert", metavar="ID", help="What this alert is about.")
@click.option(
    "--at", metavar="TIME", help="When; 23:30 is the last one. Site time. Without it: now."
)
@click.option("--count", metavar="N", help='Only a part is done: "3 of 15".')
@click.option("--to", metavar="ID", help="For moved: the position it hangs at now.")
@click.option(
    "--result", type=click.Choice(get_args(InspectionResult)), help="For inspected: what was found."
)
@click.option("--earth", metavar="OHM", help="For inspected: earth continuity as tested.")
@click.option("--insulation", metavar="MEGOHM", help="For inspected: insulation as tested.")
@click.option("--by", metavar="NAME", help="Who did it; with --withdraw, who withdraws it.")
@click.option("--note", metavar="TEXT", help="Anything else to keep.")
@click.option("--list", "listing", is_flag=True, help="List the last entries with their numbers.")
@click.option("--correct", "number", metavar="NUMBER", help="Put this in the place of that entry.")
@click.option(
    "--withdraw", "numbers", metavar="NUMBER", multiple=True, help="Take a wrong entry back."
)
@show_option
def log(
    entry: EntryKind | None,
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
    listing: bool,
    number: str | None,
    numbers: tuple[str, ...],
    folder: Path,
) -> int:
    """Record what the crew did, at the time it happened; late is better than not at all.

    ENTRY is put-out, covered, uncovered, brought-in, inspected, cleaned, isolated, energised,
    capped, uncapped, moved or wet. TIME is like 2027-07-16T08:00, or 23:30.

    A wrong entry is put right by its number, which --list shows: --correct 12 --at 20:10
    changes the time and leaves the rest; --withdraw 12 takes it back. Nothing is wiped out.
    """
    show, received_at = read(folder).show, now()
    given: dict[str, str | None] = {
        "entry": entry,
        "position": position,
        "fixture": fixture,
        "alert": alert,
        "at": at,
        "count": count,
        "to": to,
        "result": result,
        "by": by,
        "note": note,
        "earth_ohm": earth,
        "insulation_mohm": insulation,
    }
    _one_thing(given, listing=listing, number=number, numbers=numbers)
    path = folder / DATABASE
    if (listing or number or numbers) and not path.exists():
        if listing:
            tell(["Nothing is logged."])
            return 0
        says, remedy = "Nothing is logged yet.", "Give the folder of the show with --show."
        raise BadInputError([Problem("unknown-entry", says, remedy)])
    if listing:
        if position is not None and position not in show.positions:
            says = f"position {position[:40]} is not in the show."
            remedy = suggestion(position, show.positions)
            raise BadInputError([Problem("unknown-position", says, remedy, key="--position")])
        with closing(open_database(path)) as db:
            found = written(db, show, position)
        tell(_listed(found, show))
        return 0
    if numbers:
        with closing(open_database(path)) as db:
            taken = withdraw(db, numbers, Withdrawal(by, note), received_at, "--withdraw")
        tell(f"Withdrawn: {_in_words(one, show)}." for one in taken)
        tell(["It counts no more, and stays in the history. What it ended is judged anew."])
        return 0
    if number is not None:
        with closing(open_database(path)) as db:
            kept = correct(db, number, given, show, received_at, spelt)
        tell([f"Entry {number} is corrected. The old one stays in the history."])
        tell(recorded(kept, show))
        return 0
    assert entry is not None
    said = Said(entry, position, fixture, alert, at, count, to, result, by, note, earth, insulation)
    if not path.exists():
        # What is refused makes no database.
        entries_of(said, show, {}, received_at, spelt)
    with closing(open_database(path)) as db:
        kept = keep_log(db, said, show, received_at, spelt)
    tell(recorded(kept, show))
    return 0


def _one_thing(
    given: Mapping[str, str | None], *, listing: bool, number: str | None, numbers: tuple[str, ...]
) -> None:
    """Refuse what asks for two things at once, or for none."""
    asked = {"--list": listing, "--correct": number is not None, "--withdraw": bool(numbers)}
    chosen = [option for option, is_given in asked.items() if is_given]
    goes_with = {"--list": ("position",), "--withdraw": ("by", "note")}
    if len(chosen) > 1:
        says, remedy = f"{' and '.join(chosen)} are given together.", "Give one of them."
        raise BadInputError([Problem("one-at-a-time", says, remedy, key=chosen[0])])
    typed = [name for name, text in given.items() if text is not None]
    if not chosen:
        if given["entry"] is None:
            says = "What was done is not said."
            remedy = f"Give one of {', '.join(get_args(EntryKind))}; or --list."
            raise BadInputError([Problem("missing-value", says, remedy, key="ENTRY")])
        return
    option = chosen[0]
    extra = [name for name in typed if option in goes_with and name not in goes_with[option]]
    if extra:
        named = [spelt(name) for name in extra]
        says = f"{', '.join(named)} does not belong to {option}."
        remedy = f"Leave it out; with {option} goes "
        remedy += f"{' and '.join(spelt(name) for name in goes_with[option])}."
        raise BadInputError([Problem("not-for-option", says, remedy, key=named[0])])
    if option == "--correct" and not typed:
        says, remedy = "What was wrong is not said.", "Give what is right, such as --at 20:10."
        raise BadInputError([Problem("missing-value", says, remedy, key=option)])


def spelt(name: str) -> str:
    """A name as it is written on this command line."""
    if name in READINGS:
        return f"--{name.partition('_')[0]}"
    return name.upper() if name in ("answer", "entry") else f"--{name}"


def recorded(kept: Kept, show: Show) -> list[str]:
    """What was logged, and what there is to say of it."""
    return [*(f"Logged: {_in_words(one, show)}." for one in kept.entries), *kept.notes]


def _in_words(entry: LogEntry, show: Show) -> str:
    what = f"position {entry.position}" if entry.fixture is None else f"fixture {entry.fixture}"
    part = f", {entry.count[0]} of {entry.count[1]}" if entry.count is not None else ""
    return f"{what} {entry.entry}{part}, {site_time(entry.at, show)} site time"


# ---------------------------------------------------------------- the list


def _listed(found: tuple[Written, ...], show: Show) -> Iterator[str]:
    if not found:
        yield "Nothing is logged."
        return
    if len(found) > MOST_LISTED:
        yield f"The last {MOST_LISTED} of {len(found)} entries, as they came in."
    for one in found[-MOST_LISTED:]:
        line = f"{one.number:4d}  {_when(one.entry.at, show)}  {_what(one.entry)}"
        if one.corrected_by is not None:
            line += f"; corrected by {one.corrected_by}"
        elif one.withdrawn is not None and one.withdrawn_at is not None:
            line += f"; withdrawn {_when(one.withdrawn_at, show)}"
            line += f" by {one_line(one.withdrawn.by)}" if one.withdrawn.by else ""
            line += f", {one_line(one.withdrawn.note)}" if one.withdrawn.note else ""
        yield from textwrap.wrap(line, WIDTH, subsequent_indent=" " * 6)


def _when(moment: datetime, show: Show) -> str:
    local = moment.astimezone(show.site.timezone)
    return f"{local:%a} {local.day:2d} {local:%b %H:%M}"


def _what(entry: LogEntry) -> str:
    what = entry.fixture or entry.position or ""
    said = f"{entry.entry} {what}"
    said += f" to {entry.to}" if entry.to else ""
    said += f", {entry.count[0]} of {entry.count[1]}" if entry.count is not None else ""
    said += f", {entry.result}" if entry.result else ""
    said += f", earth {entry.earth_ohm:g} ohm" if entry.earth_ohm is not None else ""
    if entry.insulation_mohm is not None:
        said += f", insulation {entry.insulation_mohm:g} megohm"
    said += f", by {one_line(entry.by)}" if entry.by else ""
    return said + (f", {one_line(entry.note)}" if entry.note else "")
