"""Laws of puddles and washdowns that hold whatever the figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import pytest
from exposure.rigs import after, fixture, hours, position, run, show
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain import Hours, Puddle, Washdown
from monitor.exposure.puddle import hours_over, puddle_step

depths = st.floats(0.0, 500.0)
inflows = st.floats(0.0, 400.0)
lengths = st.floats(0.01, 24.0)
drains = st.floats(0.05, 100.0)
levels = st.floats(5.0, 400.0)
brims = st.floats(10.0, 1000.0)


@given(depth=depths, inflow=inflows, hours=lengths, drain=drains, brim=brims, part=st.floats(0, 1))
def test_a_step_is_its_two_parts(depth, inflow, hours, drain, brim, part):
    depth = min(depth, brim)
    middle = puddle_step(depth, inflow, hours * part, drain, brim)
    end = puddle_step(middle, inflow, hours * (1 - part), drain, brim)
    assert float(end) == pytest.approx(
        float(puddle_step(depth, inflow, hours, drain, brim)), abs=1e-6
    )


@given(
    depth=depths,
    inflow=inflows,
    hours=lengths,
    drain=drains,
    brim=brims,
    level=levels,
    part=st.floats(0.05, 0.95),
)
def test_time_over_a_level_is_that_of_its_two_parts(depth, inflow, hours, drain, brim, level, part):
    depth = min(depth, brim)
    whole = float(hours_over(level, depth, inflow, hours, drain, brim))
    assert 0.0 <= whole <= hours + 1e-12
    middle = float(puddle_step(depth, inflow, hours * part, drain, brim))
    first = float(hours_over(level, depth, inflow, hours * part, drain, brim))
    second = float(hours_over(level, middle, inflow, hours * (1 - part), drain, brim))
    # where the middle lies on the level to the last bit, either side is as true
    if abs(middle - level) > 1e-6 and abs(inflow * drain - level) > 1e-6:
        assert first + second == pytest.approx(whole, abs=1e-5)


@given(depth=depths, inflow=inflows, hours=lengths, drain=drains, brim=brims, level=levels)
def test_more_water_stands_no_shorter(depth, inflow, hours, drain, brim, level):
    less = hours_over(level, min(depth, brim), inflow, hours, drain, brim)
    more = hours_over(level, min(depth + 10, brim), inflow + 5, hours, drain, brim)
    assert float(more) >= float(less) - 1e-9


SHOW = replace(
    show(
        [fixture("IP44", connector_code="IP67"), fixture("IP67", "f2", height_m=0.02)],
        positions=[position(puddle=Puddle(6.0, 1.5, 0.3))],
    ),
    washdowns=(
        Washdown("sprinkler", ("pole",), 12.0, every_day=(Hours(time(13, 20), time(14, 40)),)),
    ),
)
rains = st.lists(st.sampled_from([0.0, 0.3, 2.0, 9.0]), min_size=6, max_size=6)


@settings(max_examples=40, deadline=None)
@given(first=rains, second=rains, cut=st.integers(1, 5))
def test_members_and_cuts_change_nothing(first, second, cut):
    together = run(SHOW, hours([first, second]))
    for member, rain in enumerate((first, second)):
        alone = run(SHOW, hours(rain))
        assert together.used[member, -1] == pytest.approx(alone.used[0, -1])
        begun = run(SHOW, hours(rain[:cut]))
        rest = run(SHOW, hours(rain[cut:], start=after(cut)), carried=begun.carried)
        assert rest.used[0, -1] == pytest.approx(alone.used[0, -1])
        assert rest.puddles_mm["pole"][0, -1] == pytest.approx(alone.puddles_mm["pole"][0, -1])
