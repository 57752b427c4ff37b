"""From a show's history to what its alerts are judged by: crossings and orders."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from monitor.domain import Floats
from monitor.planning.spells import wet_spells
from monitor.report.jobs import PROTECTS, Job
from monitor.report.rainfall import unknown_spans
from monitor.scores import AlertScores, Crossing, Order, judge
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Fixture
    from monitor.report.material import Material

_WHOLE = 1.0 - 1e-9
_NOTHING = 1e-12
"""Less than this added to a share is no water."""


def alert_scores(material: Material, jobs: Sequence[Job]) -> AlertScores | None:
    """How good the alerts were; None where what a bare rig would have taken is not known."""
    if material.bare is None or not len(material.bare.steps.hours):
        return None
    found = [order(material, job) for job in jobs if job.asked in PROTECTS]
    return judge(crossings(material), found, material.period[1], unknown_spans(material))


def crossings(material: Material) -> tuple[Crossing, ...]:
    """Every fixture and wet spell whose water would have spent what was left, nobody acting.

    What was left is what there really was when the spell began, so a fixture that was kept dry
    through one storm counts again in the next. What the spell adds is taken for the part that
    was worst before it, which can only bring a crossing forward.
    """
    bare = material.bare
    assert bare is not None
    weather = bare.steps.weather
    found: list[Crossing] = []
    spells: dict[int, list[tuple[int, int]]] = {}
    for n, fixture in enumerate(material.show.fixtures):
        g = int(bare.group_of[n])
        taken = np.concatenate([[0.0], bare.used[0, :, g]])
        if g not in spells:
            wet = np.diff(taken) > _NOTHING
            spells[g] = wet_spells(wet, weather.starts, weather.ends)
        for first, last in spells[g]:
            begin = float(weather.starts[first])
            left = 1.0 - level(material, n, begin)
            if left <= 1.0 - _WHOLE:
                continue
            at = _reaches(taken, first, last, left, weather.starts, weather.ends)
            if at is not None:
                found.append(_crossing(material, n, fixture, at, begin, float(weather.ends[last])))
    return tuple(found)


def _reaches(
    taken: Floats, first: int, last: int, left: float, starts: Floats, ends: Floats
) -> float | None:
    """When what a spell adds comes to what was left, linear within a step [s]."""
    added = taken[first : last + 2] - taken[first]
    over = np.flatnonzero(added >= left - (1.0 - _WHOLE))
    if not len(over):
        return None
    i = int(over[0]) - 1
    share = (left - added[i]) / (added[i + 1] - added[i])
    step = first + i
    return float(starts[step] + min(share, 1.0) * (ends[step] - starts[step]))


def _crossing(
    material: Material, n: int, fixture: Fixture, at: float, begin: float, end: float
) -> Crossing:
    track = material.exposure.groups[int(material.exposure.group_of[n])].track
    bare = [s for s in track.segments if not s.covered and s.start_s <= at and s.end_s > begin]
    there = next((s.position for s in track.segments if s.start_s <= at < s.end_s), None)
    where = material.show.positions[there or fixture.position]
    return Crossing(
        fixture.id,
        where.id,
        at,
        begin,
        kept_off=not bare and level(material, n, end) < _WHOLE,
        setup_min=where.setup_minutes,
        work_min=where.cover_minutes_each * fixture.count,
    )


def level(material: Material, n: int, at_s: float) -> float:
    """Share of its allowance that a fixture had really used by a moment, linear within a step."""
    exposure = material.exposure
    g, weather = int(exposure.group_of[n]), exposure.steps.weather
    before = 0.0 if material.before is None else float(material.before.used[:, g].max())
    begun = int(np.searchsorted(weather.starts, at_s, side="left"))
    if not begun:
        return before
    step = begun - 1
    last = float(exposure.used[0, step - 1, g]) if step else before
    now = float(exposure.used[0, step, g])
    if at_s >= weather.ends[step]:
        return now
    part = (at_s - weather.starts[step]) / (weather.ends[step] - weather.starts[step])
    return float(last + part * (now - last))


def order(material: Material, job: Job) -> Order:
    """One life of an alert as it is judged.

    In a rehearsal, and where messages went to a folder only, what was raised counts as told.
    """
    told_s: dict[str, float] = {}
    begins: list[float] = []
    for told in job.told:
        at = told.at if material.told_nobody else told.told_at
        if told.alert.stage == "stood-down" or at is None:
            continue
        for fixture in told.alert.fixtures:
            told_s.setdefault(fixture, to_epoch(at))
        if told.alert.stage in ("start", "overdue"):
            begins.append(to_epoch(at))
    last = job.told[-1]
    named = frozenset(f for told in job.told for f in told.alert.fixtures)
    opened = to_epoch(job.told[0].at)
    known = {f: n for f in named if (n := material.rig.index_of.get(f)) is not None}
    return Order(
        alert=job.alert.id,
        position=job.alert.position or "",
        told_s=told_s,
        begin_s=min(begins, default=None),
        ended_s=to_epoch(last.at) if last.alert.stage == "stood-down" else math.inf,
        due_s=None if job.do_by is None else to_epoch(job.do_by),
        minutes=job.ordered.alert.minutes or job.alert.minutes,
        done=frozenset(job.done),
        spent=frozenset(f for f, n in known.items() if level(material, n, opened) >= _WHOLE),
        fixtures=named,
    )
