"""The service: polling, evaluating and delivering, each at its own pace and on its own threads.

A slow forecast never holds up an alert, and a slow mail server never holds up an evaluation.
"""

from __future__ import annotations

import logging
import random
import signal
import threading
import time
from contextlib import closing, contextmanager, nullcontext, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.base import JobLookupError
from apscheduler.schedulers.background import BackgroundScheduler

from monitor.domain import BadInputError, DryspellError
from monitor.feeds.line import Lines
from monitor.service import status
from monitor.service.cycle import Cycle, begin_watch
from monitor.service.delivering import deliver_due
from monitor.service.faults import Faults, Part
from monitor.service.gauges import follow_files
from monitor.service.polling import Asking, Pollers, forget_next_tries, unanswered
from monitor.service.warned_polling import forget_next_warnings, poll_warnings
from monitor.service.watched import FolderWatch
from monitor.store.chain import head
from monitor.store.database import hold_folder, immediate, open_database
from monitor.store.history import record_revision
from monitor.store.outbox import free_leases, undelivered

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from contextlib import AbstractContextManager
    from pathlib import Path
    from types import FrameType

    from sqlite_utils import Database

    from monitor.domain import Show

    Beside = Callable[[Cycle], AbstractContextManager[Sequence[str]]]

DATABASE_NAME = "dryspell.db"
DELIVERERS = 3
"""Messages under way at once: one dead server must not hold up the others' mail."""
JUMP_S = 60.0
"""The wall clock is taken as set when it moves so much against the machine's own [s]."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How often each part looks whether there is something to do [s]."""

    poll_s: float = 5.0
    look_s: float = 5.0
    """Whether something came in that calls for an evaluation"""
    evaluate_s: float = 60.0
    """An evaluation in any case: time passes, and deadlines with it"""
    deliver_s: float = 1.0
    clock_s: float = 1.0


def serve(
    folder: Path,
    environ: Mapping[str, str],
    *,
    clock: Callable[[], datetime],
    say: Callable[[str], None],
    pace: Pace | None = None,
    stop: threading.Event | None = None,
    beside: Beside | None = None,
) -> None:
    """Watch a show until SIGTERM, SIGINT or `stop`; returns after a clean stop.

    Parameters
    ----------
    clock : the wall clock, aware
    say : takes a status line in plain words
    stop : set to end the service from another thread
    beside : entered once the folder is held and before anything is said, left when the last
        job has ended; gives the lines to say of it at the start

    Raises
    ------
    BadInputError : the folder is wrong, or terms of use are unanswered
    UnableError : another service watches the folder, or the disk refuses
    """
    ending = stop or threading.Event()
    with _signals(ending):
        _serve(FolderWatch(folder, environ), clock, say, pace or Pace(), ending, beside)


def _serve(
    watch: FolderWatch,
    clock: Callable[[], datetime],
    say: Callable[[str], None],
    pace: Pace,
    stop: threading.Event,
    beside: Beside | None,
) -> None:
    folder, path = watch.path, watch.path / DATABASE_NAME
    if not path.exists():
        # Nothing is left behind in a folder that cannot be watched.
        _refuse_unanswered(None, watch)
    # This connection is held for as long as the service lasts, so that the others, which
    # come and leave with their jobs, are cheap.
    with hold_folder(folder), _opened(path) as db:
        _refuse_unanswered(db, watch)
        cycle = Cycle(watch)
        with nullcontext(()) if beside is None else beside(cycle) as told:
            show, now = watch.current.show, clock()
            with immediate(db):
                record_revision(db, watch.current.folder.files, show.revision, now)
                free_leases(db, now)
                begin_watch(db, now)
            for line in status.at_start(watch.current, undelivered(db, now), now):
                say(line)
            for line in told:
                say(line)
            _Service(cycle, path, clock, say, pace, stop).run()
        say(status.at_stop(undelivered(db, clock())))


def _refuse_unanswered(db: Database | None, watch: FolderWatch) -> None:
    refused = unanswered(db, watch.current.show.feeds, watch.path)
    if refused:
        raise BadInputError(refused)


@contextmanager
def _opened(path: Path) -> Iterator[Database]:
    """A connection of one's own: none is ever shared between threads."""
    db = open_database(path)
    with closing(db.conn):
        yield db


