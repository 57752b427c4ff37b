"""When what is needed was last worked out, and how each feed looked then.

Noted with every evaluation, so that others can tell from the database alone whether the
watch works, and by the same judgement as its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from monitor.alerts.losses import FeedSight
from monitor.store.history import recall, remember
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlite_utils import Database

EVALUATED_KEY = "watch/evaluated"


@dataclass(frozen=True, slots=True)
class Evaluated:
    """The last evaluation."""

    at: datetime
    feeds: tuple[FeedSight, ...] = ()


def note_evaluated(db: Database, sights: Sequence[FeedSight], now: datetime) -> None:
    """Keep that what is needed was worked out now; in the transaction of what follows."""
    remember(db, EVALUATED_KEY, Evaluated(now, tuple(sights)))


def last_evaluated(db: Database) -> Evaluated | None:
    """The last evaluation, None where there was none."""
    kept: Any = recall(db, EVALUATED_KEY)
    return None if kept is None else from_json(Evaluated, to_json(kept))
