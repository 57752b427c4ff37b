"""The maker's statements, house rules, run-off that dries, salt, splash, spray, snow: by hand.

Calm rain: an hour of 10 mm is 10 mm of wetting.
"""

from __future__ import annotations

import math
from datetime import time

import numpy as np
import pytest
from exposure.fao_by_hand import fao_hour
from exposure.fine_spectrum import summed
from exposure.rigs import entry, hour_of, hours, one_fixture, position, run

from monitor.domain import Cover, Hours, Roof, Spray

SIX_HOURS = [10.0] * 6
DAY_OF_YEAR = 182  # 1 July


def used(found):
    return found.used[0, -1, found.group_of[0]]


def wetting(found):
    return found.wetting_mm[0, :, found.group_of[0]]


# ---------------------------------------------------------------- the maker's own statements


@pytest.mark.parametrize("mount", ["upright", "inverted", "any"])
@pytest.mark.parametrize("condition", ["new", "worn"])
def test_stated_mm_holds_at_every_angle_without_condition(mount, condition):
    described = one_fixture("IP20", stated_mm=100.0, mount=mount, condition=condition)
    assert used(run(described, hours(SIX_HOURS))) == pytest.approx(0.6)


def test_stated_mm_is_the_fixtures_and_not_its_cables():
    described = one_fixture("IP20", stated_mm=100.0, supply_code="IP44", condition="new")
    found = run(described, hours(SIX_HOURS))
    assert found.part_used[0, :2, 0] == pytest.approx([0.6, 1.2])
    assert used(found) == pytest.approx(1.2)


def test_stated_mm_limits_even_a_code_with_no_limit_from_rain():
    assert used(run(one_fixture("IP65", stated_mm=30.0), hours(SIX_HOURS))) == pytest.approx(2.0)


def test_stated_hours_in_rain_are_a_clock_of_wet_hours():
    described = one_fixture("IP44", stated_hours_in_rain=4.0, condition="new")
    found = run(described, hours([1.0] * 6, temp=np.nan))
    assert used(found) == pytest.approx(1.5)  # and 6 / 50 by depth
    assert hour_of(found.half_used_s[0, 0]) == pytest.approx(2.0)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(4.0)


def test_the_greater_of_depth_and_clock_counts():
    described = one_fixture("IP44", stated_hours_in_rain=20.0, condition="new")
    assert used(run(described, hours(SIX_HOURS, temp=np.nan))) == pytest.approx(1.2)


def test_the_clock_stands_while_it_is_dry_in_or_covered():
    bag = Cover("bag", "bag", sealed=True, in_stock=1)
    described = one_fixture("IP44", stated_hours_in_rain=4.0, cover="bag", covers=[bag])
    assert used(run(described, hours([0.0] * 6))) == 0.0
    log = [entry(0, "covered")]
    assert used(run(described, hours(SIX_HOURS), log)) == 0.0
    log = [entry(1, "brought-in")]
    assert used(run(described, hours([0.5] * 6), log)) == pytest.approx(0.25)


def test_a_dry_inspection_sets_the_clock_back():
    described = one_fixture("IP44", stated_hours_in_rain=4.0, condition="new")
    found = run(described, hours([1.0] * 6, temp=np.nan), [entry(5, "inspected", result="dry")])
    assert used(found) == pytest.approx(0.25)
    assert found.used_total[0, 0] == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("code", "expected"), [("IP44", 2.0), ("IP54", 2.0), ("IP65", 0.0), ("IP20", 12.0)]
)
def test_the_house_rule_in_wet_hours_is_for_temporary_gear(code, expected):
    """Three hours by the rule, six hours of 1 mm; IP20 is indoor gear: 6 mm over 0.5."""
    described = one_fixture(code, condition="new", policy={"temporary_wet_hours": 3.0})
    assert used(run(described, hours([1.0] * 6, temp=np.nan))) == pytest.approx(expected)


def test_of_the_house_rule_and_the_allowance_the_earlier_wins():
    rule = {"temporary_wet_hours": 10.0}
    found = run(one_fixture("IP44", condition="new", policy=rule), hours(SIX_HOURS, temp=np.nan))
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(5.0)  # 50 mm
    rule = {"temporary_wet_hours": 3.0}
    found = run(one_fixture("IP44", condition="new", policy=rule), hours(SIX_HOURS, temp=np.nan))
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(3.0)


# ---------------------------------------------------------------- run-off that may dry

DRIES = {"run_off_dries": True}


def test_nothing_dries_unseen():
    described = one_fixture("IPX0", condition="new", policy=DRIES)
    assert used(run(described, hours([0.2, 0.2], temp=np.nan))) == pytest.approx(0.8)


