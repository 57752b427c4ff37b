"""From plan to alerts: pure (last state, plan, log, now) -> changes, each with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from monitor.domain import Action, Alert, Facts, LogEntry, Show, Stage
from monitor.planning.crew import Job, Plan
from monitor.planning.facts import fixture_names
from monitor.planning.workable import Span
from monitor.units import to_epoch, to_moment

_MOVED_MINUTES = 20.0
"""A deadline that moved less is not told again."""
_AMOUNT_RATIO = 1.5
_SITE = "site"
_SPENT = "spent"
_PROTECTS = ("protect", "covered", _SPENT)


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert as last told, and how long forecasts have agreed that it is not needed."""

    family: str
    """As Job.family; or "spent", what was not done in time; or "site", thunder"""
    alert: Alert
    action: Action | None = None
    """What the job asks, kept while the alert says stop"""
    calm_runs: int = 0
    calm_since: datetime | None = None
    calm_run: str = ""


@dataclass(frozen=True, slots=True)
class WatchState:
    """What the monitor remembers between evaluations."""

    open: tuple[OpenAlert, ...] = ()
    last_number: int = 0
    settled: tuple[str, ...] = ()
    """Inspections already asked for, as "position/action/fixture": each is asked once."""


@dataclass(frozen=True, slots=True)
class Change:
    """An alert to tell, and why it is told."""

    alert: Alert
    reason: str


@dataclass(frozen=True, slots=True)
class Source:
    """Which forecast the plan rests on, and when the next word comes."""

    names: tuple[str, ...] = ()
    credit: tuple[str, ...] = ()
    issued_at: datetime | None = None
    run: str = ""
    """Changes with every new forecast; stand-down counts these."""
    next_word_at: datetime | None = None


def advance(
    state: WatchState,
    plan: Plan,
    show: Show,
    log: Sequence[LogEntry],
    now: datetime,
    source: Source,
) -> tuple[tuple[Change, ...], WatchState]:
    """One step of every alert's life.

    Parameters
    ----------
    state : as the last call returned it, or `WatchState()`
    plan : what wants doing, as seen now
    show : names, isolation points and policy
    log : the crew's entries up to now
    now : aware
    source : the forecast

    Returns
    -------
    changes : in the order to tell them, stops first
    state : for the next call

    Notes
    -----
    Raised on one run; stood down on `stand_down_runs` and `stand_down_minutes`, at once where
    the log says it is done, and never on weather that is missing.
    """
    return _Step(state, plan, show, log, now, source).run()


