"""Wind over the limit of a place: an order that stands is taken back aloud. Pure."""

from __future__ import annotations

from dataclasses import replace

from monitor.alerts.open_alert import OpenAlert
from monitor.alerts.step import Step
from monitor.planning.workable import Span


def stops(step: Step, opened: OpenAlert) -> bool:
    """Whether an alert says stop, or still says it, because of the wind there.

    Told once for a position however many alerts it has open. Lifted only when runs and
    minutes agree that the wind has dropped: a lull is no time to climb.
    """
    last, plan = opened.alert, step.plan
    span = plan.blocked.get(last.position or "")
    if all(step.done(opened, f) for f in last.fixtures):
        return False
    if step.thundery:
        if last.stage != "stop":
            return False
        # Wind over the limit in the storm begins the wait for it anew.
        blows = span is not None and span.gust_mps is not None
        calm = replace(opened, calm_runs=0, calm_since=None, calm_run="")
        step.keep(calm if blows else opened)
        return True
    if span is not None:
        if last.stage == "stop":
            step.keep(replace(opened, calm_runs=0, calm_since=None, calm_run=""))
            return True
        order = last.stage in ("start", "overdue") or step.is_doing(opened)
        wet = opened.family == "inspect" and any(plan.spent.get(f) for f in last.fixtures)
        if not order and not wet:
            return False
        _stop(step, opened, span)
        return True
    if last.stage != "stop":
        return False
    waiting, enough = step.waited(opened)
    if plan.wind_known and enough:
        return False
    step.keep(waiting if plan.wind_known else opened)
    return True


def _stop(step: Step, opened: OpenAlert, span: Span) -> None:
    facts = step.facts(opened.alert.facts, span)
    alert = replace(
        opened.alert,
        kind="stop",
        stage="stop",
        action=None,
        people=0,
        minutes=None,
        start_by=None,
        do_by=None,
        facts=replace(facts, can_wait=(), late=False),
    )
    stopped = replace(opened, alert=alert, calm_runs=0, calm_since=None, calm_run="")
    if alert.position in step.stop_told:
        step.keep(stopped)
        return
    step.stop_told.add(alert.position)
    step.tell(stopped, f"nobody works there now: {facts.blocked_by}")
