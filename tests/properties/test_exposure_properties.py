"""What holds for any weather, any log, and any moment to stop and run on from.

Beside test_exposure.py: what is not known, the log's order, inspections, carrying on.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from exposure.rigs import entry, fixture, hours, position, run, show
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain import Cover, Roof

some = settings(max_examples=50, deadline=None)
few = settings(max_examples=40, deadline=None)

COVERS = (
    Cover("hood", "hood", keeps_out_to_deg=50.0, gust_limit_mps=14.0, in_stock=9),
    Cover("bag", "bag", sealed=True, gust_limit_mps=18.0, in_stock=9),
)
ROOF = Roof("stage", 40.0, 12.0, 10.0, 14.0, frozenset({"back"}))
POSITIONS = (
    position("pole", height_m=6.0),
    position("lip", roof="stage", in_from_front_m=1.5, in_from_right_m=5.0),
    position("path", height_m=0.2),
)
FIXTURES = (
    fixture("IP20", "dimmer", mount="upright", cover="hood"),
    fixture("IP23", "spot", mount="upright", condition="new", cover="hood", position="lip"),
    fixture("IP33", "wash", mount="tilted", tilt_deg=50.0, facing_deg=200.0, cover="bag"),
    fixture("IP44", "bar", mount="any", position="path", stated_hours_in_rain=9.0),
    fixture("IP65", "head", connector_code="IP65", connector_state="open", position="lip"),
    fixture("IPX2", "can", mount="inverted", condition="worn", cover="bag"),
)
NAMES = tuple(f.id for f in FIXTURES)
PLACES = tuple(p.id for p in POSITIONS)

KINDS = (
    *("put-out", "covered", "uncovered", "brought-in", "inspected", "capped", "uncapped"),
    *("moved", "cleaned"),
)

steps = st.lists(
    st.tuples(
        st.one_of(st.just(0.0), st.integers(1, 400).map(lambda n: n * 0.05)),
        st.integers(0, 220).map(lambda n: n * 0.1),
        st.integers(0, 71).map(lambda n: n * 5.0),
    ),
    min_size=3,
    max_size=10,
)


@st.composite
def logs(draw, hours_long=10):
    """Entries at moments of their own, one kind of each sort."""
    moments = draw(st.lists(st.integers(1, 60 * hours_long), unique=True, min_size=1, max_size=6))
    found = []
    for moment in moments:
        where = draw(
            st.one_of(
                st.sampled_from(PLACES).map(lambda p: {"position": p}),
                st.sampled_from(NAMES).map(lambda f: {"fixture": f}),
            )
        )
        what = draw(st.sampled_from(KINDS))
        more = {}
        if what == "inspected":
            more["result"] = draw(st.sampled_from(["dry", "damp", "water-inside", "not-tested"]))
        if what == "moved":
            more["to"] = draw(st.sampled_from(PLACES))
        found.append(entry(moment / 60.0, what, **where, **more))
    return found


def rig(*, sturdy=False, **policy):
    """The rig above; `sturdy`: no gust takes a cover off."""
    covers = [replace(c, gust_limit_mps=None) for c in COVERS] if sturdy else COVERS
    return show(FIXTURES, positions=POSITIONS, roofs=[ROOF], covers=covers, policy=policy)


def weather(rows, **more):
    rain, wind, wind_from = (list(column) for column in zip(*rows, strict=True))
    gust = [1.5 * mps for mps in wind]
    air = {"temp": 16.0, "dew": 11.0, "cloud": 40.0, **more}
    return hours(rain, wind, gust=gust, wind_from=wind_from, **air)


def of_fixture(found, array):
    """The last axis by fixture instead of by group."""
    return array[..., found.group_of]


# ---------------------------------------------------------------- not known


@some
@given(steps, st.data())
def test_a_direction_not_known_is_taken_at_its_worst(rows, data):
    """Whatever the wind's direction was, not knowing it never gives less water or less used."""
    known = weather(rows)
    lost = data.draw(st.integers(0, len(rows) - 1))
    wind_from = known.wind_from_deg.copy()
    wind_from[0, lost] = np.nan
    # no roof whose eddies carry: at the nearest edge the straight ray is the worst
    took, less = (run(rig(), w) for w in (replace(known, wind_from_deg=wind_from), known))
    assert (took.wetting_mm >= less.wetting_mm * (1 - 1e-9)).all()
    # under a roof the worst plane leans more with more water, so a mounted digit may read it
    # up to 2 % differently, as with covers
    assert (took.used >= less.used * 0.98 - 1e-12).all()


@some
@given(steps, logs(), st.data())
def test_not_knowing_never_sets_anything_back(rows, log, data):
    """A step that is not known leaves used where it stood and is counted."""
    known = weather(rows)
    lost = data.draw(st.integers(0, len(rows) - 1))
    column = data.draw(st.sampled_from(["rain_mm", "wind_mps"]))
    values = getattr(known, column).copy()
    values[0, lost] = np.nan
    took = run(rig(), replace(known, **{column: values}), log)
    dry = known.rain_mm.copy()
    dry[0, lost] = 0.0
    instead = run(rig(), replace(known, rain_mm=dry), log)
    # never less than if it had been dry; the film that stays wet may run a clock on
    assert (took.used >= instead.used - 1e-12).all()
    assert (took.wet_hours >= instead.wet_hours - 1e-9).all()
    counted = took.unknown_hours - instead.unknown_hours
    rained = column == "rain_mm" or known.rain_mm[0, lost] > 0.0
    assert (counted >= 0.0).all()
    if rained and not log:
        assert (counted == 1.0).all()


