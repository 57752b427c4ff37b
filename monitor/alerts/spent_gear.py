"""What went over its allowance before anybody logged it done. Pure.

Wet gear that nothing says is isolated is wet and live: then there is one message for the
position, to cut its power and keep off. To cover what is soaked, or to look into it, comes
after that.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from monitor.alerts import words
from monitor.alerts.clock import SiteClock
from monitor.alerts.done import is_isolated
from monitor.alerts.open_alert import SITE, SPENT, OpenAlert
from monitor.alerts.step import Step
from monitor.domain import Facts
from monitor.planning.facts import fixture_names, plain_facts
from monitor.planning.job import Job
from monitor.units import to_epoch

_MORE_COMES = "More water reaches it on this forecast"
_AS_GOOD_AS_SPENT = 0.99
_TOO_LATE = (
    "it is too late for that: the allowance is spent, and the order to isolate it stands there"
)
_MEASURED = {
    "record": "",
    "all": ", measured on site",
    "some": ", measured on site as far as it was",
    "none": " as far as is known, not measured on site",
}


class SpentGear:
    """The alerts of one step that say what was lost: one a position, and one for what leaked
    under its cover.
    """

    def __init__(self, step: Step) -> None:
        self._step = step
        self.told_before = [o for o in step.state.open if o.family == SPENT]
        """Those of earlier steps that nothing in this one has taken up yet."""

    def lost(self, opened: OpenAlert, job: Job) -> tuple[str, ...]:
        """Fixtures that went over their allowance before anybody logged them done.

        What reaches it at this very moment is over it in the next: it is not told twice.
        """
        if opened.family not in ("protect", "covered"):
            return ()
        step, kept = self._step, set(job.fixtures)
        due = job.do_by_s is not None and to_epoch(step.now) >= job.do_by_s
        return tuple(
            f
            for f in opened.alert.fixtures
            if not step.done(opened, f)
            and (
                due and step.plan.used.get(f, 0.0) >= _AS_GOOD_AS_SPENT
                if f in kept
                else step.plan.spent.get(f, False)
            )
        )

    def part(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        """Tell what was lost under the position's own alert for that; the job goes on."""
        step, position = self._step, opened.alert.position
        if self._joins(position or "", opened.alert.id, lost):
            return
        before = next(
            (
                o
                for o in self.told_before
                if o.alert.position == position and o.under_cover == opened.under_cover
            ),
            None,
        )
        if before is not None:
            self.told_before.remove(before)
            self.overdue(before, tuple(dict.fromkeys((*before.alert.fixtures, *lost))))
            return
        alert = replace(opened.alert, id=step.new_id(position or ""))
        self.overdue(replace(opened, alert=alert), lost)

    def overdue(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        """Tell that it is too late for these."""
        step, last = self._step, opened.alert
        position = last.position or ""
        if self._joins(position, last.id, lost):
            step.stand_down(opened, _TOO_LATE)
            return
        more = step.plan.soaking.get(position, ())
        live = tuple(f for f in dict.fromkeys((*lost, *more)) if self._is_live(position, f))
        action = "isolate" if live else opened.action
        lost = live or lost
        rows = [step.show.fixture(f) for f in lost]
        due = last.do_by
        alert = replace(
            last,
            kind="work",
            stage="overdue",
            # What is spent already was due by now, whatever the forecast had said.
            do_by=None if due is None else min(due, step.now),
            action=action,
            fixtures=lost,
            count=sum(row.count for row in rows),
            people=1 if live else last.people,
            minutes=None if live else last.minutes,
            start_by=None if live else last.start_by,
            members=0,
            probability=None,
            facts=replace(
                self._what_fell(last.facts, lost),
                fixture_names=fixture_names(rows),
                spent_live=bool(live),
                extra=(
                    *([_MORE_COMES] if step.plan.rain_ahead.get(position) else []),
                    *step.plan.feeding.says(rows),
                ),
            ),
        )
        spent = replace(opened, family=SPENT, alert=alert, action=action)
        known = last.stage == "overdue" and last.action == action
        # One cut-off for the position: what is lost there later changes nothing of the order.
        if known and (live or set(lost) <= set(last.fixtures)):
            step.keep(spent)
        else:
            step.tell(spent, self._why(lost, live=bool(live)))

    def _joins(self, position: str, alert_id: str, lost: tuple[str, ...]) -> bool:
        """Whether an order to isolate stands there already; then it counts for these as well."""
        live = [f for f in lost if self._is_live(position, f)]
        for kept in (self._step.open, self.told_before):
            for i, told in enumerate(kept):
                last = told.alert
                same = told.family == SPENT and last.position == position and last.id != alert_id
                if live and same and told.action == "isolate":
                    fixtures = tuple(dict.fromkeys((*last.fixtures, *live)))
                    count = sum(self._step.show.fixture(f).count for f in fixtures)
                    joined = replace(last, fixtures=fixtures, count=count)
                    kept[i] = replace(told, alert=joined)
                    return True
        return False

    def soaking(self) -> None:
        """Tell of what is spent, live and getting still more water, where nothing tells it yet.

        No order was ever given for it, or the rain came back before anybody looked at it.
        """
        step = self._step
        for position, fixtures in step.plan.soaking.items():
            live = tuple(f for f in fixtures if self._is_live(position, f))
            told = [o for o in step.open_at(position) if o.family == SPENT]
            known = {f for o in told if o.action == "isolate" for f in o.alert.fixtures}
            if not live or set(live) <= known:
                continue
            if any(
                o.alert.stage == "stop" and o.alert.facts.spent_live for o in step.open_at(position)
            ):
                continue  # the stop that stands there says it
            if any(change.alert.id == o.alert.id for o in told for change in step.changes):
                continue  # it was told something in this step; the rest is said in the next
            blocked = step.thundery or position in step.plan.blocked
            if not blocked and step.stop_stands(position):
                continue  # a lull: it is told when the stop is lifted
            if blocked and not told and self._carried(position):
                continue
            if told:
                step.open.remove(told[0])
                opened = told[0]
            else:
                opened = self._new(position, live)
            if blocked:
                self._stopped(replace(opened, action="isolate"), live)
            else:
                self.overdue(opened, tuple(dict.fromkeys((*opened.alert.fixtures, *live))))

    def holds(self, job: Job) -> bool:
        """Whether a look inside has to wait: something there is wet and live."""
        if job.family != "inspect":
            return False
        soaked = self._step.plan.soaking.get(job.position, ())
        return any(self._is_live(job.position, f) for f in soaked) or any(
            o.family == SPENT and o.alert.position == job.position
            for o in (*self._step.open, *self.told_before)
        )

    def _is_live(self, position: str, fixture: str) -> bool:
        return not is_isolated(self._step.log, position, fixture)

    def _new(self, position: str, live: tuple[str, ...]) -> OpenAlert:
        """An alert that has not been told."""
        step = self._step
        rows = [step.show.fixture(f) for f in live]
        used = max((step.plan.used.get(f, 1.0) for f in live), default=1.0)
        job = Job(
            position=position,
            family="protect",
            action="isolate",
            fixtures=live,
            count=sum(row.count for row in rows),
            people=1,
            minutes=None,
            start_by_s=None,
            do_by_s=None,
            members=0,
            probability=None,
            reason="",
            facts=replace(
                plain_facts(step.show, step.show.positions[position], rows, used),
                extra=step.plan.feeding.says(rows),
            ),
        )
        alert = step.alert(job, step.new_id(position), "notice")
        return OpenAlert(SPENT, alert, "isolate")

    def _stopped(self, opened: OpenAlert, live: tuple[str, ...]) -> None:
        """Nobody may be there: its power is cut only where that is elsewhere.

        Told though a stop stands there: that one did not say that it is wet and live.
        """
        step, last = self._step, opened.alert
        span = step.plan.blocked.get(last.position or "")
        facts = step.facts(last.facts, span)
        site = next((o.alert.facts for o in step.open if o.family == SITE), None)
        if site is not None:
            until = site.blocked_until
            until = until if until is not None and until > step.now else None
            facts = replace(facts, blocked_by=site.blocked_by, blocked_until=until)
        alert = replace(
            last,
            kind="stop",
            stage="stop",
            action=None,
            fixtures=tuple(dict.fromkeys((*last.fixtures, *live))),
            people=0,
            minutes=None,
            start_by=None,
            do_by=None,
            facts=replace(facts, can_wait=(), late=False, spent_live=True),
        )
        stopped = replace(opened, family=SPENT, alert=alert)
        if span is None or span.gust_mps is None:
            # It is not the wind that has to drop: it is told to be isolated when the thunder ends.
            policy = step.show.policy
            since = step.now - timedelta(minutes=policy.stand_down_minutes)
            stopped = replace(stopped, calm_runs=policy.stand_down_runs, calm_since=since)
            stopped = replace(stopped, calm_run=step.source.run)
        step.stop_told.add(last.position)
        step.tell(stopped, f"nobody works there now: {facts.blocked_by}")

    def _carried(self, position: str) -> bool:
        """Whether a stop that is told there in this very step says it; it does from now on."""
        step = self._step
        for i, change in enumerate(step.changes):
            if change.alert.stage == "stop" and change.alert.position == position:
                alert = replace(change.alert, facts=replace(change.alert.facts, spent_live=True))
                step.changes[i] = replace(change, alert=alert)
                step.open = [
                    replace(o, alert=alert) if o.alert.id == alert.id else o for o in step.open
                ]
                return True
        return False

    # ---- why

    def _what_fell(self, facts: Facts, lost: tuple[str, ...]) -> Facts:
        """The facts without what the forecast had said: it is spent by what fell."""
        step = self._step
        used = [step.plan.used[f] for f in lost if f in step.plan.used]
        closes = facts.access_closes_at
        return replace(
            step.facts(facts, None),
            rain_mm=None,
            driven_mm=None,
            wet_from=None,
            wet_to=None,
            wind_mps=None,
            wind_from_deg=None,
            gust_mps=None,
            gust_at=None,
            rain_now=None,
            weakest=None,
            says_so=None,
            by_feed=(),
            can_wait=(),
            late=False,
            late_minutes=None,
            who=(),
            handed_to=(),
            handed_at=None,
            worth=None,
            covers=(),
            not_covered_because=None,
            used=max(used, default=None),
            access_closes_at=closes if closes is not None and closes > step.now else None,
        )

    def _why(self, lost: tuple[str, ...], *, live: bool) -> str:
        step = self._step
        said = "the allowance is spent and nothing is logged done"
        if live:
            said = "the allowance is spent and nothing says that it is isolated"
        if step.fell is not None:
            fell, clock = step.fell, SiteClock(step.show.site.timezone, step.now)
            said += (
                f"; {fell.mm:.1f} mm of rain fell from {clock.span(fell.since, fell.to)}"
                f"{_MEASURED[fell.measured]}"
            )
        used = [step.plan.used[f] for f in lost if f in step.plan.used]
        return f"{said}; {words.times_used(max(used))} is used" if used else said
