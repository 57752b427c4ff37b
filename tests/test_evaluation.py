"""One evaluation: what is past, what is ahead, and what follows when the weather is lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from exposure.rigs import NOON, after, entry, fixture, hours, one_fixture, show
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import BAG, records, small_show

from monitor.alerts.lifecycle import Source, WatchState
from monitor.evaluation import HORIZON_S, evaluate, from_now, nothing_known, until_now
from monitor.exposure.rig import compile_rig


def judged(described, at_h, ahead, past=None, log=(), state=None, run="1"):
    return evaluate(
        compile_rig(described),
        past=past,
        ahead=ahead,
        log=[e for e in log if e.at <= after(at_h)],
        state=state or WatchState(),
        now=after(at_h),
        source=Source(("hourly forecast",), run=run),
    )


def told(found):
    return [(c.alert.stage, c.alert.action) for c in found.changes]


# ---------------------------------------------------------------- past and ahead


def test_the_running_step_is_shared_by_its_time():
    # 12:15 in an hour of 8 mm: 2 mm are past, 6 ahead
    weather, now = hours([8.0, 1.0], 3.0), after(0.25).timestamp()
    past, ahead = until_now(weather, NOON.timestamp(), now), from_now(weather, now)
    assert past.rain_mm.tolist() == [[2.0]]
    assert ahead.rain_mm.tolist() == [[6.0, 1.0]]
    assert past.ends[0] == ahead.starts[0] == now
    # wind is a mean and a gust a greatest: the same in both parts
    assert ahead.wind_mps.tolist() == [[3.0, 3.0]]


def test_ahead_ends_at_the_horizon():
    ahead = from_now(hours([0.0] * 100, 3.0), NOON.timestamp())
    assert ahead.ends[-1] - NOON.timestamp() == HORIZON_S


@settings(deadline=None, max_examples=40)
@given(records(most=12), st.integers(0, 12 * 60), st.integers(0, 12 * 60))
def test_nothing_is_lost_or_counted_twice(weather, one, other):
    zero = NOON.timestamp()
    first, second = sorted((zero + 60.0 * one, zero + 60.0 * other))
    parts = (
        until_now(weather, zero, first),
        until_now(weather, first, second),
        from_now(weather, second),
    )
    fell = sum(float(np.nansum(part.rain_mm)) for part in parts)
    assert fell == pytest.approx(float(np.nansum(weather.rain_mm)))
    lasted = sum(float((part.ends - part.starts).sum()) for part in parts)
    assert lasted == pytest.approx(float((weather.ends - weather.starts).sum()))


def test_what_fell_counts_with_what_comes():
    # 0.3 mm fell until 13:00; 0.2 of the next hour's 1 mm are left: 13:12
    found = judged(one_fixture("IP20"), 1.0, hours([0.3, 1.0], 0.0), hours([0.3], 0.0))
    assert told(found) == [("start", "bring-in")]
    assert found.changes[0].alert.do_by == after(1.2)
    assert found.past is not None


def test_a_feeds_hour_is_charged_the_margin():
    # 1 mm in an hour of a forecast counts 1.3: 0.5 mm after 60 x 0.5 / 1.3 min
    forecast = hours([0.0, 1.0], 0.0, forecast=True)
    found = judged(one_fixture("IP20"), 0.0, forecast)
    due = after(1.0 + 0.5 / 1.3)
    assert abs(found.changes[0].alert.do_by - due) <= timedelta(milliseconds=1)
    # its rain is told as it is
    assert found.changes[0].alert.facts.rain_mm == pytest.approx(1.0)


# ---------------------------------------------------------------- weather lost


@pytest.mark.parametrize("lost", [None, nothing_known(), hours([0.0], 0.0).take(np.arange(0))])
def test_weather_lost_stands_nothing_down(lost):
    described = show([fixture("IP20", cover="bag")], covers=[BAG])
    state = judged(described, 0.0, hours([0, 0, 1, 1], 0.0)).state
    assert len(state.open) == 1
    for run in range(2, 9):
        found = judged(described, run / 2, lost, state=state, run=str(run))
        assert found.plan.blind
        assert found.changes == ()
        state = found.state
    log = [entry(4.5, "covered")]
    found = judged(described, 5.0, lost, log=log, state=state)
    assert told(found) == [("stood-down", "cover")]


def test_steps_not_known_stand_nothing_down():
    nan = float("nan")
    described = one_fixture("IP20")
    state = judged(described, 0.0, hours([0, 0, 1, 1], 0.0)).state
    for run in range(2, 9):
        # the later run sees no rain, but one hour of it is empty
        later = hours([0, 0, 0, nan, *[0] * 12], 0.0)
        found = judged(described, run / 8, later, state=state, run=str(run))
        assert found.changes == ()
        state = found.state
    found = judged(described, 1.2, hours([0.0] * 16, 0.0), state=state, run="x")
    found = judged(described, 1.8, hours([0.0] * 16, 0.0), state=found.state, run="y")
    assert told(found) == [("stood-down", "bring-in")]


def test_a_spent_fixture_is_known_without_any_weather_ahead():
    found = judged(one_fixture("IP20"), 1.0, None, hours([1.0], 0.0))
    assert told(found) == [("notice", "inspect")]


def test_thunder_of_the_past_blocks_half_an_hour_more():
    past = replace(hours([0.0], 2.0), thunder=np.array([[1.0]]))
    ahead = replace(hours([0.0] * 6, 2.0), thunder=np.zeros((1, 6)))
    found = judged(small_show(), 1.2, ahead, past)
    assert told(found) == [("stop", None)]
    assert found.changes[0].alert.facts.blocked_until == after(1.5)
    # and where the weather is lost as well it is not said to be over
    assert judged(small_show(), 1.6, None, past, state=found.state).changes == ()
    assert told(judged(small_show(), 1.6, ahead, past, state=found.state)) == [("stood-down", None)]


# ---------------------------------------------------------------- the same again


def test_the_same_evaluation_twice_tells_nothing_new():
    weather = hours([0, 0, 1, 9, 4, 0], 3.0)
    first = judged(small_show(), 0.0, weather)
    assert first.changes
    again = judged(small_show(), 0.0, weather, state=first.state)
    assert again.changes == ()
    assert {o.alert.id for o in again.state.open} == {o.alert.id for o in first.state.open}


@settings(deadline=None, max_examples=40)
@given(records(most=12), st.integers(0, 4))
def test_the_order_of_fixtures_is_of_no_account(weather, turn):
    described = small_show()
    rows = described.fixtures[turn:] + described.fixtures[:turn]
    jobs = [
        {
            (j.position, j.family, j.action, frozenset(j.fixtures), j.start_by_s)
            for j in judged(replace(described, fixtures=r), 0.0, weather).plan.jobs
        }
        for r in (described.fixtures, rows)
    ]
    assert jobs[0] == jobs[1]
