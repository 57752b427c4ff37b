"""A job of the plan as an alert: told first, told again, or left as it stands. Pure."""

from __future__ import annotations

from dataclasses import replace

from monitor.alerts.answers import planned_instead, pressing
from monitor.alerts.open_alert import PROTECTS, OpenAlert
from monitor.alerts.spent_gear import SpentGear
from monitor.alerts.stages import news, stage_following, stage_of
from monitor.alerts.step import Step
from monitor.alerts.taken_back import as_told, with_heard
from monitor.domain import Alert, Show
from monitor.planning.facts import fixture_names
from monitor.planning.job import Job
from monitor.planning.on_site import on_shift
from monitor.units import to_epoch


def begin(step: Step, job: Job, spent: SpentGear) -> None:
    """Tell of a job that no alert is open for, once it is near enough."""
    stage = stage_of(job, step.show, step.now)
    if job.family == "inspect" and job.blocked is not None and (job.facts.used or 0.0) >= 1.0:
        stage = "stop"  # wet gear that nobody may reach is said, not kept for later
    if stage is None or step.thundery or spent.holds(job):
        return
    if stage != "stop" and step.stop_stands(job.position):
        return
    if stage == "stop":
        if job.position in step.stop_told:
            return
        step.stop_told.add(job.position)
    elif job.family not in PROTECTS:
        if care(job) <= step.settled:
            return
        step.settled |= care(job)
    alert = step.alert(job, step.new_id(job.position), stage)
    opened = OpenAlert(job.family, alert, job.action, under_cover=job.family == "covered")
    step.tell(with_heard(opened, step.plan), job.reason)


def carry_on(step: Step, opened: OpenAlert, job: Job, spent: SpentGear) -> None:
    """An alert whose job is in the plan: told again where there is news."""
    job = as_told(opened, job, step.plan, step.now)
    opened = with_heard(opened, step.plan)
    last = opened.alert
    if spent.holds(job):
        if last.stage == "stop" and job.blocked is None and not step.thundery:
            # Lifted, but first its power is cut: it is asked for anew when that is done.
            step.settled -= care(job)
            opened = replace(opened, alert=step.alert(job, last.id, "notice"))
        step.keep(opened)
        return
    lost = spent.lost(opened, job)
    if lost and not step.nobody_works(opened):
        rest = tuple(f for f in job.fixtures if f not in lost)
        if not rest:
            spent.overdue(opened, lost)
            return
        if len(rest) < len(job.fixtures):
            job = _only(job, rest, step.show)
        if last.stage == "overdue":
            spent.overdue(opened, lost)
            begin(step, job, spent)
            return
        spent.part(opened, lost)
        kept = tuple(f for f in last.fixtures if f not in lost)
        count = last.count - sum(step.show.fixture(f).count for f in lost)
        opened = replace(opened, alert=replace(last, fixtures=kept, count=count))
    opened = replace(opened, calm_runs=0, calm_since=None, calm_run="", action=job.action)
    stage = stage_following(last, job, step.show, step.now)
    wind_lost = last.stage == "stop" and not step.plan.wind_known
    lull = stage != "stop" and step.stop_stands(job.position)
    if stage is None or wind_lost or lull or step.thundery:
        step.keep(opened)
        return
    new = step.alert(job, last.id, stage)
    if job.family in PROTECTS or "stop" in (last.stage, stage):
        reason = news(last, new, job, _taken(step, last, job))
        if stage != "stop" and reason is not None and job.family not in PROTECTS:
            step.settled |= care(job)
    else:
        reason = None if care(job) <= step.settled else job.reason
        step.settled |= care(job)
    reason, new = _after_the_answer(step, opened, new, job, reason)
    if reason is None and step.is_doing(opened) and stage == "start":
        # They are at it: nothing is told, and a stop has an order to take back.
        step.keep(replace(opened, alert=replace(last, stage=stage)))
    elif reason is None:
        step.keep(opened)
    elif stage == "stop" and job.position in step.stop_told:
        step.keep(replace(opened, alert=new))
    else:
        if stage == "stop":
            step.stop_told.add(job.position)
        step.tell(with_heard(replace(opened, alert=new), step.plan), reason)


def _taken(step: Step, last: Alert, job: Job) -> frozenset[str]:
    """Who of those that were told to start cannot be counted on any more.

    They have been told to start elsewhere, or their shift is over by then. Where nobody is, one
    plan's hands are as good as the next one's, and what was told stands.
    """
    named = {*last.facts.who, *last.facts.handed_to}
    elsewhere = {
        name
        for o in (*step.state.open, *step.open)
        if o.alert.id != last.id and o.alert.stage == "start"
        for name in o.alert.facts.who
    }
    if job.start_by_s is None or last.start_by is None:
        return frozenset(named)
    known = {person.name for person in step.show.crew.people}
    then_s, now_s, zone = to_epoch(last.start_by), job.start_by_s, step.show.site.timezone
    gone = {
        person.name
        for person in step.show.crew.people
        if on_shift(person, zone, then_s) and not on_shift(person, zone, now_s)
    }
    return frozenset((named & (elsewhere | gone)) | (named - known))


def _only(job: Job, fixtures: tuple[str, ...], show: Show) -> Job:
    """The job for some of its fixtures."""
    rows = [show.fixture(f) for f in fixtures]
    facts = replace(job.facts, fixture_names=fixture_names(rows))
    return replace(job, fixtures=fixtures, count=sum(row.count for row in rows), facts=facts)


def _after_the_answer(
    step: Step, opened: OpenAlert, new: Alert, job: Job, reason: str | None
) -> tuple[str | None, Alert]:
    """What of the news is still told to those who have answered."""
    answer, last = step.answer_to(opened), opened.alert
    said = None if answer is None else answer.answer
    if said == "cannot" and job.cannot is not None:
        if answer is not None and answer.at != opened.heeded:
            reason = job.reason
            instead = planned_instead(last, step.plan, step.show, step.now)
            extra = (*new.facts.extra, *([] if instead is None else [instead]))
            new = replace(new, facts=replace(new.facts, extra=extra))
        return reason, new
    if "stop" in (last.stage, new.stage):
        return reason, new
    urges = pressing(last, new)
    if job.not_needed:
        # The plan knows whether the answer holds for all that the job has come to ask for.
        return None if urges is None else f"{urges}: {job.reason}", new
    if step.is_doing(opened) and reason is not None and urges is None:
        more = set(new.fixtures) - set(last.fixtures) or new.action != last.action
        late = new.stage == "overdue" != last.stage
        return reason if more or late else None, new
    return reason, new


def care(job: Job) -> set[str]:
    """What is asked for once."""
    return {f"{job.action}/{fixture}" for fixture in job.fixtures}
