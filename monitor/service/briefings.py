"""The handover sheet and the daily sheet: what they are made of, and when they are sent."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.clock import SiteClock
from monitor.alerts.lifecycle import WatchState
from monitor.alerts.losses import feed_state, lost_because, said_when
from monitor.alerts.show_times import last_morning
from monitor.briefing.daily import daily_sheet
from monitor.briefing.handover import handover_sheet
from monitor.briefing.known import Known, Opened, Told
from monitor.briefing.shifts import shift_changes
from monitor.briefing.written import as_message
from monitor.evaluation import evaluate
from monitor.feeds.gauge_trouble import DRY_S
from monitor.service.declared import declarations
from monitor.service.gauge_words import gauge_found
from monitor.service.seen import Seen
from monitor.service.sky import Sky
from monitor.service.telling import USUAL_LIFE, send
from monitor.store.answers import answers
from monitor.store.handovers import last_handover
from monitor.store.history import log_entries, open_alerts, recall, remember
from monitor.store.outbox import deliveries
from monitor.store.records import from_text, to_text
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.losses import FeedSight
    from monitor.domain import Message, Show
    from monitor.service.watched import FolderWatch
    from monitor.store.history import StoredAlert

DAILY_KEY = "briefing/daily"
HANDOVER_KEY = "briefing/handover"

BEFORE_CHANGE = timedelta(minutes=30)
"""The handover sheet comes this long before a shift change."""
LATE = timedelta(hours=2)
"""A morning's sheet that is later than this helps no briefing."""


def briefings_due(db: Database, seen: Seen) -> list[Message]:
    """Queue the sheets that are due after an evaluation, each once; in one transaction."""
    show, now = seen.rig.show, seen.at
    if not all(sight.asked for sight in seen.sights) or _is_over(show, now):
        return []
    daily, change_at = _daily_due(db, show, now), _handover_due(db, show, now)
    if not daily and change_at is None:
        return []
    known = known_at(db, seen)
    told = []
    if daily:
        told.append(as_message(daily_sheet(known), now))
        send(db, show, told[-1], now, now + USUAL_LIFE)
        remember(db, DAILY_KEY, to_text(now))
    if change_at is not None:
        told.append(as_message(handover_sheet(known), now))
        send(db, show, told[-1], now, change_at + LATE)
        remember(db, HANDOVER_KEY, to_text(change_at))
    return told


def _is_over(show: Show, now: datetime) -> bool:
    return show.event.load_out_at is not None and now > show.event.load_out_at


def _daily_due(db: Database, show: Show, now: datetime) -> bool:
    morning = last_morning(show, now)
    kept: Any = recall(db, DAILY_KEY)
    told = kept is not None and morning <= from_text(kept) <= now
    return now - morning < LATE and not told


def _handover_due(db: Database, show: Show, now: datetime) -> datetime | None:
    """The shift change that a sheet is due for; a service that was down tells it a little late."""
    at_hand = [
        change.at
        for change in shift_changes(show, now)
        if abs(change.at - now) <= BEFORE_CHANGE and change.at > show.event.load_in_at
    ]
    if not at_hand or recall(db, HANDOVER_KEY) in {to_text(at) for at in at_hand}:
        return None
    return at_hand[0]


# ---------------------------------------------------------------- what the sheets are made of


def known_at(db: Database, seen: Seen) -> Known:
    """Everything a sheet says, from an evaluation and what the database holds of its moment."""
    now = seen.at
    alerts = open_alerts(db)
    return Known(
        rig=seen.rig,
        now=now,
        found=seen.found,
        log=tuple(entry for entry in log_entries(db) if entry.at <= now),
        alerts=alerts,
        told=tuple(_told(db, alerts)),
        answers=tuple(answered for answered in answers(db) if answered.at <= now),
        declared=tuple(
            Opened(one.declared, one.ended_at, one.ended_by)
            for one in declarations(db)
            if one.declared.at <= now
        ),
        handed=last_handover(db, now),
        source=seen.source,
        said_at=min((s.said_at for s in seen.sights if s.said_at is not None), default=None),
        lost=seen.lost,
        sources=len(seen.sights) + len(seen.rig.show.gauges),
        closed=seen.closed,
    )


def known_now(db: Database, watch: FolderWatch, now: datetime) -> Known:
    """The same without asking anybody: from what the database holds. Writes nothing."""
    show = watch.current.show
    sky = Sky()
    sky.catch_up(db, show, now)
    log = log_entries(db)
    sights = sky.runs.sights(db, show, watch.path, now)
    rig, past, ahead = watch.rig(db, now), sky.past(show, log, now), sky.ahead(show, now)
    closed, source = tuple(sky.warned.closed(show, now)), sky.source(show, now, sights)
    found = evaluate(
        rig,
        past=past,
        ahead=ahead,
        log=[entry for entry in log if entry.at <= now],
        state=WatchState(),
        now=now,
        source=source,
        closed=closed,
        answers=[answered for answered in answers(db) if answered.at <= now],
    )
    lost = tuple(what_is_lost(show, sky, sights, now))
    seen = Seen(now, rig, found, past, ahead, log, tuple(sights), closed, source, lost)
    return known_at(db, seen)


def _told(db: Database, alerts: Sequence[StoredAlert]) -> Iterator[Told]:
    """How far the messages about the open alerts have come."""
    if not alerts:
        return
    ids = {stored.alert.id: stored.opened_at for stored in alerts}
    for delivery in deliveries(db, min(ids.values())):
        row = delivery.row
        opened_at = ids.get(row.message.alert_id)
        if opened_at is not None and row.queued_at >= opened_at:
            yield Told(row.message.alert_id, row.contact, delivery.state, delivery.settled_at)


def what_is_lost(show: Show, sky: Sky, sights: Sequence[FeedSight], now: datetime) -> Iterator[str]:
    """What of the weather is not known at this moment, a sentence each."""
    clock = SiteClock(show.site.timezone, now)
    for sight in sights:
        state = feed_state(sight, now)
        if state == "lost":
            yield f"Lost: {lost_because(sight, clock)}"
        elif state == "ageing":
            yield f"{sight.source}: nothing newer has come, {said_when(sight, clock)}"
        elif state == "unread":
            yield f"{sight.source}: not read yet"
    if show.gauges:
        lately = sky.forecast_between(show, to_epoch(now) - DRY_S, to_epoch(now))
        for gauge in show.gauges:
            trouble = gauge_found(sky.gauges, gauge, lately, now)
            if trouble is not None:
                yield trouble.reason
