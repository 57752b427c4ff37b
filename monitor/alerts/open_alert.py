"""What is remembered of an alert between evaluations, and what one evaluation tells."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from monitor.domain import Action, Alert

SITE = "site"
"""Thunder: one word for the whole site."""
SPENT = "spent"
"""What was not done in time."""
PROTECTS = ("protect", "covered", "uncover", SPENT)
"""Families of work that has to be done by a time."""


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert as last told, and how long forecasts have agreed that it is not needed."""

    family: str
    """As Job.family, or SPENT, or SITE"""
    alert: Alert
    action: Action | None = None
    """What the job asks, kept while the alert says stop"""
    under_cover: bool = False
    """It is about what leaks although it is covered: only bringing it in ends it."""
    calm_runs: int = 0
    calm_since: datetime | None = None
    calm_run: str = ""
    heard: tuple[str, ...] = ()
    """Feeds that said what comes until its done-by; of thunder, those that spoke of it"""
    said_at: datetime | None = None
    """When thunder was last said"""
    heeded: datetime | None = None
    """When the answer was given that was last told of"""


@dataclass(frozen=True, slots=True)
class WatchState:
    """What the monitor remembers between evaluations."""

    open: tuple[OpenAlert, ...] = ()
    last_number: int = 0
    settled: tuple[str, ...] = ()
    """Care already asked for, as "action/fixture": each is asked once while it is due."""


@dataclass(frozen=True, slots=True)
class Change:
    """An alert to tell, and why it is told."""

    alert: Alert
    reason: str


@dataclass(frozen=True, slots=True)
class Source:
    """Which forecast the plan rests on, and when the next word comes."""

    names: tuple[str, ...] = ()
    credit: tuple[str, ...] = ()
    issued_at: datetime | None = None
    run: str = ""
    """Changes with every new forecast; stand-down counts these."""
    next_word_at: datetime | None = None
    reliable: bool = True
    """Whether any of it is not lost: what is lost stands nothing down."""
    gauges: tuple[str, ...] = ()
    """Stations on site that measured some of the past"""
    rain_now: str | None = None
    """Rain on site now, more than any forecast has: a sentence on it"""
    rain_now_until: datetime | None = None
    """Until when it is taken to go on"""
