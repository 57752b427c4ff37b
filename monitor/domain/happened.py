"""What happened on site, as the crew and its stations tell it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from monitor.domain.terms import (
    Action,
    AnswerKind,
    CannotBecause,
    CounterResets,
    EntryKind,
    InspectionResult,
    Stage,
)


@dataclass(frozen=True, slots=True)
class LogEntry:
    """What the crew did, at the time it happened. Exactly one of position, fixture is set."""

    at: datetime
    entry: EntryKind
    position: str | None = None
    fixture: str | None = None
    count: tuple[int, int] | None = None
    """(3, 15) for "3 of 15"; None: all of it."""
    to: str | None = None
    result: InspectionResult | None = None
    by: str | None = None
    note: str | None = None
    earth_ohm: float | None = None
    """Earth continuity as tested [ohm]"""
    insulation_mohm: float | None = None
    """Insulation as tested [megohm]"""


@dataclass(frozen=True, slots=True)
class Answered:
    """What somebody said to an alert, and to which order, so that the plan can follow it."""

    at: datetime
    alert: str
    answer: AnswerKind
    position: str | None = None
    family: str = ""
    """As Job.family of the alert that was answered"""
    fixtures: tuple[str, ...] = ()
    """Of the alert as it stood then"""
    because: CannotBecause | None = None
    until: datetime | None = None
    """Until when it cannot be done; None: until something else is said or logged there"""
    by: str | None = None
    note: str | None = None
    action: Action | None = None
    """What the alert asked for then; None: not kept, as before it was, or it asked for no work"""


@dataclass(frozen=True, slots=True)
class Turn:
    """Whom an alert was told to at a moment, why them, and until when an answer is awaited."""

    at: datetime
    alert: str
    stage: Stage
    action: Action | None
    contacts: tuple[str, ...]
    """Names, as in the show folder then"""
    because: Literal["told", "no-answer", "cannot", "not-delivered"]
    """`told`: the alert changed; the rest: why the next were told of it as it stood"""
    answers: int = 0
    """How many answers to the alert were known by then"""
    until: datetime | None = None
    """When the next are told if nobody answers; None: no answer is awaited"""
    began: datetime | None = None
    """Since when an answer to this order is awaited; None where none is"""


@dataclass(frozen=True, slots=True)
class Declared:
    """What a competent person on site opened again after weather: never said by the monitor."""

    at: datetime
    what: Literal["height", "power"]
    """Work at height; putting power on again"""
    by: str
    position: str | None = None
    """None: the whole site"""
    note: str | None = None


@dataclass(frozen=True, slots=True)
class SetUp:
    """How somebody described the rig anew on the duty page: what changed of the show folder."""

    at: datetime
    by: str
    says: str
    """`height_m 7.5 to 8; roof stage`"""
    revision: str
    """Of the show folder as it was made by this"""
    before: str
    """The revision that it was made of"""
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """What one station said of one moment, in canonical units; None: not said or impossible.

    Rain comes in one of two forms: `rain_total_mm`, a counter that only grows until it
    `resets`, or `rain_mm` that fell in the `period_s` before `at`. Wind, gust and the rest
    are of the time up to `at`. `raining` is the crew's word alone.
    """

    station: str
    at: datetime
    rain_total_mm: float | None = None
    resets: CounterResets = "never"
    """When the counter begins anew of itself, on the site's calendar."""
    rain_mm: float | None = None
    period_s: float | None = None
    wind_mps: float | None = None
    gust_mps: float | None = None
    wind_from_deg: float | None = None
    temp_c: float | None = None
    dew_point_c: float | None = None
    humidity_pct: float | None = None
    battery_ok: bool | None = None
    raining: bool | None = None
    by: str | None = None
    told: tuple[str, ...] = ()
    """What was left out of it, and why."""
