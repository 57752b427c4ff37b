"""From plan to alerts: pure (last state, plan, log, now) -> changes, each with its reason.

The order of one step is here; what each part does is in its own module: thunder (site_stop),
wind (wind_stops), what was lost (spent_gear), jobs of the plan (work), jobs that are in it no
more (standing_down).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from monitor.alerts import site_stop, standing_down, wind_stops, work
from monitor.alerts.answers import what_is_left
from monitor.alerts.done import isolation_done
from monitor.alerts.open_alert import PROTECTS, SITE, SPENT, Change, OpenAlert, Source, WatchState
from monitor.alerts.out_of_reach import as_missing
from monitor.alerts.spent_gear import SpentGear
from monitor.alerts.step import Step
from monitor.alerts.words import isolates_now
from monitor.domain import Answered, LogEntry, Show
from monitor.planning.fell import Fell
from monitor.planning.job import Job, Plan

__all__ = ["Change", "OpenAlert", "Source", "WatchState", "advance"]


def advance(
    state: WatchState,
    plan: Plan,
    show: Show,
    log: Sequence[LogEntry],
    now: datetime,
    source: Source,
    answers: Sequence[Answered] = (),
    fell: Fell | None = None,
) -> tuple[tuple[Change, ...], WatchState]:
    """One step of every alert's life.

    Parameters
    ----------
    state : as the last call returned it, or `WatchState()`
    plan : what wants doing, as seen now
    show : names, isolation points and policy
    log : the crew's entries up to now
    now : aware
    source : the forecast
    answers : what the crew has answered until now, oldest first
    fell : what the last wet spell brought until now

    Returns
    -------
    changes : in the order to tell them, stops first
    state : for the next call

    Notes
    -----
    Raised on one run; stood down on `stand_down_runs` and `stand_down_minutes`, at once where
    the log says it is done, and never on weather that is missing.
    """
    step = Step(state, plan, show, log, now, source, answers, fell)
    left = {
        (job.position, job.family): what_is_left(as_missing(job), show, now, log)
        for job in plan.jobs
    }
    cut = {key for key, job in left.items() if isolation_done(job, log)}
    jobs: dict[tuple[str, str], Job] = {key: job for key, job in left.items() if key not in cut}
    site_stop.thunder(step)
    spent = SpentGear(step)
    standing = [o for o in state.open if o.family not in (SITE, SPENT)]
    stopped = [o for o in (*standing, *spent.told_before) if wind_stops.stops(step, o)]
    for opened in stopped:
        jobs.pop((opened.alert.position or "", opened.family), None)
    for opened in standing:
        if opened not in stopped:
            key = (opened.alert.position or "", opened.family)
            job = jobs.pop(key, None)
            if key in cut and not standing_down.is_over(step, opened):
                # It cannot be done now and its power is cut: the forecast still asks for it.
                step.keep(replace(opened, calm_runs=0, calm_since=None, calm_run=""))
            elif job is None:
                standing_down.vanished(step, opened, spent)
            else:
                work.carry_on(step, opened, job, spent)
    for opened in spent.told_before:
        if opened not in stopped:
            standing_down.vanished(step, opened, spent)
    spent.told_before.clear()  # each has been gone through; what is left of them is open
    spent.soaking()
    for job in jobs.values():
        work.begin(step, job, spent)
    # Then what is wet and live: before the end of the stop that kept people from it.
    stops_first = sorted(
        step.changes, key=lambda c: (c.alert.stage != "stop", not isolates_now(c.alert))
    )
    # What is no longer due is asked for anew when it comes due again.
    due = {key for job in plan.jobs if job.family not in PROTECTS for key in work.care(job)}
    still = tuple(sorted(step.settled & due))
    return tuple(stops_first), WatchState(tuple(step.open), step.number, still)
