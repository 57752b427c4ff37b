"""What is dark without a part. Trees of a few rows, counted by hand."""

from __future__ import annotations

from dataclasses import replace

from exposure.rigs import entry, fixture, hours, position, show
from planning.planned import bag, only, planned

from monitor.planning.dark import Feeding

# DIST feeds a dimmer and 2 washes; the dimmer feeds 4 lamps at the lip and 3 at the truss.
ROWS = [
    fixture("IP44", "DIST", position="lip"),
    fixture("IP20", "DIM", position="lip", fed_by="DIST"),
    fixture("IP65", "lip-lamps", position="lip", count=4, fed_by="DIM"),
    fixture("IP65", "truss-lamps", position="truss", count=3, fed_by="DIM"),
    fixture("IP65", "washes", position="tower", count=2, fed_by="DIST"),
    fixture("IP65", "apart", position="tower"),
]
PLACES = [position("lip"), position("truss"), position("tower")]
SHOW = show(ROWS, positions=PLACES)


def test_what_dies_with_a_part_is_found_through_what_stands_between():
    lost = Feeding.of(SHOW).dark(ROWS[0])
    # the dimmer, 4 + 3 lamps, 2 washes = 10; at the lip the dimmer and 4 = 5
    assert {f.id for f in lost.fixtures} == {"DIM", "lip-lamps", "truss-lamps", "washes"}
    assert lost.pieces == 10
    assert lost.places == (("lip", 5), ("truss", 3), ("tower", 2))
    # the dimmer: 7 lamps, most at the lip
    assert Feeding.of(SHOW).dark(ROWS[1]).places == (("lip", 4), ("truss", 3))


def test_what_feeds_nothing_costs_nothing_more():
    assert Feeding.of(SHOW).dark(ROWS[5]) is None
    assert Feeding.of(SHOW).says([ROWS[5]]) == ()


def test_it_is_said_with_the_places():
    feeding = Feeding.of(SHOW)
    assert feeding.says([ROWS[0]]) == (
        "10 fixtures are dark without DIST: 5 at lip, 3 at truss and 2 at tower.",
    )
    # of the dimmer's job the lamps at the lip are spoken of already: 3 are left
    assert feeding.says([ROWS[1], ROWS[2]]) == ("3 fixtures at truss are dark without DIM.",)


def test_many_places_are_counted_together():
    # five places with 5, 4, 3, 2, 1: the three fullest are named, 2 + 1 = 3 are elsewhere
    rows = [fixture("IP20", "DIM", position="p0")]
    rows += [
        fixture("IP65", f"l{n}", position=f"p{n}", count=5 - n, fed_by="DIM") for n in range(5)
    ]
    described = show(rows, positions=[position(f"p{n}") for n in range(5)])
    assert Feeding.of(described).says(rows[:1]) == (
        "15 fixtures are dark without DIM: 5 at p0, 4 at p1, 3 at p2 and 3 elsewhere.",
    )


def test_a_ring_is_cut():
    rows = [fixture("IP20", "A", fed_by="B"), fixture("IP20", "B", fed_by="A")]
    assert [f.id for f in Feeding.of(show(rows)).dark(rows[0]).fixtures] == ["B"]


def test_those_that_cost_most_come_first():
    rows = [fixture("IP20", "few"), fixture("IP20", "many")]
    rows += [fixture("IP65", "x", fed_by="few"), fixture("IP65", "y", count=2, fed_by="many")]
    assert [d.part.id for d in Feeding.of(show(rows)).every(rows)] == ["many", "few"]


def test_what_is_brought_in_is_dark_anyway():
    described = replace(SHOW, covers={"bag": bag()})
    described = replace(described, fixtures=(replace(ROWS[0], cover="bag"), *ROWS[1:]))
    log = [entry(0, "brought-in", fixture="washes")]
    # IP44 of hire: 10 x 5 mm x 0.5 = 25 mm are spent by 30 mm in the third hour
    found = planned(described, hours([0, 0, 30], 0.0), 0.0, log)
    jobs = [job for job in found.jobs if "DIST" in job.fixtures]
    said = jobs[0].facts.extra
    assert any("without DIST" in text and "tower" not in text for text in said), said


def test_the_plan_says_what_is_fed():
    found = planned(SHOW, hours([0, 0, 1], 0.0), 0.0)
    assert found.feeding.dark(ROWS[1]).pieces == 7
    assert only(found, "protect").facts.extra == (
        "7 fixtures are dark without DIM: 4 at lip and 3 at truss.",
    )
