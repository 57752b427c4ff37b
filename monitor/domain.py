"""Frozen records that every part of the program passes to the next.

Conventions, said once: array axes are (member, step, group) and an absent axis has length
1; a step is [start, end) in UTC; wind comes FROM; missing is NaN in arrays and None in
records, never zero, and can never lower an alert.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Terrain = Literal["I", "II", "III", "IV"]
Ground = Literal["grass", "hard", "bare"]
Side = Literal["front", "right", "back", "left"]
Access = Literal["ground", "ladder", "platform", "climb", "lowered-truss", "none"]
Mount = Literal["upright", "inverted", "tilted", "any"]
Condition = Literal["new", "hire", "worn"]
ConnectorState = Literal["mated", "open", "capped"]
WindBasis = Literal["open", "local"]
Standing = Literal["indoor", "temporary", "extended", "permanent"]
Part = Literal["fixture", "supply", "connector"]
Stage = Literal["notice", "start", "overdue", "stop", "stood-down"]
Action = Literal["cover", "bring-in", "isolate", "uncover", "inspect", "clean"]
AlertKind = Literal["work", "stop", "weather", "delivery"]
EntryKind = Literal[
    "put-out",
    "covered",
    "uncovered",
    "brought-in",
    "inspected",
    "cleaned",
    "isolated",
    "energised",
    "capped",
    "uncapped",
    "moved",
    "wet",
]
CounterResets = Literal["never", "daily", "monthly", "yearly"]
InspectionResult = Literal["dry", "damp", "water-inside", "not-tested"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input: where, what, and what would be right.

    `code` is a short hyphenated name that never changes (`unknown-position`); `line` counts
    from 1; `key` is the settings path or the column. `refused` False means told, not fatal.
    """

    code: str
    says: str
    remedy: str
    file: str | None = None
    line: int | None = None
    key: str | None = None
    refused: bool = True


class DryspellError(Exception):
    """Anything the program says to a person on its way out."""


