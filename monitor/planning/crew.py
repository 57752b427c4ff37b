"""Jobs: which fixtures need hands, which hands, by when, and when nobody may work there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from monitor.domain import Action, Cover, Facts, Fixture, Floats, Position, Wait
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig
from monitor.planning.chance import at_risk, chance_by, do_by_s, shown_probability
from monitor.planning.facts import fixture_names, weather_facts
from monitor.planning.workable import (
    Span,
    blocking,
    gust_at_position,
    gust_spans,
    latest_start_s,
    merged,
    thunder_spans,
    workable_s,
)
from monitor.units import SECONDS_PER_HOUR, to_moment

SAME_SPELL_S = 6 * SECONDS_PER_HOUR
"""Wet steps less far apart than this are one wet spell (judgement)."""
_CAN_WAIT_S = SECONDS_PER_HOUR
"""A fixture due this much after the first one of its job is named as able to wait."""


@dataclass(frozen=True, slots=True)
class Job:
    """One action at one position. Times in seconds; None where there is no deadline."""

    position: str
    family: Literal["protect", "covered", "inspect", "clean"]
    """`covered`: what leaks or blows off although it is covered"""
    action: Action
    fixtures: tuple[str, ...]
    count: int
    people: int
    minutes: float | None
    start_by_s: float | None
    do_by_s: float | None
    members: int
    probability: float | None
    reason: str
    late: bool = False
    blocked: Span | None = None
    """What blocks the position now."""
    value: float = 0.0
    facts: Facts = field(default_factory=Facts)


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that wants hands, as seen now."""

    jobs: tuple[Job, ...]
    thunder: Span | None
    """Thunder that blocks all work outdoors now."""
    blocked: dict[str, Span]
    """Positions where nobody may work now, and why."""
    changes_s: tuple[float, ...]
    """Moments ahead at which something in the plan turns, rising."""
    blind: bool
    """The weather ahead is missing or has unknown steps: nothing may be stood down on it."""
    protected: Mapping[str, bool]
    """Of every fixture on a position with something open: covered or brought in."""
    spent: Mapping[str, bool]
    """The same: its allowance is spent and no inspection has found it dry since."""
    rain_ahead: Mapping[str, bool]
    """By position: rain reaches something there within the notice."""


def _rows(rig: Rig, ahead: Exposure) -> dict[int, list[Fixture]]:
    """Fixtures by group. Costs by fixture, so only groups that want hands are listed."""
    by_group: dict[int, list[Fixture]] = {}
    for fixture, group in zip(rig.show.fixtures, ahead.group_of.tolist(), strict=True):
        by_group.setdefault(group, []).append(fixture)
    return by_group


def _spells(wet: np.ndarray, starts: Floats, ends: Floats) -> list[tuple[int, int]]:
    """Wet spells as (first, last) step; dry gaps under six hours do not part them."""
    spells: list[tuple[int, int]] = []
    for step in np.flatnonzero(wet).tolist():
        if spells and starts[step] - ends[spells[-1][1]] < SAME_SPELL_S:
            spells[-1] = (spells[-1][0], step)
        else:
            spells.append((step, step))
    return spells


class _Now:
    """The rig at this moment: who is out, covered, spent."""

    def __init__(self, rig: Rig, ahead: Exposure, so_far: Carried, now_s: float) -> None:
        self.out, self.covered, self.where = {}, set[int](), {}
        for g, group in enumerate(ahead.groups):
            for segment in group.track.segments:
                if segment.start_s <= now_s < segment.end_s:
                    self.out[g] = segment
                    self.where[g] = segment.position
                    if segment.covered and not so_far.blown[g]:
                        self.covered.add(g)
            if g not in self.where:
                last = group.track.segments[-1:]
                self.where[g] = last[0].position if last else group.kind.position
        self.used = so_far.used.max(axis=0)
        self.rain_alerts = {
            g
            for g, group in enumerate(ahead.groups)
            if g in self.out
            and group.track.out_of_service_s is None
            and (
                group.kind.standing in ("indoor", "temporary")
                or group.kind.stated_mm is not None
                or group.kind.wet_hours_limit is not None
            )
        }
        del rig


def _cover_of(fixture: Fixture, rig: Rig) -> Cover | None:
    return None if fixture.cover is None else rig.show.covers[fixture.cover]


