"""What went over its allowance before anybody logged it done. Pure."""

from __future__ import annotations

from dataclasses import replace

from monitor.alerts.open_alert import SPENT, OpenAlert
from monitor.alerts.step import Step
from monitor.planning.facts import fixture_names
from monitor.planning.job import Job


class SpentGear:
    """The alerts of one step that say what was lost: one a position, and one for what leaked
    under its cover.
    """

    def __init__(self, step: Step) -> None:
        self._step = step
        self.told_before = [o for o in step.state.open if o.family == SPENT]
        """Those of earlier steps that nothing in this one has taken up yet."""

    def lost(self, opened: OpenAlert, job: Job) -> tuple[str, ...]:
        """Fixtures that went over their allowance before anybody logged them done."""
        if opened.family not in ("protect", "covered"):
            return ()
        step, kept = self._step, set(job.fixtures)
        return tuple(
            f
            for f in opened.alert.fixtures
            if f not in kept and step.plan.spent.get(f, False) and not step.done(opened, f)
        )

    def part(self, opened: OpenAlert, lost: tuple[str, ...]) -> None:
        """Tell what was lost under the position's own alert for that; the job goes on."""
        step, position = self._step, opened.alert.position
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
        step = self._step
        rows = [step.show.fixture(f) for f in lost]
        due = opened.alert.do_by
        closes = opened.alert.facts.access_closes_at
        alert = replace(
            opened.alert,
            kind="work",
            stage="overdue",
            # What is spent already was due by now, whatever the forecast had said.
            do_by=None if due is None else min(due, step.now),
            action=opened.action,
            fixtures=lost,
            count=sum(row.count for row in rows),
            facts=replace(
                step.facts(opened.alert.facts, None),
                fixture_names=fixture_names(rows),
                can_wait=(),
                access_closes_at=closes if closes is not None and closes > step.now else None,
            ),
        )
        spent = replace(opened, family=SPENT, alert=alert)
        if opened.alert.stage == "overdue" and set(lost) <= set(opened.alert.fixtures):
            step.keep(spent)
        else:
            step.tell(spent, "the allowance is spent and nothing is logged done")