_FIRST_WORD_S = 25.0
"""The first evaluation waits this long for the first answer of every feed, and no longer: an
order on one of two forecasts might be taken back a second later.
"""


class _Service:
    """The jobs and what they share."""

    def __init__(
        self,
        cycle: Cycle,
        path: Path,
        clock: Callable[[], datetime],
        say: Callable[[str], None],
        pace: Pace,
        stop: threading.Event,
    ) -> None:
        watch = cycle.watch
        self._watch, self._path = watch, path
        self._clock, self._say, self._pace, self._stop = clock, say, pace, stop
        self._cycle = cycle
        self._pollers = Pollers()
        self._warning_lines = Lines()
        self._warned_once = False
        self._evaluated_at = 0.0
        self._evaluated_rows = -1
        self._faults = Faults(watch, say)
        self._offset = clock().timestamp() - time.monotonic()
        self._started_at = time.monotonic()
        self._asked_once = threading.Event()
        """Every feed has answered once, or failed to."""
        self._first_round = True
        self._waking = threading.Lock()
        self._scheduler = self._scheduled()

    def run(self) -> None:
        """Schedule everything and wait; then let what is under way end."""
        self._scheduler.start()
        try:
            while not self._stop.wait(self._pace.clock_s):
                self._mind_the_clock()
        finally:
            # Shutting down holds the scheduler's lock until the last job ends; a job that asked
            # for another one meanwhile would wait for that lock for ever.
            with self._waking:
                self._stop.set()
            self._warning_lines.cut()
            self._pollers.end()
            self._scheduler.shutdown(wait=True)

    def _scheduled(self) -> Any:
        logging.getLogger("apscheduler").setLevel(logging.ERROR)
        scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={
                "poll": ThreadPoolExecutor(1),
                "warn": ThreadPoolExecutor(1),
                "evaluate": ThreadPoolExecutor(1),
                "deliver": ThreadPoolExecutor(DELIVERERS),
            },
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        pace = self._pace
        jobs = [("poll", "poll", self._poll, pace.poll_s)]
        jobs += [("warn", "warn", self._warn, pace.poll_s)]
        jobs += [("evaluate", "evaluate", self._evaluate, pace.look_s)]
        jobs += [
            (f"deliver-{n}", "deliver", self._deliver, pace.deliver_s) for n in range(DELIVERERS)
        ]
        for name, executor, work, seconds in jobs:
            scheduler.add_job(
                work,
                "interval",
                seconds=seconds,
                id=name,
                executor=executor,
                next_run_time=datetime.now(UTC),
                # What comes in while an evaluation runs has the next one follow at once.
                max_instances=2 if name == "evaluate" else 1,
            )
        return scheduler

    # ---- the jobs; none of them lets an exception out, for nobody would hear of it

    def _poll(self) -> None:
        try:
            with _opened(self._path) as db:
                asking = self._asking()
                told = follow_files(db, asking.show, asking.folder, self._clock())
                # At the start those too that failed when it last ran: it may be mended by now.
                # A feed that hangs is left under way: its answer is picked up by a later round.
                results = self._pollers.round(
                    db, asking, retry=self._first_round, wait_s=self._pace.poll_s
                )
                self._faults.works(db, "polling", self._clock())
            for line in told:
                self._say(line)
            for polled in results:
                if polled.is_news:
                    self._say(f"{polled.source}: {polled.says}")
            if any(polled.has_new or polled.is_news for polled in results):
                self._wake("evaluate")
        except Exception as fault:  # noqa: BLE001
            self._fault("polling", fault)
        finally:
            self._first_round = False
            if self._pollers.first_words_in:
                self._asked_once.set()

    def _warn(self) -> None:
        """The official warning services, on a thread of their own: none of them may hold up
        the forecast.
        """
        try:
            with _opened(self._path) as db:
                results = poll_warnings(
                    db, self._asking(), retry=not self._warned_once, lines=self._warning_lines
                )
                self._faults.works(db, "reading warnings", self._clock())
            for polled in results:
                if polled.is_news:
                    self._say(f"{polled.source}: {polled.says}")
            if any(polled.has_new or polled.is_news for polled in results):
                self._wake("evaluate")
        except Exception as fault:  # noqa: BLE001
            self._fault("reading warnings", fault)
        finally:
            self._warned_once = True

    @property
    def _show(self) -> Show:
        return self._watch.current.show

    def _asking(self) -> Asking:
        watch = self._watch
        return Asking(watch.current.show, watch.path, watch.secret, self._clock, random.random)

    def _evaluate(self) -> None:
        # Before any feed was asked there is nothing to judge by, and "weather lost" would be false.
        unasked_s = time.monotonic() - self._started_at
        asked = self._asked_once.is_set() and (self._warned_once or not self._show.warnings)
        unasked = not asked and unasked_s < _FIRST_WORD_S
        if self._stop.is_set() or unasked:
            return
        try:
            with _opened(self._path) as db:
                rows = head(db).rows
                waited = time.monotonic() - self._evaluated_at
                nothing_new = rows == self._evaluated_rows and not self._watch.look()
                turn = self._cycle.next_turn_at
                is_due = turn is not None and self._clock() >= turn
                if nothing_new and not is_due and waited < self._pace.evaluate_s:
                    return
                # Noted before: what comes in meanwhile is looked at next time.
                self._evaluated_at, self._evaluated_rows = time.monotonic(), rows
                messages = self._cycle.run(db, self._clock())
                self._faults.works(db, "evaluating", self._clock())
                if self._cycle.sums_fault is None:
                    self._faults.works(db, "summing up", self._clock())
            if self._cycle.sums_fault is not None:
                self._fault("summing up", self._cycle.sums_fault)
            if messages:
                self._wake("deliver-0")
            for message in messages:
                self._say(status.of_message(message, self._watch.current.show))
        except Exception as fault:  # noqa: BLE001
            self._fault("evaluating", fault)
            self._call_on()

    def _call_on(self) -> None:
        """What was told before a fault still goes to the next turn."""
        try:
            with _opened(self._path) as db:
                called = self._cycle.call_on(db, self._clock())
            if called:
                self._wake("deliver-0")
        except Exception as fault:  # noqa: BLE001
            self._fault("evaluating", fault)

    def _deliver(self) -> None:
        try:
            with _opened(self._path) as db:
                watched = self._watch.current
                done = deliver_due(
                    db,
                    watched.show,
                    watched.contacts,
                    self._clock,
                    self._watch.secret,
                    random.random,
                    self._stop.is_set,
                )
                self._faults.works(db, "delivering", self._clock())
            for settled in done:
                line = status.of_settled(settled)
                if line is not None:
                    self._say(line)
        except Exception as fault:  # noqa: BLE001
            self._fault("delivering", fault)

    def _wake(self, name: str) -> None:
        """Have a job run now; one that is running looks again in its own time, an evaluation as
        soon as it has ended.
        """
        # It may be gone already, when the service is being stopped.
        with self._waking, suppress(JobLookupError):
            if not self._stop.is_set():
                self._scheduler.modify_job(name, next_run_time=datetime.now(UTC))

    def _fault(self, part: Part, fault: Exception) -> None:
        self._faults.fails(lambda: open_database(self._path), part, fault, self._clock())

    # ---- the wall clock

    def _mind_the_clock(self) -> None:
        """When the clock was set, whatever waits for a time by the old one is woken."""
        offset = self._clock().timestamp() - time.monotonic()
        moved, self._offset = offset - self._offset, offset
        if abs(moved) < JUMP_S:
            return
        self._say(f"The clock was set by {moved:+.0f} s: everything is looked at again.")
        try:
            with _opened(self._path) as db:
                free_leases(db, self._clock())
                forget_next_tries(db, self._watch.current.show.feeds, self._clock())
                forget_next_warnings(db, self._watch.current.show)
        except DryspellError as fault:
            self._fault("polling", fault)
        self._evaluated_at = 0.0
        for job in self._scheduler.get_jobs():
            self._wake(job.id)


@contextmanager
def _signals(stop: threading.Event) -> Iterator[None]:
    """SIGTERM and SIGINT ask for a clean stop; only the main thread may listen for them."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def heard(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    before = {number: signal.signal(number, heard) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