def test_the_highest_film_counts():
    """w grows by the rain less FAO-56; used is the highest w over 0.5 mm and stays there."""
    rain = [0.5, 0.3, 0.0, 0.0, 0.4, 0.0]
    weather = hours(rain, 2.0, temp=20.0, dew=12.0, cloud=60.0)
    w = highest = 0.0
    expected, driven = [], []
    for step, depth in enumerate(rain):
        down = depth * summed(depth, lambda v: 1.0) if depth else 0.0
        across = depth * 2.0 / summed(depth, lambda v: v) if depth else 0.0
        driven.append(math.hypot(down, across))
        gone = fao_hour(DAY_OF_YEAR, 12.5 + step, 51.5, 0.0, 20.0, 20.0, 12.0, 2.0, 0.6)
        w = max(0.0, w + driven[-1] - gone)
        highest = max(highest, w)
        expected.append(highest / 0.5)
    found = run(one_fixture("IPX0", condition="new", policy=DRIES), weather)
    assert found.used[0, :, 0] == pytest.approx(expected, rel=0.005)
    plain = run(one_fixture("IPX0", condition="new"), weather)
    assert used(found) < used(plain) == pytest.approx(sum(driven) / 0.5, rel=0.005)


def test_only_digit_0_may_dry():
    weather = hours([0.5] * 4, 2.0, temp=20.0, dew=12.0, cloud=60.0)
    for code in ("IPX1", "IPX4"):
        drying = run(one_fixture(code, policy=DRIES), weather)
        assert used(drying) == used(run(one_fixture(code), weather))


# ---------------------------------------------------------------- salt, splash, spray

SURF = Spray(5.0, 10.0, 90.0, 2.0, salt=True, on=(Hours(time(3), time(4)),))


def test_salt_halves_the_condition_factor():
    """No spray in these hours, but the water there is not fresh: 50 x 0.5 x 0.5 for hire."""
    described = one_fixture("IP44", positions=[position(spray=SURF)])
    assert used(run(described, hours(SIX_HOURS))) == pytest.approx(60.0 / 12.5)


def test_salt_does_not_lower_first_run_off():
    described = one_fixture("IP20", positions=[position(spray=SURF)])
    assert used(run(described, hours([1.0]))) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("height", "expected"),
    [
        (0.5, 10.0 / 50.0),
        (0.25, 0.5 * 10.0 / 50.0 + 0.5 * 10.0 / 0.5),
        (0.1, 0.2 * 10.0 / 50.0 + 0.8 * 10.0 / 0.5),
        (0.0, 10.0 / 0.5),
        (-1.0, 10.0 / 0.5),
    ],
)
def test_splash_from_the_ground_counts_from_below(height, expected):
    described = one_fixture(
        "IPX3", condition="new", mount="upright", positions=[position(height_m=height)]
    )
    assert used(run(described, hours([10.0]))) == pytest.approx(expected)


def test_a_hood_keeps_splash_out():
    hood = Cover("hood", "hood", keeps_out_to_deg=60.0, in_stock=1)
    described = one_fixture(
        "IPX3", mount="upright", cover="hood", covers=[hood], positions=[position(height_m=0.0)]
    )
    assert used(run(described, hours([10.0]), [entry(0, "covered")])) == 0.0


FOUNTAIN = Spray(5.0, 10.0, 90.0, 2.0, on=(Hours(time(13), time(14, 30)),))


def fountain_mm_h():
    """On the worst plane: drops of 40/11 to 40/9 m/s, 60 x 2 L over 10.472 m2, at 8 m/s."""
    per_m2 = 60.0 * 2.0 / (math.pi / 12 * (11**2 - 9**2)) / summed(10.0, lambda v: v)
    down = per_m2 * summed(10.0, lambda v: v * (40 / 11 < v < 40 / 9))
    across = per_m2 * 8.0 * summed(10.0, lambda v: 40 / 11 < v < 40 / 9)
    return math.hypot(down, across)


def at_the_fountain(wind_from, *, log=(), **more):
    described = one_fixture("IP44", positions=[position(spray=FOUNTAIN, **more)], **COVERED)
    return run(described, hours([0.0] * 4, 8.0, gust=9.0, wind_from=wind_from), log)


COVERED = {"cover": "bag", "covers": [Cover("bag", "bag", sealed=True, in_stock=1)]}


@pytest.mark.parametrize(
    ("wind_from", "reached"), [(90.0, 1), (105.0, 1), (75.0, 1), (106.0, 0), (74.0, 0), (270.0, 0)]
)
def test_spray_reaches_downwind_within_15_degrees(wind_from, reached):
    found = at_the_fountain(wind_from)
    assert wetting(found).sum() == pytest.approx(1.5 * reached * fountain_mm_h(), rel=0.01)


def test_spray_falls_while_it_is_on():
    found = at_the_fountain(90.0)
    starts = hour_of(found.steps.weather.starts)
    on = (starts >= 1.0) & (starts < 2.5)
    assert (wetting(found) > 0.0).tolist() == on.tolist()
    assert wetting(found)[on].sum() == pytest.approx(1.5 * fountain_mm_h(), rel=0.01)


