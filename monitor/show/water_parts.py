"""The tables of show.toml about water that no forecast knows."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from monitor.domain import WashdownKind
from monitor.show.part import Part
from monitor.show.values import Between, Identifier, OneOf, Several, Stamp, Text

_Azimuth = Annotated[float, Between(0, 360)]
_Day = Annotated[
    Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"],
    OneOf("mon", "tue", "wed", "thu", "fri", "sat", "sun"),
]


class SprayPart(Part):
    """Water thrown by a fountain or surf."""

    height_m: Annotated[float, Between(0, 150, above=True)] = Field(
        description="metres that the water is thrown up"
    )
    distance_m: Annotated[float, Between(0, 500)] = Field(
        description="metres from the fixtures to where the water rises"
    )
    bearing_deg: _Azimuth = Field(
        description="the way from the fixtures to the water, in degrees clockwise from north"
    )
    lost_litres_per_minute: Annotated[float, Between(0, 100_000)] = Field(
        description="litres a minute that drift off"
    )
    salt: bool = False
    on: Annotated[tuple[Text, ...], Several] = ()


class WashdownPart(Part):
    """Water thrown at positions at known times."""

    kind: Annotated[WashdownKind, OneOf("sprinkler", "low", "high")] = Field(
        description="sprinkler, low (a hose) or high (a pressure washer)"
    )
    positions: Annotated[tuple[Identifier, ...], Several] = Field(
        description="ids of the positions it reaches"
    )
    every_day: Annotated[tuple[Text, ...], Several] = ()
    days: Annotated[tuple[_Day, ...], Several] = ()
    start: Stamp | None = None
    end: Stamp | None = None
    rate_mm_h: Annotated[float, Between(0, 100_000, above=True)] | None = None


class PuddlePart(Part):
    """Where water stands after rain."""

    gathers: Annotated[float, Between(1, 10_000)] = Field(
        description="millimetres that stand there for each of rain, before any drains"
    )
    half_gone_hours: Annotated[float, Between(0, 1000, above=True)] = Field(
        description="hours after the rain in which half of it is gone"
    )
