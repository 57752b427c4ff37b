"""The demo's rig by position. Counts are read off fixtures.csv by hand: downstage truss 15 rows,
bar canopy 6, stage left ladder 6, in the mere 2; all rows there have count 1.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from page_site import THURSDAY, hours_until

from monitor.domain import LogEntry
from monitor.page.power import Power
from monitor.page.rig import known_of, logged_at, rig_now
from monitor.store.history import stored_log

AT = datetime(2027, 7, 15, 18, 0, tzinfo=UTC)


def entry(kind, position=None, fixture=None, minute=0, **more):
    at = AT.replace(minute=minute)
    return LogEntry(at, kind, position=position, fixture=fixture, **more)


def rig_after(stage, *entries):
    for one in entries:
        stage.log(one)
    return rig_now(stage.evaluate(*hours_until(THURSDAY, 1)))


def test_every_fixture_stands_at_one_position(stage):
    rig = rig_after(stage)
    show = stage.watch.current.show
    assert sum(len(place.rows) for place in rig.places) == len(show.fixtures) == 121
    assert rig.by_id["downstage-truss"].pieces == 15
    assert rig.by_id["downstage-truss"].out == 15


def test_what_is_not_known_of_the_rain_is_not_taken_for_no_limit(stage):
    """The truss is of IP20 and IP54; what is in the mere is made to lie in water."""
    seen = stage.evaluate(*hours_until(THURSDAY, 1))
    places = rig_now(replace(seen, found=replace(seen.found, past=None))).by_id
    truss, mere = places["downstage-truss"], places["mere-water"]
    assert (truss.used, truss.limited) == (None, True)
    assert (mere.used, mere.limited) == (None, False)


def test_covered_since(stage):
    place = rig_after(stage, entry("covered", "downstage-truss", minute=10)).by_id[
        "downstage-truss"
    ]
    assert (place.covered, place.out) == (15, 15)
    assert place.covered_at == AT.replace(minute=10)
    assert place.covers == ("Elastic bag",)


def test_covered_in_part_counts_as_uncovered(stage):
    place = rig_after(stage, entry("covered", "bar-canopy", count=(2, 6))).by_id["bar-canopy"]
    assert (place.covered, place.in_part) == (0, 2)


def test_isolated_all_and_some(stage):
    rig = rig_after(
        stage,
        entry("isolated", "bar-canopy"),
        entry("energised", fixture="BAR-05", minute=5),
        entry("isolated", "ladder-left", minute=7),
        entry("isolated", "downstage-truss", count=(3, 15)),
    )
    bar = rig.by_id["bar-canopy"]
    assert (bar.isolated, bar.energised, bar.out) == (5, 1, 6)
    ladder = rig.by_id["ladder-left"]
    assert (ladder.isolated, ladder.isolated_at) == (6, AT.replace(minute=7))
    # Isolated in part is not isolated.
    assert rig.by_id["downstage-truss"].isolated == 0


def test_brought_in_and_moved(stage):
    rig = rig_after(
        stage,
        entry("brought-in", fixture="BAR-05"),
        entry("moved", fixture="BAR-06", to="foh-tent", minute=3),
    )
    bar, tent = rig.by_id["bar-canopy"], rig.by_id["foh-tent"]
    assert (bar.pieces, bar.out) == (5, 4)
    assert tent.pieces == 7
    assert "BAR-06" in [row.fixture.id for row in tent.rows]


def test_water_inside_is_out_of_service(stage):
    place = rig_after(stage, entry("inspected", fixture="BAR-05", result="water-inside"))
    assert place.by_id["bar-canopy"].wet_inside == 1


def test_rain_uses_nothing_of_what_lies_in_the_mere(stage):
    rig = rig_after(stage)
    assert rig.by_id["mere-water"].used is None
    assert rig.by_id["mere-water"].crosses_at is None


def test_most_used_first_and_the_place_says_its_worst(stage):
    rig = rig_after(stage)
    used = [place.used or 0.0 for place in rig.places]
    assert used == sorted(used, reverse=True)
    for place in rig.places:
        known = [row.used for row in place.rows if row.out and row.used is not None]
        assert place.used == (max(known) if known else None)


def test_wind_closes_the_towers_at_midnight(stage):
    """Gust passes 12.5 m/s in the hour from 23Z (13.0 at 10 m; a tower's top is at 9 m)."""
    place = rig_after(stage).by_id["tower-a"]
    assert place.blocked is None
    assert place.closes is not None
    assert place.closes.by == "gust"
    assert place.closes.start_s == datetime(2027, 7, 15, 23, tzinfo=UTC).timestamp()


def test_what_was_logged_at_a_place(stage):
    rig = rig_after(
        stage,
        entry("covered", "bar-canopy"),
        entry("isolated", fixture="BAR-05", minute=9),
        entry("covered", "foh-tent", minute=4),
    )
    with stage.db() as db:
        logged = logged_at(rig.by_id["bar-canopy"], stored_log(db))
    assert [one.entry.entry for one in logged] == ["isolated", "covered"]


def test_what_is_logged_for_later_is_not_so_yet(stage):
    stage.log(LogEntry(THURSDAY.replace(hour=22), "covered", position="bar-canopy"))
    seen = stage.evaluate(THURSDAY)
    assert known_of(seen).log == ()
    assert rig_now(seen).by_id["bar-canopy"].covered == 0


@pytest.mark.parametrize(
    ("log", "isolated", "energised"),
    [
        ([], None, None),
        ([entry("isolated", "bar")], AT, None),
        ([entry("isolated", "bar"), entry("energised", fixture="B", minute=2)], None, 2),
        ([entry("isolated", fixture="B", minute=3), entry("energised", "bar", minute=2)], 3, None),
        ([entry("isolated", "bar", count=(1, 2))], None, None),
        ([entry("isolated", "elsewhere")], None, None),
    ],
)
def test_the_last_word_on_power_counts(log, isolated, energised):
    def moment(said):
        return AT.replace(minute=said) if isinstance(said, int) else said

    assert Power.of(log).of_fixture("B", "bar") == (moment(isolated), moment(energised))
