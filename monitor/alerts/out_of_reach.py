"""Work that would be done hours after it is due: it is not told as a start. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from monitor.planning.job import Job

LATE_AT_MOST_S = 3.0 * SECONDS_PER_HOUR
"""What is done later than this is not done for this rain (judgement)."""


def as_missing(job: Job) -> Job:
    """The job with what keeps it from being done in time, where it would be hours late."""
    asked = not (job.under_way or job.not_needed) and job.cannot is None
    if job.missing is not None or not job.late or not asked or job.late_by_s <= LATE_AT_MOST_S:
        return job
    return replace(job, missing="it would be done more than 3 h late")
