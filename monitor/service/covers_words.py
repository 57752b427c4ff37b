"""Telling that the plan needs more covers than there are: once for each kind, until it is over."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.clock import SiteClock
from monitor.alerts.covers_short import covers_found
from monitor.alerts.losses import slug
from monitor.alerts.show_times import next_morning
from monitor.service.telling import follow_trouble
from monitor.store.history import recall, remember
from monitor.store.records import from_text, to_text

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Message, Show
    from monitor.planning.job import Plan

_KEY = "covers-short"
_OVER = "the plan needs no more of them at once than there are"


def tell_covers(db: Database, show: Show, plan: Plan, now: datetime) -> list[Message]:
    """One step of the shortages of every kind, in the caller's transaction.

    A shortage is told when it first shows in the plan. It is over only when the plan has had
    enough for `stand_down_minutes`, and never on weather that is missing.
    """
    clock = SiteClock.named(show.site.timezone.key, now)
    found = {c: covers_found(one, show, clock) for c, one in plan.covers_at_once.items()}
    # By kind that was told: since when there are enough, or None while there are not.
    kept: Any = recall(db, _KEY)
    before: dict[str, str | None] = dict(kept or {})
    after: dict[str, str | None] = {}
    told = []
    for cover in sorted({*before, *(c for c, one in found.items() if one is not None)}):
        short = found.get(cover)
        if short is None and plan.blind:
            after[cover] = before[cover]
            continue
        if short is None:
            since = before[cover] or to_text(now)
            if now - from_text(since) < timedelta(minutes=show.policy.stand_down_minutes):
                after[cover] = since
                continue
        else:
            after[cover] = None
        message = follow_trouble(
            db,
            show,
            f"covers-{slug(cover)}",
            short,
            now,
            over=_OVER,
            next_word_at=next_morning(show, now),
            again=False,
        )
        told += [] if message is None else [message]
    if after != before:
        remember(db, _KEY, after)
    return told