def _can_cover(
    fixtures: Iterable[Fixture], rig: Rig, in_use: dict[str, int], peak_gust: float
) -> bool:
    """Every fixture has a cover in stock that the gusts to come stay below."""
    wanted: dict[str, int] = {}
    for fixture in fixtures:
        cover = _cover_of(fixture, rig)
        if cover is None:
            return False
        if cover.gust_limit_mps is not None and peak_gust >= cover.gust_limit_mps:
            return False
        wanted[cover.id] = wanted.get(cover.id, 0) + fixture.count
    return all(rig.show.covers[c].in_stock - in_use.get(c, 0) >= n for c, n in wanted.items())


def plan(
    rig: Rig, ahead: Exposure, so_far: Carried, now_s: float, asked: Iterable[str] = ()
) -> Plan:
    """What wants doing, by when.

    Parameters
    ----------
    rig : compiled show
    ahead : exposure of the forecast from now on, carried on from `so_far`
    so_far : what every group has taken until now
    now_s : seconds
    asked : ids of fixtures that open alerts speak of

    Returns
    -------
    Plan

    Notes
    -----
    Exposure model section 9, start-by here from each job alone.
    """
    policy, site = rig.show.policy, rig.show.site
    steps = ahead.steps
    now = _Now(rig, ahead, so_far, now_s)
    rows = _rows(rig, ahead)
    thunder = merged(thunder_spans(steps, policy.risk, so_far.thunder_until_s))
    jobs: list[Job] = []
    blocked: dict[str, Span] = {}
    turns: set[float] = {edge for s in thunder for edge in (s.start_s, s.end_s)}
    rain_ahead: dict[str, bool] = {}
    soon = steps.weather.starts < now_s + policy.notice_hours * SECONDS_PER_HOUR
    in_use: dict[str, int] = {}
    for g in now.covered:
        for fixture in rows.get(g, ()):
            if fixture.cover is not None:
                in_use[fixture.cover] = in_use.get(fixture.cover, 0) + fixture.count
    by_position: dict[str, list[int]] = {}
    for g, position_id in now.where.items():
        by_position.setdefault(position_id, []).append(g)
    for position_id, groups in by_position.items():
        position = rig.show.positions[position_id]
        closed = merged((*thunder, *gust_spans(steps, position, site, policy.risk)))
        span = blocking(closed, now_s)
        if span is not None:
            blocked[position_id] = span
        wet_soon = np.any(ahead.wetting_mm[:, soon][:, :, groups] > 0.0, axis=(1, 2))
        rain_ahead[position_id] = bool(
            at_risk(
                np.asarray(wet_soon, dtype=float)[:, None], steps.weather.weights, policy.risk
            ).any()
        )
        found = _rain_jobs(rig, position, groups, ahead, now, rows, closed, in_use, now_s)
        for job in (*found, *_care_jobs(rig, position, groups, ahead, so_far, now, rows)):
            jobs.append(replace(job, blocked=span))
            if job.start_by_s is not None and job.do_by_s is not None:
                margin = 60.0 * max(
                    policy.start_margin_minutes, rig.show.crew.call_out_minutes + 20.0
                )
                turns |= {
                    job.do_by_s,
                    job.start_by_s - margin,
                    job.start_by_s - policy.notice_hours * SECONDS_PER_HOUR,
                }
                turns |= {edge for s in closed for edge in (s.start_s, s.end_s)}
    group_of = {i: int(ahead.group_of[rig.index_of[i]]) for i in asked if i in rig.index_of}
    return Plan(
        tuple(sorted(jobs, key=lambda j: (j.start_by_s is None, j.start_by_s or 0.0))),
        blocking(thunder, now_s),
        blocked,
        tuple(sorted(t for t in turns if t > now_s)),
        not soon.any() or bool(steps.unknown[:, soon].any()),
        {i: g in now.covered or g not in now.out for i, g in group_of.items()},
        {i: bool(now.used[g] >= 1.0) for i, g in group_of.items()},
        rain_ahead,
    )


