"""What the lifecycle remembers between evaluations, as kept in the database."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.alerts.open_alert import WatchState
from monitor.store.history import recall
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from sqlite_utils import Database

STATE_KEY = "watch/state"


def watch_state(db: Database) -> WatchState:
    """As the last evaluation left it."""
    kept: Any = recall(db, STATE_KEY)
    return WatchState() if kept is None else from_json(WatchState, to_json(kept))
