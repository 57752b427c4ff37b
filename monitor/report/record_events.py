"""report.json: what was forecast, asked, told, answered, logged, and how good it was."""

from __future__ import annotations

from typing import Literal

from monitor.report.record_parts import Moment, Part, Text


class AlertChange(Part):
    """One change of one alert, as alerts.csv has it."""

    at: Moment
    alert: Text
    kind: Text
    stage: Text
    action: Text | None
    position: Text | None
    count: int
    people: int
    minutes: float | None
    start_by: Moment | None
    do_by: Moment | None
    members: int
    probability: float | None
    reason: Text
    told_at: Moment | None
    """When the first message to a person left"""
    told: Text
    done_at: Moment | None
    outcome: Text | None
    lead_minutes: float | None
    fixtures: tuple[Text, ...]
    spent_at: Moment | None
    isolated_at: Moment | None
    took: float | None
    answers: Text
    forecast_by: Text
    """Which forecasts it rests on"""
    forecast_issued_at: Moment | None
    forecast_rain_mm: float | None
    forecast_wet_from: Moment | None
    forecast_wet_to: Moment | None
    forecast_gust_mps: float | None
    """Strongest at the position's height"""
    fell_mm: float | None
    """On open ground in the time for which rain was forecast, as far as known"""


class AlertScoreRow(Part):
    """Fixtures at one place that came out alike."""

    outcome: Literal["hit", "missed", "false", "kept-off-before", "not-known", "open"]
    position: Text
    fixtures: tuple[Text, ...]
    alert: Text | None
    would_be_spent_at: Moment | None
    """By what fell, with nobody keeping water off"""
    first_told_at: Moment | None
    lead_given_minutes: float | None
    lead_needed_minutes: float | None
    lead_enough: bool | None


class AlertScores(Part):
    """How good the alerts were."""

    hits: int
    hits_too_late_for_the_work: int
    missed: int
    false: int
    hit_rate: float | None
    false_ratio: float | None
    raised_counts_as_told: bool
    """Nobody was there to be told: a rehearsal, or messages to a folder only"""
    rows: tuple[AlertScoreRow, ...]


class MessageRow(Part):
    """One message to one contact. Addresses are left out: names are those of the show's files."""

    queued_at: Moment
    contact: Text
    alert: Text
    kind: Text
    stage: Text | None
    subject: Text
    state: Text
    settled_at: Moment | None
    attempts: int
    detail: Text


class AnswerRow(Part):
    """What somebody answered to an alert: that it was read, not that it was done."""

    at: Moment
    alert: Text
    answer: Text
    because: Text | None
    until: Moment | None
    by: Text | None
    note: Text | None


class DeclaredRow(Part):
    """What a person on site declared open again."""

    at: Moment
    what: Text
    position: Text | None
    by: Text
    note: Text | None


class LogRow(Part):
    """One entry of the crew's log."""

    at: Moment
    entry: Text
    position: Text | None
    fixture: Text | None
    done: int | None
    of: int | None
    to: Text | None
    result: Text | None
    earth_ohm: float | None
    insulation_mohm: float | None
    by: Text | None
    note: Text | None


class ForecastRow(Part):
    """One run as it was received."""

    source: Text
    issued_at: Moment | None
    """As its source says; null: it does not"""
    received_at: Moment
    last_seen_at: Moment
    """When its source last sent the same"""
    times_seen: int
    members: int
    begins_at: Moment | None
    ends_at: Moment | None
    rain_next_24h_mm: float | None
    """Mean of its members, from its receipt; null: not known without a gap"""
    gust_next_24h_mps: float | None


class ForecastScoreRow(Part):
    """One feed and lead, as scores.csv has it."""

    feed: Text
    members: int
    runs: int
    lead_from_h: float
    lead_to_h: float
    wet_mm: float
    risk: float
    hours: int
    hits: int
    misses: int
    false_alarms: int
    correct_negatives: int
    hit_rate_pod: float | None
    false_alarm_ratio_far: float | None
    false_alarm_rate_pofd: float | None
    frequency_bias: float | None
    brier: float | None
    crps_mm: float | None
    crps_fair_mm: float | None
    wind_hours: int
    wind_bias_mps: float | None
    gust_hours: int
    gust_bias_mps: float | None


class WarningRow(Part):
    """An official warning, in its service's words."""

    title: Text
    received_at: Moment
    when: Text
    quotes: tuple[Text, ...]
    place: Text
    doubt: Text
    ended: Text


class WeatherRow(Part):
    """One step as it was counted, cut where the log changed something."""

    starts_at: Moment
    minutes: float
    kind: Literal["measured", "record", "forecast"]
    known: bool
    rain_mm: float | None
    wind_mps: float | None
    gust_mps: float | None
    wind_from_deg: float | None
    temp_c: float | None
    dew_point_c: float | None
    cloud_pct: float | None
    thunder: bool | None
