"""What the crew answered to an alert, and what it leaves to be told. Pure.

An answer is never a done: what is asked stays open until the log says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from monitor.alerts.clock import SiteClock
from monitor.alerts.done import is_isolated
from monitor.alerts.words import in_row, one_line
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.domain import Alert, Answered, CannotBecause, LogEntry, Show
    from monitor.planning.job import Job, Plan

_EARLIER = timedelta(minutes=20)
_HALF_MORE = 1.5

BECAUSE: dict[CannotBecause, str] = {
    "no-lift": "there is no lift",
    "too-windy": "it is too windy",
    "act-on-stage": "there is an act on stage",
    "no-cover": "there is no cover",
    "other": "",
}


def last_answers(answers: Sequence[Answered]) -> dict[str, Answered]:
    """The last word on each alert."""
    return {answer.alert: answer for answer in answers}


def sentence(answer: Answered, show: Show, now: datetime) -> str:
    """`Ines answered not needed at 21:03 when asked to cover`."""
    clock = SiteClock(show.site.timezone, now)
    who = one_line(answer.by or "") or "Somebody"
    said = f"{who} answered {answer.answer.replace('-', ' ')} at {clock.at(answer.at)}"
    if answer.action is not None:
        # The alert may ask for something else by now, and this was no answer to that.
        said += f" when asked to {answer.action.replace('-', ' ')}"
    because = "" if answer.because is None else BECAUSE[answer.because]
    note = one_line(answer.note or "")
    why = "; ".join(part for part in (because, note) if part)
    until = "" if answer.until is None else f" until {clock.at(answer.until)}"
    return f"{said}: {why}{until}" if why else f"{said}{until}"


def pressing(last: Alert, new: Alert) -> str | None:
    """What is told even of a job that somebody answered is not needed, or is being done."""
    if last.do_by is not None and new.do_by is not None and last.do_by - new.do_by > _EARLIER:
        return "due earlier than told before"
    before, after = last.facts.rain_mm, new.facts.rain_mm
    if before and after and after >= before * _HALF_MORE:
        return f"{after:.1f} mm of rain instead of {before:.1f} mm"
    return None


def what_is_left(job: Job, show: Show, now: datetime, log: Sequence[LogEntry]) -> Job:
    """The job as it can be told: where it cannot be done, its power is cut and no more.

    Somebody answered that it cannot be done, those who are there cannot do it before it is due,
    or nobody gets it begun before wind, thunder or the dark closes the place. Where there is
    time after that, it is left for then; but what is spent before then has its power cut first.
    """
    if job.family not in ("protect", "covered") or job.action == "isolate":
        return job
    live = _lost_and_live(job, log)
    if job.cannot is not None:
        because, over_s = "it cannot be done", job.cannot.end_s
        if job.cannot.says:
            because += f": {job.cannot.says}"
        if np.isfinite(over_s):
            clock = SiteClock(show.site.timezone, now)
            because += f", until {clock.at(to_moment(over_s))}"
    elif job.missing is not None and job.blocked is None:
        because, over_s = f"it cannot be done by who is there: {job.missing}", np.inf
    elif job.no_time is not None and job.start_by_s is not None:
        because, over_s = "not one fixture can be done there before it closes", job.no_time.end_s
    elif live:
        because, over_s = "", -np.inf
    else:
        return job
    reason = f"{because}; {job.reason}" if because else job.reason
    if job.start_by_s is not None and job.start_by_s >= over_s and not job.late:
        if not live:
            return replace(job, reason=reason)
        clock = SiteClock(show.site.timezone, now)
        reason += f". The rest after that: start by {clock.at(to_moment(job.start_by_s))}"
    due = [at for at in (job.lost_by_s, job.cut_by_s) if at is not None]
    return replace(
        job,
        action="isolate",
        people=1,
        minutes=None,
        start_by_s=None,
        do_by_s=min(due, default=job.do_by_s),
        late=job.no_time is not None and job.cannot is None and job.missing is None,
        reason=reason,
        facts=replace(
            job.facts,
            late=False,
            late_minutes=None,
            who=(),
            handed_to=(),
            handed_at=None,
            covers=(),
            can_wait=(),
            worth=None,
            not_covered_because=None,
            cover_name=None,
            cover_gust_limit_mps=None,
        ),
    )


def _lost_and_live(job: Job, log: Sequence[LogEntry]) -> bool:
    """Whether any of those that nobody can save any more is not logged as isolated."""
    if job.lost_by_s is None or job.do_by_s is None or job.under_way or job.not_needed:
        return False
    saved = {
        fixture
        for wait in job.facts.can_wait
        if to_epoch(wait.do_by) >= job.do_by_s
        for fixture in wait.fixtures
    }
    return any(
        not is_isolated(log, job.position, fixture)
        for fixture in job.fixtures
        if fixture not in saved
    )


def planned_instead(last: Alert, plan: Plan, show: Show, now: datetime) -> str | None:
    """What those who were to do it are planned for now."""
    clock, moved = SiteClock(show.site.timezone, now), []
    for job in plan.jobs:
        theirs = [name for name in job.facts.who if name in last.facts.who]
        if job.position == last.position or not theirs or job.start_by_s is None:
            continue
        place = one_line(show.positions[job.position].name) or job.position
        at = clock.at(to_moment(job.start_by_s))
        moved.append(f"{in_row(theirs)} at {place}, start by {at}")
    return f"Planned now: {'; '.join(moved)}" if moved else None
