"""How many covers are needed at one moment. Spans and sums by hand; in the plans straight-down rain
spends IP20's half millimetre, so a deadline is a depth divided by a rate.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from exposure.rigs import after, entry, fixture, hours, position, show
from planning.planned import bag, planned, since_noon_h

from monitor.alerts.clock import SiteClock
from monitor.alerts.covers_short import covers_found, covers_needed, left_without
from monitor.domain import Answered
from monitor.planning.covers_at_once import Wanted, at_once


def hoods(stock):
    return {"hood": replace(bag(in_stock=stock), id="hood", name="hood")}


def want(place, number, from_s, until_s, *, given=True):
    return Wanted(place, "hood", number, from_s, until_s, given)


def test_only_what_is_wanted_at_the_same_time_adds_up():
    # 4 from 0 to 10, 3 from 5 to 20, 5 from 10 to 20: 4, 7, then 3 + 5 = 8 from 10 on, for the
    # first is over by then
    wants = [want("a", 4, 0, 10), want("b", 3, 5, 20), want("c", 5, 10, 20)]
    found = at_once(wants, {}, hoods(8))["hood"]
    assert (found.most, found.at_s, found.missing, found.without) == (8, 10, 0, ())
    assert at_once(wants[:2], {}, hoods(8))["hood"].most == 7


def test_those_that_are_on_are_not_to_be_had():
    # 2 are on: 2 + 7 = 9 of 8
    wants = [want("a", 4, 0, 10), want("b", 3, 5, 20, given=False)]
    found = at_once(wants, {"hood": 2}, hoods(8))["hood"]
    assert (found.most, found.on, found.missing) == (9, 2, 1)
    assert [one.position for one in found.without] == ["b"]


def test_who_is_left_without_is_told_only_of_the_kind_that_is_short():
    # b gets no bag for want of hoods: bags are enough, and nobody lacks one
    covers = {**hoods(4), "bag": bag(in_stock=9)}
    wants = [
        want("a", 4, 0, 10),
        want("b", 1, 0, 10, given=False),
        Wanted("b", "bag", 2, 0, 10, given=False),
    ]
    found = at_once(wants, {}, covers)
    assert (found["bag"].missing, found["bag"].without) == (0, ())
    assert [w.position for w in found["hood"].without] == ["b"]


def two(stock, *, count=4):
    rows = [
        fixture("IP20", f"f-{p}", cover="hood", count=count, position=p, stated_mm=mm)
        for p, mm in (("pole", None), ("tower", 1.0))
    ]
    described = show(rows, positions=[position(), position("tower")])
    return replace(described, covers=hoods(stock))


def test_a_plan_says_when_it_needs_how_many():
    # 1 mm/h from 14:00: the pole's half millimetre is full at 14:30, the tower's one at 15:00, and
    # it rains to 16:00, so from 15:00 on 8 are on
    found = planned(two(6), hours([0, 0, 1, 1], 0.0)).covers_at_once["hood"]
    assert (found.most, found.stock, found.missing) == (8, 6, 2)
    assert since_noon_h(found.at_s) == pytest.approx(3.0)
    (left,) = found.without
    assert (left.position, left.number) == ("tower", 4)
    assert since_noon_h(left.from_s) == pytest.approx(3.0)
    assert since_noon_h(left.until_s) == pytest.approx(4.0)
    enough = planned(two(8), hours([0, 0, 1, 1], 0.0)).covers_at_once["hood"]
    assert (enough.most, enough.missing, enough.without) == (8, 0, ())


def test_a_plan_without_rain_needs_none():
    assert planned(two(6), hours([0, 0, 0], 0.0)).covers_at_once == {}


def test_what_the_crew_says_is_not_needed_wants_none():
    said = Answered(after(0.0), "tower-1", "not-needed", "tower", "protect", ("f-tower",), by="x")
    found = planned(two(6), hours([0, 0, 1, 1], 0.0), 0.1, answers=[said]).covers_at_once["hood"]
    assert (found.most, found.missing) == (4, 0)


def test_what_is_on_counts_with_what_is_wanted():
    log = [entry(0.5, "covered", position="tower")]
    found = planned(two(6), hours([0, 0, 1, 1], 0.0), 1.0, log).covers_at_once["hood"]
    assert (found.most, found.on, found.missing) == (8, 4, 2)


def test_it_is_said_with_place_and_time():
    described = two(6)
    clock = SiteClock(described.site.timezone, after(0))
    one = planned(described, hours([0, 0, 1, 1], 0.0)).covers_at_once["hood"]
    assert covers_needed(one, described, clock) == (
        "8 hoods needed at once, 15:00, and 6 in stock: 2 too few"
    )
    assert left_without(one, described, clock) == ("None for tower: 4 wanted by 15:00",)
    assert covers_found(one, described, clock).reason == covers_needed(one, described, clock)
    described = two(8)
    one = planned(described, hours([0, 0, 1, 1], 0.0)).covers_at_once["hood"]
    assert covers_needed(one, described, clock) == "8 hoods needed at once, 15:00, and 8 in stock"
    assert covers_found(one, described, clock) is None
