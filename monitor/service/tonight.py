"""Sending the night's outlook, once, half an hour before quiet hours begin."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.quiet import quiet_next
from monitor.alerts.tonight import outlook
from monitor.service.telling import send
from monitor.store.history import recall, remember
from monitor.store.records import to_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Message, Show
    from monitor.planning.job import Plan

TOLD_KEY = "tonight/told"
BEFORE = timedelta(minutes=30)


def before_sleep(db: Database, show: Show, plan: Plan, now: datetime) -> list[Message]:
    """The outlook where it is due, in the caller's transaction; what comes too late is left."""
    night = quiet_next(show, now)
    ends = show.event.load_out_at
    if (
        night is None
        or now < night[0] - BEFORE
        or night[1] <= show.event.load_in_at
        or (ends is not None and ends <= night[0])
    ):
        return []
    kept: Any = recall(db, TOLD_KEY)
    if kept == to_text(night[0]):
        return []
    said = outlook(show, plan, night, now)
    send(db, show, said, now, night[1])
    remember(db, TOLD_KEY, to_text(night[0]))
    return [said]
