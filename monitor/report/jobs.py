"""What was asked of the crew, when it was told, and when the log says it was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

from monitor.domain import Action, Alert, Answered
from monitor.report.findings import used_now
from monitor.report.fixture_log import FixtureLog
from monitor.report.material import Material
from monitor.report.spent import spent_at

Came = Literal["in-time", "late", "isolated", "missed", "open", "done", "not-done", "not-needed"]
SAYS: dict[Came, str] = {
    "in-time": "done in time",
    "late": "done late",
    "isolated": "isolated instead",
    "missed": "missed",
    "open": "not due yet",
    "done": "done",
    "not-done": "not logged done",
    "not-needed": "no longer needed",
}
_SAME_MOMENT = timedelta(seconds=1)
_NEVER = datetime.max.replace(tzinfo=UTC)
PROTECTS: tuple[Action, ...] = ("cover", "bring-in", "isolate")
SHELTERS: tuple[Action, ...] = ("cover", "bring-in")
"""What keeps water off. Cutting the power instead saves people, and not the fixture."""


@dataclass(frozen=True, slots=True)
class Told:
    """One change of an alert, as it reached people."""

    alert: Alert
    reason: str
    at: datetime
    told_at: datetime | None
    """When the first person's message left; None: it did not"""
    state: str
    """In words"""


@dataclass(frozen=True, slots=True)
class Job:
    """One alert from its first word to its last."""

    told: tuple[Told, ...]
    do_by: datetime | None
    start_by: datetime | None
    done_at: datetime | None
    """When the last of its fixtures was logged done"""
    done_count: int
    """Fixtures (ids) of it logged done"""
    asked: Action | None
    """What was asked of the crew: keeping water off, where that was asked at any time"""
    came: Came | None
    """None where there is nothing to do: stops, weather, messages"""
    spent_at: datetime | None = None
    """When, by what fell, an allowance was spent of what was not done yet; None: none was"""
    isolated_at: datetime | None = None
    """Where water was not kept off all of it: when the last of the rest was logged isolated"""
    took: float = 0.0
    """The most that one of its fixtures has taken, in allowances, inspected since or not"""
    answered: tuple[Answered, ...] = ()
    """What the crew answered to it, oldest first"""
    done: tuple[str, ...] = ()
    """Fixtures of it that were logged done"""

    @property
    def alert(self) -> Alert:
        """The alert when it asked for most: what and where."""
        asking = [t.alert for t in self.told if t.alert.stage != "stood-down"]
        return max(asking or [self.told[0].alert], key=lambda a: a.count)

    @property
    def ordered(self) -> Told:
        """The word to begin, else the first word."""
        return next((t for t in self.told if t.alert.stage == "start"), self.told[0])

    @property
    def lead_min(self) -> float | None:
        """Minutes from the word to begin until it had to be done."""
        told = self.ordered.told_at
        if told is None or self.do_by is None:
            return None
        return (self.do_by - told).total_seconds() / 60.0


def jobs(material: Material) -> tuple[Job, ...]:
    """Every alert of the period, oldest first; one that came back is told as a new one."""
    lives: dict[str, list[list[Told]]] = {}
    order: list[list[Told]] = []
    deliveries = _by_change(material)
    for alert, reason, at in sorted(material.changes, key=lambda c: c[2]):
        episodes = lives.setdefault(alert.id, [])
        if not episodes or episodes[-1][-1].alert.stage == "stood-down":
            episodes.append([])
            order.append(episodes[-1])
        episodes[-1].append(_told(material, deliveries, alert, reason, at))
    log = FixtureLog(material)
    found = [_job(material, log, tuple(life)) for life in order]
    return tuple(replace(job, answered=_answers(material, job, found)) for job in found)


def _answers(material: Material, job: Job, found: Sequence[Job]) -> tuple[Answered, ...]:
    """The answers to an alert from its first word on, until it came back as another job."""
    first = job.told[0]
    back = [
        other.told[0].at
        for other in found
        if other.told[0].alert.id == first.alert.id and other.told[0].at > first.at
    ]
    return tuple(
        said
        for said in material.answered
        if said.alert == first.alert.id and first.at <= said.at < min(back, default=_NEVER)
    )


