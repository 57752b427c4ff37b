"""An alert's life walked through by hand-made plans, hours after noon."""

from __future__ import annotations

from dataclasses import replace

from exposure.rigs import NOON, after, fixture, position, show

from monitor.alerts.lifecycle import Source, WatchState, advance
from monitor.domain import Crew, Facts
from monitor.planning.job import Job, Plan
from monitor.planning.workable import Span

TRUSS = position("truss", access="ladder", access_limit_mps=10.0, isolate_at="DIST-1")
LAWN = position("lawn")
FIXTURES = [
    fixture("IP20", "f1", position="truss", count=3),
    fixture("IP20", "f2", position="truss"),
    fixture("IP20", "g1", position="lawn"),
]


def the_show(*, call_out=0.0, **policy):
    described = show(FIXTURES, positions=(TRUSS, LAWN), policy=policy)
    return replace(described, crew=Crew(1, call_out))


def seconds(at_h):
    return after(at_h).timestamp()


def job(start_h=10.0, due_h=10.5, **changes):
    """Cover four fixtures at the truss: half an hour's work, due at 22:30."""
    plain = Job(
        position="truss",
        family="protect",
        action="cover",
        fixtures=("f1", "f2"),
        count=4,
        people=2,
        minutes=30.0,
        start_by_s=None if start_h is None else seconds(start_h),
        do_by_s=None if due_h is None else seconds(due_h),
        members=1,
        probability=None,
        reason="9.0 mm of rain",
        facts=Facts(rain_mm=9.0, access_limit_mps=10.0),
    )
    return replace(plain, **changes)


def care(action="inspect", fixtures=("f1",), **changes):
    plain = job(None, None, family=action, action=action, fixtures=fixtures, minutes=None)
    return replace(plain, reason="their allowance is spent", **changes)


def gust(until_h=99.0):
    return Span(NOON.timestamp(), seconds(until_h), "gust", 14.0)


def thunder(until_h=99.0):
    return Span(NOON.timestamp(), seconds(until_h), "thunder")


def plan_of(*jobs, blocked=(), storm=None, done=(), inside=(), spent=(), **changes):
    """A plan in which nothing is covered or spent but what is named."""
    spans = {p: storm or gust() for p in (("truss", "lawn") if storm else blocked)}
    plain = Plan(
        jobs=tuple(replace(j, blocked=spans.get(j.position)) for j in jobs),
        thunder=storm,
        blocked=spans,
        changes_s=(),
        blind=False,
        known_until_s=seconds(500.0),
        wind_known=True,
        thunder_known=True,
        protected={f.id: f.id in done or f.id in inside for f in FIXTURES},
        brought_in={f.id: f.id in inside for f in FIXTURES},
        spent={f.id: f.id in spent for f in FIXTURES},
        rain_ahead={"truss": False, "lawn": False},
    )
    return replace(plain, **changes)


class Life:
    """State carried from one evaluation to the next; every call is a new forecast."""

    def __init__(self, described=None):
        self.show = described or the_show()
        self.state = WatchState()
        self.runs = 0

    def at(self, at_h, plan, log=(), *, run=None, answers=(), fell=None):
        self.runs += 1
        source = Source(("hourly forecast",), run=run or str(self.runs))
        changes, self.state = advance(
            self.state, plan, self.show, tuple(log), after(at_h), source, answers, fell
        )
        for change in changes:
            assert change.reason
            assert change.reason == change.alert.reason
            assert change.alert.at == after(at_h)
        return [change.alert for change in changes]

    def stages(self, at_h, plan, log=(), *, run=None, answers=(), fell=None):
        told = self.at(at_h, plan, log, run=run, answers=answers, fell=fell)
        return [alert.stage for alert in told]
