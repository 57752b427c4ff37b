"""Do-by at risk over members, and the chance that is shown: worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.planning.chance import at_risk, chance_by, do_by_s, shown_probability

NAN = float("nan")


def arrays(*values):
    return np.array(values, dtype=float)


def test_one_member_is_due_at_its_own_crossing_whatever_the_risk():
    for risk in (0.01, 0.25, 1.0):
        assert do_by_s(arrays(7200.0), arrays(1.0), risk) == 7200.0


def test_one_member_that_never_crosses_is_never_due():
    assert math.isnan(do_by_s(arrays(NAN), arrays(1.0), 0.25))


def test_the_quarter_of_eight_equal_members_is_the_second_to_cross():
    # 1/8 each: after the first 0.125, after the second 0.25 = risk
    crossings = arrays(80.0, 10.0, 70.0, 20.0, 60.0, 30.0, 50.0, 40.0)
    assert do_by_s(crossings, np.full(8, 1 / 8), 0.25) == 20.0


def test_equal_weights_that_do_not_add_up_in_floating_point_still_reach_the_risk():
    # ten members of 0.1: eight of them add up to 0.7999999999999999 in binary
    assert sum([0.1] * 8) < 0.8
    crossings = np.arange(10, 110, 10).astype(float)
    assert do_by_s(crossings, np.full(10, 0.1), 0.8) == 80.0
    # and eight of fifty-one at risk 8/51
    assert do_by_s(np.arange(1.0, 52.0), np.full(51, 1 / 51), 8 / 51) == 8.0


def test_weights_count_and_not_heads():
    # two feeds of equal weight: one with a single member (0.5), one with four (0.125 each)
    crossings, weights = arrays(NAN, 10.0, 20.0, 30.0, 40.0), arrays(0.5, *[0.125] * 4)
    assert do_by_s(crossings, weights, 0.25) == 20.0  # 0.125, then 0.25
    assert do_by_s(crossings, weights, 0.5) == 40.0
    assert math.isnan(do_by_s(crossings, weights, 0.51))
    # the single member alone is enough
    assert do_by_s(arrays(15.0, NAN, NAN, NAN, NAN), weights, 0.25) == 15.0


def test_members_that_never_cross_never_lend_their_weight():
    assert math.isnan(do_by_s(arrays(NAN, NAN, NAN, 50.0), np.full(4, 0.25), 0.3))
    assert do_by_s(arrays(NAN, 60.0, NAN, 50.0), np.full(4, 0.25), 0.3) == 60.0


def test_the_chance_by_a_moment_is_the_weight_that_has_crossed():
    crossings, weights = arrays(10.0, 20.0, NAN, 30.0), arrays(0.1, 0.2, 0.3, 0.4)
    assert chance_by(crossings, weights, 9.9) == 0.0
    assert chance_by(crossings, weights, 10.0) == pytest.approx(0.1)
    assert chance_by(crossings, weights, 25.0) == pytest.approx(0.3)
    assert chance_by(crossings, weights, 1e9) == pytest.approx(0.7)


def test_no_percentage_under_ten_members():
    assert [shown_probability(0.5, n) for n in (1, 2, 9)] == [None, None, None]
    assert shown_probability(0.5, 10) == 0.5
    assert shown_probability(1 / 3, 51) == 0.333


def test_steps_at_risk():
    # two of three members have the flag in the first step, one in the second, none in the third
    flags = np.array([[1.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    assert at_risk(flags, np.full(3, 1 / 3), 0.5).tolist() == [True, False, False]
    assert at_risk(flags, np.full(3, 1 / 3), 1 / 3).tolist() == [True, True, False]


MEMBERS = st.lists(
    st.tuples(st.one_of(st.just(NAN), st.integers(0, 20).map(float)), st.integers(1, 9)),
    min_size=1,
    max_size=12,
)


@settings(deadline=None)
@given(MEMBERS, st.integers(1, 100))
def test_do_by_is_the_first_moment_by_which_the_chance_reaches_the_risk(members, percent):
    """Searched over every moment at which anything can change."""
    crossings = np.array([c for c, _ in members])
    weights = np.array([w for _, w in members], dtype=float)
    weights /= weights.sum()
    risk = percent / 100
    # the chance at each of the moments 0..20, straight from its definition
    share = [sum(w for c, w in zip(crossings, weights, strict=True) if c <= t) for t in range(21)]
    enough = [t for t in range(21) if share[t] >= risk - 1e-9]
    found = do_by_s(crossings, weights, risk)
    assert (found == enough[0]) if enough else math.isnan(found)


def test_a_feed_that_has_ended_is_silent_and_not_dry():
    # Two feeds of equal weight. A says dry and ends at 6 h; of B's ten members four cross at
    # 31 h. Of those that reach 31 h the share is 0.4, not 0.2.
    hour = 3600.0
    crossings = np.array([NAN, *([31 * hour] * 4), *([NAN] * 6)])
    weights = np.array([0.5, *([0.05] * 10)])
    until = np.array([6 * hour, *([72 * hour] * 10)])
    assert math.isnan(do_by_s(crossings, weights, 0.25))
    assert do_by_s(crossings, weights, 0.25, until) == 31 * hour
    assert chance_by(crossings, weights, 31 * hour, until) == pytest.approx(0.4)


def test_a_member_that_crossed_before_it_ended_still_counts():
    crossings, until = np.array([10.0, NAN]), np.array([20.0, 99.0])
    assert chance_by(crossings, np.array([0.5, 0.5]), 50.0, until) == pytest.approx(0.5)


def test_who_says_nothing_has_no_share_in_what_blocks():
    # one of five knows of thunder, and says yes: that is all that is known
    flags = np.array([[1.0], [0.0], [0.0], [0.0], [0.0]])
    known = np.array([[True], [False], [False], [False], [False]])
    fifth = np.full(5, 0.2)
    assert at_risk(flags, fifth, 0.25).tolist() == [False]
    assert at_risk(flags, fifth, 0.25, known).tolist() == [True]
    assert at_risk(flags * 0.0, fifth, 0.25, known & False).tolist() == [False]
