"""Alerts judged by hand: minutes on one clock, every verdict worked beside it."""

from __future__ import annotations

import math

import pytest

from monitor.scores import Crossing, Order, judge

MIN, H = 60.0, 3600.0


def crossing(at_h, fixture="f1", *, spell_h=0.0, **more):
    return Crossing(fixture, "pole", at_h * H, spell_h * H, setup_min=2.0, work_min=1.5, **more)


def order(told_h=0.0, *, fixtures=("f1",), begin_h=None, ended_h=math.inf, due_h=None, **more):
    told = {} if told_h is None else dict.fromkeys(fixtures, told_h * H)
    return Order(
        "pole-1",
        "pole",
        told,
        None if begin_h is None else begin_h * H,
        ended_h * H,
        None if due_h is None else due_h * H,
        more.pop("minutes", 20.0),
        fixtures=frozenset(fixtures),
        **{k: frozenset(v) for k, v in more.items()},
    )


def only(crossings, orders, until_h=48.0, unknown=()):
    (row,) = judge(crossings, orders, until_h * H, [(a * H, b * H) for a, b in unknown]).rows
    return row


def test_lead_given_against_lead_needed():
    # Told at 10:00 that it takes 20 min; spent at 10:45: 45 min given, 25 to spare.
    row = only([crossing(10.75, spell_h=10.5)], [order(10.0, begin_h=10.0)])
    assert (row.verdict, row.given_min, row.needed_min, row.enough) == ("hit", 45.0, 20.0, True)
    # Told at 10:30 instead: 15 min for 20 min of work. Right, and too late for it.
    late = judge([crossing(10.75, spell_h=10.5)], [order(10.5, begin_h=10.5)], 48 * H)
    assert (late.rows[0].verdict, late.rows[0].given_min, late.rows[0].enough) == (
        "hit",
        15.0,
        False,
    )
    assert (late.count("hit"), late.too_short) == (1, 1)
    # Given exactly what is needed is enough.
    assert only([crossing(10.0)], [order(10.0 - 20 / 60, begin_h=9.0)]).enough


def test_the_first_word_counts_a_notice_too():
    # The notice named f1 at 07:00, the order to begin came at 09:00: told at 07:00, 4 h before.
    row = only([crossing(11.0, spell_h=10.0)], [order(7.0, begin_h=9.0)])
    assert row.given_min == 240.0


@pytest.mark.parametrize(
    "orders",
    [
        (),
        (order(None),),  # raised, and no message left
        (order(12.5, begin_h=12.5),),  # told half an hour after it was spent
        (order(1.0, begin_h=1.0, ended_h=5.0),),  # taken back at 05:00, not done
        (order(1.0, begin_h=1.0, fixtures=("f2",)),),  # of its neighbour
    ],
)
def test_missed_is_what_nobody_had_been_told_of(orders):
    # Reaching it takes 2 min, covering the one fixture 1.5 min: 3.5 min were needed.
    rows = judge([crossing(12.0, spell_h=11.0)], orders, 13 * H).rows
    missed = [row for row in rows if row.verdict == "missed"]
    assert [(r.fixtures, r.given_min, r.needed_min) for r in missed] == [(("f1",), None, 3.5)]
    assert all(row.verdict != "hit" for row in rows)


def test_an_order_that_was_done_and_stood_down_is_a_hit():
    # Covered at 04:00 and stood down then, due 10:00; the rain of 10:30 would have spent it at 12.
    done = order(1.0, begin_h=2.0, ended_h=4.0, due_h=10.0, done=("f1",))
    assert only([crossing(12.0, spell_h=10.5)], [done]).verdict == "hit"
    # Six hours after its deadline (16:00) rain is no more what it was about: next day's storm
    # found gear that was covered already, and there was nothing to tell.
    next_day = crossing(30.0, spell_h=28.0, kept_off=True)
    rows = judge([next_day], [done], 48 * H).rows
    assert [row.verdict for row in rows] == ["false", "kept-off-before"]


