"""A small rig for rehearsals, and records to rehearse it on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from exposure.rigs import after, entry, fixture, hours, position, show
from hypothesis import strategies as st

from monitor.domain import Cover

BAG = Cover("bag", "bag", sealed=True, gust_limit_mps=15.0, in_stock=20)
HOOD = Cover("hood", "hood", keeps_out_to_deg=45.0, gust_limit_mps=13.0, in_stock=4)
POSITIONS = (
    position("lawn"),
    position("ladder", access="ladder", access_limit_mps=10.0, isolate_at="DIST-L"),
    position(
        "truss",
        height_m=16.0,
        access="lowered-truss",
        access_limit_mps=12.5,
        setup_minutes=15.0,
        cover_minutes_each=2.0,
        bring_in_minutes_each=4.0,
        people_needed=2,
    ),
    position("mast", access="none", isolate_at="DIST-M"),
)
FIXTURES = (
    fixture("IP20", "l1", position="lawn", cover="bag", count=3),
    fixture("IP44", "l2", position="lawn", cover="hood", mount="upright"),
    fixture("IP65", "l3", position="lawn"),
    fixture("IP20", "d1", position="ladder", cover="bag"),
    fixture("IP44", "d2", position="ladder", count=2),
    fixture("IP23", "t1", position="truss", cover="hood", count=4),
    fixture("IP44", "t2", position="truss", cover="hood", condition="worn"),
    fixture("IP55", "t3", position="truss"),
    fixture("IP20", "m1", position="mast"),
)
PLACE_OF = {f.id: f.position for f in FIXTURES}


def small_show(**policy):
    return show(FIXTURES, positions=POSITIONS, covers=(BAG, HOOD), policy=policy)


NAN = float("nan")


@st.composite
def records(draw, *, unknown=False, most=48):
    """Hours of random weather; with `unknown`, cells and whole steps are missing too."""
    steps = draw(st.integers(1, most))

    def column(values):
        return draw(st.lists(values, min_size=steps, max_size=steps))

    wet = st.sampled_from([0.0, 0.0, 0.0, 0.2, 1.0, 4.0, 15.0])
    wind = st.sampled_from([0.0, 2.0, 6.0, 9.0, 12.0])
    over_wind = st.sampled_from([1.0, 1.4, 2.0])
    storm = st.sampled_from([0.0, 0.0, 0.0, 0.0, 0.0, 1.0, NAN])
    if unknown:
        wet, wind = st.one_of(wet, wet, st.just(NAN)), st.one_of(wind, wind, st.just(NAN))
    winds = np.array(column(wind))
    weather = hours(
        column(wet),
        winds,
        gust=winds * np.array(column(over_wind)),
        wind_from=np.array(column(st.sampled_from([0.0, 90.0, 215.0]))),
        temp=np.array(column(st.sampled_from([1.0, 9.0, 18.0]))),
        dew=np.array(column(st.sampled_from([-2.0, 8.5, 9.0]))),
        cloud=np.array(column(st.sampled_from([0.0, 60.0, 100.0]))),
    )
    weather = replace(weather, thunder=np.array([column(storm)]))
    if unknown and steps > 1:
        kept = draw(st.lists(st.booleans(), min_size=steps, max_size=steps))
        kept[0] = kept[-1] = True
        weather = weather.take(np.flatnonzero(kept))
    return weather


@st.composite
def logs(draw, *, most=6, last_h=48.0):
    """Entries at any moment, for positions and for single fixtures."""
    found = []
    for _ in range(draw(st.integers(0, most))):
        at_h = draw(st.sampled_from(np.arange(0.25, last_h, 0.25).tolist()))
        what = draw(
            st.sampled_from(
                [
                    "covered",
                    "covered",
                    "uncovered",
                    "brought-in",
                    "put-out",
                    "inspected",
                    "cleaned",
                    "moved",
                    "isolated",
                ]
            )
        )
        name = draw(st.sampled_from(sorted(PLACE_OF)))
        where = {"fixture": name} if draw(st.booleans()) else {"position": PLACE_OF[name]}
        more = {}
        if what == "moved":
            more["to"] = draw(st.sampled_from([p.id for p in POSITIONS]))
        if what == "inspected":
            more["result"] = draw(st.sampled_from(["dry", "damp", "water-inside"]))
        found.append(entry(at_h, what, **where, **more))
    return tuple(found)


__all__ = ["after", "logs", "records", "small_show"]
