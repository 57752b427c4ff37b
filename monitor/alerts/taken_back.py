"""Whether what was told may be taken back by the weather that is known now. Pure.

What a feed has said, only its own later word takes back: another feed that never said it is
no answer, nor is an hour that has become empty. Until the moment is over the alert stands.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from monitor.alerts.open_alert import PROTECTS, OpenAlert
from monitor.planning.job import Job, Plan
from monitor.planning.workable import AFTER_THUNDER_S
from monitor.units import to_epoch

_STANDS = "what comes before is not known any more, so the time told before stands"


def heard_to(plan: Plan, moment: datetime | None) -> frozenset[str]:
    """The feeds that say what comes until a moment."""
    if moment is None:
        return frozenset()
    return frozenset(f for f, until in plan.heard_until_s.items() if until >= to_epoch(moment))


def is_unseen(opened: OpenAlert, plan: Plan, now: datetime) -> bool:
    """Whether the done-by of an alert lies where it is not known what comes: to all feeds, or
    to one that had said it.
    """
    do_by = opened.alert.do_by
    if do_by is None or do_by <= now:
        return do_by is not None and to_epoch(do_by) > plan.known_until_s
    silent = set(opened.heard) - heard_to(plan, do_by)
    return bool(silent) or to_epoch(do_by) > plan.known_until_s


def as_told(opened: OpenAlert, job: Job, plan: Plan, now: datetime) -> Job:
    """The job with the times told before, where only what is not known any more moves them on."""
    last = opened.alert
    if opened.family not in PROTECTS or last.start_by is None or last.do_by is None:
        return job
    later = job.do_by_s is None or job.do_by_s > to_epoch(last.do_by)
    if not later or not is_unseen(opened, plan, now):
        return job
    return replace(
        job,
        start_by_s=to_epoch(last.start_by),
        do_by_s=to_epoch(last.do_by),
        reason=f"{job.reason}; {_STANDS}",
    )


def with_heard(opened: OpenAlert, plan: Plan) -> OpenAlert:
    """The alert with every feed noted that says, or has said, what comes until its done-by."""
    heard = heard_to(plan, opened.alert.do_by) | {*opened.heard}
    return replace(opened, heard=tuple(sorted(heard)))


def thunder_stands(opened: OpenAlert, plan: Plan, now: datetime) -> bool:
    """Whether the stop for thunder holds although no weather has thunder now.

    It ends with the time it was told for. Before that, every feed that spoke of thunder has to
    speak of it again, and thirty minutes have to pass since it was last said.
    """
    until = opened.alert.facts.blocked_until
    if until is None or now >= until or opened.said_at is None:
        return False
    silent = set(opened.heard) - {*plan.thunder_heard}
    return bool(silent) or now - opened.said_at < timedelta(seconds=AFTER_THUNDER_S)