def test_false_is_an_order_that_nothing_came_of():
    stood = order(1.0, begin_h=2.0, ended_h=8.0, due_h=6.0)
    # Meant until 8 + 6 = 14:00. Nothing would have been spent by then.
    assert only([], [stood]).verdict == "false"
    scores = judge([crossing(14.5, spell_h=14.2)], [stood], 48 * H)
    assert sorted(row.verdict for row in scores.rows) == ["false", "missed"]
    # It rained after it was taken back, at 13:00: missed, but no false alarm beside.
    came = judge([crossing(13.0, spell_h=12.5)], [stood], 48 * H)
    assert [row.verdict for row in came.rows] == ["missed"]


def test_what_cannot_be_said_is_not_called_false():
    stood = order(1.0, begin_h=2.0, ended_h=8.0, due_h=6.0)
    assert only([], [stood], until_h=13.0).verdict == "open"  # meant until 14:00
    assert only([], [stood], until_h=14.0).verdict == "false"
    assert only([], [stood], unknown=[(13.5, 15.0)]).verdict == "not-known"
    assert only([], [stood], unknown=[(14.0, 15.0)]).verdict == "false"
    assert only([], [order(1.0, begin_h=2.0)]).verdict == "open"  # it still stands
    # A notice only, and gear that had nothing left when it was raised: neither is judged.
    assert judge([], [order(1.0, ended_h=8.0)], 48 * H).rows == ()
    gone = order(1.0, begin_h=1.0, ended_h=8.0, spent=("f1",))
    assert judge([], [gone], 48 * H).rows == ()


def test_gear_that_came_out_alike_is_one_row_by_its_first():
    # f1 at 12:00, f2 at 12:30, told together at 10:00: one row, 120 min. f3 was not named: alone,
    # and what it takes is 2 + 1.5.
    told = order(10.0, begin_h=10.0, fixtures=("f1", "f2"), minutes=30.0)
    found = [crossing(12.5, "f2"), crossing(12.0, "f1"), crossing(12.25, "f3")]
    first, second = judge(found, [told], 48 * H).rows
    assert (first.fixtures, first.at_s, first.given_min) == (("f1", "f2"), 12 * H, 120.0)
    assert (second.verdict, second.fixtures, second.needed_min) == ("missed", ("f3",), 3.5)


def test_missed_together_need_one_set_up():
    # Two of them: 2 + 1.5 + 1.5 = 5 min.
    row = only([crossing(12.0, "f1"), crossing(12.0, "f2")], [])
    assert (row.fixtures, row.needed_min) == (("f1", "f2"), 5.0)


def test_the_earliest_of_two_orders_told():
    again = [order(5.0, begin_h=5.0), order(9.0, begin_h=9.0)]
    assert only([crossing(12.0, spell_h=11.0)], again).given_min == 7 * 60.0


def test_rates_are_shares_of_rows():
    # 2 hits, 1 missed, 1 false: hit rate 2/3, false ratio 1/3.
    orders = [
        order(8.0, begin_h=8.0, fixtures=("a",), ended_h=20.0),
        order(9.0, begin_h=9.0, fixtures=("b",), ended_h=20.0),
        order(8.0, begin_h=8.0, fixtures=("c",), ended_h=20.0, due_h=10.0),
    ]
    scores = judge([crossing(12.0, "a"), crossing(13.0, "b"), crossing(14.0, "d")], orders, 48 * H)
    assert (scores.count("hit"), scores.count("missed"), scores.count("false")) == (2, 1, 1)
    assert scores.hit_rate == pytest.approx(2 / 3)
    assert scores.false_ratio == pytest.approx(1 / 3)
    nothing = judge([], [], 48 * H)
    assert (nothing.hit_rate, nothing.false_ratio) == (None, None)
