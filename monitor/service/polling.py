"""Which feeds are due, and asking them side by side so that none holds up another.

A feed is asked on a thread of its own, with a database connection of its own. Feeds of one
server are asked one after the other: services count how many requests run at once.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.domain import BadInputError
from monitor.feeds.fetch import is_patient
from monitor.feeds.line import Lines
from monitor.feeds.request import server_of
from monitor.feeds.sheet import find_sheet
from monitor.feeds.sheet_lint import RECORD
from monitor.service.asking import Asking, Polled, ask_one, is_due
from monitor.service.feed_words import memory_key, named
from monitor.service.terms import consent_key, unanswered
from monitor.store.database import immediate, open_database
from monitor.store.history import recall, remember

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Feed

__all__ = [
    "Asking",
    "Polled",
    "Pollers",
    "consent_key",
    "forget_next_tries",
    "memory_key",
    "poll_all",
    "unanswered",
]

MOST_AT_ONCE = 4
"""Feeds asked at the same time."""

_END_S = 1.0
"""How long an end waits for what it has cut off; a name server cannot be cut [s]."""

_UNKEPT_S = 300.0
"""How long a feed rests when nothing could be kept of it [s]."""

Named = tuple[str, "Feed"]


class Pollers:
    """Feeds being asked. One that hangs stays under way; the others come due meanwhile."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._lines = Lines()
        self._waiting: dict[str, deque[tuple[Asking, Named, Path]]] = {}
        self._under_way: set[str] = set()
        """Sources that wait or are asked."""
        self._heard: set[str] = set()
        """Sources that something came of."""
        self._threads: dict[str, threading.Thread] = {}
        """By server."""
        self._done: list[Polled] = []
        self._broken: Exception | None = None
        self._put_off: dict[str, float] = {}
        """Sources whose next try could not be kept, until when [s]."""

    def round(
        self,
        db: Database,
        asking: Asking,
        *,
        retry: bool = False,
        wait_s: float | None = None,
    ) -> list[Polled]:
        """Ask every feed that is due; what has been answered since the last call.

        Parameters
        ----------
        retry : those too that failed last
        wait_s : return after this long, whatever is still under way then; None: wait for all
        """
        self._begin(db, asking, retry=retry)
        ends_at = None if wait_s is None else time.monotonic() + wait_s
        with self._changed:
            while self._under_way and not self._lines.cut_off:
                left = None if ends_at is None else ends_at - time.monotonic()
                if left is not None and (left <= 0 or self._done):
                    break
                self._changed.wait(left)
            done, self._done = self._done, []
            broken, self._broken = self._broken, None
        if broken is not None:
            raise broken
        return done

    @property
    def first_words_in(self) -> bool:
        """Whether every feed that was asked has answered once, or failed to."""
        with self._changed:
            return self._under_way <= self._heard

    def end(self) -> None:
        """Cut off what is under way: nothing more is kept of it, and `round` returns."""
        self._lines.cut()
        with self._changed:
            self._waiting.clear()
            threads = list(self._threads.values())
            self._changed.notify_all()
        ends_at = time.monotonic() + _END_S
        for thread in threads:
            thread.join(max(0.0, ends_at - time.monotonic()))

    def _begin(self, db: Database, asking: Asking, *, retry: bool) -> None:
        path = _path_of(db)
        for source, feed in named(asking.show.feeds):
            if source in self._under_way or self._lines.cut_off:
                continue
            if time.monotonic() < self._put_off.get(source, 0.0):
                continue
            if is_due(db, asking, source, feed, retry=retry):
                server = _server(asking, source, feed)
                with self._changed:
                    self._under_way.add(source)
                    queue = self._waiting.setdefault(server, deque())
                    queue.append((asking, (source, feed), path))
        with self._changed:
            self._start_threads()

    def _start_threads(self) -> None:
        """A thread for each server that waits, while there is room; the lock is held."""
        for server in list(self._waiting):
            if len(self._threads) >= MOST_AT_ONCE:
                return
            if server not in self._threads:
                thread = threading.Thread(
                    target=self._ask_server, args=(server,), name=f"feed {server}", daemon=True
                )
                self._threads[server] = thread
                thread.start()

    def _ask_server(self, server: str) -> None:
        """Everything that waits for one server, in turn."""
        while True:
            with self._changed:
                queue = self._waiting.get(server)
                if not queue:
                    self._waiting.pop(server, None)
                    del self._threads[server]
                    self._start_threads()
                    self._changed.notify_all()
                    return
                asking, (source, feed), path = queue.popleft()
            polled = None
            fault: Exception | None = None
            try:
                polled = self._asked(asking, source, feed, path)
            except Exception as raised:  # noqa: BLE001 - told by the next round, in its thread
                fault = raised
            with self._changed:
                if fault is not None:
                    # When to ask next could not be kept: a full disk is no reason to ask on.
                    self._broken = fault
                    self._put_off[source] = time.monotonic() + _UNKEPT_S
                self._under_way.discard(source)
                self._heard.add(source)
                if polled is not None:
                    self._done.append(polled)
                self._changed.notify_all()

    def _asked(self, asking: Asking, source: str, feed: Feed, path: Path) -> Polled | None:
        if self._lines.cut_off:
            return None
        db = open_database(path)
        with closing(db.conn):
            return ask_one(db, asking, source, feed, self._lines)


def poll_all(db: Database, asking: Asking, *, retry: bool = False) -> list[Polled]:
    """Ask every feed that is due and wait for all; `retry` those too that failed last."""
    order = [source for source, _ in named(asking.show.feeds)]
    return sorted(Pollers().round(db, asking, retry=retry), key=lambda p: order.index(p.source))


def forget_next_tries(db: Database, feeds: Sequence[Feed], now: datetime) -> None:
    """Let every feed be asked now: after the clock was set, kept times mean nothing.

    But a server that asked to be left alone is, until then by the new clock: a machine that
    has slept wakes up with its clock set, and nothing has been forgiven meanwhile.
    """
    with immediate(db):
        for source, _ in named(feeds):
            memory = recall(db, memory_key(source))
            if memory is not None and not is_patient(memory, now):
                remember(db, memory_key(source), {**memory, "next_try_at": None})


def _server(asking: Asking, source: str, feed: Feed) -> str:
    """What is asked one after the other; a record is nobody's server."""
    if feed.sheet == RECORD:
        return f"record {source}"
    try:
        return server_of(find_sheet(feed.sheet, asking.folder), feed)
    except BadInputError:
        return f"sheet {feed.sheet}"


def _path_of(db: Database) -> Path:
    """The file of a connection, for connections of the threads' own."""
    return Path(db.execute("PRAGMA database_list").fetchone()[2])
