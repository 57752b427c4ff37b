"""Blocked time, and the latest start that leaves enough of the rest: against a search."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from exposure.rigs import NOON, SITE, hours, position
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.exposure.steps import cut
from monitor.planning.workable import (
    Span,
    blocking,
    finish_s,
    gust_spans,
    known_gust_now,
    latest_start_s,
    merged,
    thunder_spans,
    workable_s,
)
from monitor.show.settings import default_policy

MINUTE = 60.0
LONG = 240
"""Minutes that the searches look at."""

SPANS = st.lists(
    st.tuples(st.integers(0, LONG), st.integers(0, 60), st.sampled_from(["gust", "thunder"])),
    max_size=6,
).map(lambda found: [Span(a * MINUTE, (a + n) * MINUTE, by) for a, n, by in found])


def free_minutes(spans):
    """Which of the whole minutes from 0 on are free, minute by minute."""
    return [not any(s.start_s <= m * MINUTE < s.end_s for s in spans) for m in range(LONG + 400)]


# ---------------------------------------------------------------- start-by


def test_nothing_blocked_is_a_plain_subtraction():
    assert latest_start_s((), 100 * MINUTE, 30) == 70 * MINUTE


def test_work_pauses_while_blocked():
    # due at 100, blocked 60 to 90: ten minutes after it, so twenty more before: start at 40
    assert latest_start_s([Span(60 * MINUTE, 90 * MINUTE, "gust")], 100 * MINUTE, 30) == 40 * MINUTE


def test_a_deadline_inside_blocked_time_counts_from_where_it_began():
    # due at 80, blocked 60 to 90: everything is done by 60
    assert latest_start_s([Span(60 * MINUTE, 90 * MINUTE, "gust")], 80 * MINUTE, 30) == 30 * MINUTE


def test_work_that_just_fits_after_the_block_starts_at_its_end():
    assert latest_start_s([Span(60 * MINUTE, 90 * MINUTE, "gust")], 120 * MINUTE, 30) == 90 * MINUTE


@settings(deadline=None)
@given(SPANS, st.integers(1, LONG), st.integers(1, 60))
def test_no_later_start_is_possible_and_this_one_is(spans, due, minutes):
    free = free_minutes(spans)
    start = latest_start_s(spans, due * MINUTE, minutes)
    # the latest minute from which enough free minutes are left, by going back one at a time
    left, at = minutes, due
    while left:
        at -= 1
        left -= free[at] if at >= 0 else 1
    assert start == at * MINUTE
    assert workable_s(spans, start, due * MINUTE) == minutes * MINUTE
    for later in (1.0, MINUTE, 17 * MINUTE):
        # each second after it is one of work lost: the start itself is never blocked
        assert workable_s(spans, start + later, due * MINUTE) < minutes * MINUTE


@settings(deadline=None)
@given(SPANS, st.integers(0, LONG), st.integers(1, 60))
def test_work_is_done_after_so_many_free_minutes(spans, begin, minutes):
    free = free_minutes(spans)
    left, at = minutes, begin
    while left:
        left -= free[at]
        at += 1
    assert finish_s(spans, begin * MINUTE, minutes) == at * MINUTE


@settings(deadline=None)
@given(SPANS, st.integers(1, LONG), st.integers(1, 60))
def test_finishing_undoes_starting(spans, due, minutes):
    start = latest_start_s(spans, due * MINUTE, minutes)
    done = finish_s(spans, start, minutes)
    assert done <= due * MINUTE
    # and between the two and the deadline there is no free time to spare
    assert workable_s(spans, done, due * MINUTE) == 0.0


@settings(deadline=None)
@given(SPANS)
def test_merged_spans_block_the_same_minutes_and_do_not_touch(spans):
    joined = merged(spans)
    assert free_minutes(joined) == free_minutes(spans)
    assert all(a.end_s < b.start_s for a, b in itertools.pairwise(joined))


@settings(deadline=None)
@given(SPANS, st.integers(0, LONG), st.integers(0, LONG))
def test_workable_time_counted_by_the_minute(spans, one, other):
    begin, end = sorted((one, other))
    free = free_minutes(spans)[begin:end]
    assert workable_s(spans, begin * MINUTE, end * MINUTE) == sum(free) * MINUTE


# ---------------------------------------------------------------- what blocks


def steps_of(weather):
    return cut(weather, (), default_policy())


def since_noon(spans):
    zero = NOON.timestamp()
    return [((s.start_s - zero) / 3600.0, (s.end_s - zero) / 3600.0) for s in spans]


def with_thunder(*flags, **more):
    weather = hours([0.0] * len(flags), 3.0, **more)
    return replace(weather, thunder=np.array([flags], dtype=float))


def test_thunder_blocks_its_whole_step_and_half_an_hour_after():
    spans = thunder_spans(steps_of(with_thunder(0, 1, 0, 0)), 0.25)
    assert since_noon(spans) == [(1.0, 2.5)]
    # a step of three hours blocks three and a half
    spans = thunder_spans(steps_of(with_thunder(0, 1, 0, each_h=3.0)), 0.25)
    assert since_noon(spans) == [(3.0, 6.5)]


def test_thunder_not_known_blocks_nothing():
    nan = float("nan")
    assert thunder_spans(steps_of(with_thunder(nan, nan, 0)), 0.25) == ()


def test_thunder_that_is_past_blocks_its_half_hour():
    last = NOON.timestamp()  # it ended at noon
    steps = steps_of(with_thunder(0, 0))
    spans = thunder_spans(steps, 0.25, last)
    assert blocking(spans, last).by == "thunder"
    assert blocking(spans, last + 30 * MINUTE - 1) is not None
    assert blocking(spans, last + 30 * MINUTE) is None


def test_thunder_of_too_few_members_blocks_nothing():
    # one of five has it: 0.2 under a risk of 0.25; of four that say anything it is 0.25
    weather = hours([[0.0]] * 5, 3.0)
    one = replace(weather, thunder=np.array([[1.0], [0.0], [0.0], [0.0], [0.0]]))
    four = replace(weather, thunder=np.array([[1.0], [0.0], [0.0], [np.nan], [0.0]]))
    assert thunder_spans(steps_of(one), 0.25) == ()
    assert len(thunder_spans(steps_of(four), 0.25)) == 1


def test_gust_over_the_limit_blocks_its_step():
    pole = position(access="ladder", access_limit_mps=10.0)
    weather = hours([0.0] * 4, 3.0, gust=[10.0, 10.01, 9.0, 14.0])
    spans = gust_spans(steps_of(weather), pole, SITE, 0.25)
    # at the limit is not over it
    assert since_noon(spans) == [(1.0, 2.0), (3.0, 4.0)]
    assert [s.gust_mps for s in spans] == pytest.approx([10.01, 14.0])


def test_gust_grows_with_height():
    # terrain II, z0 0.05 m: ln(30/0.05) / ln(10/0.05) = 6.3969 / 5.2983 = 1.20735 at 30 m,
    # so 10.4 m/s at 10 m is 12.56 there, over 12.5; 10.3 is 12.44
    high = position(height_m=30.0, access="platform", access_limit_mps=12.5)
    weather = hours([0.0] * 2, 3.0, gust=[10.3, 10.4])
    spans = gust_spans(steps_of(weather), high, SITE, 0.25)
    assert since_noon(spans) == [(1.0, 2.0)]
    assert spans[0].gust_mps == pytest.approx(10.4 * 6.3969 / 5.2983, rel=1e-4)
    # and is never lowered near the ground
    low = position(height_m=1.0, access="ladder", access_limit_mps=10.0)
    assert len(gust_spans(steps_of(hours([0.0], 3.0, gust=10.1)), low, SITE, 0.25)) == 1


def test_gust_that_is_missing_is_derived_from_the_mean_wind():
    # terrain II: sqrt(1 + 7 / ln(10/0.05)) = sqrt(1 + 7/5.2983) = 1.52356;
    # 8.3 m/s give 12.65, 8.1 give 12.34
    pole = position(access="climb", access_limit_mps=12.5)
    spans = gust_spans(steps_of(hours([0.0] * 2, [8.1, 8.3])), pole, SITE, 0.25)
    assert since_noon(spans) == [(1.0, 2.0)]


def test_the_ground_is_never_blocked_by_gust():
    weather = hours([0.0] * 2, 30.0, gust=45.0)
    assert gust_spans(steps_of(weather), position(access="ground"), SITE, 0.25) == ()


def test_the_moment_names_its_own_cause_and_the_whole_blocked_time():
    gust, thunder = Span(0.0, 3600.0, "gust", 13.0), Span(1800.0, 2700.0, "thunder")
    for moment, by in ((0.0, "gust"), (1800.0, "thunder"), (2699.0, "thunder"), (2700.0, "gust")):
        found = blocking([thunder, gust], moment)
        assert (found.by, found.start_s, found.end_s) == (by, 0.0, 3600.0)
    assert blocking([thunder, gust], 3600.0) is None


def test_whether_the_gust_of_this_moment_is_known():
    noon = NOON.timestamp()
    assert known_gust_now(steps_of(hours([0.0], 3.0, gust=5.0)), SITE, noon)
    assert known_gust_now(steps_of(hours([0.0], 3.0)), SITE, noon)  # derived
    assert not known_gust_now(steps_of(hours([0.0], np.nan)), SITE, noon)
    # a gap now: the next step starts later
    assert not known_gust_now(steps_of(hours([0.0], 3.0, gust=5.0)), SITE, noon - 60.0)
    assert not known_gust_now(steps_of(hours([0.0], 3.0).take(np.arange(0))), SITE, noon)
