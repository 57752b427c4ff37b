"""Whatever plans follow each other: what an alert may and may never do."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

from alerts.lived import FIXTURES, Life, care, gust, job, plan_of, seconds, the_show, thunder
from exposure.rigs import after
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alerts import cautions, wording
from monitor.alerts.lifecycle import WatchState
from monitor.alerts.stages import stage_of
from monitor.domain import Answered, Facts, Worth
from monitor.planning.workable import Span
from monitor.store.records import from_json, to_json

LONDON = ZoneInfo("Europe/London")
FORBIDDEN = re.compile(r"\b(go|stand[ -]?by|all[ -]clear)\b", re.IGNORECASE)
VERB = re.compile(r"\b(cover|bring in|isolate|uncover|inspect|clean)\b", re.IGNORECASE)
FIRST_CUT_THE_POWER = re.compile(r"\bisolate (first|at|it|its power)\b", re.IGNORECASE)
ORDERS = {"cover": "cover", "bring-in": "bring in", "isolate": "isolate", "uncover": "uncover"}
ORDERS |= {"inspect": "inspect", "clean": "clean"}
AT = {"truss": ("f1", "f2"), "lawn": ("g1",)}


_ACTIONS = {
    "protect": ["cover", "bring-in", "isolate"],
    "covered": ["bring-in", "isolate"],
    "uncover": ["uncover", "isolate"],
}
_NAMES = ("Truss", "The big old wooden bridge over the little river by the north gate " * 3)


@st.composite
def answers_to(draw, life, at_h):
    """What somebody may have said to an alert that is open."""
    ids = [o.alert.id for o in life.state.open]
    if not ids or draw(st.booleans()):
        return ()
    what = draw(st.sampled_from(["doing", "cannot", "not-needed", "done"]))
    return (Answered(after(at_h), draw(st.sampled_from(ids)), what, by="Ines"),)


@st.composite
def jobs_of(draw):
    """At most one job a position and family."""
    found = []
    for place, fixtures in AT.items():
        for family in ("protect", "covered", "uncover", "inspect", "clean"):
            if not draw(st.sampled_from([True, False, False])):
                continue
            some = tuple(draw(st.lists(st.sampled_from(fixtures), min_size=1, unique=True)))
            if family in ("inspect", "clean"):
                found.append(care(family, some, position=place))
                continue
            start = draw(st.sampled_from([None, 1.0, 2.0, 4.0, 4.2, 9.0, 40.0]))
            due = draw(st.sampled_from([None, 2.0])) if start is None else start + 0.5
            shut = Span(
                seconds(0.5), seconds(draw(st.sampled_from([1.0, 3.0, 99.0]))), "gust", 14.0
            )
            found.append(
                job(
                    start,
                    due,
                    late=draw(st.booleans()),
                    under_way=draw(st.booleans()),
                    not_needed=draw(st.booleans()),
                    cannot=draw(st.sampled_from([None, None, replace(shut, by="crew")])),
                    no_time=draw(st.sampled_from([None, None, shut])),
                    position=place,
                    family=family,
                    action=draw(st.sampled_from(_ACTIONS[family])),
                    fixtures=some,
                    facts=Facts(
                        rain_mm=draw(st.sampled_from([2.0, 9.0])),
                        access_limit_mps=10.0,
                        timezone="Europe/London",
                        position_name=draw(st.sampled_from(_NAMES)),
                        who=draw(st.sampled_from([(), ("Ines", "Tomas"), ("Suki",)])),
                        handed_to=draw(st.sampled_from([(), ("Dario",)])),
                        late_minutes=draw(st.sampled_from([None, 25.0])),
                        covers=draw(st.sampled_from([(), (("hood", 4),)])),
                        worth=draw(st.sampled_from([None, Worth(80.0, 300.0, 0.4)])),
                    ),
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
        inside=(inside := draw(some)),
        spent=(spent := draw(some)),
        used=dict.fromkeys(spent, 1.2),
        soaking=draw(
            st.sampled_from(
                [{}, {"truss": tuple(f for f in spent if f in AT["truss"] and f not in inside)}]
            )
        ),
        blind=draw(st.integers(0, 3)) == 0,
        wind_known=draw(st.integers(0, 3)) > 0,
        thunder_known=True,
        rain_ahead={"truss": draw(st.booleans()), "lawn": False},
    )


def verbs(text, order=""):
    """The orders in a text, less cutting the power before another order is followed."""
    left = text if order == "isolate" else FIRST_CUT_THE_POWER.sub("", text)
    return [v.lower() for v in VERB.findall(left)]


SEQUENCES = st.lists(st.tuples(st.sampled_from([0.1, 0.5, 1.0]), plans()), min_size=1, max_size=12)


@settings(deadline=None)
@given(SEQUENCES, st.data())
def test_whatever_plans_follow_each_other(sequence, data):
    life, at, last, ended, answers = Life(), 0.0, {}, set(), ()
    for step, plan in sequence:
        at += step
        before = {o.alert.id for o in life.state.open}
        answers += data.draw(answers_to(life, at))
        told = life.at(at, plan, answers=answers)
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
            sayable(alert)
        still = {o.alert.id for o in life.state.open}
        assert still == (before | set(ids)) - ended, "none is lost, none is raised unsaid"
        assert len(life.state.open) == len(still)


def sayable(alert):
    """What every message keeps, whatever life it comes out of."""
    message = wording.message(alert, alert.at)
    for caution in (cautions.LIGHTNING, cautions.WET_AND_LIVE, cautions.ESTIMATE):
        assert f"- {caution}\n" in message.text
    for text in (message.subject, message.text, message.radio, json.dumps(message.data)):
        assert not FORBIDDEN.search(text)
    said, radio = message.text.partition("\nRadio: ")[0], message.radio
    assert len(radio) <= 160
    if alert.kind == "stop":
        assert set(verbs(said)) == set()
        assert alert.stage == "stood-down" or ("Come down" in radio and "solate" in radio)
        return
    order = ORDERS[alert.action]
    if alert.stage != "stood-down":
        assert set(verbs(said, order)) == {order}
        for moment, words in ((alert.start_by, "tart by "), (alert.do_by, "one by ")):
            clock = "" if moment is None else f"{moment.astimezone(LONDON):%H:%M}"
            assert moment is None or re.search(rf"{words}[A-Za-z0-9 ]*{clock}", radio), radio
        assert re.search(rf"\b{alert.people} (person|people)\b", radio)
    assert order.upper() in radio
    assert re.search(r"[Tt]russ|bridge|lawn", radio)


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
