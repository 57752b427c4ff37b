"""The alerts held against what fell, in words and cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.alerts.words import one_line
from monitor.report.came import outcome
from monitor.report.figures import counted
from monitor.report.recorded_events import fell_between
from monitor.report.summary import ids_said
from monitor.scores import FEWEST_CASES

if TYPE_CHECKING:
    from monitor.report.found import Found
    from monitor.report.jobs import Job
    from monitor.report.record import Record
    from monitor.report.record_events import AlertScoreRow, AlertScores
    from monitor.report.site_times import SiteTimes

_VERDICTS = {
    "hit": "right, in time",
    "short": "right, too late for the work",
    "missed": "missed",
    "false": "false: nothing there would have been spent",
    "not-known": "not judged: not all that fell is known",
    "open": "not judged yet",
}


@dataclass(frozen=True, slots=True)
class JudgedRow:
    """One line of the table."""

    place: str
    count: int
    ids: str
    alert: str | None
    forecast: tuple[str, ...]
    told_at: datetime | None
    spent_at: datetime | None
    given: float | None
    needed: float | None
    done: str
    verdict: str


@dataclass(frozen=True, slots=True)
class JudgedTold:
    """The whole section."""

    sentences: tuple[str, ...]
    rows: tuple[JudgedRow, ...]
    notes: tuple[str, ...]


def judged(found: Found, made: Record) -> JudgedTold | None:
    """The section, or None where nothing could be judged."""
    scores = made.alert_scores
    if scores is None:
        return None
    rows = tuple(_row(found, row) for row in scores.rows if row.outcome != "kept-off-before")
    return JudgedTold(summed_up(scores), rows, _NOTES)


def summed_up(scores: AlertScores) -> tuple[str, ...]:
    """The scores in sentences."""
    crossed = scores.hits + scores.missed
    if not crossed and not scores.false:
        said = ["No gear would have been spent in this period, and no order was given."]
    else:
        said = [
            f"{counted(crossed, 'time')} gear took more than its share, or would have left bare. "
            f"Told before: {scores.hits}"
            + (
                f", of them too late for the work: {scores.hits_too_late_for_the_work}"
                if scores.hits
                else ""
            )
            + f". Missed: {scores.missed}. False orders: {scores.false}."
        ]
        if crossed < FEWEST_CASES:
            said.append("Too few to say how good the alerts are in general.")
    before = sum(row.outcome == "kept-off-before" for row in scores.rows)
    if before:
        said.append(
            f"{counted(before, 'time')} more it was covered or indoors already, and nothing was "
            "to be told: in alert-scores.csv."
        )
    if scores.raised_counts_as_told:
        said.append("Nobody was there to be told: the moment an alert was raised stands for it.")
    return tuple(said)


_NOTES = (
    (
        "Would be spent: by the weather as it is now known, from what was left when the wet spell "
        "began, had nobody covered it or brought it in. Lead given runs from the first message "
        "that named it to that moment; lead needed is set-up and work as the alert had them."
    ),
    (
        "Right: told before, and not taken back. Missed: nobody had been told. False: an order to "
        "begin, and nothing it named would have been spent until six hours after its deadline and "
        "its end. A notice that never became an order is neither."
    ),
)


def _row(found: Found, row: AlertScoreRow) -> JudgedRow:
    job = _job(found, row)
    positions, show = found.material.show.positions, found.material.show
    counts = {f.id: f.count for f in show.fixtures}
    verdict = row.outcome if row.lead_enough is not False or row.outcome != "hit" else "short"
    place = positions[row.position].name if row.position in positions else row.position
    return JudgedRow(
        place=one_line(place) or "the site",
        count=sum(counts.get(f, 1) for f in row.fixtures),
        ids=ids_said(list(row.fixtures), 4),
        alert=row.alert,
        forecast=("–",) if job is None else _forecast(found, job),
        told_at=row.first_told_at,
        spent_at=row.would_be_spent_at,
        given=row.lead_given_minutes,
        needed=None if row.lead_needed_minutes is None else math.ceil(row.lead_needed_minutes),
        done=_done(found, row, job),
        verdict=_VERDICTS[verdict],
    )


def _job(found: Found, row: AlertScoreRow) -> Job | None:
    """The life of the alert that the row speaks of: the last that had begun when it told."""
    if row.first_told_at is None:
        return None
    told = row.first_told_at
    mine = [
        job
        for job in found.jobs
        if job.alert.id == row.alert and found.times.local(job.told[0].at) <= told
    ]
    return mine[-1] if mine else None


def _forecast(found: Found, job: Job) -> tuple[str, ...]:
    """What it was when it was told, and what fell in the time that it spoke of, by lines."""
    facts, times = job.ordered.alert.facts, found.times
    said = []
    if facts.rain_mm is not None:
        said.append(f"{facts.rain_mm:.1f} mm")
    if facts.wet_from is not None and facts.wet_to is not None:
        said.append(times.span(facts.wet_from, facts.wet_to))
    said.append(_issued(facts.issued_at, times))
    fell = fell_between(found, facts.wet_from, facts.wet_to)
    if fell is not None:
        said.append(f"fell: {fell:.1f} mm")
    return tuple(said)


def _issued(at: datetime | None, times: SiteTimes) -> str:
    return "issue time not given" if at is None else f"issued {times.at(at)}"


def _done(found: Found, row: AlertScoreRow, job: Job | None) -> str:
    if job is not None and job.came is not None:
        return outcome(job, found.times)
    return "nothing logged in time" if row.outcome == "missed" else "–"
