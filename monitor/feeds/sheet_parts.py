"""What a feed sheet says: how to ask a weather service and how to read its answer.

The sheet is TOML (`config/sheets` has the built-in ones, a show's own are in its `sheets`
folder). Everything a service does in its own way stands there, so that a further service
of the same shape needs no program. Durations are written `90s`, `10m`, `8h` or `7d`.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag

Cover = Literal[
    "preceding",
    "following",
    "since_last",
    "until_next",
    "interval",
    "instant",
    "run_total",
]
Stat = Literal["sum", "rate", "mean", "max", "code"]
Variable = Literal[
    "precip", "wind", "gust", "direction", "temp", "dew_point", "humidity", "cloud", "thunder"
]

# variable -> (canonical unit, least, most of what is taken as possible, in that unit)
CANONICAL: dict[Variable, tuple[str, float, float]] = {
    "precip": ("mm", 0.0, 250.0),  # per hour; a longer or shorter period in proportion
    "wind": ("m/s", 0.0, 120.0),
    "gust": ("m/s", 0.0, 150.0),
    "direction": ("deg", 0.0, 360.0),
    "temp": ("C", -60.0, 60.0),
    "dew_point": ("C", -80.0, 60.0),
    "humidity": ("%", 0.0, 110.0),  # supersaturated a little in some models
    "cloud": ("%", 0.0, 100.0),
    "thunder": ("", -1e9, 1e9),
}

_DURATION = re.compile(r"(\d+(?:\.\d+)?)\s*([smhd])")
_LONGEST_S = 110 * 366 * 86400.0
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}


def _duration(value: object) -> float:
    match = _DURATION.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError("a duration is written like 90s, 10m, 8h or 7d")
    seconds = float(match[1]) * _SECONDS[match[2]]
    if seconds > _LONGEST_S:
        raise ValueError("a duration is no longer than 110 years")
    return seconds


Duration = Annotated[float, BeforeValidator(_duration)]
"""Seconds, written with its unit [s]."""


class Part(BaseModel):
    """A table of the sheet: unknown keys refused, values kept out of messages."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, hide_input_in_errors=True, allow_inf_nan=False
    )


