"""report.json: the one record that every figure of a report comes from, as its schema has it.

The models are the schema: what is written is made of them, what is read back is held against
them, and `report.schema.json` is their JSON Schema (draft 2020-12) for whoever has no Dryspell.
"""

from __future__ import annotations

from typing import Literal

from monitor.report.record_events import (
    AlertChange,
    AlertScores,
    AnswerRow,
    DeclaredRow,
    ForecastRow,
    ForecastScoreRow,
    LogRow,
    MessageRow,
    WarningRow,
    WeatherRow,
)
from monitor.report.record_parts import Moment, Part, Sha256, Text
from monitor.report.record_units import CareRow, EarlierShow, PositionRow, Unit

FORMAT: Literal["dryspell.report/1"] = "dryspell.report/1"


class SiteSaid(Part):
    """Where it was."""

    name: Text
    latitude: float
    longitude: float
    elevation_m: float
    timezone: Text
    load_in_at: Moment
    load_out_at: Moment | None


class Period(Part):
    """What is reported."""

    begins_at: Moment
    ends_at: Moment
    used_since: Moment
    """Used is counted from here, whatever the period"""


class ChainSaid(Part):
    """Whether the history holds: every row bound to all before it by its hash."""

    verified: bool | None
    """null: nothing was kept that could be verified"""
    rows: int | None
    head: Text | None
    """The last link. It is worth what a copy of it noted elsewhere is worth"""
    breaks_at_row: int | None
    says: Text


class RevisionSaid(Part):
    """The show's files as they were in force from a moment on."""

    sha256: Text
    in_force_from: Moment
    recorded_at: Moment


class PolicySaid(Part):
    """The house's settings that the figures rest on; limits in mm and hours are no standard's."""

    sha256: Sha256
    """Of the settings as JSON with sorted keys and no blanks"""
    settings: dict[str, float | bool | None]
    changed: dict[str, float | bool | None]
    """The defaults of the program, of those settings that are not as it ships"""


class RestsOn(Part):
    """What the figures rest on."""

    program: Text
    revision: Text
    """sha256 over the show's files"""
    revisions: tuple[RevisionSaid, ...]
    policy: PolicySaid
    weather: Text
    credits: tuple[Text, ...]
    notes: tuple[Text, ...]
    told_nobody: bool
    """Messages went to a folder only"""


class Gap(Part):
    """A span in which what fell is not known."""

    begins_at: Moment
    ends_at: Moment


class RainSaid(Part):
    """What fell on open ground, as far as known."""

    rain_mm: float
    measured_mm: float
    record_mm: float
    forecast_mm: float
    measured_hours: float
    record_hours: float
    forecast_hours: float
    unknown_hours: float
    worst_hour_mm: float
    worst_hour_at: Moment | None
    driving_rain_l_m2: float
    driving_rain_wall_deg: float
    strongest_gust_mps: float | None
    strongest_gust_at: Moment | None


class Record(Part):
    """Evidence of estimates and records: it finds no cause, and nobody at fault."""

    format: Literal["dryspell.report/1"]
    report_sha256: Sha256
    """sha256 of this file with 64 zeros in the place of this value"""
    title: Text
    made_at: Moment
    rehearsed: bool
    """A rehearsal over a weather record: nobody was told, nothing happened"""
    site: SiteSaid
    period: Period
    chain: ChainSaid
    rests_on: RestsOn
    rain: RainSaid
    gaps: tuple[Gap, ...]
    units: tuple[Unit, ...]
    positions: tuple[PositionRow, ...]
    drying: tuple[CareRow, ...]
    cleaning: tuple[CareRow, ...]
    alerts: tuple[AlertChange, ...]
    alert_scores: AlertScores | None
    messages: tuple[MessageRow, ...]
    answers: tuple[AnswerRow, ...]
    declared: tuple[DeclaredRow, ...]
    log: tuple[LogRow, ...]
    forecasts: tuple[ForecastRow, ...]
    forecast_scores: tuple[ForecastScoreRow, ...]
    warnings: tuple[WarningRow, ...]
    weather: tuple[WeatherRow, ...]
    earlier: tuple[EarlierShow, ...]
    cautions: tuple[Text, ...]
