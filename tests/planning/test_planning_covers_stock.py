"""Covers in stock over the whole plan: each promised once, and a reason for who gets none.

Straight-down rain puts its own depth on a fixture; IP20 may take half a millimetre, a stated
one its own. So every deadline is a depth divided by a rate, as in test_planning_rain.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from exposure.rigs import after, entry, fixture, hours, one_fixture, position, show
from hypothesis import given, settings
from hypothesis import strategies as st
from planning.planned import bag, hood, only, planned

from monitor.domain import Answered


def rain(*depths, wind=0.0, **more):
    return hours(depths, wind, **more)


def two(stock, *, count=4, values=(1.0, 1.0), stated=(None, None)):
    """`count` at the pole and as many at the tower, one kind of cover."""
    rows = [
        fixture(
            "IP20",
            f"f-{place}",
            cover="bag",
            count=count,
            position=place,
            value=value,
            stated_mm=mm,
        )
        for place, value, mm in zip(("pole", "tower"), values, stated, strict=True)
    ]
    return show(
        rows,
        positions=[position(), position("tower")],
        covers=[replace(bag(in_stock=stock), name="hood")],
    )


def jobs(found):
    return {job.position: job for job in found.jobs}


# ---------------------------------------------------------------- who gets them


def test_who_is_due_later_is_told_how_many_are_left():
    # half a millimetre at the tower is there half an hour before one at the pole
    found = jobs(planned(two(6, stated=(1.0, None)), rain(0, 0, 1, 1)))
    assert found["tower"].action == "cover"
    assert found["tower"].facts.covers == (("hood", 4),)
    assert found["tower"].facts.not_covered_because is None
    assert found["pole"].action == "bring-in"
    assert found["pole"].facts.covers == ()
    assert found["pole"].facts.not_covered_because == "2 hoods left, 4 wanted"


def test_of_two_due_together_the_dearer_gets_them():
    found = jobs(planned(two(6, values=(2.0, 3.0)), rain(0, 0, 1, 1)))
    assert (found["tower"].action, found["pole"].action) == ("cover", "bring-in")
    found = jobs(planned(two(6, values=(3.0, 2.0)), rain(0, 0, 1, 1)))
    assert (found["tower"].action, found["pole"].action) == ("bring-in", "cover")


def test_who_is_at_it_keeps_them():
    # the tower is due first, but at the pole somebody has begun
    begun = Answered(after(0.5), "pole-1", "doing", "pole", "protect", ("f-pole",), by="somebody")
    found = jobs(planned(two(6, stated=(1.0, None)), rain(0, 0, 1, 1), 0.5, answers=[begun]))
    assert (found["tower"].action, found["pole"].action) == ("bring-in", "cover")


def test_enough_for_all_is_for_all():
    found = planned(two(8), rain(0, 0, 1, 1))
    assert {job.action for job in found.jobs} == {"cover"}
    assert found.covers_short == {}


def test_what_is_short_is_said_of_the_whole_plan():
    # 4 and 4 wanted, 6 there
    assert planned(two(6), rain(0, 0, 1, 1)).covers_short == {"bag": (8, 6)}
    # 4 are on at the tower: 2 left, and 4 wanted
    log = [entry(0.5, "covered", position="tower")]
    found = planned(two(6), rain(0, 0, 1, 1), 1.0, log)
    assert found.covers_short == {"bag": (4, 2)}
    assert only(found).facts.not_covered_because == "2 hoods left, 4 wanted"


def test_where_nobody_can_reach_none_are_promised():
    # the mast is due first and is isolated: all six are left for the four at the pole
    described = two(4, stated=(1.0, None))
    mast = replace(described.positions["tower"], access="none")
    described = replace(described, positions={**described.positions, "tower": mast})
    found = jobs(planned(described, rain(0, 0, 1, 1)))
    assert (found["tower"].action, found["pole"].action) == ("isolate", "cover")


def test_a_word_at_half_used_takes_none_from_what_is_due():
    # 0.3 mm of the pole's 0.5 fell; only the tower, which may take 0.4, is due: by 14:06
    described = two(6, stated=(None, 0.4))
    found = jobs(planned(described, rain(0.3, 0, 0.15, 0), 1.0))
    assert (found["tower"].do_by_s is None, found["tower"].action) == (False, "cover")
    assert (found["pole"].do_by_s, found["pole"].action) == (None, "bring-in")
    assert found["pole"].facts.not_covered_because == "2 hoods left, 4 wanted"


# ---------------------------------------------------------------- why not


@pytest.mark.parametrize(
    ("weather", "cover", "why"),
    [
        ({"gust": [3, 3, 18, 3]}, bag(gust_limit_mps=15.0), "gusts to 18 m/s, bag stands 15"),
        ({"gust": [3, 3, 15.25, 3]}, bag(gust_limit_mps=15.0), "gusts to 15.2 m/s, bag stands 15"),
        ({}, bag(in_stock=1), "1 bag left, 4 wanted"),
        ({}, bag(in_stock=0), "0 bags left, 4 wanted"),
        ({}, replace(bag(in_stock=3), name="Rain hood"), "3 rain hoods left, 4 wanted"),
        ({}, replace(bag(in_stock=3), name="Bag, large"), "3 of Bag, large left, 4 wanted"),
        (
            {"gust": [3, 3, 18, 3]},
            bag(gust_limit_mps=15.0, in_stock=3),
            "gusts to 18 m/s, bag stands 15; 3 bags left, 4 wanted",
        ),
    ],
)
def test_the_reason_is_the_whole_of_it(weather, cover, why):
    described = one_fixture("IP20", covers=[cover], cover=cover.id, count=4)
    job = only(planned(described, rain(0, 0, 1, 0, **weather)))
    assert (job.action, job.facts.not_covered_because) == ("bring-in", why)


def test_no_cover_named_for_some():
    mixed = show(
        [fixture("IP20", "f1", cover="bag", count=2), fixture("IP20", "f2", count=3)],
        covers=[bag()],
    )
    job = only(planned(mixed, rain(0, 0, 1)))
    assert job.facts.not_covered_because == "no cover named for 3 of them"
    # nobody named one for any: nothing to be explained
    assert only(planned(one_fixture("IP20"), rain(0, 0, 1))).facts.not_covered_because is None


def test_most_numerous_first():
    described = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP20", "f2", cover="hood", count=3)],
        covers=[bag(), replace(hood(keeps_out_to_deg=60.0), name="hood")],
    )
    assert only(planned(described, rain(0, 0, 1))).facts.covers == (("hood", 3), ("bag", 1))


def test_the_cover_that_stands_the_least_wind_is_the_one_named():
    described = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP20", "f2", cover="hood")],
        covers=[bag(), hood(keeps_out_to_deg=60.0, gust_limit_mps=15.0)],
    )
    facts = only(planned(described, rain(0, 0, 1))).facts
    assert (facts.cover_name, facts.cover_gust_limit_mps) == ("hood", 15.0)


# ---------------------------------------------------------------- covers that are elsewhere


def test_what_the_wind_took_off_is_still_that_positions():
    # four bags blew off at the tower (limit 9, gust 10 from 13:00); of eight the pole may have
    # four, and of seven none but three
    gusty = rain(0, 0, 0, 0, 1, 1, gust=[3, 10, 3, 3, 3, 3])
    log = [entry(0.5, "covered", position="tower")]

    def found(stock):
        described = two(stock, stated=(None, 1.0))
        cover = replace(described.covers["bag"], gust_limit_mps=9.0)
        return jobs(planned(replace(described, covers={"bag": cover}), gusty, 3.0, log))

    assert {place: job.action for place, job in found(8).items()} == {
        "pole": "cover",
        "tower": "cover",
    }
    short = found(7)
    assert short["pole"].facts.not_covered_because == "3 hoods left, 4 wanted"
    assert short["tower"].action == "cover"


def test_bags_on_part_of_a_row_are_still_that_rows():
    # 3 of the tower's 4 are on: the row counts as bare, and its three bags are no one else's.
    # The pole is due first: of 6, three are left for its four; of 7, four are
    log = [entry(0.5, "covered", fixture="f-tower", count=(3, 4))]
    weather = rain(0, 0, 1, 1)
    six = jobs(planned(two(6, stated=(None, 1.0)), weather, 1.0, log))
    assert six["pole"].facts.not_covered_because == "3 hoods left, 4 wanted"
    assert six["tower"].action == "cover"
    seven = jobs(planned(two(7, stated=(None, 1.0)), weather, 1.0, log))
    assert (seven["pole"].action, seven["tower"].action) == ("cover", "bring-in")
    assert seven["tower"].facts.not_covered_because == "3 hoods left, 4 wanted"


def test_taking_some_off_leaves_the_others_there():
    # all on, then 3 of 4 off: one bag is still on at the tower, so of 5 the pole has its four
    log = [
        entry(0.2, "covered", position="tower"),
        entry(0.5, "uncovered", position="tower", count=(3, 4)),
    ]
    weather = rain(0, 0, 1, 1)
    assert jobs(planned(two(5, stated=(None, 1.0)), weather, 1.0, log))["pole"].action == "cover"
    four = jobs(planned(two(4, stated=(None, 1.0)), weather, 1.0, log))
    assert four["pole"].facts.not_covered_because == "3 hoods left, 4 wanted"


# ---------------------------------------------------------------- never twice, whatever comes

PLACES = ("pole", "tower", "foot", "deck")
rows_of_a_rig = st.lists(
    st.tuples(
        st.sampled_from(PLACES),
        st.integers(1, 5),
        st.sampled_from([None, "bag", "hood"]),
        st.sampled_from([None, 0.3, 1.0, 2.0]),
        st.integers(0, 9),
    ),
    min_size=1,
    max_size=8,
)
logged = st.lists(
    st.tuples(
        st.sampled_from(["covered", "uncovered", "brought-in", "put-out"]),
        st.sampled_from(PLACES),
        st.floats(0.0, 2.0),
    ),
    max_size=6,
)


@given(
    rig=rows_of_a_rig,
    stock=st.tuples(st.integers(0, 9), st.integers(0, 9)),
    log=logged,
    depths=st.lists(st.sampled_from([0.0, 0.2, 1.0, 4.0]), min_size=4, max_size=9),
    gusts=st.sampled_from([3.0, 11.0, 14.0]),
)
@settings(max_examples=60)
def test_no_cover_is_promised_twice(rig, stock, log, depths, gusts):
    described = show(
        [
            fixture("IP20", f"f{n}", position=p, count=c, cover=cover, stated_mm=mm, value=float(v))
            for n, (p, c, cover, mm, v) in enumerate(rig)
        ],
        positions=[position(p) for p in PLACES],
        covers=[
            bag(in_stock=stock[0], gust_limit_mps=13.0),
            hood(in_stock=stock[1], keeps_out_to_deg=60.0, gust_limit_mps=10.0),
        ],
    )
    told = sorted(log, key=lambda one: one[2])
    entries = [entry(at, what, position=place) for what, place, at in told]
    found = planned(
        described, rain(*depths, gust=gusts), 2.0, entries, asked=[f.id for f in described.fixtures]
    )
    row = {f.id: f for f in described.fixtures}
    on = {f for f, safe in found.protected.items() if safe and not found.brought_in[f]}
    for cover in described.covers.values():
        promised = [
            f
            for job in found.jobs
            if job.action == "cover"
            for f in job.fixtures
            if row[f].cover == cover.id
        ]
        assert len(set(promised)) == len(promised)
        assert not set(promised) & on
        more_on_than_there_are = sum(row[f].count for f in on if row[f].cover == cover.id)
        if promised:
            assert sum(row[f].count for f in promised) + more_on_than_there_are <= cover.in_stock
    for job in found.jobs:
        facts = job.facts
        if job.action == "cover":
            assert sum(n for _, n in facts.covers) == job.count
            assert facts.not_covered_because is None
        elif job.family == "protect":
            named = any(row[f].cover for f in job.fixtures)
            assert (facts.not_covered_because is not None) is named
