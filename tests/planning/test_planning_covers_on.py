"""Which covers are on, since when and by whom: as the log tells it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from exposure.rigs import after, entry, fixture, position, show
from planning.planned import bag, hood

from monitor.domain import LogEntry
from monitor.exposure.rig import compile_rig
from monitor.planning.covers_on import covers_on, on_part_of_a_row

RIG = show(
    [
        fixture("IP20", "f1", cover="bag", count=3),
        fixture("IP44", "f2", cover="bag"),
        fixture("IP44", "f3", cover="hood"),
        fixture("IP44", "f4"),
        fixture("IP20", "t1", cover="bag", position="tower"),
    ],
    positions=[position(), position("tower")],
    covers=[bag(), hood()],
)


def on(log, at_h=5.0):
    return covers_on(compile_rig(RIG), log, after(at_h))


def test_nothing_is_on_until_it_is_logged():
    assert on([]) == ()
    assert on([entry(2.0, "covered")], at_h=1.0) == ()


def test_a_position_by_cover_with_when_and_who():
    bags, hoods = on([entry(1.0, "covered", by="Ines"), entry(0.5, "uncovered")])
    assert (bags.position, bags.fixtures, bags.count) == ("pole", ("f1", "f2"), 4)
    assert (bags.cover, bags.since, bags.by) == ("bag", after(1.0), "Ines")
    # f4 has no cover named for it: it is not covered by being logged
    assert (hoods.cover, hoods.fixtures, hoods.count) == ("hood", ("f3",), 1)


def test_who_covered_one_of_them_is_kept_apart_and_the_longest_comes_first():
    found = on(
        [
            entry(2.0, "covered", position="tower"),
            entry(3.0, "covered", fixture="f2", by="Dario"),
            entry(1.0, "covered", fixture="f1", by="Ines"),
        ]
    )
    assert [(one.fixtures, one.by) for one in found] == [
        (("f1",), "Ines"),
        (("t1",), None),
        (("f2",), "Dario"),
    ]


def test_covered_again_counts_from_then():
    (found,) = on(
        [
            entry(1.0, "covered", fixture="f2", by="Ines"),
            entry(2.0, "uncovered", fixture="f2"),
            entry(3.0, "covered", fixture="f2", by="Dario"),
        ]
    )
    assert (found.since, found.by) == (after(3.0), "Dario")


@pytest.mark.parametrize("what", ["uncovered", "brought-in"])
def test_off_or_in_is_not_on(what):
    assert on([entry(1.0, "covered"), entry(2.0, what)]) == ()


def test_moved_is_not_on():
    log = [
        entry(1.0, "covered", fixture="f2"),
        LogEntry(after(2.0), "moved", fixture="f2", to="tower"),
    ]
    assert on(log) == ()


def test_part_of_a_row_is_not_on():
    assert on([entry(1.0, "covered", fixture="f1", count=(2, 3))]) == ()


def test_before_load_in_it_can_not_be_said():
    # load-in is at noon; a rehearsal's record may begin earlier
    rig, log = compile_rig(RIG), [entry(-2.0, "covered", fixture="f2")]
    early = after(-4.0).timestamp()
    assert covers_on(rig, log, after(-1.0)) == ()
    (found,) = covers_on(rig, log, after(-1.0), out_from_s=early)
    assert found.since == after(-2.0)


# ---------------------------------------------------------------- on part of a row

BARE = [(f, f.position) for f in RIG.fixtures]


def in_part(*log, bare=BARE):
    return on_part_of_a_row(log, bare, after(5.0))


def test_so_many_as_are_logged_but_no_more_than_the_row_has():
    assert in_part(entry(1.0, "covered", fixture="f1", count=(2, 3))) == {("pole", "bag"): 2}
    assert in_part(entry(1.0, "covered", fixture="f2", count=(2, 3))) == {("pole", "bag"): 1}
    assert in_part(entry(1.0, "covered", fixture="f4", count=(2, 3))) == {}


def test_some_off_again_leaves_the_rest():
    assert in_part(
        entry(1.0, "covered", fixture="f1"),
        entry(2.0, "uncovered", fixture="f1", count=(2, 3)),
    ) == {("pole", "bag"): 1}
    assert (
        in_part(
            entry(1.0, "covered", fixture="f1", count=(2, 3)),
            entry(2.0, "brought-in", fixture="f1"),
        )
        == {}
    )


def test_of_a_whole_position_each_kind_may_have_them():
    # 3 of the pole's 6: three of the four bags, or the one hood and two bags
    assert in_part(entry(1.0, "covered", count=(3, 6))) == {
        ("pole", "bag"): 3,
        ("pole", "hood"): 1,
    }


def test_the_last_word_counts_and_none_from_the_future():
    log = [
        entry(2.0, "covered", fixture="f1", count=(1, 3)),
        entry(1.0, "covered", fixture="f1", count=(2, 3)),
        entry(6.0, "covered", fixture="f1", count=(3, 3)),
    ]
    assert in_part(*log) == {("pole", "bag"): 1}
    assert in_part(*[replace(e, fixture="f2") for e in log]) == {("pole", "bag"): 1}