# ---------------------------------------------------------------- the log


@some
@given(steps, logs(), st.randoms(use_true_random=False))
def test_the_order_entries_arrive_in_makes_no_difference(rows, log, chance):
    late = log.copy()
    chance.shuffle(late)
    one, other = run(rig(), weather(rows), log), run(rig(), weather(rows), late)
    for name in ("used", "wetting_mm", "spent_s", "wet_hours", "used_total", "covered_hours"):
        np.testing.assert_array_equal(
            of_fixture(one, getattr(one, name)), of_fixture(other, getattr(other, name))
        )


@some
@given(steps, logs(), st.integers(1, 599))
def test_a_dry_inspection_sets_used_back_and_leaves_the_total(rows, log, minute):
    quiet = [e for e in log if e.entry not in {"inspected", "covered"}]
    at = min(minute, 60 * len(rows) - 1) / 60.0 + 1e-4
    inspected = [entry(at, "inspected", position=p, result="dry") for p in PLACES]
    plain, found = run(rig(), weather(rows), quiet), run(rig(), weather(rows), quiet + inspected)
    total, without = (of_fixture(f, f.used_total) for f in (found, plain))
    clocked = NAMES.index("bar")  # a dry inspection wipes the film its clock runs on
    for number in range(len(NAMES)):
        if number != clocked:
            assert total[0, number] == pytest.approx(without[0, number], rel=1e-9, abs=1e-12)
    after = found.steps.weather.starts >= inspected[0].at.timestamp() - 1e-6
    ends, before = of_fixture(found, found.used), of_fixture(plain, plain.used)
    assert (ends[0, -1] <= before[0, -1] + 1e-12).all()
    assert after.any()
    # what has been used since is what fell since
    use = np.diff(before[0], axis=0, prepend=0.0)
    assert (ends[0, -1] <= use.sum(axis=0) + 1e-9).all()
    # first crossings stay on record, or come no earlier than without
    for name in ("half_used_s", "spent_s"):
        now, then = (of_fixture(f, getattr(f, name))[0] for f in (found, plain))
        known = ~np.isnan(now)
        assert (now[known] >= then[known] - 1e-2).all()


# ---------------------------------------------------------------- running on


@settings(max_examples=80, deadline=None)
@given(steps, logs(), st.data(), st.booleans())
def test_a_record_run_on_from_where_it_was_left_equals_one_run(rows, log, data, dries):
    cut = data.draw(st.integers(1, len(rows) - 1))
    described = rig(sturdy=True, run_off_dries=dries, temporary_wet_hours=7.0)
    whole_weather = weather(rows)
    now = whole_weather.starts[cut]
    whole = run(described, whole_weather, log)
    past = run(described, whole_weather.between(-np.inf, now), log)
    then = run(described, whole_weather.between(now, np.inf), log, carried=past.carried)
    np.testing.assert_array_equal(past.group_of, whole.group_of)
    np.testing.assert_allclose(then.used[:, -1], whole.used[:, -1], rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(then.part_used, whole.part_used, rtol=1e-9, atol=1e-12)
    by_depth = [g for g, group in enumerate(whole.groups) if group.kind.wet_hours_limit is None]
    np.testing.assert_allclose(
        then.used_total[:, by_depth], whole.used_total[:, by_depth], rtol=1e-9, atol=1e-12
    )
    for name in ("half_used_s", "spent_s"):
        np.testing.assert_allclose(getattr(then, name), getattr(whole, name), rtol=0, atol=1e-3)
    for name in ("wet_hours", "damp_hours", "dusty_hours", "covered_hours", "unknown_hours"):
        both = getattr(past, name) + getattr(then, name)
        np.testing.assert_allclose(both, getattr(whole, name), rtol=1e-9, atol=1e-9)
    for name in ("stay_days", "damp_night_most", "dusty_since_clean"):
        np.testing.assert_allclose(getattr(then, name), getattr(whole, name), rtol=1e-9, atol=1e-9)
    both = np.concatenate([past.wetting_mm, then.wetting_mm], axis=1)
    np.testing.assert_allclose(
        both.sum(axis=1), whole.wetting_mm.sum(axis=1), rtol=1e-9, atol=1e-12
    )


@few
@given(steps, logs())
def test_one_member_many_times_over_is_that_member(rows, log):
    one = weather(rows)
    many = replace(
        one,
        weights=np.full(4, 0.25),
        members=tuple("0123"),
        feed_of=(0,) * 4,
        **{
            name: np.repeat(getattr(one, name), 4, axis=0)
            for name in (
                *("rain_mm", "wind_mps", "gust_mps", "wind_from_deg"),
                *("temp_c", "dew_point_c", "cloud_pct", "thunder"),
            )
        },
    )
    alone, together = run(rig(), one, log), run(rig(), many, log)
    for name in ("used", "wetting_mm", "spent_s", "wet_hours", "damp_hours", "blown_s"):
        np.testing.assert_allclose(
            getattr(together, name),
            np.repeat(getattr(alone, name), 4, axis=0),
            rtol=1e-9,
            atol=1e-12,
        )
    np.testing.assert_allclose(together.carried.used, alone.carried.used, rtol=1e-9)
