"""Feeds pooled into one chance: shares worked by hand, feeds that end, and what never happens."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.planning.chance import Reach, at_risk, chance, chance_by, do_by_s, unknown_to_all

NAN = float("nan")
HOUR = 3600.0


def hours(*values):
    return np.array(values, dtype=float) * HOUR


# one feed of a single forecast, 1/2, beside one of twenty members, 1/40 each
BESIDE = np.array([0.5, *[0.025] * 20])


def one_and_twenty(single, *twenty):
    return hours(single, *twenty, *[NAN] * (20 - len(twenty)))


def test_a_single_forecast_weighs_as_much_as_an_ensemble():
    # it alone is 0.5; ten of the twenty are 0.25, nine 0.225
    assert do_by_s(one_and_twenty(14), BESIDE, 0.25) == 14 * HOUR
    assert do_by_s(one_and_twenty(NAN, *range(1, 10)), BESIDE, 0.25) != 9 * HOUR
    assert math.isnan(do_by_s(one_and_twenty(NAN, *range(1, 10)), BESIDE, 0.25))
    assert do_by_s(one_and_twenty(NAN, *range(1, 11)), BESIDE, 0.25) == 10 * HOUR
    # 0.5 + 4 x 0.025 = 0.6 needs the fourth of them after the single one
    both = one_and_twenty(5, 6, 7, 8, 9)
    assert do_by_s(both, BESIDE, 0.6) == 9 * HOUR
    assert chance(both, BESIDE, 8 * HOUR)[1:] == (4, 21)
    assert chance_by(both, BESIDE, 8 * HOUR) == pytest.approx(0.575)


def test_after_its_end_the_single_forecast_is_not_asked():
    # It saw no need until 6 h. 4 of the twenty cross at 31 h: 0.1 of 0.5 that still speak.
    until = hours(6, *[72] * 20)
    crossings = one_and_twenty(NAN, 31, 31, 31, 31)
    assert chance_by(crossings, BESIDE, 31 * HOUR, until) == pytest.approx(0.2)
    assert chance(crossings, BESIDE, 31 * HOUR, until)[1:] == (4, 20)
    assert do_by_s(crossings, BESIDE, 0.2, until) == 31 * HOUR
    assert math.isnan(do_by_s(crossings, BESIDE, 0.21, until))


def test_the_end_of_a_feed_that_saw_no_need_may_be_the_moment():
    # 6 of the twenty cross at 4 h: 0.15 of all. At 6 h the single one ends: 0.15 of 0.5 is 0.3.
    until = hours(6, *[72] * 20)
    crossings = one_and_twenty(NAN, *[4] * 6)
    assert chance_by(crossings, BESIDE, 5.9 * HOUR, until) == pytest.approx(0.15)
    assert do_by_s(crossings, BESIDE, 0.25, until) == 6 * HOUR
    assert chance_by(crossings, BESIDE, 6 * HOUR, until) == pytest.approx(0.3)


def test_the_end_of_all_is_nobodys_moment():
    # 2 of twenty cross; at their common end nobody is left who could say no, and 0.1 stays 0.1
    until = np.full(20, 72 * HOUR)
    crossings = hours(10, 20, *[NAN] * 18)
    assert math.isnan(do_by_s(crossings, np.full(20, 0.05), 0.25, until))
    assert chance_by(crossings, np.full(20, 0.05), 99 * HOUR, until) == pytest.approx(0.1)


def test_what_was_crossed_before_the_end_stays_crossed():
    # the single one crosses at 5 h and ends at 6 h; of the twenty none ever does
    until = hours(6, *[72] * 20)
    crossings = one_and_twenty(5)
    assert do_by_s(crossings, BESIDE, 0.5, until) == 5 * HOUR
    assert chance_by(crossings, BESIDE, 60 * HOUR, until) == pytest.approx(0.5)
    assert chance(crossings, BESIDE, 60 * HOUR, until)[1:] == (1, 21)


def known(*rows):
    """Who knows which hour, a row for each member: "##..#"; the first is a feed by itself."""
    starts = np.arange(len(rows[0])) * HOUR
    who = np.array([[c == "#" for c in row] for row in rows])
    return Reach.of(starts, starts + HOUR, who, (0, *[1] * (len(rows) - 1)))


def test_a_feed_says_nothing_where_it_has_a_hole():
    # 8 of the twenty cross at 3.5 h: 0.2 of all, but the single one knows nothing from 2 to 5 h:
    # 0.2 of the 0.5 that speak is 0.4. That it knows one hour more does not make it say no
    crossings = one_and_twenty(NAN, *[3.5] * 8)
    for single in ("##", "##...#", "##...########"):
        reach = known(single.ljust(13, "."), *["#" * 13] * 20)
        assert do_by_s(crossings, BESIDE, 0.25, reach) == 3.5 * HOUR
        assert chance(crossings, BESIDE, 13 * HOUR, reach) == (pytest.approx(0.4), 8, 20)
    # before and after its hole it is heard
    for hour in (1.5, 9.5):
        reach = known("##...########", *["#" * 13] * 20)
        none = do_by_s(one_and_twenty(NAN, *[hour] * 8), BESIDE, 0.45, reach)
        assert math.isnan(none)
    late = one_and_twenty(NAN, *[9.5] * 8)
    assert chance_by(late, BESIDE, 13 * HOUR, known("##...########", *["#" * 13] * 20)) == (
        pytest.approx(0.2)
    )


def test_a_hole_that_all_have_is_nobodys_moment():
    # 2 of twenty cross before it, 0.1; in it nobody says anything, after it 18 still say no
    starts = np.arange(12) * HOUR
    who = np.array([[c == "#" for c in "####..######"]] * 20)
    reach = Reach.of(starts, starts + HOUR, who, (0,) * 20)
    crossings = hours(1, 2, *[NAN] * 18)
    assert math.isnan(do_by_s(crossings, np.full(20, 0.05), 0.25, reach))
    assert chance_by(crossings, np.full(20, 0.05), 11 * HOUR, reach) == pytest.approx(0.1)


def test_a_member_that_misses_an_hour_leaves_its_feed_its_voice():
    # all of the twenty but one miss the hour from 4 to 5; 6 cross at 4.5 h: 0.15 of all, as ever
    reach = known("#" * 12, "#" * 12, *["####.#######"] * 19)
    crossings = one_and_twenty(NAN, *[4.5] * 6)
    assert math.isnan(do_by_s(crossings, BESIDE, 0.16, reach))
    assert do_by_s(crossings, BESIDE, 0.15, reach) == 4.5 * HOUR


def test_a_feed_that_ends_where_the_other_has_a_hole_is_no_more_asked():
    # 6 of the twenty cross at 2 h, 0.15 of all; the single one ends at 4 h: 0.3 of those who
    # will speak again
    reach = known("####........", *["####..######"] * 20)
    assert do_by_s(one_and_twenty(NAN, *[2] * 6), BESIDE, 0.25, reach) == 4 * HOUR


def test_two_of_three_say_so_by_the_number_that_decides():
    third = np.full(3, 1 / 3)
    found = chance(hours(3, 9, NAN), third, 12 * HOUR)
    assert found.share == pytest.approx(2 / 3)
    assert (found.crossed, found.heard) == (2, 3)
    assert do_by_s(hours(3, 9, NAN), third, 2 / 3) == 9 * HOUR


def test_with_one_member_its_own_crossing_decides():
    assert chance(hours(3), np.ones(1), 12 * HOUR, hours(24)) == (1.0, 1, 1)
    assert do_by_s(hours(3), np.ones(1), 1.0, hours(24)) == 3 * HOUR


def test_a_feed_of_which_one_member_speaks_has_its_whole_weight_in_what_blocks():
    # feed 0: one of two knows and says yes (1.0 of it); feed 1: both know, none says so.
    # Equal feeds: 0.5. By members known it would be 0.25 of 0.75.
    flags = np.array([[1.0], [0.0], [0.0], [0.0]])
    known = np.array([[True], [False], [True], [True]])
    quarter = np.full(4, 0.25)
    assert at_risk(flags, quarter, 0.5, known, (0, 0, 1, 1)).tolist() == [True]
    assert at_risk(flags, quarter, 0.51, known, (0, 0, 1, 1)).tolist() == [False]


def test_a_step_is_known_where_one_feed_knows_it_whole():
    unknown = np.array([[False, True, True], [True, True, False], [True, False, False]])
    # feed 0 is the first member: knows the first step; feed 1 needs both: knows the last
    assert unknown_to_all(unknown, (0, 1, 1)).tolist() == [False, True, False]
    assert unknown_to_all(unknown, (0, 0, 0)).tolist() == [True, True, True]


# ---------------------------------------------------------------- what never happens

_crossing = st.one_of(st.just(NAN), st.integers(0, 20).map(float))
_feed = st.lists(st.tuples(_crossing, st.integers(0, 24).map(float)), min_size=1, max_size=5)
_feeds = st.lists(_feed, min_size=1, max_size=4)


def pool(feeds):
    """Crossings, weights and reaches of some feeds; who crosses reaches that far."""
    members = [(c, u, 1 / len(feeds) / len(feed)) for feed in feeds for c, u in feed]
    crossings, until, weights = (np.array(column) for column in zip(*members, strict=True))
    return crossings, weights, np.fmax(crossings, until)


def shares(feeds, until=25):
    crossings, weights, reach = pool(feeds)
    return np.array([chance_by(crossings, weights, t / 2, reach) for t in range(2 * until)])


@settings(deadline=None)
@given(_feeds, st.randoms())
def test_the_order_of_feeds_and_members_is_of_no_account(feeds, dice):
    turned = [dice.sample(feed, len(feed)) for feed in dice.sample(feeds, len(feeds))]
    np.testing.assert_allclose(shares(feeds), shares(turned), atol=1e-12)


@settings(deadline=None)
@given(_feeds)
def test_every_feed_twice_is_every_feed_once(feeds):
    np.testing.assert_allclose(shares(feeds), shares([*feeds, *feeds]), atol=1e-12)


@settings(deadline=None)
@given(_feeds, st.integers(1, 4))
def test_a_feed_that_has_ended_changes_nothing(feeds, members):
    ended = [(NAN, -math.inf)] * members
    np.testing.assert_allclose(shares(feeds), shares([*feeds, ended]), atol=1e-12)


@settings(deadline=None)
@given(_feeds)
def test_the_chance_never_falls(feeds):
    assert (np.diff(shares(feeds)) >= -1e-12).all()


@settings(deadline=None)
@given(_feeds, st.data())
def test_not_knowing_never_lowers_the_chance(feeds, data):
    """Any member that has not crossed may end sooner: what was dry is not known then.

    One that sees no need speaks to the end: where nobody does, there is no chance to tell.
    """
    less = [
        [(c, data.draw(st.sampled_from(sorted({0.0, u // 2, u})))) for c, u in feed]
        for feed in feeds
    ]
    dry = [(NAN, 25.0)]
    assert (shares([*less, dry]) >= shares([*feeds, dry]) - 1e-12).all()


@settings(deadline=None)
@given(_feeds, st.data())
def test_whoever_falls_silent_a_crossing_counts_no_less(feeds, data):
    """The same without anybody who speaks to the end, at every moment at which one crosses."""
    crossings, weights, reach = pool(feeds)
    sooner = data.draw(st.floats(0.0, 25.0))
    less = np.where(np.isnan(crossings), np.minimum(reach, sooner), reach)
    for moment in crossings[~np.isnan(crossings)]:
        own = crossings <= moment
        waits = [weights[~own & (r >= moment)].sum() for r in (reach, less)]
        before = weights[own].sum() / (weights[own].sum() + waits[0])
        assert chance_by(crossings, weights, moment, less) >= before - 1e-12


@settings(deadline=None)
@given(_feeds, st.integers(1, 100))
def test_the_number_that_decides_is_the_number_shown(feeds, percent):
    crossings, weights, reach = pool(feeds)
    due = do_by_s(crossings, weights, percent / 100, reach)
    if math.isnan(due):
        assert chance_by(crossings, weights, 25.0, reach) < percent / 100
    else:
        found = chance(crossings, weights, due, reach)
        assert found.share >= percent / 100 - 1e-9
        assert 0 < found.crossed <= found.heard