class BadInputError(DryspellError):
    """The input is wrong; carries every problem found. Exit code 2."""

    def __init__(self, problems: tuple[Problem, ...] | list[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(p.says for p in self.problems))


class UnableError(DryspellError):
    """The machine would not let it (disk, port, lock, fault). Exit code 3."""

    def __init__(self, says: str, remedy: str) -> None:
        self.says = says
        self.remedy = remedy
        super().__init__(f"{says} {remedy}")


# ---------------------------------------------------------------- the code on the label


@dataclass(frozen=True, slots=True)
class Code:
    """An ingress-protection code as understood.

    `dust` is the lowest first digit of the label, None where not stated. `water` holds the
    digits that are credited after the rules for double labels: (6, 7) for IP66/IP67, (0,) for
    IP65/IP20, () for X. `label` is the text as typed, `canonical` the same in standard form.
    """

    label: str
    canonical: str
    dust: int | None
    water: tuple[int, ...]
    dust_k: bool = False
    water_k: bool = False
    letters: str = ""
    repairs: tuple[str, ...] = ()
    two_parts: bool = False

    @property
    def unstated(self) -> tuple[str, ...]:
        """Which digits the label leaves open: "dust", "water"."""
        names = []
        if self.dust is None:
            names.append("dust")
        if not self.water:
            names.append("water")
        return tuple(names)


# ---------------------------------------------------------------- the show, as described


@dataclass(frozen=True, slots=True)
class Site:
    """Where the show is: place, clock, what the wind crosses, what the ground is."""

    name: str
    latitude: float
    longitude: float
    elevation_m: float
    timezone: ZoneInfo
    terrain: Terrain
    ground: Ground | None = None
    show_units: str = "metric"


@dataclass(frozen=True, slots=True)
class Hours:
    """A daily span of site time; end before start runs over midnight."""

    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Event:
    """When gear is out, and the hours of the show and of sleep."""

    load_in_at: datetime
    load_out_at: datetime | None = None
    show_hours: Hours | None = None
    quiet_hours: Hours | None = None


@dataclass(frozen=True, slots=True)
class Roof:
    """Rectangular in plan; right is clockwise from front seen from above."""

    id: str
    facing_deg: float
    width_m: float
    depth_m: float
    edge_height_m: float
    closed: frozenset[Side] = frozenset()


@dataclass(frozen=True, slots=True)
class Spray:
    """Water thrown by a fountain or surf: `bearing_deg` is from the fixture to the source."""

    height_m: float
    distance_m: float
    bearing_deg: float
    lost_litres_per_minute: float
    salt: bool = False
    on: tuple[Hours, ...] = ()
    """Empty: always on."""


@dataclass(frozen=True, slots=True)
class Position:
    """A place where fixtures hang, and what reaching it takes."""

    id: str
    name: str
    height_m: float
    access: Access
    access_limit_mps: float | None
    """Gust at the position's height above which nobody works there; None: no wind limit."""
    setup_minutes: float
    cover_minutes_each: float
    bring_in_minutes_each: float
    people_needed: int
    isolate_at: str | None = None
    roof: str | None = None
    in_from_front_m: float | None = None
    in_from_right_m: float | None = None
    terrain: Terrain | None = None
    washdown: Literal["none", "low", "high"] = "none"
    washdown_times: tuple[Hours, ...] = ()
    may_flood_m: float | None = None
    spray: Spray | None = None


@dataclass(frozen=True, slots=True)
class Cover:
    """`keeps_out_to_deg`: an open-bottomed hood; drops steeper off vertical get in."""

    id: str
    name: str
    keeps_out_to_deg: float | None = None
    sealed: bool = False
    gust_limit_mps: float | None = None
    in_stock: int = 0
    may_run: bool = False
    minutes_on_max: float | None = None


@dataclass(frozen=True, slots=True)
class Fixture:
    """One row of fixtures.csv. `code` is None where the label could not be read (then the
    show is refused) and never otherwise; supply and connector None means not given.
    """

    id: str
    code: Code
    position: str
    name: str | None = None
    type: str | None = None
    serial: str | None = None
    owner: str | None = None
    count: int = 1
    supply_code: Code | None = None
    connector_code: Code | None = None
    connector_open_code: Code | None = None
    connector_state: ConnectorState = "mated"
    mount: Mount = "any"
    tilt_deg: float | None = None
    facing_deg: float | None = None
    condition: Condition = "hire"
    surface_m2: float = 0.5
    height_m: float | None = None
    in_from_front_m: float | None = None
    in_from_right_m: float | None = None
    fed_by: str | None = None
    cover: str | None = None
    fan_cooled: bool = False
    may_run_covered: bool = False
    stated_mm: float | None = None
    stated_hours_in_rain: float | None = None
    value: float = 1.0


@dataclass(frozen=True, slots=True)
class Crew:
    """How many can work at once, and how long a called one takes to come."""

    parties: int = 1
    call_out_minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Policy:
    """Section 11 of the exposure model; defaults live in config/policy.toml."""

    risk: float
    hourly_margin: float
    run_off_mm: float
    run_off_dries: bool
    taper_deg: float
    condition_new: float
    condition_hire: float
    condition_worn: float
    surface_floor_m2: float
    strict_immersion: bool
    temporary_wet_hours: float | None
    eddy_share: float
    splash_height_m: float
    frozen_all_c: float
    frozen_none_c: float
    dry_below_mm_h: float
    dry_below_long_mm_h: float
    direction_spread_deg: float
    stay_days_temporary: float
    stay_days_extended: float
    damp_hours_check: float
    dust_wind_mps: float
    dust_gust_mps: float
    dust_bare_wind_mps: float
    dust_bucket_mm: float
    dust_dry_mm: float
    clean_after_hours: float
    film_mm: float
    wet_rate_mm_h: float
    salt_factor: float
    notice_hours: float
    start_margin_minutes: float
    stand_down_runs: int
    stand_down_minutes: float
    half_used_warns: bool


@dataclass(frozen=True, slots=True)
class Feed:
    """One `[[feeds]]` entry. `key` is a secret reference (`env:NAME`, `file:PATH`)."""

    sheet: str
    base_url: str | None = None
    key: str | None = None
    contact: str | None = None
    poll_minutes: float | None = None
    max_age_hours: float | None = None
    wind_basis: WindBasis = "open"
    wind_height_m: float = 10.0
    file: str | None = None


@dataclass(frozen=True, slots=True)
class Contact:
    """One `[[contacts]]` entry; secrets stay references until the moment of sending."""

    name: str
    kind: Literal["email", "webhook", "folder"]
    stages: tuple[Stage, ...] | None = None
    host: str | None = None
    port: int | None = None
    security: Literal["tls", "starttls", "none"] = "tls"
    user: str | None = None
    password: str | None = None
    sender: str | None = None
    to: tuple[str, ...] = ()
    url: str | None = None
    secret: str | None = None
    path: str | None = None


@dataclass(frozen=True, slots=True)
class Gauge:
    """One `[[gauges]]` entry: a station on the site that measures. `file`: a CSV that grows."""

    station: str
    every_minutes: float = 5.0
    """How often it is heard of when it works."""
    wind_height_m: float = 10.0
    wind_basis: WindBasis = "local"
    file: str | None = None


@dataclass(frozen=True, slots=True)
class WarningsFrom:
    """One `[[warnings]]` entry: where an official warning service publishes."""

    name: str
    url: str
    form: Literal["cap", "geojson"] = "cap"
    """`cap`: an Atom or RSS index of CAP messages, or one message; `geojson`: features."""
    areas: tuple[str, ...] = ()
    """Area codes that count as the site's beside what the shapes say."""
    language: str | None = None
    contact: str | None = None
    poll_minutes: float = 10.0
    thunder_words: tuple[str, ...] = ()
    """Words that mean thunder in what it publishes, beside those that are known."""


@dataclass(frozen=True, slots=True)
class Page:
    """Where the page will listen."""

    listen: str = "127.0.0.1:8036"
    public_url: str | None = None


@dataclass(frozen=True, slots=True)
class Show:
    """A show folder as understood: everything the rest of the program reads."""

    site: Site
    event: Event
    positions: Mapping[str, Position]
    fixtures: tuple[Fixture, ...]
    policy: Policy
    roofs: Mapping[str, Roof] = field(default_factory=dict)
    covers: Mapping[str, Cover] = field(default_factory=dict)
    crew: Crew = field(default_factory=Crew)
    feeds: tuple[Feed, ...] = ()
    archives: tuple[Feed, ...] = ()
    """Feeds of past years: asked by a rehearsal, never watched"""
    contacts: tuple[Contact, ...] = ()
    gauges: tuple[Gauge, ...] = ()
    warnings: tuple[WarningsFrom, ...] = ()
    page: Page = field(default_factory=Page)
    revision: str = ""
    """sha256 over the files of the folder."""

    def fixture(self, fixture_id: str) -> Fixture:
        """The row of an id; KeyError where there is none."""
        for fixture in self.fixtures:
            if fixture.id == fixture_id:
                return fixture
        raise KeyError(fixture_id)


# ---------------------------------------------------------------- what happened


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


WEATHER_VALUES = (
    "rain_mm",
    "wind_mps",
    "gust_mps",
    "wind_from_deg",
    "temp_c",
    "dew_point_c",
    "cloud_pct",
    "thunder",
)
"""The (member, step) arrays of Weather, in the order of a weather record's columns."""


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """Weather over steps, for one or more members, in canonical units.

    Parameters
    ----------
    starts, ends : (step,) seconds since 1970-01-01T00:00Z, half-open, rising, no overlap;
        gaps are allowed and mean not known.
    rain_mm : (member, step) depth over the step on the horizontal, snow as melted [mm]
    wind_mps : (member, step) mean over the step at `wind_height_m` [m/s]
    gust_mps : (member, step) greatest gust in the step at `wind_height_m` [m/s]
    wind_from_deg : (member, step) [deg]
    temp_c, dew_point_c, cloud_pct : (member, step) [C, C, %]
    thunder : (member, step) 1 yes, 0 no, NaN not known
    weights : (member,) sums to 1
    forecast : (step,) True where the step is a forecast's (charged with hourly_margin), False
        where it is a record or a measurement; (member, step) where members differ in it
    feed_of : (member,) index of the feed of each member, for pooling
    """

    starts: Floats
    ends: Floats
    rain_mm: Floats
    wind_mps: Floats
    gust_mps: Floats
    wind_from_deg: Floats
    temp_c: Floats
    dew_point_c: Floats
    cloud_pct: Floats
    thunder: Floats
    weights: Floats
    forecast: Bools
    wind_basis: WindBasis = "open"
    wind_height_m: float = 10.0
    source: str = ""
    credit: str = ""
    issued_at: datetime | None = None
    fetched_at: datetime | None = None
    members: tuple[str, ...] = ("0",)
    feed_of: tuple[int, ...] = (0,)
    dropped: tuple[str, ...] = ()
    cut_from_hours: Floats | None = None
    """(step,) length of the step each was cut from [h], (member, step) where members have
    steps of their own; None: nothing was cut
    """
    cut_from_starts: Floats | None = None
    """(member, step) begin of each member's own step [s]; None: all have these steps"""
    feeds: tuple[str, ...] = ()
    """Names by the numbers in `feed_of`; empty: one feed, named `source`"""
    shares: Floats | None = None
    """(member, step) share of each member in each step, 1 in all: the past, where members are
    pooled step by step. None: members run whole
    """
    measured: Bools | None = None
    """(variable, step) in the order of WEATHER_VALUES, True where a value was measured on site;
    None: not told
    """

    @property
    def whole_hours(self) -> Floats:
        """Length of each step as it was issued (step,) or (member, step) [h]: dry thresholds
        and the hourly margin go by it.
        """
        return self.hours if self.cut_from_hours is None else self.cut_from_hours

    @property
    def hours(self) -> Floats:
        """Length of each step (step,) [h]."""
        return (self.ends - self.starts) / 3600.0

    def between(self, start_s: float, end_s: float) -> Weather:
        """The steps that start in [start_s, end_s), whole."""
        return self.take(np.flatnonzero((self.starts >= start_s) & (self.starts < end_s)))

    def take(self, index: NDArray[np.intp]) -> Weather:
        """The steps at `index`, in that order."""
        columns = {name: getattr(self, name)[:, index] for name in WEATHER_VALUES}
        for name in ("cut_from_hours", "cut_from_starts", "shares", "measured"):
            told: NDArray[Any] | None = getattr(self, name)
            columns[name] = None if told is None else told[..., index]
        return replace(
            self,
            starts=self.starts[index],
            ends=self.ends[index],
            forecast=self.forecast[..., index],
            **columns,
        )


# ---------------------------------------------------------------- what to do, and telling it


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


@dataclass(frozen=True, slots=True)
class FeedSays:
    """What one feed on its own says of a job."""

    feed: str
    do_by: datetime | None
    """When its own members cross at the risk; None: not as far as it reaches"""
    to: datetime | None
    """How far it reaches; None: it says nothing"""
    members: int = 1


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
    issued_at: datetime | None = None
    credit: tuple[str, ...] = ()
    next_word_at: datetime | None = None
    late: bool = False
    """No start left would have it done in time."""
    says_so: int | None = None
    """How many of the alert's `members` forecasts say so, by whom its chance is reckoned."""
    by_feed: tuple[FeedSays, ...] = ()
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