def _rain_jobs(
    rig: Rig,
    position: Position,
    groups: Sequence[int],
    ahead: Exposure,
    now: _Now,
    rows: dict[int, list[Fixture]],
    closed: Sequence[Span],
    in_use: dict[str, int],
    now_s: float,
) -> list[Job]:
    """Cover, bring in or isolate: at most one job an action, for the first wet spell."""
    policy, weather = rig.show.policy, ahead.steps.weather
    weights = weather.weights
    due: dict[int, float] = {}
    for g in groups:
        if g in now.rain_alerts and now.used[g] < 1.0 and rows.get(g):
            do_by = do_by_s(ahead.next_spent_s[:, g], weights, policy.risk)
            if not np.isnan(do_by):
                due[g] = do_by
    if not due:
        return _half_used(rig, position, groups, ahead, now, rows)
    wet = at_risk(
        (ahead.wetting_mm[:, :, list(due)] > 0.0).any(axis=2).astype(float), weights, policy.risk
    )
    spells = _spells(wet, weather.starts, weather.ends)
    first_due = min(due.values())
    spell = next(
        (s for s in spells if weather.starts[s[0]] - 1.0 <= first_due <= weather.ends[s[1]] + 1.0),
        None,
    )
    if spell is None:  # crosses by its wet-hours clock, on a film with no rain
        step = int(np.searchsorted(weather.ends, first_due))
        spell = (step, min(step, len(weather.ends) - 1))
    last_s = float(weather.ends[spell[1]])
    due = {g: at for g, at in due.items() if at <= last_s + 1.0}
    bare = [g for g in due if g not in now.covered]
    leaking = [g for g in due if g in now.covered]
    gust = gust_at_position(ahead.steps, position, rig.show.site)[:, : spell[1] + 1]
    peak = _risk_peak(gust, weights, policy.risk)
    jobs = []
    for some, covered in ((bare, False), (leaking, True)):
        if not some:
            continue
        fixtures = [f for g in some for f in rows[g]]
        action: Action = "bring-in"
        if position.access == "none":
            action = "isolate"
        elif not covered and _can_cover(fixtures, rig, in_use, peak):
            action = "cover"
        jobs.append(
            replace(
                _job(
                    rig,
                    position,
                    action,
                    {g: due[g] for g in some},
                    ahead,
                    rows,
                    closed,
                    spell,
                    now,
                    now_s,
                ),
                family="covered" if covered else "protect",
            )
        )
    return jobs


def _half_used(
    rig: Rig,
    position: Position,
    groups: Sequence[int],
    ahead: Exposure,
    now: _Now,
    rows: dict[int, list[Fixture]],
) -> list[Job]:
    """A word at half used, where nothing is due yet: there is no deadline to it."""
    half = [
        g
        for g in groups
        if g in now.rain_alerts and g not in now.covered and 0.5 <= now.used[g] < 1.0
    ]
    fixtures = [f for g in half for f in rows.get(g, ())]
    if not fixtures or not rig.show.policy.half_used_warns:
        return []
    covers = all(f.cover is not None for f in fixtures)
    action: Action = "cover" if covers else "bring-in"
    if position.access == "none":
        action = "isolate"
    used = float(max(now.used[g] for g in half))
    return [
        Job(
            position.id,
            "protect",
            action,
            tuple(f.id for f in fixtures),
            sum(f.count for f in fixtures),
            position.people_needed,
            None,
            None,
            None,
            len(ahead.steps.weather.weights),
            None,
            f"{used:.0%} of the allowance is used; no rain in this forecast spends the rest",
            facts=_plain_facts(rig, position, fixtures, used),
        )
    ]


def _plain_facts(rig: Rig, position: Position, fixtures: Sequence[Fixture], used: float) -> Facts:
    return Facts(
        site_name=rig.show.site.name,
        timezone=rig.show.site.timezone.key,
        position_name=position.name,
        fixture_names=fixture_names(fixtures),
        used=used,
        access=position.access,
        access_limit_mps=position.access_limit_mps,
    )


def _risk_peak(gust: Floats, weights: Floats, risk: float) -> float:
    """Greatest gust that the pooled share of members reaches at `risk` in any step."""
    peak = np.nan_to_num(gust, nan=0.0).max(axis=1, initial=0.0)
    order = np.argsort(-peak)
    share = np.cumsum(weights[order])
    return float(peak[order][int(np.searchsorted(share, risk - 1e-9))])


