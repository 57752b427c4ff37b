"""How a job came out and what was answered to it, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.words import one_line
from monitor.report.figures import share
from monitor.report.jobs import SAYS, SHELTERS

if TYPE_CHECKING:
    from monitor.domain import Action, Answered, AnswerKind, CannotBecause
    from monitor.report.jobs import Job
    from monitor.report.site_times import SiteTimes

_ANSWERS: dict[AnswerKind, str] = {
    "doing": "Doing it",
    "done": "Answered done",
    "cannot": "Cannot be done",
    "not-needed": "Answered not needed",
}
_BECAUSE: dict[CannotBecause, str] = {
    "no-lift": "no lift",
    "too-windy": "too windy",
    "act-on-stage": "act on stage",
    "no-cover": "no cover",
    "other": "another reason",
}
_DONE: dict[Action, str] = {"cover": "covered", "bring-in": "brought in"}


def outcome(job: Job, times: SiteTimes) -> str:
    """How it came out, with the moment."""
    assert job.came is not None
    if job.done_at is not None:
        return f"{SAYS[job.came]}, {times.at(job.done_at)}{_by_what_fell(job, times)}"
    instead = _instead(job, times)
    if instead:
        return f"{_not_done(job)}: {instead}{_took(job)}{_by_what_fell(job, times)}"
    said = SAYS[job.came]
    if job.done_count:
        said += f": {job.done_count} of {_wanted(job)} logged done"
    return f"{said}{_by_what_fell(job, times)}"


def answer(said: Answered, times: SiteTimes) -> str:
    """`Cannot be done (act on stage), Kit, Fri 16 Jul 21:00`."""
    until = f" until {times.at(said.until)}" if said.until is not None else ""
    by = f", {one_line(said.by)}" if said.by else ""
    note = f": {one_line(said.note)}" if said.note else ""
    to = "" if said.action is None else f", asked to {said.action.replace('-', ' ')}"
    return f"{_ANSWERS[said.answer]}{_because(said)}{until}{to}{by}, {times.at(said.at)}{note}"


def said_in_short(said: Answered, times: SiteTimes) -> str:
    """The same for a cell: `cannot (act-on-stage) 2027-07-16T21:00:00+01:00 Kit`."""
    what = said.answer if said.because is None else f"{said.answer} ({said.because})"
    to = "" if said.action is None else f" to {said.action}"
    return f"{what}{to} {times.iso(said.at)}" + (f" {said.by}" if said.by else "")


def _instead(job: Job, times: SiteTimes) -> str:
    """What there was of it where water was not kept off: `cannot (act on stage), isolated ...`."""
    if job.asked not in SHELTERS or job.came == "open":
        return ""
    parts = []
    refused = [said for said in job.answered if said.answer == "cannot"]
    if refused:
        parts.append(f"cannot{_because(refused[-1])}")
    if job.isolated_at is not None:
        parts.append(f"isolated {times.at(job.isolated_at)}")
    return ", ".join(parts)


def _not_done(job: Job) -> str:
    assert job.asked is not None
    done = _DONE[job.asked]
    if job.done_count:
        return f"{job.done_count} of {_wanted(job)} {done}, the rest not"
    return f"not {done}"


def _took(job: Job) -> str:
    if job.took <= 0.0:
        return ""
    return f"; took {share(job.took)} times the allowance"


def _wanted(job: Job) -> int:
    return len({f for told in job.told for f in told.alert.fixtures})


def _because(said: Answered) -> str:
    return f" ({_BECAUSE[said.because]})" if said.because is not None else ""


def _by_what_fell(job: Job, times: SiteTimes) -> str:
    """What the weather that came says of it, where that is not what the forecast had."""
    if job.spent_at is not None:
        return f"; by what fell an allowance was spent {times.at(job.spent_at)}"
    lasted = job.came == "late" and job.done_at is not None
    return "; by what is known to have fallen the allowance lasted" if lasted else ""
