"""Everything a report is made of, and nothing it would have to look up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from monitor.domain import Alert, Answered, Bools, Declared, LogEntry, Show, Turn
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig
from monitor.report.received import Received
from monitor.report.record import Record
from monitor.scores import Scores
from monitor.service.warned import WarningRow
from monitor.store.chain import ChainReport
from monitor.store.history import StoredRevision
from monitor.store.outbox import Delivery
from monitor.units import to_epoch, to_moment

WeatherKind = Literal["measured", "record", "forecast"]


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """A show, what its fixtures took, what was told and what was done.

    `exposure` has one member, the past; its first member is read.
    """

    show: Show
    rig: Rig
    exposure: Exposure
    log: tuple[LogEntry, ...]
    changes: tuple[tuple[Alert, str, datetime], ...]
    """Each change of an alert, its reason, and when it was made"""
    made_at: datetime
    deliveries: tuple[Delivery, ...] = ()
    """Empty in a rehearsal: then a change counts as told when it was made"""
    chain: ChainReport | None = None
    """None: nothing was kept that could be verified"""
    measured: Bools | None = None
    """(step,) of `exposure.steps`: True where the rain was measured on site; None: nowhere"""
    credits: tuple[str, ...] = ()
    title: str = ""
    told_nobody: bool = False
    """Messages went to a folder only"""
    from_: datetime | None = None
    to: datetime | None = None
    """The period; None: from the first step of the weather, to its last"""
    before: Carried | None = None
    """What every group had taken when the period begins; None: nothing"""
    bare: Exposure | None = None
    """What every fixture would have taken had nobody kept water off; None: not worked out"""
    rehearsed: bool = False
    scores: Scores | None = None
    """How good the forecasts were; None: there were none to judge"""
    warnings: tuple[WarningRow, ...] = ()
    """Official warnings in force within the period, in the order they came"""
    notes: tuple[str, ...] = ()
    """Sentences on how the material was gathered"""
    answered: tuple[Answered, ...] = ()
    """What the crew answered to alerts, oldest first"""
    turns: tuple[Turn, ...] = ()
    """Whom each alert was told to and why them, oldest first"""
    declared: tuple[Declared, ...] = ()
    """What people on site declared open again, oldest first"""
    received: tuple[Received, ...] = ()
    """Every run of weather that came, oldest first"""
    revisions: tuple[StoredRevision, ...] = ()
    """The show's files as they were in force, oldest first"""
    earlier: tuple[Record, ...] = ()
    """Reports of earlier shows whose exposure is carried on, oldest first"""

    def __post_init__(self) -> None:
        steps = self.exposure.steps.hours
        if self.measured is not None and self.measured.shape != steps.shape:
            raise ValueError(
                f"measured marks {self.measured.shape} steps, the exposure has {steps.shape}"
            )

    @property
    def period(self) -> tuple[float, float]:
        """Begin and end of what is reported [s]; equal where nothing is."""
        weather = self.exposure.steps.weather
        known = len(weather.starts) > 0
        first = to_epoch(self.made_at) if not known else float(weather.starts[0])
        last = first if not known else float(weather.ends[-1])
        start = first if self.from_ is None else to_epoch(self.from_)
        end = max(start, last) if self.to is None else to_epoch(self.to)
        return start, max(start, end)

    @property
    def begins_at(self) -> datetime:
        """The begin of the period."""
        return to_moment(self.period[0])

    @property
    def ends_at(self) -> datetime:
        """The end of the period."""
        return to_moment(self.period[1])

    def kinds(self) -> tuple[WeatherKind, ...]:
        """What each step's weather rests on: measured, record or forecast."""
        forecast = self.exposure.steps.weather.forecast
        measured = np.zeros(len(forecast), dtype=bool) if self.measured is None else self.measured
        return tuple(
            "measured" if m else "forecast" if f else "record"
            for m, f in zip(measured.tolist(), forecast.tolist(), strict=True)
        )
