"""The bundled festival, end to end: rehearsed twice, told, delivered, stored and reported."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from importlib.resources.abc import Traversable
from pathlib import Path

from sqlite_utils import Database

from monitor.alerts import delivery
from monitor.alerts.watch import NOBODY_TOLD, on_watch
from monitor.builtin import builtin
from monitor.domain import BadInputError, LogEntry, Problem, Show, UnableError
from monitor.feeds.record import read_record
from monitor.rehearsal import Rehearsal, rehearse
from monitor.report import material_from, write_report
from monitor.service.telling import send, tell
from monitor.show import ShowFolder, read_show
from monitor.store import history, runs
from monitor.store.chain import ChainReport, verify
from monitor.store.database import immediate, open_database
from monitor.story import outcome_lines, timeline, weather_lines, wrapped
from monitor.units import to_moment

_MOST_LINES = 34
_MARK = ".dryspell-demo"
"""Names a folder as the demo's own, so that playing it again may clear it."""


def run_demo(
    out: Path,
    environ: Mapping[str, str],
    echo: Callable[[str], object],
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Play the festival into a folder; tell it on the screen.

    Parameters
    ----------
    out : folder to write; one that the demo did not make is left alone
    environ : variables that override the show folder
    echo : prints a line
    progress : called with (done, in all)
    """
    _make_room(out)
    folder = _copy_show(out / "show", environ)
    show = folder.show
    weather = read_record((out / "show" / "weather.csv").read_bytes(), "weather.csv")

    def half(offset: int) -> Callable[[int, int], None] | None:
        if progress is None:
            return None
        report_progress = progress
        return lambda done, total: report_progress(done + offset * total, 2 * total)

    alone = rehearse(show, weather, crew="absent", progress=half(0))
    helped = rehearse(show, weather, crew="follows", progress=half(1))
    with open_database(out / "show" / "dryspell.db") as db:
        sent = _tell(db, folder, helped)
        chain = verify(db)
        report = out / "report"
        begin, end = to_moment(weather.starts[0]), to_moment(weather.ends[-1])
        write_report(report, material_from(db, folder, end, begin, end))
    for line in _screen(alone, helped, sent, chain, out):
        echo(line)
    return 0


def _make_room(out: Path) -> None:
    if out.exists():
        if not (out / _MARK).exists():
            raise BadInputError(
                [
                    Problem(
                        "folder-in-use",
                        f"{out} is there already and is not the demo's.",
                        "Move it away, or run the demo in another folder.",
                        file=str(out),
                    )
                ]
            )
        shutil.rmtree(out)
    try:
        out.mkdir(parents=True)
        (out / _MARK).write_text("Written by dryspell demo; played again, it is cleared.\n")
    except OSError as fault:
        why = fault.strerror or type(fault).__name__
        raise UnableError(
            f"The folder {out} cannot be written: {why}.", "Run the demo where you may write."
        ) from None


def _copy_show(to: Path, environ: Mapping[str, str]) -> ShowFolder:
    to.mkdir()

    def copy(files: Traversable, target: Path) -> None:
        for item in files.iterdir():
            if item.is_file():
                (target / item.name).write_bytes(item.read_bytes())

    copy(builtin("demo"), to)
    plain = {k: v for k, v in environ.items() if not k.startswith("DRYSPELL_")}
    return read_show(to, plain)


def _tell(db: Database, folder: ShowFolder, played: Rehearsal) -> int:
    """Store what was received, logged and told, and lay the messages in their folder."""
    show, weather = folder.show, played.weather
    start = to_moment(weather.starts[0])
    with immediate(db):
        history.record_revision(db, folder.files, show.revision, start, start)
        runs.record_weather(db, weather, None, start)
        first = on_watch(
            show,
            at=start,
            next_word_at=start + timedelta(hours=1),
            sources=("the festival's own weather record: what comes is known",),
            contacts=show.contacts,
        )
        send(db, show, first, start, start + timedelta(hours=6))
    sent = _deliver(db, show, start)
    log = list(played.log)
    for change in played.changes:
        at = change.alert.at
        with immediate(db):
            while log and log[0].at <= at:
                _log(db, log.pop(0))
            tell(db, show, change.alert, change.reason, at)
        sent += _deliver(db, show, at)
    with immediate(db):
        for entry in log:
            _log(db, entry)
    return sent


def _log(db: Database, entry: LogEntry) -> None:
    key = f"simulated/{entry.at:%Y%m%dT%H%M%S}/{entry.entry}/{entry.fixture or entry.position}"
    history.record_log(db, entry, key, entry.at)


def _deliver(db: Database, show: Show, at: datetime) -> int:
    """Send what is due at a moment of the festival; the clock stands still meanwhile."""
    contacts = {contact.name: contact for contact in show.contacts}
    sent = 0
    while (settled := delivery.deliver_one(db, contacts, lambda: at, str, lambda: 0.0)) is not None:
        sent += settled.result == "sent"
        if settled.result != "sent":
            break
    return sent


def _screen(
    alone: Rehearsal, helped: Rehearsal, sent: int, chain: ChainReport, out: Path
) -> list[str]:
    """The story on one screen."""
    show = helped.show
    return [
        (
            f"{show.site.name}: {len(show.fixtures)} fixtures and parts at "
            f"{len(show.positions)} positions"
        ),
        *weather_lines(show, helped.weather),
        "",
        "What the crew was told, and when (work ahead left out):",
        *timeline(
            show,
            [
                c
                for c in helped.changes
                if c.alert.stage in ("start", "overdue", "stop")
                or (c.alert.stage == "stood-down" and c.alert.kind == "stop")
            ],
            _MOST_LINES,
        ),
        "",
        "Had nobody acted:",
        *(f"  {line}" for line in outcome_lines(alone)),
        "With the crew following each start:",
        *(f"  {line}" for line in outcome_lines(helped)),
        *wrapped(f"  {_cost(helped)}", "  "),
        "",
        *wrapped(NOBODY_TOLD),
        *wrapped(
            f"{sent} messages are in {out}/show/messages, the database beside them: its chain of "
            f"{chain.rows} entries {'is whole' if chain.ok else 'IS BROKEN: ' + chain.says}. Open "
            f"{out}/report/report.html in a browser."
        ),
        "",
        *wrapped(
            "All of it invented. Estimates, not measurements: the competent person on site "
            "decides; isolate before you touch wet gear; nobody goes up in thunder or over a "
            "wind limit. This program does not detect lightning."
        ),
    ]


def _cost(helped: Rehearsal) -> str:
    """What the work came to."""
    started = {c.alert.id: c.alert for c in helped.changes if c.alert.stage == "start"}.values()
    minutes = sum(a.minutes or 0.0 for a in started)
    hands = sum((a.minutes or 0.0) * a.people for a in started)
    return (
        f"It took {len(started)} jobs: {minutes:.0f} minutes of a working party, {hands / 60:.1f} "
        "hours of people."
    )
