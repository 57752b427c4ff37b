"""The show as described."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from monitor.domain.code import Code
from monitor.domain.terms import (
    Access,
    Condition,
    ConnectorState,
    Ground,
    Mount,
    Side,
    Stage,
    Terrain,
    WindBasis,
)
from monitor.domain.water import Hours, Puddle, Spray, Washdown


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
    show_units: Literal["metric", "imperial"] = "metric"
    """On the duty page, for a device that has chosen none; everything else is metric"""


@dataclass(frozen=True, slots=True)
class Event:
    """When gear is out, and the hours of the show and of sleep."""

    load_in_at: datetime
    load_out_at: datetime | None = None
    show_hours: Hours | None = None
    quiet_hours: Hours | None = None
    load_in_ends_at: datetime | None = None
    """Until then every connector that is not capped counts as open"""


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
    tickets: tuple[str, ...] = ()
    """What at least one of the working party must hold"""
    daylight: bool = False
    """Whether it is reached by daylight only"""
    isolate_at: str | None = None
    roof: str | None = None
    in_from_front_m: float | None = None
    in_from_right_m: float | None = None
    terrain: Terrain | None = None
    washdown: Literal["none", "low", "high"] = "none"
    washdown_times: tuple[Hours, ...] = ()
    may_flood_m: float | None = None
    spray: Spray | None = None
    puddle: Puddle | None = None


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
    immersion_m: float | None = None
    """How deep under water its maker lets an 8 be; `immersion_minutes` None: for good"""
    immersion_minutes: float | None = None
    value: float = 1.0
    truck: str | None = None
    """Which truck it travels on"""
    case: str | None = None
    """Which case it travels in"""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the crew: what they may do, when they are there, who tells them."""

    name: str
    tickets: tuple[str, ...] = ()
    shifts: tuple[Hours, ...] = ()
    """Empty: there all day and night."""
    call_out_minutes: float | None = None
    """How long to come when called off shift; None: not to be called."""
    contact: str | None = None
    """Name of the contact that reaches them."""


@dataclass(frozen=True, slots=True)
class Crew:
    """How many can work at once, and how long a called one takes to come."""

    parties: int = 1
    call_out_minutes: float = 0.0
    alone: tuple[Access, ...] = ("ground", "none")
    """What somebody alone on site may reach."""
    minute_cost: float | None = None
    """Of one person's minute, in the unit of the fixtures' value; None: the risk alone decides."""
    people: tuple[Person, ...] = ()


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
    kind: Literal["email", "webhook", "folder", "apprise"]
    stages: tuple[Stage, ...] | None = None
    turn: int = 1
    """Told at once (1), or when nobody of the turns before has answered."""
    host: str | None = None
    port: int | None = None
    security: Literal["tls", "starttls", "none"] = "tls"
    user: str | None = None
    password: str | None = None
    sender: str | None = None
    to: tuple[str, ...] = ()
    """Mailboxes; of an apprise contact the secret references of its targets"""
    url: str | None = None
    secret: str | None = None
    path: str | None = None
    short: bool = False
    """Only the radio line, for those with 160 characters"""
    gap_minutes: float = 10.0
    """At most one message in so long, but for what cannot wait; 0: each by itself"""


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
    washdowns: tuple[Washdown, ...] = ()
    revision: str = ""
    """sha256 over the files of the folder."""

    def fixture(self, fixture_id: str) -> Fixture:
        """The row of an id; KeyError where there is none."""
        for fixture in self.fixtures:
            if fixture.id == fixture_id:
                return fixture
        raise KeyError(fixture_id)
