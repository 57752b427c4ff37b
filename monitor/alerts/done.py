"""Whether what an alert asks is done, by what the crew logged. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.alerts.open_alert import PROTECTS, SPENT, OpenAlert
from monitor.domain import EntryKind, LogEntry, Show
from monitor.planning.job import Job, Plan

_ENDS: dict[str, frozenset[str]] = {
    "inspect": frozenset({"inspected"}),
    "clean": frozenset({"cleaned"}),
    "isolate": frozenset({"isolated", "covered", "brought-in", "inspected"}),
    "uncover": frozenset({"uncovered", "brought-in"}),
}
_ENDS_PROTECTION = frozenset({"covered", "brought-in", "inspected"})
_ENDS_LEAK = frozenset({"brought-in", "inspected"})
_LOGGED_AS: dict[str, frozenset[EntryKind]] = {
    "cover": frozenset({"covered", "brought-in"}),
    "bring-in": frozenset({"brought-in"}),
    "isolate": frozenset({"isolated", "brought-in"}),
    "uncover": frozenset({"uncovered", "brought-in"}),
    "inspect": frozenset({"inspected"}),
    "clean": frozenset({"cleaned"}),
}


def is_done(opened: OpenAlert, fixture: str, plan: Plan, log: Sequence[LogEntry]) -> bool:
    """Whether one fixture of an alert needs no more hands."""
    if opened.family not in PROTECTS:
        return not any(job.family == opened.family and fixture in job.fixtures for job in plan.jobs)
    inside = plan.brought_in.get(fixture, True)
    cut = opened.action == "isolate" and is_isolated(log, opened.alert.position, fixture)
    if opened.family == SPENT and opened.action == "isolate":
        # A cover put on it does not make it safe: it is wet and live under it.
        return cut or inside or _found_dry(opened, fixture, log)
    if opened.family == "uncover":
        return cut or inside or not plan.protected.get(fixture, False)
    if cut:
        return True
    return inside if opened.under_cover else plan.protected.get(fixture, True)


def _found_dry(opened: OpenAlert, fixture: str, log: Sequence[LogEntry]) -> bool:
    return any(
        entry.entry == "inspected"
        and entry.result == "dry"
        and entry.at >= opened.alert.at
        and _concerns(entry, opened.alert.position, (fixture,))
        for entry in log
    )


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
        and _concerns(entry, position, (fixture,))
        and (entry.count is None or entry.count[0] >= entry.count[1])
    ]
    return bool(power) and max(power, key=lambda e: e.at).entry == "isolated"


def _concerns(entry: LogEntry, position: str | None, fixtures: Sequence[str]) -> bool:
    return entry.fixture in fixtures if entry.fixture else entry.position == position


def done_by(opened: OpenAlert, log: Sequence[LogEntry]) -> LogEntry | None:
    """The entry that ended an alert."""
    wanted = _ENDS.get(opened.action or "", _ENDS_LEAK if opened.under_cover else _ENDS_PROTECTION)
    alert = opened.alert
    return next(
        (
            entry
            for entry in sorted(log, key=lambda e: e.at, reverse=True)
            if entry.entry in wanted and _concerns(entry, alert.position, alert.fixtures)
        ),
        None,
    )


def does_what_was_asked(opened: OpenAlert, entry: LogEntry | None) -> bool:
    """Whether an entry says that the very thing was done, and not another that makes it idle."""
    return entry is not None and entry.entry in _LOGGED_AS.get(opened.action or "", ())


def done_because(opened: OpenAlert, entry: LogEntry | None, show: Show) -> str:
    """The entry that ended an alert, in words."""
    if entry is None:
        if opened.family == "uncover":
            return "nothing there is covered any more"
        return "nothing there is out in the weather any more"
    at = entry.at.astimezone(show.site.timezone)
    who = f" by {entry.by}" if entry.by else ""
    return f"logged {entry.entry}{who} at {at:%a %H:%M}"
