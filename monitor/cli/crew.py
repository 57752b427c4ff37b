"""`dryspell log` and `dryspell answer`: what the crew did, and what it says to an alert.

Both write to the show's database while the service runs; it takes them up at its next look.
"""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Literal, get_args

import click

from monitor.cli.entries import Said, entries_of
from monitor.cli.surroundings import DATABASE, environ, now, read, show_option, site_time
from monitor.cli.writing import tell
from monitor.domain import BadInputError, EntryKind, InspectionResult, Problem
from monitor.show.nearest import suggestion
from monitor.store.database import immediate, open_database
from monitor.store.history import alert_changes, recall, record_log, remember
from monitor.units import iso_utc

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Alert, LogEntry, Show

_ENTRY_OF: dict[str, EntryKind] = {
    "cover": "covered",
    "bring-in": "brought-in",
    "isolate": "isolated",
    "uncover": "uncovered",
    "clean": "cleaned",
}
_AHEAD_S = 60.0
"""Further ahead than this, a time is worth a word [s]."""

Answer = Literal["doing", "done", "cannot", "not-needed"]


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
    entries = entries_of(said, show, _alerts(folder), received_at)
    db = open_database(folder / DATABASE)
    try:
        _record(db, entries, received_at)
    finally:
        db.close()
    tell(_recorded(entries, show))
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
    alerts = _alerts(folder)
    target = _target(alert, alerts)
    entries: tuple[LogEntry, ...] = ()
    if answer == "done":
        entries = entries_of(Said(_entry_of(target), alert=alert, by=by), show, alerts, at)
    db = open_database(folder / DATABASE)
    try:
        with immediate(db):
            _record(db, entries, at)
            _keep_answer(db, alert, {"answer": answer, "at": iso_utc(at), "by": by})
    finally:
        db.close()
    tell([f"Alert {alert}: {answer}, {site_time(at, show)} site time.", *_follows(answer)])
    tell(_recorded(entries, show))
    return 0


def _alerts(folder: Path) -> dict[str, Alert]:
    """Every alert there has been, as it last stood. Looking makes no database."""
    if not (folder / DATABASE).exists():
        return {}
    db = open_database(folder / DATABASE)
    try:
        return {change.alert.id: change.alert for change in alert_changes(db)}
    finally:
        db.close()


def _keep_answer(db: Database, alert: str, latest: dict[str, str | None]) -> None:
    """Under `answer/<alert>`: the latest answer, with the ones before it."""
    key = f"answer/{alert}"
    before = recall(db, key)
    earlier = [*before.pop("earlier", []), before] if isinstance(before, dict) else []
    remember(db, key, {**latest, "earlier": earlier})


def _record(db: Database, entries: tuple[LogEntry, ...], received_at: datetime) -> None:
    """All of them or none."""
    with immediate(db):
        for entry in entries:
            record_log(db, entry, uuid.uuid4().hex, received_at)


def _recorded(entries: tuple[LogEntry, ...], show: Show) -> list[str]:
    lines = []
    for entry in entries:
        what = f"position {entry.position}" if entry.fixture is None else f"fixture {entry.fixture}"
        part = f", {entry.count[0]} of {entry.count[1]}" if entry.count is not None else ""
        lines.append(f"Logged: {what} {entry.entry}{part}, {site_time(entry.at, show)} site time.")
        if entry.entry == "covered":
            lines += _cover_notes(entry, show)
    if entries and (entries[0].at - now()).total_seconds() > _AHEAD_S:
        lines.append("That time is still to come: it counts from then on.")
    return lines


def _cover_notes(entry: LogEntry, show: Show) -> list[str]:
    """What keeps a logged cover from counting."""
    if entry.count is not None and entry.count[0] < entry.count[1]:
        return ["Until all of it is covered it counts as uncovered."]
    here = [f for f in show.fixtures if entry.fixture == f.id or entry.position == f.position]
    bare = [f.id for f in here if f.cover is None]
    if not bare:
        return []
    named = ", ".join(bare[:5]) + (", ..." if len(bare) > 5 else "")
    return [f"fixtures.csv names no cover for {named}: counted as uncovered."]


def _target(alert_id: str, alerts: dict[str, Alert]) -> Alert:
    if alert_id in alerts:
        return alerts[alert_id]
    remedy = suggestion(alert_id, alerts) if alerts else "None has been raised yet."
    raise BadInputError(
        [Problem("unknown-alert", f"Alert {alert_id} is not known here.", remedy, key="ALERT")]
    )


def _entry_of(alert: Alert) -> EntryKind:
    """The log entry that an alert's work ends with."""
    if alert.action in _ENTRY_OF:
        return _ENTRY_OF[alert.action]
    if alert.action == "inspect":
        says, remedy = (
            "An inspection needs its result.",
            f"Use: dryspell log inspected --alert {alert.id} --result RESULT.",
        )
    else:
        says, remedy = (
            f"Alert {alert.id} is about {alert.kind}; it asks for no work that could be done.",
            "Answer doing, cannot or not-needed.",
        )
    raise BadInputError([Problem("no-entry", says, remedy, key="ANSWER")])


def _follows(answer: Answer) -> list[str]:
    """What an answer does, said plainly."""
    if answer == "done":
        return []
    return ["It is kept. Nothing counts as covered or brought in until that is logged."]
