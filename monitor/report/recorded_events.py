"""What was forecast, asked, told, answered and logged, as the record has it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from monitor.report.came import said_in_short
from monitor.report.jobs import SAYS, Job, Told
from monitor.report.record_events import (
    AlertChange,
    AlertScoreRow,
    AlertScores,
    AnswerRow,
    DeclaredRow,
    ForecastRow,
    ForecastScoreRow,
    LogRow,
    MessageRow,
    WeatherRow,
)
from monitor.report.record_parts import figure, known
from monitor.units import SECONDS_PER_MINUTE, to_epoch, to_moment

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.report.found import Found
    from monitor.scores import FeedScores, Row, Scores


_ADDRESS = re.compile(r"[^\s<>\"',;]+@[^\s<>\"',;]+|https?://[^\s<>\"']+")
"""Where a message went, as servers repeat it: whoever reads a report has no need of it."""


def alert_changes(found: Found) -> tuple[AlertChange, ...]:
    """Each change of each alert, in the order they were made."""
    rows = sorted(
        ((told, job) for job in found.jobs for told in job.told), key=lambda pair: pair[0].at
    )
    return tuple(_change(found, told, job) for told, job in rows)


def _change(found: Found, told: Told, job: Job) -> AlertChange:
    alert, facts, at = told.alert, told.alert.facts, found.times.maybe
    return AlertChange(
        at=found.times.local(told.at),
        alert=alert.id,
        kind=alert.kind,
        stage=alert.stage,
        action=alert.action,
        position=alert.position,
        count=alert.count,
        people=alert.people,
        minutes=figure(alert.minutes),
        start_by=at(alert.start_by),
        do_by=at(alert.do_by),
        members=alert.members,
        probability=figure(alert.probability),
        reason=told.reason,
        told_at=at(told.told_at),
        told=told.state,
        done_at=at(job.done_at),
        outcome=None if job.came is None else SAYS[job.came],
        lead_minutes=figure(job.lead_min),
        fixtures=alert.fixtures,
        spent_at=at(job.spent_at),
        isolated_at=at(job.isolated_at),
        took=None if job.came is None else figure(job.took),
        answers="; ".join(said_in_short(said, found.times) for said in job.answered),
        forecast_by="; ".join(facts.sources),
        forecast_issued_at=at(facts.issued_at),
        forecast_rain_mm=figure(facts.rain_mm),
        forecast_wet_from=at(facts.wet_from),
        forecast_wet_to=at(facts.wet_to),
        forecast_gust_mps=figure(facts.gust_mps),
        fell_mm=figure(fell_between(found, facts.wet_from, facts.wet_to)),
    )


def fell_between(found: Found, begin: datetime | None, end: datetime | None) -> float | None:
    """Rain on open ground between two moments, as far as known [mm]; a step counts by its part.

    None where they are not both given, or nothing of that time is known.
    """
    if begin is None or end is None:
        return None
    weather = found.material.exposure.steps.weather
    within = np.minimum(weather.ends, to_epoch(end)) - np.maximum(weather.starts, to_epoch(begin))
    inside = (within > 0.0) & np.isfinite(weather.rain_mm[0])
    if not inside.any():
        return None
    part = within[inside] / (weather.ends - weather.starts)[inside]
    return float((weather.rain_mm[0, inside] * part).sum())


def alert_score(found: Found) -> AlertScores | None:
    """How good the alerts were."""
    scores, material = found.alerts, found.material
    if scores is None:
        return None
    moment = found.times.maybe
    return AlertScores(
        hits=scores.count("hit"),
        hits_too_late_for_the_work=scores.too_short,
        missed=scores.count("missed"),
        false=scores.count("false"),
        hit_rate=figure(scores.hit_rate),
        false_ratio=figure(scores.false_ratio),
        raised_counts_as_told=material.rehearsed or material.told_nobody,
        rows=tuple(
            AlertScoreRow(
                outcome=row.verdict,
                position=row.position,
                fixtures=row.fixtures,
                alert=row.alert,
                would_be_spent_at=moment(None if row.at_s is None else to_moment(row.at_s)),
                first_told_at=moment(None if row.told_s is None else to_moment(row.told_s)),
                lead_given_minutes=figure(row.given_min),
                lead_needed_minutes=figure(row.needed_min),
                lead_enough=row.enough,
            )
            for row in scores.rows
        ),
    )


def messages(found: Found) -> tuple[MessageRow, ...]:
    """Every message to every contact, by the contact's name in the show's files."""
    return tuple(
        MessageRow(
            queued_at=found.times.local(delivery.row.queued_at),
            contact=delivery.row.contact,
            alert=delivery.row.message.alert_id,
            kind=delivery.row.message.kind,
            stage=delivery.row.message.stage,
            subject=delivery.row.message.subject,
            state=delivery.state,
            settled_at=found.times.maybe(delivery.settled_at),
            attempts=delivery.row.attempt,
            detail=_ADDRESS.sub("(address)", delivery.detail),
        )
        for delivery in found.material.deliveries
    )


def answers(found: Found) -> tuple[AnswerRow, ...]:
    """What was answered, oldest first."""
    return tuple(
        AnswerRow(
            at=found.times.local(said.at),
            alert=said.alert,
            answer=said.answer,
            because=said.because,
            until=found.times.maybe(said.until),
            by=said.by,
            note=said.note,
        )
        for said in found.material.answered
    )


def declared(found: Found) -> tuple[DeclaredRow, ...]:
    """What people on site declared open again, oldest first."""
    return tuple(
        DeclaredRow(
            at=found.times.local(one.at),
            what=one.what,
            position=one.position,
            by=one.by,
            note=one.note,
        )
        for one in found.material.declared
    )


def log(found: Found) -> tuple[LogRow, ...]:
    """The crew's log of the period, in order of time."""
    since = found.material.from_
    entries = sorted(found.material.log, key=lambda e: e.at)
    return tuple(
        LogRow(
            at=found.times.local(e.at),
            entry=e.entry,
            position=e.position,
            fixture=e.fixture,
            done=None if e.count is None else e.count[0],
            of=None if e.count is None else e.count[1],
            to=e.to,
            result=e.result,
            earth_ohm=figure(e.earth_ohm),
            insulation_mohm=figure(e.insulation_mohm),
            by=e.by,
            note=e.note,
        )
        for e in entries
        if since is None or e.at >= since
    )


