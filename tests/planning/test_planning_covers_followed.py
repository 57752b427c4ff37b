"""Whatever comes, a crew that follows every order never has more covers on than there are."""

from __future__ import annotations

from dataclasses import replace
from datetime import time

from exposure.rigs import NOON, fixture, hours, position, show
from hypothesis import given, settings
from hypothesis import strategies as st
from planning.planned import bag, hood

from monitor.domain import Event, Hours
from monitor.rehearsal import rehearse

PLACES = ("pole", "tower", "foot")


@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from(PLACES),
            st.integers(1, 4),
            st.sampled_from(["bag", "hood"]),
            st.sampled_from([0.3, 1.0, 2.0]),
            st.booleans(),
        ),
        min_size=2,
        max_size=6,
    ),
    stock=st.tuples(st.integers(0, 6), st.integers(0, 6)),
    depths=st.lists(st.sampled_from([0.0, 0.0, 0.2, 2.0]), min_size=10, max_size=20),
    gusts=st.lists(st.sampled_from([3.0, 3.0, 14.0]), min_size=20, max_size=20),
)
@settings(max_examples=40, deadline=None)
def test_a_crew_that_follows_never_needs_more_covers_than_there_are(rows, stock, depths, gusts):
    described = show(
        [
            fixture("IP20", f"f{n}", position=p, count=c, cover=cover, stated_mm=mm, value=1.0 + n)
            for n, (p, c, cover, mm, _) in enumerate(rows)
        ],
        positions=[position(p) for p in PLACES],
        covers=[
            bag(in_stock=stock[0], gust_limit_mps=13.0),
            hood(in_stock=stock[1], keeps_out_to_deg=60.0, gust_limit_mps=10.0),
        ],
    )
    described = replace(described, event=Event(NOON, None, Hours(time(18), time(22))))
    weather = hours(depths, 0.0, gust=gusts[: len(depths)])
    done = rehearse(described, weather, crew="follows")
    row = {f.id: f for f in described.fixtures}
    on: set[str] = set()
    for entry in sorted(done.log, key=lambda e: e.at):
        (on.add if entry.entry == "covered" else on.discard)(entry.fixture)
        for cover in described.covers.values():
            mine = sum(row[f].count for f in on if row[f].cover == cover.id)
            assert mine <= cover.in_stock
