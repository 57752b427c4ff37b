"""Everything the sheets are made of, at one moment; nothing in it has to be looked up."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from monitor.alerts.clock import SiteClock
from monitor.alerts.lifecycle import Source
from monitor.alerts.words import one_line
from monitor.briefing.outlook import Outlook, outlook
from monitor.domain import Answered, Declared, LogEntry, Show
from monitor.evaluation import Evaluation
from monitor.exposure.results import Carried
from monitor.exposure.rig import Rig
from monitor.planning.covers_on import CoverOn, covers_on
from monitor.planning.daylight import dark_spans
from monitor.planning.inspection import Inspect, queue
from monitor.planning.present import Present
from monitor.planning.workable import Span
from monitor.store.handovers import Handover
from monitor.store.history import StoredAlert
from monitor.units import SECONDS_PER_DAY, to_epoch


@dataclass(frozen=True, slots=True)
class Told:
    """That an alert as it stands was sent to a contact, or why it was not."""

    alert: str
    contact: str
    state: str
    """queued | sent | given-up | cancelled"""
    at: datetime | None


@dataclass(frozen=True, slots=True)
class Opened:
    """What was declared open, and what ended that."""

    declared: Declared
    ended_at: datetime | None = None
    ended_by: str | None = None
    """stop | rain; None: it stands"""

    @property
    def stands(self) -> bool:
        """Nothing has ended it."""
        return self.ended_at is None


@dataclass(frozen=True, eq=False)
class Known:
    """What is known at `now`."""

    rig: Rig
    now: datetime
    found: Evaluation
    log: tuple[LogEntry, ...]
    """Entries until now, oldest first"""
    alerts: tuple[StoredAlert, ...] = ()
    """Those that are open"""
    told: tuple[Told, ...] = ()
    answers: tuple[Answered, ...] = ()
    """Oldest first"""
    declared: tuple[Opened, ...] = ()
    """Oldest first"""
    handed: Handover | None = None
    """The last handing over that both sides ticked"""
    source: Source = field(default_factory=Source)
    said_at: datetime | None = None
    """When the oldest of the forecasts was issued, else read"""
    lost: tuple[str, ...] = ()
    """What is wrong with feeds and stations, in sentences"""
    sources: int = 0
    """How many feeds and stations there are"""
    closed: tuple[Span, ...] = ()
    """Spans that an official warning closes"""

    @property
    def show(self) -> Show:
        """The show as it is now."""
        return self.rig.show

    @property
    def now_s(self) -> float:
        """The moment in seconds."""
        return to_epoch(self.now)

    @cached_property
    def clock(self) -> SiteClock:
        """The site's clock."""
        return SiteClock(self.show.site.timezone, self.now)

    @cached_property
    def outlook(self) -> Outlook:
        """The next 24 hours."""
        return outlook(self.show, self.found.ahead, self.now_s)

    @cached_property
    def covers(self) -> tuple[CoverOn, ...]:
        """What stands covered by the log."""
        return covers_on(self.rig, self.log, self.now)

    @cached_property
    def to_inspect(self) -> tuple[Inspect, ...]:
        """What there is to inspect, in order."""
        return queue(self.rig, self.found.past, self.log, self.now)

    @cached_property
    def dark(self) -> tuple[Span, ...]:
        """Sunset to sunrise, from the day before until the day after."""
        from_s, until_s = self.now_s - SECONDS_PER_DAY, self.outlook.end_s + SECONDS_PER_DAY
        return dark_spans(self.show.site, from_s, until_s)

    @cached_property
    def present(self) -> Present:
        """Who is out, where, and how much of each is used."""
        past = self.found.past
        groups = len(self.found.ahead.groups)
        so_far = Carried.nothing(groups) if past is None else past.carried
        return Present(self.found.ahead, so_far, self.now_s)

    @property
    def past_known(self) -> bool:
        """Whether there is weather of the time since the gear went out, if that has begun."""
        return self.found.past is not None or self.now <= self.show.event.load_in_at

    def place(self, position: str | None) -> str:
        """A position in crew words."""
        if position is None:
            return "whole site"
        known = self.show.positions.get(position)
        return one_line("" if known is None else known.name) or position

    def place_of(self, entry: LogEntry) -> str:
        """What a log entry is about: a place, or a fixture and its place."""
        if entry.fixture is None:
            return self.place(entry.position)
        index = self.rig.index_of.get(entry.fixture)
        where = None if index is None else self.show.fixtures[index].position
        return f"{entry.fixture}, {self.place(where)}" if where else entry.fixture
