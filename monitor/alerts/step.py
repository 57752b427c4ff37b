"""One evaluation: what is known now, what has been told in it so far, what stays open. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.alerts.answers import last_answers, sentence
from monitor.alerts.done import is_done
from monitor.alerts.open_alert import SITE, Change, OpenAlert, Source, WatchState
from monitor.domain import Alert, Answered, Facts, LogEntry, Show, Stage
from monitor.planning.fell import Fell
from monitor.planning.job import Job, Plan
from monitor.planning.workable import Span
from monitor.units import to_epoch, to_moment


class Step:
    """What every part of an alert's life reads, and where it says what it told."""

    def __init__(
        self,
        state: WatchState,
        plan: Plan,
        show: Show,
        log: Sequence[LogEntry],
        now: datetime,
        source: Source,
        answers: Sequence[Answered] = (),
        fell: Fell | None = None,
    ) -> None:
        self.state, self.plan, self.show = state, plan, show
        self.log, self.now, self.source = log, now, source
        self.answers, self.fell = last_answers(answers), fell
        self.number = state.last_number
        self.changes: list[Change] = []
        self.open: list[OpenAlert] = []
        self.settled = set(state.settled)
        self.thundery = False
        """Thunder closes the whole site, or has and has not been lifted yet."""
        self.stop_told = {
            o.alert.position for o in state.open if o.family != SITE and o.alert.stage == "stop"
        }
        """Positions that have heard their stop."""

    # ---- telling

    def tell(self, opened: OpenAlert, reason: str, *, close: bool = False) -> None:
        """Tell an alert as it stands now; it stays open unless it is closed by this."""
        answer = self.answer_to(opened)
        alert = replace(opened.alert, at=self.now, reason=reason)
        if answer is not None:
            said = (sentence(answer, self.show, self.now),)
            alert = replace(alert, facts=replace(alert.facts, answered=said))
            opened = replace(opened, heeded=answer.at)
        self.changes.append(Change(alert, reason))
        if not close:
            self.open.append(replace(opened, alert=alert))

    def keep(self, opened: OpenAlert) -> None:
        """It stays open, and nothing is told."""
        self.open.append(opened)

    def stand_down(self, opened: OpenAlert, reason: str, *, logged: bool = False) -> None:
        """Tell that it is over, because."""
        alert = replace(
            opened.alert,
            kind="work",
            stage="stood-down",
            action=opened.action,
            facts=replace(
                opened.alert.facts,
                blocked_by=None,
                blocked_until=None,
                next_word_at=None if logged else self.source.next_word_at,
                logged_done=logged,
                extra=(),
            ),
        )
        self.tell(replace(opened, alert=alert), reason, close=True)

    def new_id(self, place: str) -> str:
        """An id that has not been used."""
        self.number += 1
        return f"{place}-{self.number}"

    # ---- what is said with an alert

    def alert(self, job: Job, alert_id: str, stage: Stage) -> Alert:
        """The alert that a job makes in a stage."""
        position = self.show.positions[job.position]
        stopped = stage == "stop"
        extra = (*job.facts.extra, *self._at_risk(job), *self._not_known())
        facts = replace(job.facts, extra=extra, rain_now=self._rain_now(job))
        facts = self.facts(facts, job.blocked if stopped else None)
        shut = job.no_time
        if stage == "overdue" and job.action == "isolate" and shut is not None:
            # Not closed yet, but nothing can be done there before it is.
            closes = to_moment(shut.start_s)
            if closes > self.now:
                said = blocked_by(facts, shut)
                facts = replace(facts, access_closes_at=closes, blocked_by=said)
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
            start_by=self._start_by(job, stage),
            do_by=None if stopped or job.do_by_s is None else to_moment(job.do_by_s),
            members=job.members,
            probability=job.probability,
            at=self.now,
            reason=job.reason,
            facts=facts,
        )

    def _start_by(self, job: Job, stage: Stage) -> datetime | None:
        """When to begin at the latest; of what is overdue, when that was."""
        if stage == "stop" or job.start_by_s is None:
            return None
        start_by = to_moment(job.start_by_s)
        return None if stage == "overdue" and start_by > self.now else start_by

    def facts(self, facts: Facts, blocked: Span | None) -> Facts:
        """The facts with which forecast they rest on, and what blocks the place."""
        source = self.source
        return replace(
            facts,
            sources=source.names,
            gauges=source.gauges,
            credit=source.credit,
            issued_at=source.issued_at,
            next_word_at=source.next_word_at,
            blocked_by=None if blocked is None else blocked_by(facts, blocked),
            blocked_until=None if blocked is None else to_moment(blocked.end_s),
        )

    def _rain_now(self, job: Job) -> str | None:
        """What to say of the rain that falls now, where the deadline rests on it."""
        until = self.source.rain_now_until
        if until is None or job.do_by_s is None or job.do_by_s > to_epoch(until):
            return None
        return self.source.rain_now

    def _at_risk(self, job: Job) -> tuple[str, ...]:
        """Beside what acting is worth: the chance that counts where no minute has a price."""
        if job.facts.worth is None:
            return ()
        risk = self.show.policy.risk * 100.0
        return (f"Where no minute has a price, this show acts from a chance of {risk:.0f} % on",)

    def _not_known(self) -> tuple[str, ...]:
        said = []
        if not self.plan.wind_known:
            said.append("The wind just now is not known: measure it there before work at height.")
        if not self.plan.thunder_known:
            said.append("Thunder is not known from this weather: watch the sky.")
        return tuple(said)

    # ---- asked of an open alert

    def open_at(self, position: str) -> list[OpenAlert]:
        """What stays open at a position, as far as it has been gone through."""
        return [o for o in self.open if o.alert.position == position]

    def answer_to(self, opened: OpenAlert) -> Answered | None:
        """The last that was answered to it."""
        return self.answers.get(opened.alert.id)

    def is_doing(self, opened: OpenAlert) -> bool:
        """Whether somebody answered that they are at it: at what it asks, not at what it asked."""
        answer = self.answer_to(opened)
        if answer is None or answer.action not in (None, opened.alert.action):
            return False
        return answer.answer == "doing"

    def nobody_works(self, opened: OpenAlert) -> bool:
        """Whether thunder or wind closes its place, or a stop there has not been lifted yet."""
        place = opened.alert.position
        return self.thundery or place in self.plan.blocked or self.stop_stands(place)

    def stop_stands(self, position: str | None) -> bool:
        """Whether an alert still says stop there, be it that the wind has just dropped.

        Those that go on saying it are gone through first, so no order is told beside them.
        """
        return any(
            o.family != SITE and o.alert.stage == "stop" and o.alert.position == position
            for o in self.open
        )

    def done(self, opened: OpenAlert, fixture: str) -> bool:
        """Whether one of its fixtures needs no more hands."""
        return is_done(opened, fixture, self.plan, self.log)

    def waited(self, opened: OpenAlert) -> tuple[OpenAlert, bool]:
        """The alert with this run counted as a calm one, and whether enough have agreed."""
        if not self.source.reliable:
            return opened, False
        policy = self.show.policy
        since = opened.calm_since or self.now
        fresh = opened.calm_since is None or self.source.run != opened.calm_run
        runs = opened.calm_runs + (1 if fresh else 0)
        waited = self.now - since >= timedelta(minutes=policy.stand_down_minutes)
        counted = replace(opened, calm_runs=runs, calm_since=since, calm_run=self.source.run)
        return counted, runs >= policy.stand_down_runs and waited


_CLOSED_BY = {"thunder": "thunder", "dark": "the dark", "crew": "nobody is there for it"}


def blocked_by(facts: Facts, span: Span) -> str:
    """What closes a place, in words."""
    if span.says is not None:
        return span.says
    if span.by != "gust" or span.gust_mps is None:
        return _CLOSED_BY.get(span.by, "the wind there")
    return f"gusts up to {span.gust_mps:.0f} m/s there, limit {facts.access_limit_mps:g}"