def _job(material: Material, log: FixtureLog, told: tuple[Told, ...]) -> Job:
    opened, last = told[0].at, told[-1]
    asking = [t.alert for t in told if t.alert.stage != "stood-down" and t.alert.action is not None]
    if told[0].alert.kind != "work" or not asking:
        return Job(told, None, None, None, 0, None, None)
    shelter = [alert.action for alert in asking if alert.action in SHELTERS]
    action = shelter[-1] if shelter else asking[-1].action
    assert action is not None
    wanted = dict.fromkeys(f for alert in asking for f in alert.fixtures)
    ended = last.at if last.alert.stage == "stood-down" else material.ends_at
    due = next((alert.do_by for alert in reversed(asking) if alert.do_by is not None), ended)
    span = (opened, min(due, ended))
    done = {fixture: log.done_at(fixture, action, *span) for fixture in wanted}
    known = [at for at in done.values() if at is not None]
    finished = tuple(f for f, at in done.items() if at is not None)
    done_at = max(known) if known and len(known) == len(done) else None
    isolated_at = None
    if done_at is None and action in SHELTERS:
        cut = {f: log.isolated_at(f, *span) for f, at in done.items() if at is None}
        over = [at for at in cut.values() if at is not None]
        isolated_at = max(over) if over and len(over) == len(cut) else None
        done |= cut
    # A deadline may move while the alert is open; the one that held when the work was done counts.
    over_at = done_at or isolated_at
    held = [t for t in told if over_at is None or t.at <= over_at] or [told[0]]
    do_by = next((t.alert.do_by for t in reversed(held) if t.alert.do_by is not None), None)
    start_by = next((t.alert.start_by for t in reversed(held) if t.alert.start_by), None)
    spent = None
    if action in PROTECTS:
        until = ((fixture, min(at or ended, material.ends_at)) for fixture, at in done.items())
        gone = [spent_at(material, fixture, moment) for fixture, moment in until]
        spent = min((at for at in gone if at is not None), default=None)
    in_time = over_at is not None and do_by is not None and over_at <= do_by and spent is None
    came: Came
    if done_at is not None:
        came = "in-time" if in_time else "done" if do_by is None else "late"
    elif isolated_at is not None and in_time:
        came = "isolated"
    elif (
        spent is not None
        or any(t.alert.stage == "overdue" for t in told)
        or (do_by is not None and do_by <= ended)
    ):
        came = "missed"
    elif last.alert.stage == "stood-down":
        came = "not-needed"
    else:
        came = "not-done" if do_by is None else "open"
    took = max((_took(material, fixture) for fixture in wanted), default=0.0)
    return Job(
        told, do_by, start_by, done_at, len(known), action, came, spent,
        isolated_at=isolated_at, took=took, done=finished,
    )  # fmt: skip


def _took(material: Material, fixture: str) -> float:
    n = material.rig.index_of.get(fixture)
    if n is None:
        return 0.0
    g = int(material.exposure.group_of[n])
    return max(float(material.exposure.used_total[0, g]), used_now(material, g))


# ---------------------------------------------------------------- told


def _by_change(material: Material) -> dict[tuple[str, str | None], list[tuple[datetime, int]]]:
    """Which deliveries speak of an alert at a stage: (message's moment, place in the tuple)."""
    found: dict[tuple[str, str | None], list[tuple[datetime, int]]] = {}
    for i, delivery in enumerate(material.deliveries):
        message = delivery.row.message
        found.setdefault((message.alert_id, message.stage), []).append((message.at, i))
    return found


def _told(
    material: Material,
    deliveries: dict[tuple[str, str | None], list[tuple[datetime, int]]],
    alert: Alert,
    reason: str,
    at: datetime,
) -> Told:
    if material.rehearsed or not material.deliveries:
        state = "rehearsed" if material.rehearsed else "no message kept"
        return Told(alert, reason, at, at if material.rehearsed else None, state)
    folders = {c.name for c in material.show.contacts if c.kind == "folder"}
    ours = [
        material.deliveries[i]
        for moment, i in deliveries.get((alert.id, alert.stage), ())
        if abs(moment - at) < _SAME_MOMENT
    ]
    to_people = [d for d in ours if not material.told_nobody and d.row.contact not in folders]
    sent = [d.settled_at for d in to_people if d.state == "sent" and d.settled_at is not None]
    if sent:
        refused = sum(d.state == "given-up" for d in to_people)
        state = f"{len(sent)} sent" + (f", {refused} given up" if refused else "")
        return Told(alert, reason, at, min(sent), state)
    if to_people:
        states = {d.state for d in to_people}
        waiting = "waiting" if "queued" in states else "given up" if "given-up" in states else ""
        return Told(alert, reason, at, None, waiting or "overtaken by later word")
    return Told(alert, reason, at, None, "folder only" if ours else "no message")


def tally(found: Sequence[Job]) -> dict[Came, int]:
    """How many jobs came out how; all that are work."""
    return {came: sum(job.came == came for job in found) for came in SAYS}
