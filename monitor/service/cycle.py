"""One cycle of the service: what is known, what follows, and all of it written at once.

The edges of the one transaction are here and nowhere else: revision, changes, messages and
what is remembered are kept together or not at all.
"""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.clock import age
from monitor.alerts.losses import Found, feed_state
from monitor.alerts.show_times import last_morning, next_morning
from monitor.alerts.watch import on_watch
from monitor.evaluation import evaluate
from monitor.feeds.gauge_trouble import DRY_S
from monitor.service.after_rain import rain_over
from monitor.service.briefings import briefings_due, what_is_lost
from monitor.service.covers_words import tell_covers
from monitor.service.delivering import forget_gone
from monitor.service.escalation import call_next
from monitor.service.evaluated import note_evaluated
from monitor.service.feed_troubles import follow_feeds
from monitor.service.gauge_words import tell_gauges
from monitor.service.rain_words import tell_rain, unforeseen
from monitor.service.seen import Seen
from monitor.service.sky import Sky
from monitor.service.telling import USUAL_LIFE, follow_trouble, send, tell
from monitor.service.tonight import before_sleep
from monitor.service.warned import lines_on_watch, warnings_told
from monitor.service.watch_state import STATE_KEY, watch_state
from monitor.service.watched import in_short
from monitor.store.answers import answers
from monitor.store.chain import head
from monitor.store.database import immediate
from monitor.store.history import log_entries, open_alerts, recall, record_revision, remember
from monitor.store.records import from_text, to_text
from monitor.units import to_epoch

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.losses import FeedSight
    from monitor.domain import Answered, LogEntry, Message, Show
    from monitor.service.feeds_seen import RunsKept
    from monitor.service.watched import FolderWatch, Watched

TOLD_KEY = "watch/told"

TOLD_LATELY = timedelta(hours=1)
"""A service that is started again within this has not been away."""

_TRIES = 1
"""Evaluations that a word of the crew's may send back before one holds such words up: a crew of
twenty logs faster than a large rig is judged, and an order must not wait for them to pause.
"""


@dataclass(slots=True)
class Cycle:
    """What one evaluation leaves in memory for the next; everything that counts is on disk."""

    watch: FolderWatch
    sky: Sky = field(default_factory=Sky)
    next_turn_at: datetime | None = None
    """When the next contacts are to be told of an order that nobody answers, as last seen"""
    seen: Seen | None = None
    """What the last evaluation saw"""
    sums_fault: Exception | None = None
    """What went wrong with sheets and outlooks the last time; orders do not wait for them"""

    def run(self, db: Database, now: datetime) -> list[Message]:
        """Evaluate once; returns the messages that were queued."""
        watched = self.watch.current
        for left in range(_TRIES, -1, -1):
            # What the crew says while we think must not be met with an order as if unsaid.
            # The last try thinks with log and answers held still.
            with immediate(db) if left == 0 else nullcontext():
                self.sky.catch_up(db, watched.show, now)
                messages = self._judged(db, watched, log_entries(db), answers(db), now)
            if messages is not None:
                return messages
        raise AssertionError("what the crew said changed while it was held")

    def call_on(self, db: Database, now: datetime) -> list[Message]:
        """Tell the next turns alone: what nobody answers goes on where evaluating fails."""
        with immediate(db):
            called, self.next_turn_at = call_next(db, self.watch.current.show, now)
        return list(called)

    def _judged(
        self,
        db: Database,
        watched: Watched,
        log: tuple[LogEntry, ...],
        answered: tuple[Answered, ...],
        now: datetime,
    ) -> list[Message] | None:
        """None where the crew has said something meanwhile, and nothing is written."""
        show = watched.show
        before = watch_state(db)
        sky = self.sky
        sights = sky.runs.sights(db, show, self.watch.path, now)
        known = [entry for entry in log if entry.at <= now]
        rig, past, ahead = self.watch.rig(db, now), sky.past(show, log, now), sky.ahead(show, now)
        closed, source = sky.warned.closed(show, now), sky.source(show, now, sights)
        found = evaluate(
            rig,
            past=past,
            ahead=ahead,
            log=known,
            state=before,
            now=now,
            source=source,
            closed=closed,
            answers=answered,
        )
        falls = unforeseen(sky, show, self.watch.rig(db, now), known, found, now)
        lately = sky.forecast_between(show, to_epoch(now) - DRY_S, to_epoch(now))
        with immediate(db):
            if log_entries(db) != log or answers(db) != answered:
                return None
            record_revision(db, watched.folder.files, show.revision, now)
            told = _on_watch(db, show, sky, sights, now)
            told += [tell(db, show, change.alert, change.reason, now) for change in found.changes]
            told += warnings_told(db, show, sky.warned, now, next_morning(show, now))
            if found.state != before:
                remember(db, STATE_KEY, found.state)
            told += tell_gauges(db, show, sky.gauges, lately, now)
            rain = tell_rain(db, show, sky, falls, now)
            told += [] if rain is None else [rain]
            told += tell_covers(db, show, found.plan, now)
            told += _about_the_monitor(db, show, self.watch, sights, now)
            # Last, so that an order which has just changed is not told twice.
            called, next_turn_at = call_next(db, show, now)
            told += called
            note_evaluated(db, sights, now)
        self.next_turn_at = next_turn_at
        lost = tuple(what_is_lost(show, sky, sights, now))
        self.seen = Seen(
            now, rig, found, past, ahead, log, tuple(sights), tuple(closed), source, lost
        )
        return told + self._sums(db, self.seen)

    def _sums(self, db: Database, seen: Seen) -> list[Message]:
        """The night's outlook, the end of the rain, the sheets: apart, so that a fault in what
        sums up never takes an order back.
        """
        rig, found, now = seen.rig, seen.found, seen.at
        self.sums_fault = None
        try:
            with immediate(db):
                told = before_sleep(db, rig.show, found.plan, now)
                told += rain_over(db, rig, found, log_entries(db), now)
                told += briefings_due(db, seen)
        except Exception as fault:  # noqa: BLE001 - the service tells of it
            self.sums_fault = fault
            return []
        return told


