"""The crew's plan: which positions want hands, by when, and when nobody may work there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from monitor.domain import Answered, LogEntry, Position, Show
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig
from monitor.exposure.steps import Steps
from monitor.planning.care import care_jobs
from monitor.planning.chance import unknown_to_all
from monitor.planning.covers_on import on_part_of_a_row
from monitor.planning.daylight import dark_spans
from monitor.planning.evening import evening
from monitor.planning.heard import heard_until_s, known_until_s, thunder_heard
from monitor.planning.job import Job, Plan
from monitor.planning.needs import Needs
from monitor.planning.present import Present, rows_by_group
from monitor.planning.soaking import soaking, water_reaches
from monitor.planning.standing import Key, no_cover, standing
from monitor.planning.uncover import CoversOff
from monitor.planning.workable import (
    Span,
    before_closed_s,
    blocking,
    gust_spans,
    known_gust_now,
    merged,
    thunder_spans,
)
from monitor.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_moment

__all__ = ["Job", "Plan", "plan", "start_margin_s"]

CALL_OUT_SLACK_MINUTES = 20.0
"""The start is called this long before a crew that must be called out has to be on its way."""


def start_margin_s(show: Show, job: Job | None = None) -> float:
    """How long before its start-by a job's start is called [s].

    Whoever has to be called in for it is given their own time to come: those who begin it, those
    who take it over, and whoever is called so that nobody is alone on site.
    """
    policy, minutes = show.policy, show.crew.call_out_minutes
    if job is not None and job.start_by_s is not None and job.call_by_s is not None:
        minutes = max(minutes, (job.start_by_s - job.call_by_s) / SECONDS_PER_MINUTE)
    margin = max(policy.start_margin_minutes, minutes + CALL_OUT_SLACK_MINUTES)
    return margin * SECONDS_PER_MINUTE


def plan(
    rig: Rig,
    ahead: Exposure,
    so_far: Carried,
    now_s: float,
    asked: Iterable[str] = (),
    closed: Sequence[Span] = (),
    answers: Sequence[Answered] = (),
    log: Sequence[LogEntry] = (),
    told_before: Mapping[Key, tuple[str, ...]] | None = None,
) -> Plan:
    """What wants doing, by when.

    Parameters
    ----------
    rig : compiled show
    ahead : exposure of the forecast from now on, carried on from `so_far`
    so_far : what every group has taken until now
    now_s : seconds
    asked : ids of fixtures that open alerts speak of
    closed : spans in which all work outdoors is closed on somebody else's word, as an official
        warning of thunder; they block as thunder does
    answers : what the crew has answered to alerts until now, oldest first
    log : the crew's entries, by which an answer ends
    told_before : by position and family of a job, who was told last that it is theirs

    Returns
    -------
    Plan

    Notes
    -----
    Exposure model section 9: the deadlines from the weather, then the latest start that the
    crew's time leaves for each. Where covers are short, the position that is due first gets them.
    """
    policy, steps = rig.show.policy, ahead.steps
    present = Present(ahead, so_far, now_s)
    rows = rows_by_group(rig, ahead)
    held = standing(answers, log, rig.show, now_s)
    bare = [
        (fixture, present.where[g])
        for g in present.out - present.covered - present.blown
        for fixture in rows.get(g, ())
    ]
    in_part = on_part_of_a_row(log, bare, to_moment(now_s))
    needs = Needs(rig, ahead, present, rows, now_s, no_cover(held), in_part)
    covers = CoversOff(rig, ahead, present, rows, now_s, log)
    thunder = (*thunder_spans(steps, policy.risk, so_far.thunder_until_s), *closed)
    groups_at: dict[str, list[int]] = {}
    for g, position_id in present.where.items():
        groups_at.setdefault(position_id, []).append(g)
    due = {
        position_id: needs.due(groups, rig.show.positions[position_id])
        for position_id, groups in groups_at.items()
    }
    jobs: list[Job] = []
    notices: dict[str, tuple[str, ...]] = {}
    blocked: dict[str, Span] = {}
    turns: set[float] = {edge for s in merged(thunder) for edge in (s.start_s, s.end_s)}
    if rig.show.event.load_in_ends_at is not None:
        turns.add(rig.show.event.load_in_ends_at.timestamp())
    shut_at: dict[str, tuple[Span, ...]] = {}
    dark = _dark(rig, steps, now_s)
    not_needed = {place for (place, kind), a in held.items() if _lets_be(kind, a)}
    at_it = {place for (place, _), answer in held.items() if answer.answer == "doing"}
    for position_id in needs.in_turn(due, at_it):
        groups, position = groups_at[position_id], rig.show.positions[position_id]
        spans = (*thunder, *_access_spans(rig, steps, position, dark))
        shut_at[position_id] = shut = merged(spans)
        span = blocking(spans, now_s)
        if span is not None:
            blocked[position_id] = span
        found = covers.beside_rain(needs.jobs(position, groups, due[position_id], shut))
        off, notices[position_id] = covers.at(position, groups, shut, found)
        found += off
        found += care_jobs(rig, position, groups, ahead, so_far, present, rows)
        jobs += [_beside(thunder, replace(job, blocked=span), position, now_s) for job in found]
    planned = evening(rig.show, jobs, shut_at, held, log, now_s, told_before)
    turns.update(planned.turns_s)
    for job in planned.jobs:
        turns |= _turns(job, shut_at[job.position], rig)
    unknown = unknown_to_all(steps.unknown, steps.weather.feed_of)
    reached_s = known_until_s(steps.weather, unknown, now_s)
    notice_ends_s = now_s + policy.notice_hours * SECONDS_PER_HOUR
    reaches_s = float(steps.weather.ends[-1]) if len(steps.weather.ends) else now_s
    group_of = {i: int(ahead.group_of[rig.index_of[i]]) for i in asked if i in rig.index_of}
    return Plan(
        jobs=tuple(sorted(planned.jobs, key=lambda j: (j.start_by_s is None, j.start_by_s or 0.0))),
        thunder=blocking(thunder, now_s),
        blocked=blocked,
        changes_s=tuple(sorted(t for t in turns if t > now_s)),
        blind=reached_s <= now_s or reached_s < min(notice_ends_s, reaches_s),
        known_until_s=reached_s,
        wind_known=known_gust_now(steps, rig.show.site, now_s),
        thunder_known=_thunder_known(steps, notice_ends_s),
        protected={i: g in present.covered or g not in present.out for i, g in group_of.items()},
        brought_in={i: g not in present.out for i, g in group_of.items()},
        spent={i: bool(present.used[g] >= 1.0) for i, g in group_of.items()},
        rain_ahead={
            p: water_reaches(ahead, g, policy.risk, notice_ends_s) for p, g in groups_at.items()
        },
        used={i: float(present.used[g]) for i, g in group_of.items()},
        soaking=soaking(ahead, present, rows, policy.risk, now_s + start_margin_s(rig.show)),
        heard_until_s=heard_until_s(steps, now_s),
        thunder_heard=thunder_heard(steps, now_s),
        covers_short=needs.stock.short(),
        covers_at_once=needs.stock.at_once(not_needed),
        cover_notices={p: said for p, said in notices.items() if said},
        feeding=needs.feeding,
    )


def _lets_be(family: str, answer: Answered) -> bool:
    return family == "protect" and answer.answer == "not-needed"


def _beside(thunder: Sequence[Span], job: Job, position: Position, now_s: float) -> Job:
    """A job with when its power is to be cut, should nothing else be left to do."""
    if job.do_by_s is None:
        return job
    cut_by_s = before_closed_s(thunder, job.do_by_s, position.setup_minutes, now_s)
    return replace(job, cut_by_s=cut_by_s)


def _access_spans(
    rig: Rig, steps: Steps, position: Position, dark: Sequence[Span]
) -> tuple[Span, ...]:
    """When nobody may reach a position; where its power is cut can always be reached."""
    if position.access == "none":
        return ()
    gusts = gust_spans(steps, position, rig.show.site, rig.show.policy.risk)
    return (*gusts, *dark) if position.daylight else gusts


def _dark(rig: Rig, steps: Steps, now_s: float) -> tuple[Span, ...]:
    """Darkness from the day before to a day past the weather, so that each is whole."""
    if not any(position.daylight for position in rig.show.positions.values()):
        return ()
    last_s = float(steps.weather.ends[-1]) if len(steps.weather.ends) else now_s
    return dark_spans(rig.show.site, now_s - SECONDS_PER_DAY, last_s + SECONDS_PER_DAY)


def _thunder_known(steps: Steps, until_s: float) -> bool:
    soon = steps.weather.starts < until_s
    silent = np.isnan(steps.weather.thunder[:, soon])
    return not bool(unknown_to_all(silent, steps.weather.feed_of).any())


def _turns(job: Job, closed: Sequence[Span], rig: Rig) -> set[float]:
    """Moments at which a job's stage turns."""
    if job.start_by_s is None or job.do_by_s is None:
        return set()
    return {
        job.do_by_s,
        job.start_by_s - start_margin_s(rig.show, job),
        job.start_by_s - rig.show.policy.notice_hours * SECONDS_PER_HOUR,
        *(edge for span in closed for edge in (span.start_s, span.end_s)),
    }
