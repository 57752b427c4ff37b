"""show.toml as models: which keys there are, and what each may hold.

Unknown keys are refused at every level and no error ever carries a value, so that a secret
in the wrong place cannot be printed.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, Field
from pydantic_core import PydanticCustomError
from pydantic_settings import BaseSettings, InitSettingsSource, SettingsConfigDict

from monitor.builtin import builtin
from monitor.domain import (
    Access,
    Ground,
    Policy,
    Side,
    Stage,
    Terrain,
    WindBasis,
)
from monitor.show.part import Part
from monitor.show.values import Between, Identifier, OneOf, Several, Stamp, Text, Zone
from monitor.show.water_parts import PuddlePart, SprayPart, WashdownPart

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic_settings import PydanticBaseSettingsSource

_TERRAIN = OneOf(
    *("I", "II", "III", "IV"),
    standing_for={"water": "I", "field": "II", "suburb": "III", "town": "IV"},
)
_Azimuth = Annotated[float, Between(0, 360)]
_Height = Annotated[float, Between(-2, 150)]
_Minutes = Annotated[float, Between(0, 1440)]
_Gust = Annotated[float, Between(0, 100, above=True)]
_Share = Annotated[float, Between(0, 1)]
_Hours = Annotated[float, Between(0, 10_000, above=True)]
_Side = Annotated[Side, OneOf("front", "right", "back", "left")]
_Kind = Annotated[
    Literal["email", "webhook", "folder", "apprise"],
    OneOf("email", "webhook", "folder", "apprise"),
]
_Security = Annotated[Literal["tls", "starttls", "none"], OneOf("tls", "starttls", "none")]
_Access = Annotated[Access, OneOf("ground", "ladder", "platform", "climb", "lowered-truss", "none")]
_Stage = Annotated[Stage, OneOf("notice", "start", "overdue", "stop", "stood-down")]


class SitePart(Part):
    """Where the show is and what lies around it."""

    name: Text = Field(description="the name of the site, as messages should say it")
    latitude: Annotated[float, Between(-90, 90)] = Field(description="degrees, north is positive")
    longitude: Annotated[float, Between(-180, 180)] = Field(description="degrees, east is positive")
    elevation_m: Annotated[float, Between(-450, 6000)] = Field(
        description="metres above sea level, from any map"
    )
    timezone: Zone = Field(description='the site\'s time zone, like "Europe/London"')
    terrain: Annotated[Terrain, _TERRAIN] = Field(
        description="what the wind crosses to reach the site: water, field, suburb or town"
    )
    ground: Annotated[Ground, OneOf("grass", "hard", "bare")] | None = None
    show_units: Annotated[Literal["metric", "imperial"], OneOf("metric", "imperial")] = "metric"


class EventPart(Part):
    """When gear is out and when people are about."""

    load_in_at: Stamp = Field(description='when gear is out from, like "2027-07-15T13:00"')
    load_out_at: Stamp | None = None
    show_hours: Text | None = None
    quiet_hours: Text | None = None
    load_in_ends_at: Stamp | None = None


class RoofPart(Part):
    """A roof, rectangular in plan."""

    id: Identifier = Field(description="a short name of its own")
    facing_deg: _Azimuth = Field(
        description="the way its front faces, in degrees clockwise from north"
    )
    width_m: Annotated[float, Between(0, 500, above=True)] = Field(
        description="metres along the front edge"
    )
    depth_m: Annotated[float, Between(0, 500, above=True)] = Field(
        description="metres from the front edge to the back edge"
    )
    edge_height_m: Annotated[float, Between(0, 150, above=True)] = Field(
        description="metres from the ground to the edge the rain passes under"
    )
    closed: Annotated[tuple[_Side, ...], Several] = ()


class PositionPart(Part):
    """A place where fixtures are; what is left out follows from how it is reached."""

    id: Identifier = Field(description="a short name of its own")
    name: Text | None = None
    height_m: _Height = Field(description="metres from the ground to the fixtures")
    access: _Access = Field(
        description="how people reach it: ground, ladder, platform, climb, lowered-truss or none"
    )
    access_limit_mps: _Gust | None = None
    setup_minutes: _Minutes | None = None
    cover_minutes_each: _Minutes | None = None
    bring_in_minutes_each: _Minutes | None = None
    people_needed: Annotated[int, Between(1, 100, whole=True)] | None = None
    tickets: Annotated[tuple[Text, ...], Several] = ()
    daylight: bool = False
    isolate_at: Text | None = None
    roof: Identifier | None = None
    in_from_front_m: Annotated[float, Between(0, 500)] | None = None
    in_from_right_m: Annotated[float, Between(0, 500)] | None = None
    terrain: Annotated[Terrain, _TERRAIN] | None = None
    washdown: Annotated[Literal["none", "low", "high"], OneOf("none", "low", "high")] = "none"
    washdown_times: Annotated[tuple[Text, ...], Several] = ()
    may_flood_m: Annotated[float, Between(0, 50)] | None = None
    spray: SprayPart | None = None
    puddle: PuddlePart | None = None


class CoverPart(Part):
    """A kind of cover; open-bottomed or sealed."""

    id: Identifier = Field(description="a short name of its own")
    name: Text | None = None
    keeps_out_to_deg: Annotated[float, Between(0, 180)] | None = None
    sealed: bool = False
    gust_limit_mps: _Gust | None = None
    in_stock: Annotated[int, Between(0, 1_000_000, whole=True)] = 0
    may_run: bool = False
    minutes_on_max: Annotated[float, Between(0, 100_000, above=True)] | None = None


class CrewPart(Part):
    """Who is there to do it."""

    parties: Annotated[int, Between(1, 100, whole=True)] = 1
    call_out_minutes: _Minutes = 0.0
    alone: Annotated[tuple[_Access, ...], Several] = ("ground", "none")
    minute_cost: Annotated[float, Between(0, 1_000_000, above=True)] | None = None


class PersonPart(Part):
    """Somebody of the crew."""

    name: Text = Field(description="what they are called on site")
    tickets: Annotated[tuple[Text, ...], Several] = ()
    shifts: Annotated[tuple[Text, ...], Several] = ()
    call_out_minutes: _Minutes | None = None
    contact: Text | None = None


class PolicyPart(Part):
    """The settings of the exposure model; config/policy.toml has their defaults."""

    risk: Annotated[float, Between(0, 1, above=True)]
    hourly_margin: Annotated[float, Between(1, 10)]
    run_off_mm: Annotated[float, Between(0, 100, above=True)]
    run_off_dries: bool
    taper_deg: Annotated[float, Between(0, 180)]
    condition_new: Annotated[float, Between(0, 1, above=True)]
    condition_hire: Annotated[float, Between(0, 1, above=True)]
    condition_worn: Annotated[float, Between(0, 1, above=True)]
    surface_floor_m2: Annotated[float, Between(0, 1000, above=True)]
    strict_immersion: bool
    temporary_wet_hours: _Hours | None = None
    eddy_share: _Share
    splash_height_m: Annotated[float, Between(0, 10)]
    frozen_all_c: Annotated[float, Between(-40, 40)]
    frozen_none_c: Annotated[float, Between(-40, 40)]
    dry_below_mm_h: Annotated[float, Between(0, 10)]
    dry_below_long_mm_h: Annotated[float, Between(0, 10)]
    direction_spread_deg: Annotated[float, Between(0, 90)]
    stay_days_temporary: Annotated[float, Between(0, 10_000)]
    stay_days_extended: Annotated[float, Between(0, 10_000)]
    damp_hours_check: Annotated[float, Between(0, 24)]
    dust_wind_mps: _Gust
    dust_gust_mps: _Gust
    dust_bare_wind_mps: _Gust
    dust_bucket_mm: Annotated[float, Between(0, 100, above=True)]
    dust_dry_mm: Annotated[float, Between(0, 100)]
    clean_after_hours: _Hours
    film_mm: Annotated[float, Between(0, 10)]
    wet_rate_mm_h: Annotated[float, Between(0, 10)]
    salt_factor: _Share
    notice_hours: Annotated[float, Between(0, 240)]
    start_margin_minutes: _Minutes
    stand_down_runs: Annotated[int, Between(1, 100, whole=True)]
    stand_down_minutes: _Minutes
    half_used_warns: bool


class FeedPart(Part):
    """Where the weather is from."""

    sheet: Text = Field(description='a feed sheet such as "open-meteo", or "record"')
    base_url: Text | None = None
    key: Text | None = None
    contact: Text | None = None
    poll_minutes: Annotated[float, Between(1, 1440)] | None = None
    max_age_hours: Annotated[float, Between(0, 240, above=True)] | None = None
    wind_basis: Annotated[WindBasis, OneOf("open", "local")] = "open"
    wind_height_m: Annotated[float, Between(0, 200, above=True)] = 10.0
    file: Text | None = None


class ContactPart(Part):
    """Whom to tell, and how."""

    name: Text = Field(description="who is told, in a word or two")
    kind: _Kind = Field(description="how: email, webhook, folder or apprise")
    stages: Annotated[tuple[_Stage, ...], Several] | None = None
    turn: Annotated[int, Between(1, 9, whole=True)] = 1
    host: Text | None = None
    port: Annotated[int, Between(1, 65535, whole=True)] | None = None
    security: _Security | None = None
    user: Text | None = None
    password: Text | None = None
    sender: Text | None = Field(default=None, alias="from")
    to: Annotated[tuple[Text, ...], Several] = ()
    url: Annotated[tuple[Text, ...], Several] = ()
    secret: Text | None = None
    path: Text | None = None
    short: bool = False
    gap_minutes: Annotated[float, Between(0, 60)] = 10.0


class GaugePart(Part):
    """A station on the site that measures."""

    station: Identifier = Field(description="a short name of its own, as its readings give it")
    every_minutes: Annotated[float, Between(0.1, 180)] = 5.0
    wind_height_m: Annotated[float, Between(0, 200, above=True)] = 10.0
    wind_basis: Annotated[WindBasis, OneOf("open", "local")] = "local"
    file: Text | None = None


class WarningsPart(Part):
    """Where an official warning service publishes."""

    name: Text = Field(description="the service, as messages should name it")
    url: Text = Field(description="the address of its CAP index or GeoJSON")
    form: Annotated[Literal["cap", "geojson"], OneOf("cap", "geojson")] = "cap"
    areas: Annotated[tuple[Text, ...], Several] = ()
    language: Text | None = None
    contact: Text | None = None
    poll_minutes: Annotated[float, Between(1, 1440)] = 10.0
    thunder_words: Annotated[tuple[Text, ...], Several] = ()


class PagePart(Part):
    """The duty page."""

    listen: Text = "127.0.0.1:8036"
    public_url: Text | None = None


def _format_1(value: object) -> object:
    if isinstance(value, int | str) and not isinstance(value, bool) and str(value) == "1":
        return 1
    raise PydanticCustomError("format", "not format 1")


class ShowSettings(BaseSettings):
    """The whole file."""

    model_config = SettingsConfigDict(
        extra="forbid", frozen=True, hide_input_in_errors=True, case_sensitive=True
    )

    format: Annotated[Literal[1], BeforeValidator(_format_1)] = Field(
        description="the form of this file; this program reads 1"
    )
    site: SitePart = Field(description="where the show is")
    event: EventPart = Field(description="when gear is out")
    roofs: tuple[RoofPart, ...] = ()
    positions: tuple[PositionPart, ...] = ()
    covers: tuple[CoverPart, ...] = ()
    crew: CrewPart = CrewPart()
    people: tuple[PersonPart, ...] = ()
    policy: PolicyPart
    feeds: tuple[FeedPart, ...] = ()
    contacts: tuple[ContactPart, ...] = ()
    gauges: tuple[GaugePart, ...] = ()
    warnings: tuple[WarningsPart, ...] = ()
    washdowns: tuple[WashdownPart, ...] = ()
    page: PagePart = PagePart()


PLAIN_SECTIONS: dict[str, type[Part]] = {
    "site": SitePart,
    "event": EventPart,
    "crew": CrewPart,
    "policy": PolicyPart,
    "page": PagePart,
}
"""Tables of plain keys, which a variable may override."""

LISTED_SECTIONS: dict[str, type[Part]] = {
    "roofs": RoofPart,
    "positions": PositionPart,
    "covers": CoverPart,
    "people": PersonPart,
    "feeds": FeedPart,
    "contacts": ContactPart,
    "gauges": GaugePart,
    "warnings": WarningsPart,
    "washdowns": WashdownPart,
}


def policy_defaults() -> dict[str, Any]:
    """Every setting of [policy] as the program ships it."""
    return tomllib.loads(builtin("policy.toml").read_text(encoding="utf-8"))


def default_policy() -> Policy:
    """The policy of a show that sets none."""
    return Policy(**PolicyPart(**policy_defaults()).model_dump())


def validated(
    document: Mapping[str, Any], overrides: Mapping[str, Mapping[str, str]]
) -> ShowSettings:
    """Variables over the file over the policy's defaults; raises ValidationError."""
    layers = (dict(overrides), dict(document), {"policy": policy_defaults()})

    class Layered(ShowSettings):
        @classmethod
        def settings_customise_sources(
            cls, settings_cls: type[BaseSettings], *_: object, **__: object
        ) -> tuple[PydanticBaseSettingsSource, ...]:
            return tuple(InitSettingsSource(settings_cls, layer) for layer in layers)

    return Layered()  # type: ignore[call-arg]  # the layers fill it


def model_at(path: tuple[str | int, ...]) -> type[BaseModel]:
    """The model whose keys stand beside the key at `path`."""
    match path[:-1]:
        case (str(section),) if section in PLAIN_SECTIONS:
            return PLAIN_SECTIONS[section]
        case (str(section), int()) if section in LISTED_SECTIONS:
            return LISTED_SECTIONS[section]
        case ("positions", int(), "spray"):
            return SprayPart
        case ("positions", int(), "puddle"):
            return PuddlePart
        case _:
            return ShowSettings