def _job(
    rig: Rig,
    position: Position,
    action: Action,
    due: dict[int, float],
    ahead: Exposure,
    rows: dict[int, list[Fixture]],
    closed: Sequence[Span],
    spell: tuple[int, int],
    now: _Now,
    now_s: float,
) -> Job:
    fixtures = [f for g in due for f in rows[g]]
    count = sum(f.count for f in fixtures)
    each = position.cover_minutes_each if action == "cover" else position.bring_in_minutes_each
    minutes = position.setup_minutes + (0.0 if action == "isolate" else count * each)
    worst = min(due, key=lambda g: due[g])
    do_by = due[worst]
    start_by = latest_start_s(closed, do_by, minutes)
    weather = ahead.steps.weather
    share = chance_by(ahead.next_spent_s[:, worst], weather.weights, float(weather.ends[spell[1]]))
    later: dict[int, list[str]] = {}
    for g, at in due.items():
        if at > do_by + _CAN_WAIT_S:
            later.setdefault(int(at // 600.0 * 600.0), []).extend(f.id for f in rows[g])
    closes = next((s for s in closed if s.start_s > now_s), None)
    facts = weather_facts(rig.show, position, ahead, worst, slice(spell[0], spell[1] + 1), fixtures)
    cover = _cover_of(fixtures[0], rig) if action == "cover" else None
    part = ahead.weakest_part(worst)
    facts = replace(
        facts,
        weakest=None if part == "fixture" else part,
        used=float(now.used[worst]),
        can_wait=tuple(Wait(tuple(ids), to_moment(at)) for at, ids in sorted(later.items())),
        access_closes_at=None if closes is None else to_moment(closes.start_s),
        cover_name=None if cover is None else cover.name,
        cover_gust_limit_mps=None if cover is None else cover.gust_limit_mps,
        late=workable_s(closed, now_s, do_by) < minutes * 60.0 - 1e-6,
    )
    return Job(
        position.id,
        "protect",
        action,
        tuple(f.id for f in fixtures),
        count,
        position.people_needed,
        minutes,
        start_by,
        do_by,
        len(weather.weights),
        shown_probability(share, len(weather.weights)),
        _why(facts, rig, do_by, now.used[worst]),
        late=facts.late,
        value=sum(f.value * f.count for f in fixtures),
        facts=facts,
    )


def _why(facts: Facts, rig: Rig, do_by: float, used: float) -> str:
    at = to_moment(do_by).astimezone(rig.show.site.timezone)
    already = f", {used:.0%} used already" if used >= 0.01 else ""
    return (
        f"{facts.rain_mm:.1f} mm of rain in this spell spends the allowance of the first "
        f"fixture at {at:%a %H:%M}{already}"
    )


def _care_jobs(
    rig: Rig,
    position: Position,
    groups: Sequence[int],
    ahead: Exposure,
    so_far: Carried,
    now: _Now,
    rows: dict[int, list[Fixture]],
) -> list[Job]:
    """Inspect and clean: no deadline, one job a position and action."""
    policy = rig.show.policy
    reasons: dict[Action, dict[str, list[Fixture]]] = {"inspect": {}, "clean": {}}
    for g in groups:
        kind, fixtures = ahead.groups[g].kind, rows.get(g)
        if not fixtures:
            continue
        limit = {
            "temporary": policy.stay_days_temporary,
            "extended": policy.stay_days_extended,
        }.get(kind.standing)
        why = None
        if now.used[g] >= 1.0:
            why = "their allowance is spent"
        elif so_far.damp_night_most[g] >= policy.damp_hours_check and kind.damp_counts:
            why = f"{so_far.damp_night_most[g]:.0f} damp hours in one night"
        elif limit is not None and so_far.stay_days[g] > limit:
            why = f"{so_far.stay_days[g]:.0f} days out with wet or damp hours"
        if why is not None:
            reasons["inspect"].setdefault(why, []).extend(fixtures)
        dusty = so_far.dusty_since_clean[g]
        mark = policy.clean_after_hours if kind.dust == 5 else 1.0
        if kind.dust != 6 and dusty >= mark:
            hours = f"{dusty:.0f} dusty hour{'s' if dusty >= 1.5 else ''} since cleaned"
            reasons["clean"].setdefault(hours, []).extend(fixtures)
    jobs = []
    for action, by_reason in reasons.items():
        if not by_reason:
            continue
        fixtures = [f for some in by_reason.values() for f in some]
        jobs.append(
            Job(
                position.id,
                "inspect" if action == "inspect" else "clean",
                action,
                tuple(f.id for f in fixtures),
                sum(f.count for f in fixtures),
                position.people_needed,
                None,
                None,
                None,
                len(ahead.steps.weather.weights),
                None,
                "; ".join(by_reason),
                facts=_plain_facts(
                    rig, position, fixtures, float(max(now.used[g] for g in groups))
                ),
            )
        )
    return jobs
