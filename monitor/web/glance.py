"""What many may ask for without a token, looked up at most once a second."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.web.place import Place

T = TypeVar("T")

HOLDS = timedelta(seconds=1)


class Glance(Generic[T]):
    """The last answer while it is fresh. However many ask, the database is asked by one."""

    def __init__(self, place: Place, look: Callable[[Database, datetime], T]) -> None:
        self._place, self._look = place, look
        self._lock = threading.Lock()
        self._last: tuple[datetime, T] | None = None

    def __call__(self) -> T:
        """The answer, a second old at most."""
        with self._lock:
            now = self._place.clock()
            if self._last is None or not timedelta(0) <= now - self._last[0] < HOLDS:
                with self._place.opened() as db:
                    self._last = (now, self._look(db, now))
            return self._last[1]
