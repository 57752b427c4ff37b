"""Which stage a job is in at a moment, and whether an alert is worth telling again. Pure."""

from __future__ import annotations

from datetime import datetime

from monitor.alerts.open_alert import PROTECTS
from monitor.alerts.words import in_row
from monitor.domain import Action, Alert, Show, Stage
from monitor.planning.crew import start_margin_s
from monitor.planning.job import Job
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch

_MOVED_S = 20.0 * SECONDS_PER_MINUTE
"""A start that moved no more than this is not told again."""
_WALK_S = 15.0 * SECONDS_PER_MINUTE
"""J: whoever cuts power is told that long before it has to be cut."""
_AMOUNT_RATIO = 1.5
"""So many times the rain told before is told again, be the deadline the same. Less is not:
what has fallen meanwhile is missing from what is still to come.
"""
_DONE: dict[Action | None, str] = {
    "cover": "covered",
    "bring-in": "brought in",
    "isolate": "isolated",
    "uncover": "uncovered",
    "inspect": "inspected",
    "clean": "cleaned",
}
"""What was told before is no order in the message that takes it back."""


def stage_of(job: Job, show: Show, now: datetime) -> Stage | None:
    """The stage a job is in; None where it is not told: too early, or nobody may work there."""
    if job.family not in PROTECTS or job.do_by_s is None:
        return "notice" if job.blocked is None else None
    now_s = to_epoch(now)
    stage: Stage | None = None
    # No hands are planned for it, or nobody may or can begin just now: it is no start.
    waits = job.cannot is not None or job.no_time is not None
    begins_s = None if waits else job.start_by_s
    margin_s = start_margin_s(show, job)
    if job.action == "isolate" and job.start_by_s is None and not job.not_needed:
        # Whatever keeps hands off the gear, somebody has to walk to where its power is cut.
        begins_s, margin_s = job.do_by_s, _WALK_S
    if now_s >= job.do_by_s or _no_time_left(job):
        stage = "overdue"
    elif begins_s is not None and now_s >= begins_s - margin_s:
        stage = "start"
    elif now_s >= _wanted_s(job) - show.policy.notice_hours * SECONDS_PER_HOUR:
        stage = "notice"
    if job.blocked is not None:
        return "stop" if stage in ("start", "overdue") else None
    return stage


def _wanted_s(job: Job) -> float:
    """When it is wanted: its start, or its end where no hands are planned for it."""
    return (job.do_by_s or 0.0) if job.start_by_s is None else job.start_by_s


def _no_time_left(job: Job) -> bool:
    """Its latest start is past for good: all that is left is to cut its power, at once.

    What no hands are planned for has no start to miss: it is as late as it was.
    """
    shut = job.start_by_s is None and job.no_time is not None
    return job.action == "isolate" and shut and job.late and not job.not_needed


def stage_following(last: Alert, job: Job, show: Show, now: datetime) -> Stage | None:
    """The stage of a job that was told of before; None where its last word stands.

    A start that moved a little is not taken back, and a job that moved out of sight is told
    as work ahead: what was told before no longer holds.
    """
    stage = stage_of(job, show, now)
    if stage is None and job.blocked is None:
        stage = "notice"
    stands = job.cannot is None and job.no_time is None and not _moved(last, job)
    if stage == "notice" and last.stage == "start" and stands:
        return "start"
    return stage


def news(last: Alert, new: Alert, job: Job, taken: frozenset[str] | None = None) -> str | None:
    """Why an open alert is told again, or None.

    `taken`: who of those that were told cannot be counted on any more; None: anybody new is news.
    """
    if new.stage != last.stage:
        if new.stage == "stop":
            return f"nobody works there now: {new.facts.blocked_by}"
        if last.stage == "stop":
            return f"the wind there is back under the limit; {job.reason}"
        return job.reason
    cut_now = new.action == "isolate" != last.action
    if new.stage == "stop" or (new.stage == "overdue" and not cut_now):
        return None
    if new.action != last.action:
        asked, told = _DONE.get(new.action, "done"), _DONE.get(last.action, "done")
        return f"to be {asked} instead of {told}: {job.reason}"
    if _moved(last, job):
        earlier = (
            last.start_by is not None and new.start_by is not None and new.start_by < last.start_by
        )
        return f"{'earlier' if earlier else 'later'} than told before: {job.reason}"
    if set(new.fixtures) - set(last.fixtures):
        return f"more fixtures than told before: {job.reason}"
    before, after = last.facts.rain_mm, new.facts.rain_mm
    if before and after and after >= before * _AMOUNT_RATIO:
        return f"{after:.1f} mm instead of {before:.1f} mm: {job.reason}"
    return _other_hands(last, new, job, taken)


def _other_hands(last: Alert, new: Alert, job: Job, taken: frozenset[str] | None) -> str | None:
    """Who does it counts as news once they have been told to start, not while it is planned."""
    if new.stage != "start" or not last.facts.who:
        return None
    gone = {*last.facts.who} - {*new.facts.who}
    if taken is not None and gone and not gone & taken:
        return None
    if new.facts.who and set(new.facts.who) != set(last.facts.who):
        return f"{in_row(new.facts.who)} instead of {in_row(last.facts.who)}: {job.reason}"
    over = {*last.facts.handed_to} - {*new.facts.handed_to}
    if taken is not None and over and not over & taken:
        return None
    if new.facts.handed_to and set(new.facts.handed_to) != set(last.facts.handed_to):
        return f"handed over to {in_row(new.facts.handed_to)}: {job.reason}"
    return None


def _moved(last: Alert, job: Job) -> bool:
    if last.start_by is None and job.start_by_s is None:
        return (
            last.do_by is not None
            and job.do_by_s is not None
            and to_epoch(last.do_by) - job.do_by_s > _MOVED_S
        )
    if last.start_by is None or job.start_by_s is None:
        return True
    later_s = job.start_by_s - to_epoch(last.start_by)
    if later_s <= _MOVED_S:
        return later_s < -_MOVED_S
    # A later turn of the same hands, with the same deadline, is no news: what was told is soon
    # enough, and the next plan may turn them round again. Nor is a job that is only ever later.
    due_s = None if job.do_by_s is None or last.do_by is None else to_epoch(last.do_by)
    return not job.late and (due_s is None or (job.do_by_s or 0.0) - due_s > _MOVED_S)
