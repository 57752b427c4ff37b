"""A past in which forecasts stand in: what each member adds is pooled, not its weather.

Straight-down rain puts its own depth on a fixture; a code ending in 0 may take 0.5 mm. Where a
temperature is not known nothing dries, so films stay and hours stay wet.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from exposure.rigs import NOON, after, entry, hour_of, hours, one_fixture, position, run
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain import Cover, Roof
from monitor.feeds.past import as_it_was, still_to_come

NAN = float("nan")
ZERO = NOON.timestamp()


def feed(rain, wind=0.0, *, source="feed", known_h=-1.0, weights=None, **more):
    """A run of a feed that came `known_h` hours after noon."""
    made = hours(rain, wind, forecast=True, weights=weights, **more)
    return replace(made, source=source, fetched_at=after(known_h))


def record(rain, wind=0.0, *, source="gauge", **more):
    return replace(hours(rain, wind, **more), source=source)


def past(*runs, to_h, **more):
    return as_it_was(runs, ZERO, ZERO + 3600.0 * to_h, **more)


def of(weather, code="IP20", log=(), **described):
    return run(one_fixture(code, **described), weather, log)


# ---------------------------------------------------------------- used and wetting


def test_what_each_member_adds_is_pooled_by_weight():
    # a quarter says 0.2 mm, three quarters 0.6: 1.3 x (0.05 + 0.45) = 0.65 mm of 0.5 allowed,
    # so the allowance is spent after 60 / 1.3 minutes
    found = of(past(feed([[0.2], [0.6]], weights=[0.25, 0.75]), to_h=1))
    assert found.used[:, -1, 0].tolist() == [pytest.approx(1.3)]
    assert found.wetting_mm.sum() == pytest.approx(0.65)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(1 / 1.3)
    assert found.carried.used[0].tolist() == [pytest.approx(1.3)]
    # the rain is told as it is: 0.05 + 0.45
    assert found.steps.weather.rain_mm.tolist() == [[pytest.approx(0.5)]]


def test_a_drizzle_below_the_mark_is_dry_in_its_own_member():
    # 0.04 mm/h is dry, 0.36 is not: half of it, charged. The mean of 0.2 would all be wet.
    found = of(past(feed([[0.04], [0.36]]), to_h=1))
    assert found.used[0, -1, 0] == pytest.approx(1.3 * 0.18 / 0.5)


def test_only_the_members_with_hours_are_charged_the_margin():
    # 0.1 mm/h from both: an hourly step, charged 1.3, and four quarters, which are not
    hourly = feed([0.1], source="hourly")
    quarters = feed([0.025] * 4, source="quarters", each_h=0.25)
    found = of(past(hourly, quarters, to_h=1))
    assert found.used[0, -1, 0] == pytest.approx((1.3 + 1.0) / 2 * 0.1 / 0.5)


def test_measured_rain_is_not_charged_whoever_gives_the_wind():
    gauge = record([0.3], NAN)
    found = of(past(feed([[9.0], [0.0]]), gauge, to_h=1))
    assert found.used[0, -1, 0] == pytest.approx(0.3 / 0.5)
    assert not found.steps.weather.forecast.any()


def test_opposite_winds_do_not_cancel():
    # Open to the front only, which faces north: rain comes in for the member that blows there
    # and not for the other. By their mean weather there would be no wind from any side.
    roof = Roof("stage", 0.0, 10.0, 8.0, 12.0, frozenset({"right", "back", "left"}))
    place = position(roof="stage", in_from_front_m=1.0, in_from_right_m=5.0)
    more = {"positions": [place], "roofs": [roof]}
    both = feed([[2.0], [2.0]], 8.0, wind_from=[[0.0], [180.0]])
    from_front = of(past(feed([2.0], 8.0, wind_from=0.0), to_h=1), **more)
    from_back = of(past(feed([2.0], 8.0, wind_from=180.0), to_h=1), **more)
    assert from_front.used[0, -1, 0] > 0.0 == from_back.used[0, -1, 0]
    pooled = of(past(both, to_h=1), **more)
    assert pooled.used[0, -1, 0] == pytest.approx(from_front.used[0, -1, 0] / 2)
    assert np.isnan(pooled.steps.weather.wind_from_deg).all()


_rains = st.lists(st.sampled_from([0.0, 0.0, 0.03, 0.4, 3.0]), min_size=6, max_size=6)
_winds = st.lists(st.sampled_from([0.0, 3.0, 9.0]), min_size=6, max_size=6)
_member = st.tuples(_rains, _winds, st.integers(1, 4))


@settings(deadline=None, max_examples=30)
@given(st.lists(_member, min_size=2, max_size=4))
def test_use_is_the_mean_of_what_the_members_would_use_alone(members):
    rains, winds, weights = (np.array(column, dtype=float) for column in zip(*members, strict=True))
    weights /= weights.sum()
    together = of(past(feed(rains, winds, weights=weights), to_h=6), "IP23", mount="upright")
    alone = [
        of(past(feed(r, w), to_h=6), "IP23", mount="upright")
        for r, w in zip(rains, winds, strict=True)
    ]
    for name in ("used", "wetting_mm", "wet_hours", "damp_hours", "part_used"):
        mean = sum(w * getattr(a, name)[0] for w, a in zip(weights, alone, strict=True))
        np.testing.assert_allclose(getattr(together, name)[0], mean, atol=1e-12)


@settings(deadline=None, max_examples=30)
@given(_member, st.integers(2, 4))
def test_members_of_one_mind_are_one(member, count):
    rain, wind, _ = member
    log = [entry(2.5, "covered"), entry(4.0, "inspected", result="dry")]
    hood = {"covers": [Cover("hood", "hood", 20.0, gust_limit_mps=10.0)], "cover": "hood"}
    more = {"temp": 12.0, "dew": 11.5, "cloud": 50.0}
    one = of(past(feed(rain, wind, **more), to_h=6), "IP23", log, **hood)
    several = past(feed([rain] * count, [wind] * count, **more), to_h=6)
    assert several.shares is not None
    many = of(several, "IP23", log, **hood)
    for field in fields(one):
        value, other = getattr(one, field.name), getattr(many, field.name)
        if isinstance(value, np.ndarray):
            np.testing.assert_allclose(other, value, atol=1e-9, err_msg=field.name)
    for field in fields(one.carried):
        value, other = getattr(one.carried, field.name), getattr(many.carried, field.name)
        if field.name == "puddles_mm":
            assert other == value == {}  # its place has none
            continue
        np.testing.assert_allclose(other, value, atol=1e-9)


# ---------------------------------------------------------------- films, damp, covers, thunder


def test_one_members_shower_keeps_only_that_member_wet():
    # 1 mm in the first hour of one of two, then nothing, and nothing dries: half of 4 hours
    found = of(past(feed([[1, 0, 0, 0], [0, 0, 0, 0]]), to_h=4))
    assert found.wet_hours[0, 0] == pytest.approx(2.0)
    # its film holds 0.3 mm: the mean of the two is carried on
    assert found.carried.film_mm[0] == pytest.approx(0.15)


def test_a_members_film_goes_on_under_what_was_measured():
    # the same, but the second hour was measured dry and the third 1 mm, which wets them all
    shower = feed([[1, 0, 0, 0], [0, 0, 0, 0]])
    gauge = record([0.0, 1.0], start=after(1.0))
    found = of(past(shower, gauge, to_h=4))
    assert found.wet_hours[0, 0] == pytest.approx(0.5 + 0.5 + 1.0 + 1.0)


def test_damp_hours_are_the_share_of_members_that_are_damp():
    # under a roof air within 1 K of its dew point is damp: three of four members, 6 hours
    roof = Roof("stage", 0.0, 10.0, 8.0, 12.0)
    place = position(roof="stage", in_from_front_m=4.0, in_from_right_m=5.0)
    dews = [[14.5] * 6] * 3 + [[8.0] * 6]
    found = of(
        past(feed([[0.0] * 6] * 4, temp=15.0, dew=dews), to_h=6), positions=[place], roofs=[roof]
    )
    assert found.damp_hours[0, 0] == pytest.approx(4.5)
    # a share over the risk counts as a damp day, one under it does not
    assert found.stay_days[0, 0] == 1.0
    few = feed([[0.0] * 6] * 5, temp=15.0, dew=[[14.5] * 6] + [[8.0] * 6] * 4)
    found = of(past(few, to_h=6), positions=[place], roofs=[roof])
    assert found.damp_hours[0, 0] == pytest.approx(1.2)
    assert found.stay_days[0, 0] == 0.0


def test_who_does_not_know_the_dew_point_has_no_share_in_damp():
    roof = Roof("stage", 0.0, 10.0, 8.0, 12.0)
    place = position(roof="stage", in_from_front_m=4.0, in_from_right_m=5.0)
    half = feed([[0.0] * 2] * 2, temp=15.0, dew=[[14.5] * 2, [NAN] * 2])
    found = of(past(half, to_h=2), positions=[place], roofs=[roof])
    assert found.damp_hours[0, 0] == pytest.approx(2.0)


@pytest.mark.parametrize(("blown", "off"), [(1, False), (2, True)])
def test_a_cover_is_off_where_the_share_at_risk_passes_its_limit(blown, off):
    # risk 0.25: one of five (0.2) does not blow it off, two (0.4) do; then 1 mm comes in
    hood = Cover("bag", "bag", sealed=True, gust_limit_mps=15.0)
    gusts = [[20.0, 3.0]] * blown + [[5.0, 3.0]] * (5 - blown)
    weather = past(feed([[0.0, 1.0]] * 5, gust=gusts), to_h=2)
    found = of(weather, log=[entry(0.0, "covered")], covers=[hood], cover="bag")
    assert found.used[0, -1, 0] == pytest.approx(1.3 / 0.5 if off else 0.0)
    assert found.carried.blown.tolist() == [off]
    assert hour_of(found.blown_s[0, 0]) == pytest.approx(0.0 if off else NAN, nan_ok=True)


@pytest.mark.parametrize(("yes", "until"), [(1, -np.inf), (2, ZERO + 3600.0)])
def test_thunder_of_the_past_is_where_the_share_at_risk_says_so(yes, until):
    made = feed([[0.0]] * 5)
    flags = np.array([[1.0]] * yes + [[0.0]] * (5 - yes))
    found = of(past(replace(made, thunder=flags), to_h=1))
    assert found.carried.thunder_until_s == until


# ---------------------------------------------------------------- what never moves


@settings(deadline=None, max_examples=30)
@given(st.lists(_member, min_size=2, max_size=3), st.integers(1, 5))
def test_counted_in_two_goes_it_comes_to_the_same(members, cut):
    rains, winds, _ = (np.array(column, dtype=float) for column in zip(*members, strict=True))
    runs = [feed(rains, winds)]
    rig = one_fixture("IP23")
    first = run(rig, as_it_was(runs, ZERO, ZERO + 3600.0 * cut))
    second = run(
        rig, as_it_was(runs, ZERO + 3600.0 * cut, ZERO + 6 * 3600.0), carried=first.carried
    )
    whole = run(rig, past(*runs, to_h=6))
    np.testing.assert_allclose(second.carried.used, whole.carried.used, atol=1e-12)
    np.testing.assert_allclose(second.used[0], whole.used[0, cut:], atol=1e-12)


@settings(deadline=None, max_examples=30)
@given(st.lists(st.tuples(_member, _member), min_size=1, max_size=4), st.integers(1, 5))
def test_a_later_run_changes_nothing_that_was_used(pairs, now_h):
    runs = [
        feed([a[0], b[0]], [a[1], b[1]], known_h=1.5 * i, source="xy"[i % 2])
        for i, (a, b) in enumerate(pairs)
    ]
    early = [made for i, made in enumerate(runs) if 1.5 * i <= now_h]
    before = of(past(*early, to_h=now_h), "IP23")
    now = of(past(*runs, to_h=now_h), "IP23")
    np.testing.assert_array_equal(before.used, now.used)


# ---------------------------------------------------------------- coarse steps kept coarse


@settings(deadline=None, max_examples=30)
@given(
    st.lists(st.sampled_from([0.0, 0.1, 0.15, 4.0, 30.0]), min_size=2, max_size=2),
    _member,
    st.sampled_from([0.0, 1.5, 6.0]),
)
def test_a_feed_of_six_hours_beside_an_hourly_one_is_as_it_is_alone(depths, member, now_h):
    """0.1 mm in six hours is a rate of 0.017, over the mark of long steps and under the other."""
    rain, wind, _ = member
    more = {"temp": 12.0, "dew": 6.0, "cloud": 50.0}
    coarse = feed(depths, 4.0, source="coarse", each_h=6.0, **more)
    fine = feed(rain * 2, wind * 2, source="fine", **more)
    now_s = ZERO + 3600.0 * now_h
    together = still_to_come([coarse, fine], now_s)
    for number, alone in enumerate((coarse, fine)):
        own, beside = (of(w, "IP23") for w in (still_to_come([alone], now_s), together))
        for name in ("next_spent_s", "next_half_s", "used_total", "wet_hours"):
            np.testing.assert_allclose(
                getattr(beside, name)[number], getattr(own, name)[0], atol=1e-6, err_msg=name
            )
        depth = beside.wetting_mm[number].sum()
        assert depth == pytest.approx(own.wetting_mm[0].sum(), abs=1e-9)