class _Step:
    def __init__(
        self,
        state: WatchState,
        plan: Plan,
        show: Show,
        log: Sequence[LogEntry],
        now: datetime,
        source: Source,
    ) -> None:
        self._state, self._plan, self._show = state, plan, show
        self._log, self._now, self._source = log, now, source
        self._number = state.last_number
        self._changes: list[Change] = []
        self._open: list[OpenAlert] = []
        self._settled = set(state.settled)
        self._spent = [opened for opened in state.open if opened.family == _SPENT]

    def run(self) -> tuple[tuple[Change, ...], WatchState]:
        jobs: dict[tuple[str, str], Job] = {
            (job.position, job.family): job for job in self._plan.jobs
        }
        self._thunder()
        for opened in self._state.open:
            if opened.family not in (_SITE, _SPENT):
                job = jobs.pop((opened.alert.position or "", opened.family), None)
                self._continue(opened, job)
        for opened in self._spent:
            self._vanished(opened)
        for job in jobs.values():
            self._begin(job)
        stops_first = sorted(self._changes, key=lambda c: c.alert.stage != "stop")
        state = WatchState(tuple(self._open), self._number, tuple(sorted(self._settled)))
        return tuple(stops_first), state

    # ---- telling

    def _tell(self, opened: OpenAlert, reason: str, *, close: bool = False) -> None:
        alert = replace(opened.alert, at=self._now, reason=reason)
        self._changes.append(Change(alert, reason))
        if not close:
            self._open.append(replace(opened, alert=alert))

    def _facts(self, facts: Facts, blocked: Span | None) -> Facts:
        source = self._source
        return replace(
            facts,
            sources=source.names,
            credit=source.credit,
            issued_at=source.issued_at,
            next_word_at=source.next_word_at,
            blocked_by=None if blocked is None else self._blocked_by(facts, blocked),
            blocked_until=None if blocked is None else to_moment(blocked.end_s),
        )

    @staticmethod
    def _blocked_by(facts: Facts, span: Span) -> str:
        if span.by == "thunder" or span.gust_mps is None:
            return "thunder"
        return f"gust {span.gust_mps:.0f} m/s there, limit {facts.access_limit_mps:g}"

    def _new_id(self, place: str) -> str:
        self._number += 1
        return f"{place}-{self._number}"

    # ---- thunder: one word for the whole site

    def _thunder(self) -> None:
        span = self._plan.thunder
        opened = next((o for o in self._state.open if o.family == _SITE), None)
        site = Facts(site_name=self._show.site.name, timezone=self._show.site.timezone.key)
        if span is not None and opened is None:
            alert = Alert(
                id=self._new_id(_SITE),
                kind="stop",
                stage="stop",
                action=None,
                position=None,
                fixtures=(),
                count=0,
                people=0,
                minutes=None,
                isolate_at=None,
                start_by=None,
                do_by=None,
                members=0,
                probability=None,
                at=self._now,
                reason="",
                facts=self._facts(replace(site, position_name=self._show.site.name), span),
            )
            self._tell(OpenAlert(_SITE, alert), "thunder in this hour's weather")
        elif span is not None and opened is not None:
            self._open.append(opened)
        elif opened is not None:
            if self._plan.blind:
                self._open.append(opened)
                return
            alert = replace(
                opened.alert,
                stage="stood-down",
                facts=replace(opened.alert.facts, blocked_by=None, blocked_until=None),
            )
            self._tell(
                replace(opened, alert=alert),
                "30 minutes have passed since the last hour with thunder; people on site declare "
                "work outdoors and at height open again",
                close=True,
            )

    # ---- a job's alert

    def _stage(self, job: Job) -> Stage | None:
        """The stage a job is in, None where it is not told yet."""
        if job.family not in _PROTECTS:
            return "notice" if job.blocked is None else None
        policy, crew = self._show.policy, self._show.crew
        if job.start_by_s is None or job.do_by_s is None:
            return "notice" if job.blocked is None else None
        now = to_epoch(self._now)
        margin = 60.0 * max(policy.start_margin_minutes, crew.call_out_minutes + 20.0)
        stage: Stage | None = None
        if now >= job.do_by_s:
            stage = "overdue"
        elif now >= job.start_by_s - margin:
            stage = "start"
        elif now >= job.start_by_s - policy.notice_hours * 3600.0:
            stage = "notice"
        if job.blocked is not None:
            return "stop" if stage in ("start", "overdue") else None
        return stage

    def _alert(self, job: Job, alert_id: str, stage: Stage) -> Alert:
        position = self._show.positions[job.position]
        stopped = stage == "stop"
        return Alert(
            id=alert_id,
            kind="stop" if stopped else "work",
            stage=stage,
            action=None if stopped else job.action,
            position=job.position,
            fixtures=job.fixtures,
            count=job.count,
            people=0 if stopped else job.people,
            minutes=None if stopped else job.minutes,
            isolate_at=position.isolate_at,
            start_by=None if stopped or job.start_by_s is None else to_moment(job.start_by_s),
            do_by=None if stopped or job.do_by_s is None else to_moment(job.do_by_s),
            members=job.members,
            probability=job.probability,
            at=self._now,
            reason=job.reason,
            facts=self._facts(job.facts, job.blocked if stopped else None),
        )

    def _begin(self, job: Job) -> None:
        stage = self._stage(job)
        if stage is None or (stage == "stop" and self._plan.thunder is not None):
            return
        if job.family not in _PROTECTS:
            asked = {f"{job.position}/{job.action}/{fixture}" for fixture in job.fixtures}
            if asked <= self._settled:
                return
            self._settled |= asked
        alert = self._alert(job, self._new_id(job.position), stage)
        self._tell(OpenAlert(job.family, alert, job.action), job.reason)

    def _continue(self, opened: OpenAlert, job: Job | None) -> None:
        if job is None:
            self._vanished(opened)
            return
        last = opened.alert
        lost = self._lost(opened, job)
        if lost and not self._nobody_works(opened):
            if last.stage == "overdue":
                self._overdue(opened, lost)
                self._begin(job)
                return
            self._spend(opened, lost)
        opened = replace(opened, calm_runs=0, calm_since=None, calm_run="", action=job.action)
        stage = self._stage(job)
        if stage is None or self._plan.thunder is not None:
            self._open.append(opened)
            return
        if stage == "notice" and last.stage == "start" and not self._moved(last, job):
            stage = "start"
        new = self._alert(job, last.id, stage)
        if job.family not in _PROTECTS:
            asked = {f"{job.position}/{job.action}/{fixture}" for fixture in job.fixtures}
            fresh = asked - self._settled
            self._settled |= asked
            if fresh:
                self._tell(replace(opened, alert=new), job.reason)
            else:
                self._open.append(opened)
            return
        reason = self._news(last, new, job)
        if reason is None:
            self._open.append(opened)
        else:
            self._tell(replace(opened, alert=new), reason)

    def _moved(self, last: Alert, job: Job) -> bool:
        if last.start_by is None or job.start_by_s is None:
            return last.start_by is not None or job.start_by_s is not None
        return abs(to_epoch(last.start_by) - job.start_by_s) > _MOVED_MINUTES * 60.0

    def _news(self, last: Alert, new: Alert, job: Job) -> str | None:
        """Why an open alert is told again, or None."""
        if new.stage != last.stage:
            if new.stage == "stop":
                return f"nobody works there now: {new.facts.blocked_by}"
            if last.stage == "stop":
                return f"the wind there is back under the limit; {job.reason}"
            return job.reason
        if new.stage in ("stop", "overdue"):
            return None
        if new.action != last.action:
            return f"{new.action} instead of {last.action}: {job.reason}"
        if self._moved(last, job):
            earlier = (
                last.start_by is not None
                and new.start_by is not None
                and new.start_by < last.start_by
            )
            return f"{'earlier' if earlier else 'later'} than told before: {job.reason}"
        if set(new.fixtures) - set(last.fixtures):
            return f"more fixtures than told before: {job.reason}"
        before, after = last.facts.rain_mm, new.facts.rain_mm
        if before and after and not 1 / _AMOUNT_RATIO < after / before < _AMOUNT_RATIO:
            return f"{after:.1f} mm instead of {before:.1f} mm: {job.reason}"
        return None

    # ---- an alert whose job is no longer in the plan

    def _vanished(self, opened: OpenAlert) -> None:
        alert, plan = opened.alert, self._plan
        left = [f for f in alert.fixtures if not self._done(opened, f)]
        if not left:
            self._stand_down(opened, self._done_reason(opened))
            return
        if opened.family not in _PROTECTS:
            self._open.append(opened)
            return
        lost = tuple(f for f in left if plan.spent.get(f, False))
        if lost and opened.family != _SPENT:
            if self._nobody_works(opened):
                self._open.append(opened)
            else:
                self._overdue(opened, lost)
            return
        self._calm(opened)

    def _nobody_works(self, opened: OpenAlert) -> bool:
        return self._plan.thunder is not None or opened.alert.position in self._plan.blocked

    def _lost(self, opened: OpenAlert, job: Job) -> tuple[str, ...]:
        """Fixtures that went over their allowance before anybody logged them done."""
        if opened.family not in ("protect", "covered"):
            return ()
        plan, kept = self._plan, set(job.fixtures)
        return tuple(
            f
            for f in opened.alert.fixtures
            if f not in kept and plan.spent.get(f, False) and not plan.protected.get(f, True)
        )

    def _spend(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        """Tell what was lost under the position's own alert for that; the job goes on."""
        position = opened.alert.position
        before = next((o for o in self._spent if o.alert.position == position), None)
        if before is not None:
            self._spent.remove(before)
            fixtures = tuple(dict.fromkeys((*before.alert.fixtures, *lost)))
            self._overdue(replace(before, family="protect", alert=before.alert), fixtures)
            return
        alert = replace(opened.alert, id=self._new_id(position or ""))
        self._overdue(replace(opened, alert=alert), lost)

    def _overdue(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        rows = [self._show.fixture(f) for f in lost]
        alert = replace(
            opened.alert,
            kind="work",
            stage="overdue",
            action=opened.action,
            fixtures=lost,
            count=sum(row.count for row in rows),
            facts=replace(
                self._facts(opened.alert.facts, None),
                fixture_names=fixture_names(rows),
                can_wait=(),
            ),
        )
        spent = replace(opened, family=_SPENT, alert=alert)
        if opened.alert.stage == "overdue" and set(lost) <= set(opened.alert.fixtures):
            self._open.append(spent)
        else:
            self._tell(spent, "the allowance is spent and nothing is logged done")

    def _done(self, opened: OpenAlert, fixture: str) -> bool:
        if opened.family in _PROTECTS:
            return self._plan.protected.get(fixture, True)
        if self._still_asked(opened, fixture):
            return False
        self._settled.discard(f"{opened.alert.position}/{opened.alert.action}/{fixture}")
        return True

    def _still_asked(self, opened: OpenAlert, fixture: str) -> bool:
        return any(
            job.family == opened.family and fixture in job.fixtures for job in self._plan.jobs
        )

    def _done_reason(self, opened: OpenAlert) -> str:
        words = {
            "cover": "covered",
            "bring-in": "brought-in",
            "isolate": "isolated",
            "inspect": "inspected",
            "clean": "cleaned",
        }
        wanted = {words.get(opened.alert.action or "", ""), "covered", "brought-in", "inspected"}
        if opened.family == "clean":
            wanted = {"cleaned"}
        for entry in sorted(self._log, key=lambda e: e.at, reverse=True):
            concerns = entry.position == opened.alert.position or (
                entry.fixture in opened.alert.fixtures
            )
            if concerns and entry.entry in wanted:
                at = entry.at.astimezone(self._show.site.timezone)
                who = f" by {entry.by}" if entry.by else ""
                return f"logged {entry.entry}{who} at {at:%a %H:%M}"
        return "nothing there is out in the weather any more"

    def _calm(self, opened: OpenAlert) -> None:
        """The forecast no longer asks for it: wait until runs and minutes agree."""
        spent = opened.family == _SPENT
        if self._plan.blind or (spent and self._plan.rain_ahead.get(opened.alert.position or "")):
            self._open.append(opened)
            return
        policy = self._show.policy
        since = opened.calm_since or self._now
        fresh = opened.calm_since is None or self._source.run != opened.calm_run
        runs = opened.calm_runs + (1 if fresh else 0)
        waited = self._now - since >= timedelta(minutes=policy.stand_down_minutes)
        if runs >= policy.stand_down_runs and waited:
            why = f"{runs} forecasts in a row no longer spend what is left of the allowance"
            if spent:
                why = "no more rain there in the forecast; what is spent waits for inspection"
            if not self._nobody_works(opened):
                self._stand_down(opened, why)
                return
        self._open.append(
            replace(opened, calm_runs=runs, calm_since=since, calm_run=self._source.run)
        )

    def _stand_down(self, opened: OpenAlert, reason: str) -> None:
        alert = replace(
            opened.alert,
            kind="work",
            stage="stood-down",
            action=opened.action,
            facts=replace(
                opened.alert.facts,
                blocked_by=None,
                blocked_until=None,
                next_word_at=self._source.next_word_at,
            ),
        )
        self._tell(replace(opened, alert=alert), reason, close=True)
