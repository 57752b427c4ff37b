"""When what is needed was last worked out, and how each feed looked then.

Noted with every evaluation, so that others can tell from the database alone whether the
watch works, and by the same judgement as its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from monitor.alerts.losses import feed_state
from monitor.store.history import recall, remember
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database

    from monitor.alerts.losses import FeedSight

EVALUATED_KEY = "watch/evaluated"


@dataclass(frozen=True, slots=True)
class FeedThen:
    """One feed as it was judged."""

    source: str
    state: str
    """current | ageing | lost | unread"""
    said_at: datetime | None = None
    """When its newest forecast was issued, else fetched."""
    reaches_to: datetime | None = None
    failing: str | None = None
    """What the last attempt said, where it failed."""


@dataclass(frozen=True, slots=True)
class Evaluated:
    """The last evaluation."""

    at: datetime
    feeds: tuple[FeedThen, ...] = ()


def note_evaluated(db: Database, sights: Sequence[FeedSight], now: datetime) -> None:
    """Keep that what is needed was worked out now; in the transaction of what follows."""
    feeds = tuple(
        FeedThen(s.source, feed_state(s, now), s.said_at, s.reaches_to, s.failing) for s in sights
    )
    remember(db, EVALUATED_KEY, Evaluated(now, feeds))


def last_evaluated(db: Database) -> Evaluated | None:
    """The last evaluation, None where there was none."""
    kept: Any = recall(db, EVALUATED_KEY)
    return None if kept is None else from_json(Evaluated, to_json(kept))
