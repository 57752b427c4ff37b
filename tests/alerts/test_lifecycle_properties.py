"""Whatever plans follow each other: what an alert may and may never do."""

from __future__ import annotations

from dataclasses import replace

from alerts.lived import FIXTURES, Life, care, gust, job, plan_of, the_show, thunder
from exposure.rigs import after
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alerts.lifecycle import WatchState
from monitor.alerts.stages import stage_of
from monitor.domain import Facts
from monitor.store.records import from_json, to_json

AT = {"truss": ("f1", "f2"), "lawn": ("g1",)}


@st.composite
def jobs_of(draw):
    """At most one job a position and family."""
    found = []
    for place, fixtures in AT.items():
        for family in ("protect", "covered", "inspect", "clean"):
            if not draw(st.sampled_from([True, False, False])):
                continue
            some = tuple(draw(st.lists(st.sampled_from(fixtures), min_size=1, unique=True)))
            if family in ("inspect", "clean"):
                found.append(care(family, some, position=place))
                continue
            start = draw(st.sampled_from([None, 1.0, 2.0, 4.0, 4.2, 9.0, 40.0]))
            found.append(
                job(
                    start,
                    None if start is None else start + 0.5,
                    position=place,
                    family=family,
                    action="bring-in"
                    if family == "covered"
                    else draw(st.sampled_from(["cover", "isolate"])),
                    fixtures=some,
                    facts=Facts(rain_mm=draw(st.sampled_from([2.0, 9.0])), access_limit_mps=10.0),
                )
            )
    return found


@st.composite
def plans(draw):
    storm = thunder() if draw(st.integers(0, 5)) == 0 else None
    some = st.lists(st.sampled_from([f.id for f in FIXTURES]), unique=True)
    return plan_of(
        *draw(jobs_of()),
        storm=storm,
        blocked=draw(st.sampled_from([(), (), ("truss",)])),
        done=draw(some),
        inside=draw(some),
        spent=draw(some),
        blind=draw(st.integers(0, 3)) == 0,
        wind_known=draw(st.integers(0, 3)) > 0,
        thunder_known=True,
        rain_ahead={"truss": draw(st.booleans()), "lawn": False},
    )


SEQUENCES = st.lists(st.tuples(st.sampled_from([0.1, 0.5, 1.0]), plans()), min_size=1, max_size=12)


@settings(deadline=None)
@given(SEQUENCES)
def test_whatever_plans_follow_each_other(sequence):
    life, at, last, ended = Life(), 0.0, {}, set()
    for step, plan in sequence:
        at += step
        before = {o.alert.id for o in life.state.open}
        told = life.at(at, plan)
        ids = [a.id for a in told]
        assert len(ids) == len(set(ids)), "one word an alert and evaluation"
        stops = [a.stage == "stop" for a in told]
        assert stops == sorted(stops, reverse=True), "stops first"
        for alert in told:
            assert alert.id not in ended
            assert last.get(alert.id, alert).position == alert.position
            if alert.stage == "stop":
                assert alert.kind == "stop"
                assert (alert.action, alert.minutes, alert.start_by) == (None, None, None)
            elif alert.position is not None and alert.stage != "stood-down":
                # no message names a job whose access is blocked
                assert alert.action is not None
                assert alert.position not in plan.blocked
                assert plan.thunder is None
            if alert.stage == "stood-down":
                ended.add(alert.id)
                by_forecast = "forecast" in alert.reason
                assert not (by_forecast and plan.blind)
                assert not (by_forecast and alert.position in plan.blocked)
            if alert.id not in before:
                assert alert.id not in last, "a new alert has a new id"
            last[alert.id] = alert
        still = {o.alert.id for o in life.state.open}
        assert still == (before | set(ids)) - ended, "none is lost, none is raised unsaid"
        assert len(life.state.open) == len(still)


@settings(deadline=None)
@given(SEQUENCES)
def test_the_state_survives_being_written_down(sequence):
    kept, through = Life(), Life()
    at = 0.0
    for step, plan in sequence:
        at += step
        through.state = from_json(WatchState, to_json(through.state))
        assert kept.at(at, plan, run=str(at)) == through.at(at, plan, run=str(at))
        assert kept.state == through.state


@settings(deadline=None)
@given(plans())
def test_the_same_plan_again_tells_nothing_new(plan):
    # the same run a moment later: nothing has moved, so nothing is said
    life = Life()
    life.at(1.0, plan, run="a")
    life.at(1.0001, plan, run="a")
    assert life.at(1.0002, plan, run="a") == []


@settings(deadline=None)
@given(st.floats(-3.0, 40.0), st.floats(0.0, 30.0), st.integers(0, 240), st.integers(1, 240))
def test_a_stage_only_rises_with_time(first, more, call_out, margin):
    order = [None, "notice", "start", "overdue"]
    described = the_show(call_out=float(call_out), start_margin_minutes=float(margin))
    work = job(20.0, 20.5)
    early, late = (stage_of(work, described, after(h)) for h in (first, first + more))
    assert order.index(early) <= order.index(late)
    # blocked, the same moment is a stop or silence
    blocked = replace(work, blocked=gust())
    assert stage_of(blocked, described, after(first)) == (
        "stop" if early in ("start", "overdue") else None
    )