def forecasts(found: Found) -> tuple[ForecastRow, ...]:
    """Every run as it was received."""
    at = found.times
    return tuple(
        ForecastRow(
            source=run.source,
            issued_at=at.maybe(run.issued_at),
            received_at=at.local(run.received_at),
            last_seen_at=at.local(run.last_seen_at),
            times_seen=run.times_seen,
            members=run.members,
            begins_at=at.maybe(run.begins_at),
            ends_at=at.maybe(run.ends_at),
            rain_next_24h_mm=figure(run.rain_24h_mm),
            gust_next_24h_mps=figure(run.gust_24h_mps),
        )
        for run in found.material.received
    )


def forecast_scores(found: Found) -> tuple[ForecastScoreRow, ...]:
    """One row a feed and lead; null where there were too few hours to say, counts always."""
    scores = found.material.scores
    if scores is None:
        return ()
    return tuple(_score(scores, feed, row) for feed in scores.feeds for row in feed.rows)


def _score(scores: Scores, feed: FeedScores, row: Row) -> ForecastScoreRow:
    table = row.table
    return ForecastScoreRow(
        feed=feed.source,
        members=feed.members,
        runs=feed.runs,
        lead_from_h=known(row.lead.from_h),
        lead_to_h=known(row.lead.to_h),
        wet_mm=known(scores.wet_mm),
        risk=known(scores.risk),
        hours=table.hours,
        hits=table.hits,
        misses=table.misses,
        false_alarms=table.false_alarms,
        correct_negatives=table.correct_negatives,
        hit_rate_pod=figure(row.hit_rate),
        false_alarm_ratio_far=figure(row.false_alarm_ratio),
        false_alarm_rate_pofd=figure(row.false_alarm_rate),
        frequency_bias=figure(row.frequency_bias),
        brier=figure(row.brier),
        crps_mm=figure(row.crps_mm),
        crps_fair_mm=figure(row.crps_fair_mm),
        wind_hours=row.wind_hours,
        wind_bias_mps=figure(row.wind_bias_mps),
        gust_hours=row.gust_hours,
        gust_bias_mps=figure(row.gust_bias_mps),
    )


def weather(found: Found) -> tuple[WeatherRow, ...]:
    """One row a step as it was counted, cut where the log changed something; gaps are no rows."""
    steps = found.material.exposure.steps
    w = steps.weather
    thunder = {0.0: False, 1.0: True}
    return tuple(
        WeatherRow(
            starts_at=found.times.local(to_moment(float(w.starts[i]))),
            minutes=known(float(w.ends[i] - w.starts[i]) / SECONDS_PER_MINUTE),
            kind=kind,
            known=not steps.unknown[0, i],
            rain_mm=figure(float(w.rain_mm[0, i])),
            wind_mps=figure(float(w.wind_mps[0, i])),
            gust_mps=figure(float(w.gust_mps[0, i])),
            wind_from_deg=figure(float(w.wind_from_deg[0, i])),
            temp_c=figure(float(w.temp_c[0, i])),
            dew_point_c=figure(float(w.dew_point_c[0, i])),
            cloud_pct=figure(float(w.cloud_pct[0, i])),
            thunder=thunder.get(float(w.thunder[0, i])),
        )
        for i, kind in enumerate(found.material.kinds())
    )
