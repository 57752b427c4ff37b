"""One look ahead: ask the weather now, and say what has to be done and by when."""

from __future__ import annotations

import random
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from monitor.alerts import wording
from monitor.alerts.answers import what_is_left
from monitor.alerts.losses import feed_state, weather_found
from monitor.alerts.watch import tells_nobody
from monitor.domain import Alert, BadInputError
from monitor.evaluation import evaluate
from monitor.planning.standing import key_of, standing
from monitor.service.ahead_lines import in_order, lines
from monitor.service.gauges import follow_files
from monitor.service.polling import Asking, poll_all, unanswered
from monitor.service.scheduling import DATABASE_NAME
from monitor.service.sky import Sky
from monitor.service.warned_polling import poll_warnings
from monitor.service.watch_state import watch_state
from monitor.service.watched import FolderWatch
from monitor.store.answers import answers
from monitor.store.database import open_database
from monitor.store.history import log_entries
from monitor.units import SECONDS_PER_HOUR, iso_utc, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.lifecycle import OpenAlert
    from monitor.alerts.losses import FeedSight
    from monitor.domain import Answered, Facts, Show
    from monitor.planning.job import Job
    from monitor.planning.standing import Key
    from monitor.service.feeds_seen import RunsKept

SCHEMA = "dryspell.ahead/1"


@dataclass(frozen=True, slots=True)
class Ahead:
    """What one look ahead found."""

    lines: tuple[str, ...]
    """For the screen"""
    json: Mapping[str, Any]
    attention: bool
    """A feed is lost, something has to be done now or is overdue, or a stop stands"""


def look_ahead(folder: Path, environ: Mapping[str, str], *, clock: Callable[[], datetime]) -> Ahead:
    """Ask every feed, judge, and say it. Sends nothing.

    Where the show has a database already, its history counts, with the alerts that are open,
    the log and the answers, and the new runs are kept in it; what is judged here is not. Where
    it has none, none is left behind. A feed that answered well a moment ago and asks not to be
    asked again so soon is taken at its last word.
    """
    watch = FolderWatch(folder, environ)
    path = folder / DATABASE_NAME
    if path.exists():
        db = open_database(path)
        with closing(db.conn):
            return _looked(db, watch, clock, consents=db)
    with TemporaryDirectory(prefix="dryspell-") as aside:
        db = open_database(Path(aside) / DATABASE_NAME)
        with closing(db.conn):
            return _looked(db, watch, clock, consents=None)


def _looked(
    db: Database, watch: FolderWatch, clock: Callable[[], datetime], *, consents: Database | None
) -> Ahead:
    watched = watch.current
    show = watched.show
    refused = unanswered(consents, show.feeds, watch.path)
    if refused:
        raise BadInputError(refused)
    asking = Asking(show, watch.path, watch.secret, clock, random.random)
    said = follow_files(db, show, watch.path, clock())
    poll_warnings(db, asking, retry=True)
    poll_all(db, asking, retry=True)
    now = clock()
    sky = Sky()
    sky.catch_up(db, show, now)
    runs = sky.runs
    log = log_entries(db)
    sights = runs.sights(db, show, watch.path, now)
    said_by_crew = answers(db)
    found = evaluate(
        watch.rig(db, now),
        past=sky.past(show, log, now),
        ahead=sky.ahead(show, now),
        log=[entry for entry in log if entry.at <= now],
        state=watch_state(db),
        now=now,
        source=sky.source(show, now, sights),
        closed=sky.warned.closed(show, now),
        answers=said_by_crew,
    )
    alerts = in_order([opened.alert for opened in found.state.open])
    left = [what_is_left(job, show, now, log) for job in found.plan.jobs]
    facts = _facts_now(found.state.open, left)
    holding = _answered(found.state.open, standing(said_by_crew, log, show, to_epoch(now)))
    waits = _not_told(found.state.open, left, show, now)
    lost = weather_found(sights, show, now)
    return Ahead(
        lines=(
            *lines(
                show,
                sights,
                sky,
                [*alerts, *waits],
                facts,
                holding,
                found.plan.blocked,
                now,
                found.plan.covers_at_once.values(),
            ),
            *said,
        ),
        json=_json(show, sights, runs, alerts, now),
        attention=lost is not None or any(a.stage != "notice" for a in alerts),
    )


def _facts_now(opened: Sequence[OpenAlert], left: Sequence[Job]) -> dict[str, Facts]:
    """What is known now of the job of each alert; the times stay those that were told."""
    jobs: dict[tuple[str, str], Facts] = {(j.position, j.family): j.facts for j in left}
    found = ((one.alert, jobs.get((one.alert.position or "", one.family))) for one in opened)
    return {alert.id: facts for alert, facts in found if facts is not None}


def _answered(opened: Sequence[OpenAlert], answers: Mapping[Key, Answered]) -> dict[str, Answered]:
    """By alert, what the crew answered to it, as long as that holds."""
    found: dict[str, Answered] = {}
    for one in opened:
        place = one.alert.position or ""
        # Where its power is to be cut, that it could not be covered is still worth saying.
        for key in (key_of(place, one.family, one.action), (place, one.family)):
            if key in answers:
                found[one.alert.id] = answers[key]
                break
    return found


def _not_told(
    opened: Sequence[OpenAlert], left: Sequence[Job], show: Show, now: datetime
) -> list[Alert]:
    """Work within the notice that no message may ask for yet, as its place is closed now."""
    told = {(one.alert.position, one.family) for one in opened}
    soon_s = to_epoch(now) + show.policy.notice_hours * SECONDS_PER_HOUR
    return [
        Alert(
            id="",
            kind="work",
            stage="notice",
            action=job.action,
            position=job.position,
            fixtures=job.fixtures,
            count=job.count,
            people=job.people,
            minutes=job.minutes,
            isolate_at=show.positions[job.position].isolate_at,
            start_by=to_moment(job.start_by_s),
            do_by=to_moment(job.do_by_s),
            members=job.members,
            probability=job.probability,
            at=now,
            reason=job.reason,
            facts=job.facts,
        )
        for job in left
        if job.blocked is not None
        and (job.position, job.family) not in told
        and job.start_by_s is not None
        and job.do_by_s is not None
        and job.start_by_s <= soon_s
    ]


def _json(
    show: Show, sights: list[FeedSight], runs: RunsKept, alerts: list[Alert], now: datetime
) -> dict[str, Any]:
    newest = {run.weather.source: run.weather for run in runs.of(show)}

    def feed(sight: FeedSight) -> dict[str, Any]:
        weather = newest.get(sight.source)
        return {
            "source": sight.source,
            "state": feed_state(sight, now),
            "says": sight.failing,
            "issued_at": None if weather is None else iso_utc(weather.issued_at),
            "fetched_at": None if weather is None else iso_utc(weather.fetched_at),
            "reaches_to": iso_utc(sight.reaches_to),
            "credit": None if weather is None else weather.credit,
        }

    return {
        "schema": SCHEMA,
        "at": iso_utc(now),
        "site": show.site.name,
        "feeds": [feed(sight) for sight in sights],
        "alerts": [wording.as_json(alert) for alert in alerts],
        "tells_nobody": tells_nobody(show.contacts),
    }
