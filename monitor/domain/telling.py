"""What to do, and telling it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from monitor.domain.terms import Access, Action, AlertKind, Stage


@dataclass(frozen=True, slots=True)
class Wait:
    """Fixtures of a job that can wait, and until when."""

    fixtures: tuple[str, ...]
    do_by: datetime


@dataclass(frozen=True, slots=True)
class Official:
    """An official warning in the words of the service that gives it, for quoting."""

    service: str
    event: str | None = None
    """None: the alert is about the service itself, which cannot be read."""
    quoted: tuple[str, ...] = ()
    """Whole paragraphs as they were sent."""
    said: tuple[str, ...] = ()
    """Sentences of ours on its source, times and area, not quoted."""
    begins: datetime | None = None
    until: datetime | None = None
    closes_until: datetime | None = None
    """Until when it keeps all work outdoors closed; None: it closes nothing"""


@dataclass(frozen=True, slots=True)
class FeedSays:
    """What one feed on its own says of a job."""

    feed: str
    do_by: datetime | None
    """When its own members cross at the risk; None: not as far as it reaches"""
    to: datetime | None
    """How far it reaches; None: it says nothing"""
    members: int = 1
    wet_from: datetime | None = None
    wet_to: datetime | None = None
    """Its own first and last rain of the spell; None: it has none"""
    rain_mm: float | None = None
    """Mean of its members over the spell [mm]"""


@dataclass(frozen=True, slots=True)
class Worth:
    """Why acting pays, or does not: both in the unit of the fixtures' value."""

    cost: float
    """Of the crew's minutes"""
    at_stake: float
    """Value of the fixtures"""
    chance: float
    """That they are spent"""


@dataclass(frozen=True, slots=True)
class Facts:
    """What a message says beside the alert object itself. None: not known, not said."""

    site_name: str = ""
    timezone: str = "UTC"
    position_name: str = ""
    fixture_names: tuple[str, ...] = ()
    """What the fixtures are, in crew words, most numerous first: "6 moving beam, IP54"."""
    weakest: str | None = None
    rain_mm: float | None = None
    """Rain on the horizontal from now to the end of the spell [mm]."""
    driven_mm: float | None = None
    """Water on the worst plane of the worst fixture over the spell [mm]."""
    wet_from: datetime | None = None
    wet_to: datetime | None = None
    wind_mps: float | None = None
    wind_from_deg: float | None = None
    gust_mps: float | None = None
    """Greatest gust at the position's height in the spell [m/s]."""
    gust_at: datetime | None = None
    gap: str | None = None
    """Where it comes in: "under the front edge of the roof, 1.0 m in", "open sky"."""
    used: float | None = None
    can_wait: tuple[Wait, ...] = ()
    access: Access | None = None
    access_limit_mps: float | None = None
    access_closes_at: datetime | None = None
    blocked_by: str | None = None
    """"gust 14 m/s at 9 m, limit 12.5" or "thunder"."""
    blocked_until: datetime | None = None
    cover_name: str | None = None
    cover_gust_limit_mps: float | None = None
    sources: tuple[str, ...] = ()
    """Which forecast: "hourly forecast A"."""
    gauges: tuple[str, ...] = ()
    """Stations on site that measured some of the past"""
    rain_now: str | None = None
    """Where it rests on rain that falls now and that no forecast has: a sentence on it"""
    issued_at: datetime | None = None
    credit: tuple[str, ...] = ()
    next_word_at: datetime | None = None
    late: bool = False
    """No start left would have it done in time."""
    says_so: int | None = None
    """How many of the alert's `members` forecasts say so, by whom its chance is reckoned."""
    by_feed: tuple[FeedSays, ...] = ()
    who: tuple[str, ...] = ()
    """Who is planned to do it"""
    handed_to: tuple[str, ...] = ()
    """Who carries on after a shift change in the middle of it"""
    handed_at: datetime | None = None
    late_minutes: float | None = None
    """How much after its do-by it can be done at best; None: not late, or never done"""
    worth: Worth | None = None
    """Where the show prices a minute: what acting costs against what it saves"""
    covers: tuple[tuple[str, int], ...] = ()
    """Which covers from the stock, and how many, most numerous first"""
    not_covered_because: str | None = None
    """Why it is brought in where covers were given: "4 hoods left, 6 wanted"."""
    spent_live: bool = False
    """Its allowance is spent, nothing says that it is isolated, and water reaches it"""
    logged_done: bool = False
    """The log says that what the alert asked is done"""
    answered: tuple[str, ...] = ()
    """What the crew answered, in sentences"""
    extra: tuple[str, ...] = ()
    """Whole sentences to add as they are (on-watch assumptions, what a lost feed leaves)."""
    official: Official | None = None
    """What an official warning service says, where the alert tells that."""


@dataclass(frozen=True, slots=True)
class Alert:
    """The one alert object everywhere; see `wording.as_json` for its JSON."""

    id: str
    kind: AlertKind
    stage: Stage
    action: Action | None
    position: str | None
    fixtures: tuple[str, ...]
    count: int
    people: int
    minutes: float | None
    isolate_at: str | None
    start_by: datetime | None
    do_by: datetime | None
    members: int
    probability: float | None
    at: datetime
    reason: str
    cautions: tuple[str, ...] = ()
    facts: Facts = field(default_factory=Facts)


@dataclass(frozen=True, slots=True)
class Message:
    """An alert in words, ready to send through any contact."""

    alert_id: str
    kind: Literal["work", "stop", "weather", "delivery", "watch", "test"]
    stage: Stage | None
    subject: str
    text: str
    radio: str
    data: Mapping[str, Any]
    thread: str
    """Stable across the changes of one alert: the first mail's Message-ID stem."""
    at: datetime


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one attempt to send. `lasting` failures are not tried again."""

    sent: bool
    lasting: bool = False
    detail: str = ""
    retry_after_s: float | None = None
