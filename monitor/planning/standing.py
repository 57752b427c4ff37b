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

Key = tuple[str, str]
"""Position and family of a job."""


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
    By position and family of the job

    Notes
    -----
    The last one counts, until something is logged there that settles it, until its own `until`,
    and no longer than a day. A part logged ("3 of 15", or one fixture of several) takes back
    that it cannot be done or is not needed, and leaves it in hand. "Done" changes nothing here:
    what is done is logged.
    """
    settled: dict[str, float] = {}
    begun: dict[str, float] = {}
    for entry in log:
        at, place = to_epoch(entry.at), _place_of(entry, show)
        if entry.entry not in SETTLES or at > now_s or place is None:
            continue
        book = begun if _is_part(entry) else settled
        book[place] = max(at, book.get(place, at))
    last: dict[Key, Answered] = {}
    for answer in answers:
        if answer.position is not None and to_epoch(answer.at) <= now_s:
            last[answer.position, answer.family] = answer
    found = {}
    for (position, family), answer in last.items():
        at = to_epoch(answer.at)
        over = settled.get(position, -math.inf)
        if answer.answer != "doing":
            over = max(over, begun.get(position, -math.inf))
        until = math.inf if answer.until is None else to_epoch(answer.until)
        if over < at and now_s < min(until, at + HOLDS_S) and answer.answer != "done":
            found[position, family] = answer
    return found


def answer_to(job: Job, answers: Mapping[Key, Answered]) -> Answered | None:
    """The answer that holds for a job: to the same fixtures, or to some of them."""
    answer = answers.get((job.position, job.family))
    if answer is None or (answer.fixtures and not set(answer.fixtures) & set(job.fixtures)):
        return None
    return answer


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