def test_spray_about_north():
    north = Spray(5.0, 10.0, 350.0, 2.0)
    described = one_fixture("IP44", positions=[position(spray=north)])
    for wind_from, reached in ((4.0, True), (335.0, True), (6.0, False)):
        assert (wetting(run(described, hours([0.0], 8.0, wind_from=wind_from))) > 0) == reached


def test_a_roof_does_not_stop_spray_and_a_cover_does():
    roof = Roof("roof", 0.0, 20.0, 20.0, 10.5, frozenset({"front", "right", "back", "left"}))
    under = position(spray=FOUNTAIN, roof="roof", in_from_front_m=10.0, in_from_right_m=10.0)
    described = one_fixture("IP44", positions=[under], roofs=[roof], **COVERED)
    weather = hours([5.0] * 4, 8.0, gust=9.0, wind_from=90.0)
    assert wetting(run(described, weather)).sum() == pytest.approx(1.5 * fountain_mm_h(), rel=0.01)
    assert wetting(run(described, weather, [entry(0, "covered")])).sum() == 0.0


# ---------------------------------------------------------------- snow, drizzle, forecasts


def test_snow_falls_slowly_and_is_driven_far():
    """Ten kinds of 0.55, 0.65 ... 1.45 m/s: at 2 m/s they bring 2 x the mean of 1/V across."""
    across = 2.0 * sum(1 / (0.55 + 0.1 * i) for i in range(10)) / 10
    found = run(one_fixture(), hours([3.0], 2.0, temp=0.0))
    assert wetting(found).sum() == pytest.approx(3.0 * math.hypot(1.0, across), rel=1e-9)


def test_at_one_degree_half_of_it_is_snow():
    snow = 2.0 * sum(1 / (0.55 + 0.1 * i) for i in range(10)) / 10
    across = 0.5 * snow + 0.5 * 2.0 / summed(3.0, lambda v: v)
    found = run(one_fixture(), hours([3.0], 2.0, temp=1.0))
    assert wetting(found).sum() == pytest.approx(3.0 * math.hypot(1.0, across), rel=0.002)


def test_temperature_not_known_counts_as_rain():
    rain, unknown = (run(one_fixture(), hours([3.0], 2.0, temp=t)) for t in (20.0, np.nan))
    assert wetting(rain) == pytest.approx(wetting(unknown))


@pytest.mark.parametrize(
    ("depth", "each_h", "counts"),
    [
        (0.049, 1.0, False),
        (0.05, 1.0, True),
        (0.024, 0.5, False),
        (0.031, 3.0, True),
        (0.029, 3.0, False),
    ],
)
def test_what_counts_as_dry(depth, each_h, counts):
    assert (wetting(run(one_fixture(), hours([depth], each_h=each_h))).sum() > 0) == counts


@pytest.mark.parametrize(
    ("forecast", "each_h", "margin"),
    [(True, 1.0, 1.3), (True, 3.0, 1.3), (True, 0.5, 1.0), (False, 1.0, 1.0)],
)
def test_only_coarse_forecasts_are_charged(forecast, each_h, margin):
    weather = hours([5.0], each_h=each_h, forecast=forecast)
    found = run(one_fixture("IP44", condition="new"), weather)
    assert wetting(found).sum() == pytest.approx(5.0 * margin)
    assert used(found) == pytest.approx(0.1 * margin)


# ---------------------------------------------------------------- not known


def unknown_hours(weather, **more):
    found = run(one_fixture(), weather, **more)
    return found.unknown_hours[0, found.group_of[0]]


@pytest.mark.parametrize(
    ("rain", "wind", "expected"),
    [
        ([np.nan, 0.0], 3.0, 1.0),
        ([1.0, 0.0], [np.nan, 3.0], 1.0),
        ([0.0, 0.0], np.nan, 0.0),
        # below the dry threshold it is known to be dry
        ([0.01, 0.0], np.nan, 0.0),
        ([1.0, 1.0], 3.0, 0.0),
    ],
)
def test_what_is_not_known(rain, wind, expected):
    assert unknown_hours(hours(rain, wind)) == expected


def test_an_unknown_hour_adds_nothing_and_sets_nothing_back():
    found = run(one_fixture("IP44", condition="new"), hours([10.0, np.nan, 10.0]))
    assert found.used[0, :, 0] == pytest.approx([0.2, 0.2, 0.4])


def test_a_gap_in_the_record_is_not_known():
    weather = hours([1.0] * 6)
    with_gap = weather.take(np.array([0, 1, 4, 5]))
    assert unknown_hours(with_gap) == pytest.approx(2.0)
    # brought in over half of the gap
    log = [entry(3, "brought-in"), entry(5, "put-out"), entry(0, "put-out")]
    assert unknown_hours(with_gap, log=log) == pytest.approx(1.0)