class FeedPart(Part):
    """Which service this is and on what terms its data may be used and must be credited."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    credit: str = Field(min_length=1)
    licence: str = ""
    use: Literal["any", "non-commercial"] = "any"
    free_hosts: tuple[str, ...] = ()
    """Hosts that `use` is about; empty: the host of `request.url`."""


class RequestPart(Part):
    """How to ask. `secrets` says where a key goes (`query.NAME`, `header.NAME`) and where it
    is from: `key` (the feed's own, left out where none is set), `env:NAME` or `file:PATH`.
    """

    kind: Literal["forecast", "archive"] = "forecast"
    """`archive`: asked for days that are past, by {from_date} and {to_date}."""
    days: int = Field(default=10, ge=0, le=366)
    """A forecast's {to_date} is this many days after the day of the request, {from_date}."""
    url: str
    params: dict[str, str | int | float] = {}
    headers: dict[str, str] = {}
    secrets: dict[str, str] = {}
    poll: Duration = 600.0
    jitter: Duration = 90.0
    conditional: Literal["etag", "last-modified", "none"] = "etag"
    """What to ask again with; `etag` falls back on Last-Modified where no tag is given."""
    honour_expires: bool = True
    deadline: Duration = 25.0
    max_bytes: int = Field(default=3_000_000, gt=0)
    allow_types: tuple[str, ...] = ()
    """Content types taken; empty: any that is not a web page."""


class ErrorsPart(Part):
    """How the service says that something is wrong."""

    flag: str | None = None
    """Path that is true in a 200 answer which is an error all the same."""
    reason: str | None = None
    retry: tuple[int, ...] = (408, 425, 500, 502, 503, 504)
    config_fault: tuple[int, ...] = (400, 401, 403, 404, 410, 422)
    warn: tuple[int, ...] = (203,)
    limits: dict[str, Literal["minute", "hour", "day"]] = {}
    """Word in the reason of a 429 -> the UTC clock unit at whose end the limit clears."""


class ResolvePart(Part):
    """An earlier request whose answer fills blanks of the later ones: `take` says which, and
    at what path of the answer each stands; it is asked again after `keep`.
    """

    url: str
    take: dict[str, str] = Field(min_length=1)
    keep: Duration = 7 * 86400.0


class IssuedPart(Part):
    """The issue time stands at `path` of another answer, that of `url`."""

    url: str
    path: str


def _text_or_table(value: object) -> str:
    return "table" if isinstance(value, (dict, IssuedPart)) else "text"


Issued = Annotated[
    Annotated[str, Tag("text")] | Annotated[IssuedPart, Tag("table")],
    Discriminator(_text_or_table),
]


class RunPart(Part):
    """How old a forecast is: `issued` is a path, `header:NAME`, or { url, path }."""

    issued: Issued | None = None
    max_age: Duration = 8 * 3600.0
    reaches: Duration | None = None
    """How far ahead it goes, where that is only a few hours: then half of it is enough to
    decide by. Not given: two hours are the least.
    """
    same_polls: int | None = Field(default=None, gt=0)
    """So many polls with the very same answer, where no issue time is known, say that the
    server is stuck; twice as many, that the feed is lost. Not given: its age says so.
    """


class ShapePart(Part):
    """How the answer is built.

    `columns`: one list of stamps and a list of equal length for each variable. `rows`: a list
    of records, each with its stamp. `intervals`: a list for each variable, of items with their
    own stamp and value.
    """

    kind: Literal["columns", "rows", "intervals"]
    root: str | None = None
    """Where the place's own object stands, if not at the top; all paths begin there."""
    records: str | None = None
    """rows: path of the list; an object there is taken as records named by `key`."""
    each: str | None = None
    """rows: path of a list inside each record, whose items are the records; the outer one is
    their `outer`."""
    interval: str = "validTime"
    """intervals: path of the stamp in an item."""
    value: str = "value"
    """intervals: path of the value in an item, where a variable names no other."""
    run_start: str | None = None
    """Path of the moment at which totals of the run were nought."""


class TimePart(Part):
    """How stamps are written. `zone` is the clock of stamps that do not say."""

    path: str | None = None
    start_path: str | None = None
    """Where the start of what a stamp covers is stated; its end is the stamp."""
    format: str = Field(default="iso", pattern=r"^(iso|unix_s|unix_ms|interval|strptime:.+)$")
    zone: str | None = None
    offset_path: str | None = None
    """Path of the answer's own offset from UTC in seconds, which must be that of `zone`."""
    reach_back: Duration = 26 * 3600.0
    """How far before the fetch the first stamp may lie; further back, a clock is wrong."""


class PlacePart(Part):
    """Where the answer says which place it is for (all paths)."""

    lat: str | None = None
    lon: str | None = None
    elevation: str | None = None
    distance_m: str | None = None
    """How far away the station is, in metres."""


class UnitCheck(Part):
    """The answer names its unit at the path `at`; it must be `is_`."""

    at: str
    is_: str = Field(alias="is")
    each: bool = False
    """`at` is a path inside every record, not of the answer."""


class PeriodPart(Part):
    """One of several periods that a record may state; the shortest it has is taken."""

    path: str
    period: Duration


class FallbackPart(Part):
    """Derived from another variable where it is not known itself, and told as derived."""

    from_: Literal["wind"] = Field(alias="from")
    factor: float = Field(ge=1.0, le=4.0)


class VariablePart(Part):
    """One variable, from `path`, `first_of` or `vector`.

    `plausible` is in the canonical unit (CANONICAL), whatever `unit` is, and of the value as it
    stands in the answer; of totals since the run's start, of what is between two stamps.
    """

    path: str | None = None
    first_of: tuple[PeriodPart, ...] = ()
    vector: tuple[str, str] | None = None
    """Components to the east and to the north."""
    time_path: str | None = None
    """columns: its own list of stamps."""
    value: str | None = None
    """intervals: path of its value in an item."""
    fallback: FallbackPart | None = None
    cover: Cover
    stat: Stat
    period: Duration | None = None
    unit: str | None = None
    unit_check: UnitCheck | None = None
    missing: tuple[float, ...] = ()
    plausible: tuple[float, float] | None = None
    required: bool = False
    parse: Literal["number"] | None = None
    """`number`: numbers may stand in quotes."""
    map: dict[str, Literal["yes", "no", "unknown"]] = {}
    """For codes: exact, `~part` of a text, `>=30` for numbers, or `*` for all others."""

    @property
    def sources(self) -> tuple[str, ...]:
        """Every path it is read from; of periods, the shortest first."""
        if self.first_of:
            return tuple(p.path for p in self.by_length)
        return self.vector or ((self.path,) if self.path is not None else ())

    @property
    def by_length(self) -> tuple[PeriodPart, ...]:
        """The periods, the shortest first."""
        return tuple(sorted(self.first_of, key=lambda p: p.period))


class MembersPart(Part):
    """Ensembles: keys under `parent` that match `pattern` (groups `var`, `m`: absent for the
    control run, and `model` where several are asked at once) are members. Members with no rain
    or wind are left out whole.
    """

    parent: str
    pattern: str
    expect: int = Field(default=1, ge=1)
    at_least: int = Field(default=1, ge=1)


class Sheet(Part):
    """A feed sheet as understood."""

    feed: FeedPart
    request: RequestPart
    errors: ErrorsPart = ErrorsPart()
    resolve: tuple[ResolvePart, ...] = ()
    run: RunPart = RunPart()
    place: PlacePart = PlacePart()
    shape: ShapePart
    time: TimePart
    vars: dict[Variable, VariablePart]
    members: MembersPart | None = None

    @property
    def id(self) -> str:
        """The id by which `[[feeds]]` names it."""
        return self.feed.id


_INNER: dict[str, type[Part]] = {
    "unit_check": UnitCheck,
    "fallback": FallbackPart,
    "first_of": PeriodPart,
}


def part_at(path: tuple[Any, ...]) -> type[Part] | None:
    """The table of the sheet that holds the key at `path`."""
    match path[:-1]:
        case ():
            return Sheet
        case ("vars", _):
            return VariablePart
        case ("vars", _, str(inner)) | ("vars", _, str(inner), int()):
            return _INNER.get(inner)
        case ("run", "issued"):
            return IssuedPart
        case ("resolve", int()):
            return ResolvePart
        case ("members",):
            return MembersPart
        case (str(section),) if section in Sheet.model_fields and section != "vars":
            annotation: Any = Sheet.model_fields[section].annotation
            return annotation if isinstance(annotation, type) else None
    return None
