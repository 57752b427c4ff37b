"""What the crew's answers mean for the plan, as long as they hold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from monitor.domain import Answered, CannotBecause, LogEntry, Show
from monitor.planning.job import Job
from monitor.planning.workable import Span
from monitor.units import SECONDS_PER_HOUR, to_epoch

HOLDS_S = 24 * SECONDS_PER_HOUR
"""An answer counts no longer than this (judgement): it was given for one spell of weather."""
SETTLES = ("put-out", "covered", "uncovered", "brought-in", "isolated", "moved")
"""What is logged of a job: from then on the log is what is known of it."""
BECAUSE: Mapping[CannotBecause | None, str] = {
    "no-lift": "no lift",
    "too-windy": "too windy",
    "act-on-stage": "act on stage",
    "no-cover": "no cover",
}

_CUT = "isolate"
Key = tuple[str, str]
"""Position and family of a job. To cut power there is a thing by itself, whichever job it stands
in for: who cannot cover may isolate, and whoever isolates has covered nothing."""


def key_of(position: str, family: str, action: str | None) -> Key:
    """Under which an answer to an order of that action stands."""
    return (position, _CUT) if action == _CUT else (position, family)


def order_of(job: Job) -> Key:
    """The same of a job of the plan."""
    return key_of(job.position, job.family, job.action)


def standing(
    answers: Iterable[Answered], log: Sequence[LogEntry], show: Show, now_s: float
) -> dict[Key, Answered]:
    """The answer that holds for each job.

    Parameters
    ----------
    answers : oldest first
    log : the crew's entries
    now_s : seconds

    Returns
    -------
    By position and family of the job, see `Key`

    Notes
    -----
    The last one counts, until something is logged there that settles it, until its own `until`,
    and no longer than a day. Fixture by fixture settles it too, with the last of those that the
    answer was to. A part logged ("3 of 15", or one fixture of several) takes back that it cannot
    be done or is not needed, and leaves it in hand. "Done" changes nothing here: what is done is
    logged.
    """
    entries = [e for e in log if e.entry in SETTLES and to_epoch(e.at) <= now_s]
    last: dict[Key, Answered] = {}
    for answer in answers:
        if answer.position is not None and to_epoch(answer.at) <= now_s:
            last[key_of(answer.position, answer.family, answer.action)] = answer
    found = {}
    for (position, family), answer in last.items():
        at = to_epoch(answer.at)
        until = math.inf if answer.until is None else to_epoch(answer.until)
        if answer.answer == "done" or now_s >= min(until, at + HOLDS_S):
            continue
        since = [
            e
            for e in entries
            if to_epoch(e.at) >= at and _place_of(e, show) == position and _settles(e, answer)
        ]
        if not _ended(answer, since, show):
            found[position, family] = answer
    return found


def _settles(entry: LogEntry, answer: Answered) -> bool:
    """That power is cut says nothing of covers; of an answer that kept no action, perhaps."""
    return entry.entry != "isolated" or answer.action in (None, _CUT)


def _ended(answer: Answered, since: Sequence[LogEntry], show: Show) -> bool:
    """Whether what was logged there since an answer has settled it."""
    if any(not _is_part(entry) for entry in since):
        return True
    singly = {e.fixture for e in since if e.count is None or e.count[0] >= e.count[1]}
    asked = answer.fixtures or [f.id for f in show.fixtures if f.position == answer.position]
    if singly.issuperset(asked):
        return True
    if answer.answer == "doing":
        return False
    if answer.because == "no-cover":
        # What is brought in for want of a cover does not say that there is one.
        return any(entry.entry == "covered" for entry in since)
    return bool(since)


def answer_to(job: Job, answers: Mapping[Key, Answered]) -> Answered | None:
    """The answer that holds for a job: to the same fixtures, or to some of them.

    What is not needed for some is not said of those that the job has come to ask for since.
    """
    answer = answers.get(order_of(job))
    if answer is None or not answer.fixtures:
        return answer
    asked, said = set(job.fixtures), set(answer.fixtures)
    holds = asked <= said if answer.answer == "not-needed" else asked & said
    return answer if holds else None


def no_cover(answers: Mapping[Key, Answered]) -> frozenset[str]:
    """Positions of which the crew says that there is no cover: brought in instead."""
    return frozenset(
        position
        for (position, family), answer in answers.items()
        if family == "protect" and answer.answer == "cannot" and answer.because == "no-cover"
    )


def cannot_span(answer: Answered) -> Span | None:
    """When it cannot be done, as the crew says; None where it can.

    Without a cover it can be brought in instead.
    """
    if answer.answer != "cannot":
        return None
    if answer.because == "no-cover" and answer.family == "protect":
        return None
    until = math.inf if answer.until is None else to_epoch(answer.until)
    return Span(to_epoch(answer.at), until, "crew", says=_reason(answer))


def _reason(answer: Answered) -> str:
    why = BECAUSE.get(answer.because) or answer.note or "it cannot be done now"
    return f"{why}, says {answer.by or 'the crew'}"


def _place_of(entry: LogEntry, show: Show) -> str | None:
    if entry.position is not None:
        return entry.position
    return next((f.position for f in show.fixtures if f.id == entry.fixture), None)


def _is_part(entry: LogEntry) -> bool:
    return entry.fixture is not None or (
        entry.count is not None and entry.count[0] < entry.count[1]
    )


def last_fixture_s(answer: Answered, log: Sequence[LogEntry], show: Show, now_s: float) -> float:
    """When the last single fixture was logged there since the answer; minus infinity: none."""
    logged = (
        to_epoch(e.at)
        for e in log
        if e.fixture is not None and e.entry in SETTLES and _place_of(e, show) == answer.position
    )
    return max((at for at in logged if to_epoch(answer.at) < at <= now_s), default=-math.inf)
