"""What every request works with: the show as it is watched, its database, the clock, limits."""

from __future__ import annotations

from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from monitor.service import DATABASE_NAME
from monitor.store.database import open_database
from monitor.web.limits import Allowance

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime
    from pathlib import Path

    from sqlite_utils import Database

    from monitor.domain import Show
    from monitor.service.seen import Seen
    from monitor.service.watched import FolderWatch

BUSY_S = 10.0
"""A request waits this long for the database, and no longer [s]."""


@dataclass(frozen=True, slots=True)
class Place:
    """The show as the service watches it now, and what the server keeps in memory."""

    watch: FolderWatch
    clock: Callable[[], datetime]
    seen: Callable[[], Seen | None] = lambda: None
    """What the last evaluation saw; None before the first"""
    posts: Allowance = field(default_factory=lambda: Allowance(at_once=600, per_second=20.0))
    """Requests with each token."""
    arrivals: Allowance = field(default_factory=lambda: Allowance(at_once=40, per_second=0.2))
    """Devices that come in by each link of the duty page: a whole crew at once, no crowd."""
    failures: Allowance = field(default_factory=lambda: Allowance(at_once=20, per_second=0.5))
    """Wrong tokens from each address; a right one is never held up by them."""

    @property
    def show(self) -> Show:
        """The show as last read; the folder may have changed since."""
        return self.watch.current.show

    @property
    def folder(self) -> Path:
        """The show folder."""
        return self.watch.path

    @contextmanager
    def opened(self) -> Iterator[Database]:
        """A connection for one request."""
        db = open_database(self.folder / DATABASE_NAME, BUSY_S)
        with closing(db.conn):
            yield db
