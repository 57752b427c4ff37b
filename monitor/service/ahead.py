"""One look ahead: ask the weather now, and say what has to be done and by when."""

from __future__ import annotations

import random
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from monitor.alerts import wording
from monitor.alerts.clock import SiteClock
from monitor.alerts.lifecycle import WatchState
from monitor.alerts.losses import feed_state, lost_because, weather_found
from monitor.alerts.watch import NOBODY_TOLD, tells_nobody
from monitor.domain import BadInputError
from monitor.evaluation import evaluate
from monitor.service.gauges import follow_files
from monitor.service.polling import Asking, poll_all, unanswered
from monitor.service.scheduling import DATABASE_NAME
from monitor.service.sky import Sky
from monitor.service.warned import lines_ahead
from monitor.service.warned_polling import poll_warnings
from monitor.service.watched import FolderWatch
from monitor.store.database import open_database
from monitor.store.history import log_entries
from monitor.units import iso_utc

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.losses import FeedSight
    from monitor.domain import Alert, Show
    from monitor.service.feeds_seen import RunsKept

SCHEMA = "dryspell.ahead/1"


@dataclass(frozen=True, slots=True)
class Ahead:
    """What one look ahead found."""

    lines: tuple[str, ...]
    """For the screen"""
    json: Mapping[str, Any]
    attention: bool
    """A feed is lost, or something has to be done now"""


def look_ahead(folder: Path, environ: Mapping[str, str], *, clock: Callable[[], datetime]) -> Ahead:
    """Ask every feed, judge, and say it. Sends nothing.

    Where the show has a database already, its history counts and the new runs are kept in
    it; where it has none, none is left behind. A feed that answered well a moment ago and
    asks not to be asked again so soon is taken at its last word.
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
    follow_files(db, show, watch.path, clock())
    poll_warnings(db, asking, retry=True)
    poll_all(db, asking, retry=True)
    now = clock()
    sky = Sky()
    sky.catch_up(db, show, now)
    runs = sky.runs
    log = log_entries(db)
    sights = runs.sights(db, show, watch.path, now)
    found = evaluate(
        watch.rig(db, now),
        past=sky.past(show, log, now),
        ahead=sky.ahead(show, now),
        log=[entry for entry in log if entry.at <= now],
        state=WatchState(),
        now=now,
        source=sky.source(show, now, sights),
        closed=sky.warned.closed(show, now),
    )
    alerts = [change.alert for change in found.changes]
    lost = weather_found(sights, show, now)
    return Ahead(
        lines=tuple(_lines(show, sights, sky, alerts, now)),
        json=_json(show, sights, runs, alerts, now),
        attention=lost is not None or any(a.stage != "notice" for a in alerts),
    )


def _lines(
    show: Show, sights: list[FeedSight], sky: Sky, alerts: list[Alert], now: datetime
) -> Iterator[str]:
    clock = SiteClock.named(show.site.timezone.key, now)
    yield f"{show.site.name}, {clock.at(now)} site time, {clock.zone_name}."
    for sight in sights:
        if feed_state(sight, now) == "lost":
            yield f"Weather lost: {lost_because(sight, clock)} No forecast is not a dry forecast."
        elif sight.reaches_to is not None:
            yield f"Weather: {sight.source}, to {clock.at(sight.reaches_to)}."
    if not alerts and any(feed_state(sight, now) != "lost" for sight in sights):
        yield "Nothing has to be done on this forecast. It is an estimate and no permission."
    for alert in alerts:
        message = wording.message(alert, now)
        yield ""
        yield f"{message.subject}."
        yield f"  Radio: {message.radio}"
    yield ""
    yield from lines_ahead(show, sky.warned, now)
    yield from dict.fromkeys(r.weather.credit for r in sky.runs.of(show) if r.weather.credit)
    if tells_nobody(show.contacts):
        yield NOBODY_TOLD


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
