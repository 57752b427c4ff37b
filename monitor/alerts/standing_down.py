"""An alert whose job is in the plan no more: done, lost, or no longer needed, because. Pure."""

from __future__ import annotations

from monitor.alerts import work
from monitor.alerts.done import does_what_was_asked, done_because, done_by
from monitor.alerts.open_alert import PROTECTS, SPENT, OpenAlert
from monitor.alerts.spent_gear import SpentGear
from monitor.alerts.step import Step
from monitor.alerts.taken_back import is_unseen
from monitor.planning.job import Job

_WAITS = "what is spent waits for inspection"
_STILL_LIVE = "nothing says that it is isolated"


def is_over(step: Step, opened: OpenAlert) -> bool:
    """Whether nothing it speaks of needs hands any more."""
    return all(step.done(opened, fixture) for fixture in opened.alert.fixtures)


def vanished(step: Step, opened: OpenAlert, spent: SpentGear) -> None:
    """Say why it is over, or let it stand."""
    left = [f for f in opened.alert.fixtures if not step.done(opened, f)]
    if not left:
        entry = done_by(opened, step.log)
        reason = done_because(opened, entry, step.show)
        step.stand_down(opened, reason, logged=does_what_was_asked(opened, entry))
        return
    if opened.family not in PROTECTS:
        step.keep(opened)
        return
    lost = tuple(f for f in left if step.plan.spent.get(f, False))
    # What was lost before is told anew only where a stop had taken its place.
    if lost and (opened.family != SPENT or opened.alert.stage == "stop"):
        if step.nobody_works(opened):
            step.keep(opened)
        else:
            spent.overdue(opened, lost)
        return
    _calm(step, opened)


def _to_inspect(step: Step, opened: OpenAlert) -> Job | None:
    """The look inside that follows an order to isolate, unless it was asked for before."""
    position = opened.alert.position
    if _is_looked_into(step, opened):
        return None
    return next(
        (j for j in step.plan.jobs if j.family == "inspect" and j.position == position), None
    )


def _is_looked_into(step: Step, opened: OpenAlert) -> bool:
    """Whether an alert to inspect is open there, which says to isolate first."""
    place = opened.alert.position
    return any(o.family == "inspect" and o.alert.position == place for o in step.state.open)


def _calm(step: Step, opened: OpenAlert) -> None:
    """The forecast no longer asks for it: wait until runs and minutes agree."""
    alert, plan, spent = opened.alert, step.plan, opened.family == SPENT
    if plan.blind or (not spent and is_unseen(opened, plan, step.now)):
        step.keep(opened)
        return
    if spent and plan.rain_ahead.get(alert.position or ""):
        step.keep(opened)
        return
    waiting, enough = step.waited(opened)
    if enough and not step.nobody_works(opened):
        runs = waiting.calm_runs
        why = f"{runs} forecasts in a row no longer spend what is left of the allowance"
        if opened.family == "uncover":
            why = f"{runs} forecasts in a row no longer ask for the covers to come off"
        if spent:
            hours = f"{step.show.policy.notice_hours:g} h"
            dry = f"no more rain there in the next {hours} of the forecast"
            live = f", and {_STILL_LIVE}" if opened.action == "isolate" else ""
            why = f"{dry}{live}; {_WAITS}"
            job = None if opened.action != "isolate" else _to_inspect(step, opened)
            if live and job is None and not _is_looked_into(step, opened):
                step.keep(waiting)  # nothing else would say that it is live
                return
            if job is not None:
                asks = step.alert(job, alert.id, "notice")
                step.settled |= work.care(job)
                step.tell(
                    OpenAlert("inspect", asks, "inspect"), f"{dry}, and {_STILL_LIVE}; {job.reason}"
                )
                return
        step.stand_down(opened, why)
        return
    step.keep(waiting)
