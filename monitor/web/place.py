"""What every request works with: the show as it is watched, its database, the clock, limits."""

from __future__ import annotations

from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from http import HTTPStatus
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from monitor.service import DATABASE_NAME
from monitor.store.database import open_database
from monitor.web.answers import BUSY, RefusedError
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
WRITERS = 2
"""So many posts are at the database at once, half of the threads: while another program holds
it they wait, and who only looks does not."""
TURN_S = 1.0
"""A post waits this long to be one of them; sent again a little later it is known [s]."""
_AGAIN_S = 2


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
    writers: BoundedSemaphore = field(default_factory=lambda: BoundedSemaphore(WRITERS))

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

    @contextmanager
    def opened_to_write(self) -> Iterator[Database]:
        """The same for a post; RefusedError where too many wait for the database already."""
        if not self.writers.acquire(timeout=TURN_S):
            headers = {"Retry-After": str(_AGAIN_S)}
            raise RefusedError(HTTPStatus.SERVICE_UNAVAILABLE, BUSY, headers=headers)
        try:
            with self.opened() as db:
                yield db
        finally:
            self.writers.release()
