"""Whether what an alert asks is done, by what the crew logged. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.alerts.open_alert import PROTECTS, OpenAlert
from monitor.domain import LogEntry, Show
from monitor.planning.job import Job, Plan

_ENDS = {
    "inspect": frozenset({"inspected"}),
    "clean": frozenset({"cleaned"}),
    "isolate": frozenset({"isolated", "covered", "brought-in"}),
}
_ENDS_PROTECTION = frozenset({"covered", "brought-in", "inspected"})
_ENDS_LEAK = frozenset({"brought-in", "inspected"})


def is_done(opened: OpenAlert, fixture: str, plan: Plan, log: Sequence[LogEntry]) -> bool:
    """Whether one fixture of an alert needs no more hands."""
    if opened.family not in PROTECTS:
        return not any(job.family == opened.family and fixture in job.fixtures for job in plan.jobs)
    if opened.action == "isolate" and is_isolated(log, opened.alert.position, fixture):
        return True
    return (plan.brought_in if opened.under_cover else plan.protected).get(fixture, True)


def isolation_done(job: Job, log: Sequence[LogEntry]) -> bool:
    """Whether all a job asks is to cut power that is cut already."""
    return job.action == "isolate" and all(
        is_isolated(log, job.position, fixture) for fixture in job.fixtures
    )


def is_isolated(log: Sequence[LogEntry], position: str | None, fixture: str) -> bool:
    """Whether the last word of the log is that a fixture's power is cut."""
    power = [
        entry
        for entry in log
        if entry.entry in ("isolated", "energised")
        and (entry.fixture == fixture if entry.fixture else entry.position == position)
        and (entry.count is None or entry.count[0] >= entry.count[1])
    ]
    return bool(power) and max(power, key=lambda e: e.at).entry == "isolated"


def done_because(opened: OpenAlert, log: Sequence[LogEntry], show: Show) -> str:
    """The entry that ended an alert, in words."""
    wanted = _ENDS.get(opened.action or "", _ENDS_LEAK if opened.under_cover else _ENDS_PROTECTION)
    for entry in sorted(log, key=lambda e: e.at, reverse=True):
        concerns = (
            entry.position == opened.alert.position
            if entry.position
            else (entry.fixture in opened.alert.fixtures)
        )
        if concerns and entry.entry in wanted:
            at = entry.at.astimezone(show.site.timezone)
            who = f" by {entry.by}" if entry.by else ""
            return f"logged {entry.entry}{who} at {at:%a %H:%M}"
    return "nothing there is out in the weather any more"
