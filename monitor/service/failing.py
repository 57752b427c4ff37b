"""The contacts that messages do not reach at present, as kept beside the history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.alerts.losses import Failing
from monitor.store.history import recall, remember
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from sqlite_utils import Database

FAILING_KEY = "trouble/deliveries"


@dataclass(frozen=True, slots=True)
class _Failures:
    """As kept."""

    failing: tuple[Failing, ...] = ()


def failing(db: Database) -> tuple[Failing, ...]:
    """Each with the recipients that are not reached."""
    kept: Any = recall(db, FAILING_KEY)
    return () if kept is None else from_json(_Failures, to_json(kept)).failing


def note_failing(db: Database, now_failing: tuple[Failing, ...]) -> None:
    """Keep them, in the caller's transaction."""
    remember(db, FAILING_KEY, _Failures(now_failing))


def failing_contacts(db: Database) -> tuple[str, ...]:
    """Their names."""
    return tuple(one.contact for one in failing(db))


def not_reached(db: Database) -> frozenset[tuple[str, str]]:
    """Each (contact, recipient) that is not reached."""
    return frozenset((one.contact, r) for one in failing(db) for r in one.recipients)
