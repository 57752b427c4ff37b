"""One evaluation: weather, rig and log to what has to be told. Pure; `now` is an argument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from monitor.alerts.lifecycle import Change, OpenAlert, Source, WatchState, advance
from monitor.domain import Answered, LogEntry, Weather
from monitor.exposure.assess import assess
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig
from monitor.exposure.tracks import groups_of
from monitor.planning.crew import Plan, plan
from monitor.planning.fell import Fell, last_rain
from monitor.planning.workable import Span
from monitor.units import to_epoch

HORIZON_S = 72 * 3600.0
"""How far ahead jobs are looked for: past any notice, so that a spell is seen whole."""


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """What one evaluation found."""

    changes: tuple[Change, ...]
    state: WatchState
    plan: Plan
    past: Exposure | None
    ahead: Exposure


def nothing_known(like: Weather | None = None) -> Weather:
    """Weather with no steps: what is ahead when every feed is lost."""
    if like is not None:
        return like.take(np.arange(0))
    empty = np.zeros((1, 0))
    return Weather(
        starts=np.zeros(0),
        ends=np.zeros(0),
        rain_mm=empty,
        wind_mps=empty,
        gust_mps=empty,
        wind_from_deg=empty,
        temp_c=empty,
        dew_point_c=empty,
        cloud_pct=empty,
        thunder=empty,
        weights=np.ones(1),
        forecast=np.zeros(0, dtype=bool),
    )


def evaluate(
    rig: Rig,
    *,
    past: Weather | None,
    ahead: Weather | None,
    log: Sequence[LogEntry],
    state: WatchState,
    now: datetime,
    source: Source,
    out_from_s: float | None = None,
    closed: Sequence[Span] = (),
    answers: Sequence[Answered] = (),
) -> Evaluation:
    """Judge a show at a moment.

    Parameters
    ----------
    rig : compiled show
    past : what fell until now (one member, or several pooled by `shares`), or None
    ahead : the forecast from now on (members), or None where every feed is lost
    log : entries known now
    state : as the last evaluation left it
    now : aware
    source : the forecast's names, credit, issue time, run
    out_from_s : when fixtures without a put-out entry went out; default load-in
    closed : spans in which an official warning closes all work outdoors
    answers : what the crew has answered to alerts until now, oldest first
    """
    out_from = to_epoch(rig.show.event.load_in_at) if out_from_s is None else out_from_s
    past_exposure = None
    if past is not None and len(past.starts):
        past_exposure = assess(rig, past, log, out_from_s=out_from)
        so_far = past_exposure.carried
    else:
        groups, _ = groups_of(rig, log, out_from)
        so_far = Carried.nothing(len(groups))
    found = judge(
        rig,
        so_far=so_far,
        ahead=ahead,
        log=log,
        state=state,
        now=now,
        source=source,
        out_from_s=out_from,
        closed=closed,
        answers=answers,
        fell=last_rain(past),
    )
    return replace(found, past=past_exposure)


def judge(
    rig: Rig,
    *,
    so_far: Carried,
    ahead: Weather | None,
    log: Sequence[LogEntry],
    state: WatchState,
    now: datetime,
    source: Source,
    out_from_s: float,
    closed: Sequence[Span] = (),
    answers: Sequence[Answered] = (),
    fell: Fell | None = None,
) -> Evaluation:
    """The same from what every group has taken so far, without going over the past again."""
    now_s = to_epoch(now)
    weather = nothing_known() if ahead is None else from_now(ahead, now_s)
    exposure = assess(rig, weather, log, out_from_s=out_from_s, carried=so_far)
    asked = {fixture for opened in state.open for fixture in opened.alert.fixtures}
    told = {(o.alert.position or "", o.family): _theirs(o, now) for o in state.open}
    found = plan(rig, exposure, so_far, now_s, asked, closed, answers, log, told)
    changes, after = advance(state, found, rig.show, log, now, source, answers, fell)
    return Evaluation(changes, after, found, None, exposure)


def _theirs(opened: OpenAlert, now: datetime) -> tuple[str, ...]:
    """Who was told last that an alert's work is theirs by now."""
    facts = opened.alert.facts
    over = facts.handed_at is not None and facts.handed_at <= now
    return facts.handed_to if over and facts.handed_to else facts.who


def from_now(weather: Weather, now_s: float) -> Weather:
    """The part of a weather from now to the horizon; the running step counts by what is left."""
    keep = np.flatnonzero((weather.ends > now_s) & (weather.starts < now_s + HORIZON_S))
    left = weather.take(keep)
    if not len(left.starts) or left.starts[0] >= now_s:
        return left
    share = (left.ends[0] - now_s) / (left.ends[0] - left.starts[0])
    rain = left.rain_mm.copy()
    rain[:, 0] *= share
    starts = left.starts.copy()
    starts[0] = now_s
    return replace(left, rain_mm=rain, starts=starts, cut_from_hours=left.whole_hours)


def until_now(weather: Weather, from_s: float, now_s: float) -> Weather:
    """The part of a weather in [from, now); a step that reaches over an end counts by its part."""
    keep = np.flatnonzero((weather.ends > from_s) & (weather.starts < now_s))
    part = weather.take(keep)
    starts = np.maximum(part.starts, from_s)
    ends = np.minimum(part.ends, now_s)
    share = (ends - starts) / (part.ends - part.starts)
    return replace(
        part,
        rain_mm=part.rain_mm * share,
        starts=starts,
        ends=ends,
        cut_from_hours=part.whole_hours,
    )
