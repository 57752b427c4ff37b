"""From plan to alerts: pure (last state, plan, log, now) -> changes, each with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.alerts.done import done_because, is_done, isolation_done
from monitor.alerts.open_alert import PROTECTS, SITE, SPENT, Change, OpenAlert, Source, WatchState
from monitor.alerts.stages import news, stage_following, stage_of
from monitor.alerts.taken_back import as_told, is_unseen, thunder_stands, with_heard
from monitor.domain import Alert, Answered, Facts, LogEntry, Show, Stage
from monitor.planning.facts import fixture_names
from monitor.planning.job import Job, Plan
from monitor.planning.workable import Span
from monitor.units import to_epoch, to_moment

__all__ = ["Change", "OpenAlert", "Source", "WatchState", "advance"]


def advance(
    state: WatchState,
    plan: Plan,
    show: Show,
    log: Sequence[LogEntry],
    now: datetime,
    source: Source,
    answers: Sequence[Answered] = (),
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
    answers : what the crew has answered until now, oldest first

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
        self._spent = [opened for opened in state.open if opened.family == SPENT]
        self._stopped: list[OpenAlert] = []
        self._thundery = False
        self._stop_told = {
            o.alert.position for o in state.open if o.family != SITE and o.alert.stage == "stop"
        }

    def run(self) -> tuple[tuple[Change, ...], WatchState]:
        jobs: dict[tuple[str, str], Job] = {
            (job.position, job.family): job
            for job in self._plan.jobs
            if not isolation_done(job, self._log)
        }
        self._thunder()
        # Also where no weather has it any more and the stop has not been lifted.
        self._thundery = any(o.family == SITE for o in self._open)
        standing = [o for o in self._state.open if o.family not in (SITE, SPENT)]
        for opened in (*standing, *self._state.open):
            if opened.family != SITE and opened not in self._stopped and self._stops(opened):
                self._stopped.append(opened)
                jobs.pop((opened.alert.position or "", opened.family), None)
        for opened in standing:
            if opened not in self._stopped:
                job = jobs.pop((opened.alert.position or "", opened.family), None)
                self._continue(opened, job)
        for opened in self._spent:
            if opened not in self._stopped:
                self._vanished(opened)
        for job in jobs.values():
            self._begin(job)
        stops_first = sorted(self._changes, key=lambda c: c.alert.stage != "stop")
        # What is no longer due is asked for anew when it comes due again.
        still = self._settled & {
            key for job in self._plan.jobs if job.family not in PROTECTS for key in _care(job)
        }
        return tuple(stops_first), WatchState(tuple(self._open), self._number, tuple(sorted(still)))

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
            gauges=source.gauges,
            credit=source.credit,
            issued_at=source.issued_at,
            next_word_at=source.next_word_at,
            blocked_by=None if blocked is None else _blocked_by(facts, blocked),
            blocked_until=None if blocked is None else to_moment(blocked.end_s),
        )

    def _new_id(self, place: str) -> str:
        self._number += 1
        return f"{place}-{self._number}"

    # ---- wind: an order that stands is taken back aloud

    def _stops(self, opened: OpenAlert) -> bool:
        """Whether an alert says stop, or still says it, because of the wind there.

        Told once for a position however many alerts it has open. Lifted only when runs and
        minutes agree that the wind has dropped: a lull is no time to climb.
        """
        last, plan = opened.alert, self._plan
        span = plan.blocked.get(last.position or "")
        if self._thundery or all(self._done(opened, f) for f in last.fixtures):
            return False
        if span is not None:
            if last.stage == "stop":
                self._open.append(replace(opened, calm_runs=0, calm_since=None, calm_run=""))
                return True
            order = last.stage in ("start", "overdue")
            wet = opened.family == "inspect" and any(plan.spent.get(f) for f in last.fixtures)
            if not order and not wet:
                return False
            self._stop(opened, span)
            return True
        if last.stage != "stop":
            return False
        waiting, enough = self._waited(opened)
        if plan.wind_known and enough:
            return False
        self._open.append(waiting if plan.wind_known else opened)
        return True

    def _stop(self, opened: OpenAlert, span: Span) -> None:
        facts = self._facts(opened.alert.facts, span)
        alert = replace(
            opened.alert,
            kind="stop",
            stage="stop",
            action=None,
            people=0,
            minutes=None,
            start_by=None,
            do_by=None,
            facts=replace(facts, can_wait=(), late=False),
        )
        stopped = replace(opened, alert=alert, calm_runs=0, calm_since=None, calm_run="")
        if alert.position in self._stop_told:
            self._open.append(stopped)
            return
        self._stop_told.add(alert.position)
        self._tell(stopped, f"nobody works there now: {facts.blocked_by}")

    def _waited(self, opened: OpenAlert) -> tuple[OpenAlert, bool]:
        """The alert with this run counted as a calm one, and whether enough have agreed."""
        if not self._source.reliable:
            return opened, False
        policy = self._show.policy
        since = opened.calm_since or self._now
        fresh = opened.calm_since is None or self._source.run != opened.calm_run
        runs = opened.calm_runs + (1 if fresh else 0)
        waited = self._now - since >= timedelta(minutes=policy.stand_down_minutes)
        counted = replace(opened, calm_runs=runs, calm_since=since, calm_run=self._source.run)
        return counted, runs >= policy.stand_down_runs and waited

    # ---- thunder: one word for the whole site

    def _thunder(self) -> None:
        span = self._plan.thunder
        opened = next((o for o in self._state.open if o.family == SITE), None)
        if span is not None and opened is None:
            site = Facts(
                site_name=self._show.site.name,
                timezone=self._show.site.timezone.key,
                position_name=self._show.site.name,
            )
            alert = Alert(
                id=self._new_id(SITE),
                kind="stop",
                stage="stop",
                action=None,
                position=None,
                fixtures=(),
                count=0,
                people=0,
                minutes=None,
                isolate_at=self._isolation_points(),
                start_by=None,
                do_by=None,
                members=0,
                probability=None,
                at=self._now,
                reason="",
                facts=self._facts(site, span),
            )
            self._tell(
                self._thundering(OpenAlert(SITE, alert), span),
                span.says or "thunder in this hour's weather",
            )
        elif opened is not None and span is not None:
            self._open.append(self._thundering(opened, span))
        elif opened is not None and (
            self._plan.blind
            or not self._source.reliable
            or thunder_stands(opened, self._plan, self._now)
        ):
            self._open.append(opened)
        elif opened is not None:
            alert = replace(
                opened.alert,
                stage="stood-down",
                facts=replace(opened.alert.facts, blocked_by=None, blocked_until=None),
            )
            self._tell(
                replace(opened, alert=alert),
                "30 minutes have passed since the last hour with thunder, forecast or officially "
                "warned of; people on site declare work outdoors and at height open again",
                close=True,
            )

    def _thundering(self, opened: OpenAlert, span: Span) -> OpenAlert:
        """The stop with what would have to end before it may: who says so, and until when."""
        facts = self._facts(opened.alert.facts, span)
        return replace(
            opened,
            alert=replace(opened.alert, facts=facts),
            heard=tuple(sorted({*opened.heard, *self._plan.thunder_heard})),
            # An official warning ends by its own word, not by the forecast's.
            said_at=self._now if span.says is None else opened.said_at,
        )

    def _isolation_points(self) -> str | None:
        """Where power is cut for what is at stake now; for all of the rig where nothing is."""
        at_stake = [job.position for job in self._plan.jobs]
        at_stake += [o.alert.position for o in self._state.open if o.alert.position is not None]
        named = [self._show.positions[p].isolate_at for p in dict.fromkeys(at_stake)]
        if not any(named):
            named = [position.isolate_at for position in self._show.positions.values()]
        return "; ".join(dict.fromkeys(point for point in named if point)) or None

    # ---- an alert whose job is in the plan

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
            facts=self._facts(
                replace(
                    job.facts,
                    extra=(*job.facts.extra, *self._not_known()),
                    rain_now=self._rain_now(job),
                ),
                job.blocked if stopped else None,
            ),
        )

    def _rain_now(self, job: Job) -> str | None:
        """What to say of the rain that falls now, where the deadline rests on it."""
        until = self._source.rain_now_until
        if until is None or job.do_by_s is None or job.do_by_s > to_epoch(until):
            return None
        return self._source.rain_now

    def _not_known(self) -> tuple[str, ...]:
        said = []
        if not self._plan.wind_known:
            said.append("The wind just now is not known: measure it there before work at height.")
        if not self._plan.thunder_known:
            said.append("Thunder is not known from this weather: watch the sky.")
        return tuple(said)

    def _begin(self, job: Job) -> None:
        stage = stage_of(job, self._show, self._now)
        if job.family == "inspect" and job.blocked is not None and (job.facts.used or 0.0) >= 1.0:
            stage = "stop"  # wet gear that nobody may reach is said, not kept for later
        if stage is None or self._thundery:
            return
        if stage == "stop":
            if job.position in self._stop_told:
                return
            self._stop_told.add(job.position)
        elif job.family not in PROTECTS:
            if _care(job) <= self._settled:
                return
            self._settled |= _care(job)
        alert = self._alert(job, self._new_id(job.position), stage)
        opened = OpenAlert(job.family, alert, job.action, under_cover=job.family == "covered")
        self._tell(with_heard(opened, self._plan), job.reason)

    def _continue(self, opened: OpenAlert, job: Job | None) -> None:
        if job is None:
            self._vanished(opened)
            return
        job = as_told(opened, job, self._plan, self._now)
        opened = with_heard(opened, self._plan)
        last = opened.alert
        lost = self._lost(opened, job)
        if lost and not self._nobody_works(opened):
            if last.stage == "overdue":
                self._overdue(opened, lost)
                self._begin(job)
                return
            self._spend(opened, lost)
            kept = tuple(f for f in last.fixtures if f not in lost)
            count = last.count - sum(self._show.fixture(f).count for f in lost)
            opened = replace(opened, alert=replace(last, fixtures=kept, count=count))
        opened = replace(opened, calm_runs=0, calm_since=None, calm_run="", action=job.action)
        stage = stage_following(last, job, self._show, self._now)
        wind_lost = last.stage == "stop" and not self._plan.wind_known
        if stage is None or wind_lost or self._thundery:
            self._open.append(opened)
            return
        new = self._alert(job, last.id, stage)
        if job.family in PROTECTS or "stop" in (last.stage, stage):
            reason = news(last, new, job)
        else:
            reason = None if _care(job) <= self._settled else job.reason
            self._settled |= _care(job)
        if reason is None:
            self._open.append(opened)
        elif stage == "stop" and job.position in self._stop_told:
            self._open.append(replace(opened, alert=new))
        else:
            if stage == "stop":
                self._stop_told.add(job.position)
            self._tell(with_heard(replace(opened, alert=new), self._plan), reason)

    # ---- an alert whose job is no longer in the plan

    def _vanished(self, opened: OpenAlert) -> None:
        left = [f for f in opened.alert.fixtures if not self._done(opened, f)]
        if not left:
            self._stand_down(opened, done_because(opened, self._log, self._show))
            return
        if opened.family not in PROTECTS:
            self._open.append(opened)
            return
        lost = tuple(f for f in left if self._plan.spent.get(f, False))
        if opened.family == SPENT and opened.alert.stage == "stop" and lost:
            if self._nobody_works(opened):
                self._open.append(opened)
            else:
                self._overdue(opened, lost)
            return
        if lost and opened.family != SPENT:
            if self._nobody_works(opened):
                self._open.append(opened)
            else:
                self._overdue(opened, lost)
            return
        self._calm(opened)

    def _nobody_works(self, opened: OpenAlert) -> bool:
        return self._thundery or opened.alert.position in self._plan.blocked

    def _done(self, opened: OpenAlert, fixture: str) -> bool:
        return is_done(opened, fixture, self._plan, self._log)

    def _lost(self, opened: OpenAlert, job: Job) -> tuple[str, ...]:
        """Fixtures that went over their allowance before anybody logged them done."""
        if opened.family not in ("protect", "covered"):
            return ()
        plan, kept = self._plan, set(job.fixtures)
        return tuple(
            f
            for f in opened.alert.fixtures
            if f not in kept and plan.spent.get(f, False) and not self._done(opened, f)
        )

    def _spend(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        """Tell what was lost under the position's own alert for that; the job goes on."""
        position = opened.alert.position
        before = next(
            (
                o
                for o in self._spent
                if o.alert.position == position and o.under_cover == opened.under_cover
            ),
            None,
        )
        if before is not None:
            self._spent.remove(before)
            self._overdue(before, tuple(dict.fromkeys((*before.alert.fixtures, *lost))))
            return
        alert = replace(opened.alert, id=self._new_id(position or ""))
        self._overdue(replace(opened, alert=alert), lost)

    def _overdue(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        rows = [self._show.fixture(f) for f in lost]
        due = opened.alert.do_by
        closes = opened.alert.facts.access_closes_at
        alert = replace(
            opened.alert,
            kind="work",
            stage="overdue",
            # What is spent already was due by now, whatever the forecast had said.
            do_by=None if due is None else min(due, self._now),
            action=opened.action,
            fixtures=lost,
            count=sum(row.count for row in rows),
            facts=replace(
                self._facts(opened.alert.facts, None),
                fixture_names=fixture_names(rows),
                can_wait=(),
                access_closes_at=closes if closes is not None and closes > self._now else None,
            ),
        )
        spent = replace(opened, family=SPENT, alert=alert)
        if opened.alert.stage == "overdue" and set(lost) <= set(opened.alert.fixtures):
            self._open.append(spent)
        else:
            self._tell(spent, "the allowance is spent and nothing is logged done")

    def _calm(self, opened: OpenAlert) -> None:
        """The forecast no longer asks for it: wait until runs and minutes agree."""
        alert, plan, spent = opened.alert, self._plan, opened.family == SPENT
        if plan.blind or (not spent and is_unseen(opened, plan, self._now)):
            self._open.append(opened)
            return
        if spent and plan.rain_ahead.get(alert.position or ""):
            self._open.append(opened)
            return
        waiting, enough = self._waited(opened)
        if enough and not self._nobody_works(opened):
            runs = waiting.calm_runs
            why = f"{runs} forecasts in a row no longer spend what is left of the allowance"
            if spent:
                why = "no more rain there in the forecast; what is spent waits for inspection"
            self._stand_down(opened, why)
            return
        self._open.append(waiting)

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


def _care(job: Job) -> set[str]:
    """What is asked for once."""
    return {f"{job.action}/{fixture}" for fixture in job.fixtures}


def _blocked_by(facts: Facts, span: Span) -> str:
    if span.by == "thunder" or span.gust_mps is None:
        return span.says or "thunder"
    return f"gusts up to {span.gust_mps:.0f} m/s there, limit {facts.access_limit_mps:g}"
