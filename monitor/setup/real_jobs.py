"""What real cover jobs took, from what the crew tapped: from "doing" to what was logged covered.

They may correct the minutes of a drill. Nothing of it is in force until a chief keeps it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from monitor.domain import Answered, LogEntry
from monitor.setup.timed import Minutes, scaled
from monitor.units import SECONDS_PER_MINUTE

ENOUGH = 3
"""Real jobs that are asked for before they say anything (judgement)."""
_SHORTEST_MIN, _LONGEST_MIN = 1.0, 240.0
"""What took less was tapped afterwards, what took more was forgotten (judgement)."""
_NO_NEWS = 0.1
"""So far off, what is planned stands (judgement)."""


@dataclass(frozen=True, slots=True)
class RealJob:
    """One cover job as it was tapped."""

    began: datetime
    minutes: float
    count: int
    """Pieces that the order named"""


@dataclass(frozen=True, slots=True)
class Offer:
    """What the real jobs of a position say."""

    jobs: int
    factor: float
    """How many times as long they took as is planned, the one in the middle"""
    minutes: Minutes


def real_jobs(
    position: str,
    pieces: Mapping[str, int],
    answers: Sequence[Answered],
    log: Sequence[LogEntry],
) -> tuple[RealJob, ...]:
    """The cover jobs of a position, oldest first.

    Parameters
    ----------
    pieces : fixture at the position -> how many it stands for
    answers, log : all there are
    """
    events: list[tuple[datetime, int, Answered | LogEntry]] = [
        (entry.at, 0, entry)
        for entry in log
        if entry.entry == "covered"
        and entry.count is None
        and (entry.position == position or entry.fixture in pieces)
    ]
    # "Done" logs what was covered at the same moment: that comes first.
    events += [
        (said.at, 1, said)
        for said in answers
        if said.position == position and said.family == "protect"
    ]
    found: list[RealJob] = []
    began: Answered | None = None
    bare: set[str] = set()
    for at, _, event in sorted(events, key=lambda one: one[:2]):
        if isinstance(event, Answered):
            if event.answer != "doing":
                began = None
            elif began is None:
                began, bare = event, set(event.fixtures)
        elif began is not None:
            bare -= {event.fixture} if event.fixture is not None else bare
            if not bare:
                minutes = (at - began.at).total_seconds() / SECONDS_PER_MINUTE
                count = sum(pieces.get(fixture, 0) for fixture in began.fixtures)
                if count and _SHORTEST_MIN <= minutes <= _LONGEST_MIN:
                    found.append(RealJob(began.at, minutes, count))
                began = None
    return tuple(found)


def offer(jobs: Sequence[RealJob], planned: Minutes) -> Offer | None:
    """What real jobs say of the minutes that are planned; None: too few, or nothing new."""
    if len(jobs) < ENOUGH:
        return None
    ratios = [
        job.minutes / (planned.setup + planned.each * job.count)
        for job in jobs
        if planned.setup + planned.each * job.count > 0.0
    ]
    if not ratios or abs(median(ratios) - 1.0) <= _NO_NEWS:
        return None
    factor = median(ratios)
    return Offer(len(jobs), factor, scaled(planned, factor))