def _about_the_monitor(
    db: Database, show: Show, watch: FolderWatch, sights: list[FeedSight], now: datetime
) -> list[Message]:
    """Feeds lost, a folder that cannot be read, a contact that is gone."""
    morning = next_morning(show, now)
    broken = None
    if watch.broken is not None:
        says = f"The show folder was changed and is not used as it stands: {in_short(watch.broken)}"
        broken = Found("notice", says, ("The folder as it was before stays in force",))
    forget_gone(db, show, now)
    steps = [
        *follow_feeds(db, show, sights, now, morning),
        follow_trouble(
            db,
            show,
            "folder",
            broken,
            now,
            over="the show folder is read again",
            next_word_at=morning,
        ),
    ]
    return [told for told in steps if told is not None]


def _on_watch(
    db: Database, show: Show, sky: Sky, sights: list[FeedSight], now: datetime
) -> list[Message]:
    """The on-watch message: at the start, when the show has changed, and every morning."""
    if not all(sight.asked for sight in sights):
        # At the very start: the first word on the weather is only seconds away.
        return []
    kept: Any = recall(db, TOLD_KEY)
    if kept is not None and kept["revision"] == show.revision:
        ended = show.event.load_out_at is not None and now > show.event.load_out_at
        told_at = from_text(kept["at"])
        if ended or last_morning(show, now) <= told_at <= now:
            return []
    at_end = head(db)
    noted = (
        f"The record of this watch has {at_end.rows} entries and ends in {at_end.link}; keep this "
        "message, and the report can show that nothing before it was altered"
    )
    said = on_watch(
        show,
        at=now,
        next_word_at=next_morning(show, now),
        sources=[
            *(_feed_line(sight, sky.runs, now) for sight in sights),
            *_gauge_lines(show),
            *lines_on_watch(show, sky.warned, now),
        ],
        contacts=show.contacts,
        assumptions=[noted],
        stops=[stored.alert for stored in open_alerts(db) if stored.alert.stage == "stop"],
    )
    send(db, show, said, now, now + USUAL_LIFE)
    remember(db, TOLD_KEY, {"at": to_text(now), "revision": show.revision})
    return [said]


def begin_watch(db: Database, now: datetime) -> None:
    """Have the on-watch message told again at a start, unless it was told within the hour."""
    kept: Any = recall(db, TOLD_KEY)
    if kept is not None and not timedelta(0) <= now - from_text(kept["at"]) < TOLD_LATELY:
        remember(db, TOLD_KEY, None)


def _gauge_lines(show: Show) -> list[str]:
    names = ", ".join(gauge.station for gauge in show.gauges)
    return [f"Measured on site by {names}: what is measured counts before any forecast"] * bool(
        names
    )


def _feed_line(sight: FeedSight, runs: RunsKept, now: datetime) -> str:
    state = feed_state(sight, now)
    said = f"{sight.source}: {'no usable forecast' if state == 'lost' else state}"
    if state in ("ageing", "lost") and sight.said_at is not None:
        said += f", {age(sight.said_at, now)}"
    run = runs.newest.get(sight.source)
    credit = "" if run is None else run.weather.credit
    more = [credit] if credit else []
    return ". ".join([said, *(notice.removesuffix(".") for notice in sight.notices), *more])
