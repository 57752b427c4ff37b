"""Puddles and what stands in them, by hand.

Eight millimetres gather for each of rain, and half is gone in 2 ln 2 hours, so K = 2 h. One hour
of 5 mm is 40 mm/h into it: 80 (1 - exp(-1/2)) = 31.48 mm by its end, then exp(-t/2) of that. The
depth passes a level of x mm after 2 ln(80 / (80 - x)) h, and falls to it 2 ln(31.48 / x) h after
the rain.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from math import exp, log

import numpy as np
import pytest
from exposure.rigs import after, entry, fixture, hour_of, hours, position, run, show

from monitor.codes import read_code
from monitor.domain import Cover, Hours, Puddle, Washdown
from monitor.exposure.puddle import immersion_limit

K = 2.0
DIP = Puddle(8.0, K * log(2.0), 0.5)
SHOWER = [5.0, 0, 0, 0, 0, 0, 0, 0]
PEAK = 80 * (1 - exp(-0.5))


def over_h(level, peak=PEAK):
    """Hours over a level, rising in the shower and falling after it."""
    return (1 - K * log(80 / (80 - level))) + K * log(peak / level)


def dip(code="IP67", puddle=DIP, **own):
    own.setdefault("condition", "new")
    covers = own.pop("covers", ())
    return show([fixture(code, **own)], positions=[position(puddle=puddle)], covers=covers)


def used(found):
    return found.used[0, -1, found.group_of[0]]


# ---------------------------------------------------------------- how deep


def test_it_fills_and_drains():
    found = run(dip(), hours(SHOWER))
    depth = found.puddles_mm["pole"][0]
    assert depth[0] == pytest.approx(31.477547)
    assert depth[1:3] == pytest.approx([31.477547 * exp(-0.5), 31.477547 * exp(-1.0)])


def test_at_its_brim_it_runs_off():
    found = run(dip(puddle=replace(DIP, deepest_m=0.02)), hours(SHOWER))
    assert found.puddles_mm["pole"][0, :2] == pytest.approx([20.0, 20 * exp(-0.5)])


def test_members_have_puddles_of_their_own():
    found = run(dip(), hours([SHOWER, [0.0] * 8]))
    assert found.puddles_mm["pole"][:, 0] == pytest.approx([31.477547, 0.0])
    assert found.under_water_hours[:, 0] == pytest.approx([over_h(5.0), 0.0])


def test_of_a_gap_it_is_known_that_it_drains():
    whole = hours(SHOWER)
    holed = whole.take(np.array([0, 3, 4]))
    found = run(dip(), holed)
    assert found.puddles_mm["pole"][0, 1] == pytest.approx(31.477547 * exp(-1.5))


def test_a_sprinkler_fills_it_too_and_a_hose_does_not():
    described = dip()
    on = (Hours(time(12), time(13)),)
    sprinkled = replace(described, washdowns=(Washdown("sprinkler", ("pole",), 5.0, on),))
    assert run(sprinkled, hours([0.0] * 4)).puddles_mm["pole"][0, 0] == pytest.approx(31.477547)
    hosed = replace(described, washdowns=(Washdown("low", ("pole",), 5.0, on),))
    assert run(hosed, hours([0.0] * 4)).puddles_mm["pole"][0, 0] == 0.0


# ---------------------------------------------------------------- what stands in it


def test_seven_has_half_an_hour_under_water():
    # 5 mm is the least that is a puddle
    found = run(dip(), hours(SHOWER))
    assert found.under_water_hours[0, 0] == pytest.approx(over_h(5.0))
    assert used(found) == pytest.approx(over_h(5.0) / 0.5)
    first = 1 - K * log(80 / 75)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(0.5 / first)
    assert hour_of(found.flooded_s[0, 0]) == 0.0


def test_a_base_off_the_ground_is_reached_later():
    # 3 cm up: over it for a moment before and after the end of the shower
    found = run(dip(height_m=0.03), hours(SHOWER))
    assert found.under_water_hours[0, 0] == pytest.approx(over_h(30.0))
    assert used(found) == pytest.approx(over_h(30.0) / 0.5)
    assert used(run(dip(height_m=0.032), hours(SHOWER))) == 0.0


@pytest.mark.parametrize("code", ["IP65", "IP66", "IP54", "IP69"])
def test_below_seven_it_counts_as_spent_at_once(code):
    found = run(dip(code), hours(SHOWER))
    assert used(found) >= 1.0
    assert hour_of(found.spent_s[0, 0]) < 0.1


def test_what_the_puddle_does_not_reach_is_left_alone():
    assert used(run(dip("IP65", height_m=0.05), hours(SHOWER))) == 0.0
    assert used(run(dip("IP65", puddle=None), hours(SHOWER))) == 0.0


def test_the_plug_stands_in_it_as_well():
    found = run(dip("IP68", connector_code="IP65", immersion_m=1.0), hours(SHOWER))
    assert found.part_used[0, 0, 0] == 0.0
    assert found.part_used[0, 2, 0] >= 1.0


def test_eight_is_as_its_maker_says():
    # 6 h under up to 2 m: a share of that; for good: none; 1.5 cm deep: over that it counts at once
    assert used(run(dip("IP68", immersion_m=2.0, immersion_minutes=360), hours(SHOWER))) == (
        pytest.approx(over_h(5.0) / 6.0)
    )
    assert used(run(dip("IP68", immersion_m=2.0), hours(SHOWER))) == 0.0
    assert used(run(dip("IP68", immersion_m=0.015), hours(SHOWER))) == pytest.approx(
        over_h(20.0) * 60
    )
    # nothing stated: as a 7
    assert used(run(dip("IP68"), hours(SHOWER))) == pytest.approx(over_h(5.0) / 0.5)


def test_a_seven_deeper_than_a_metre_is_outside_its_test():
    # 5 mm an hour with 1000 for each: K 2 h, 10000 (1 - e^-1/2) = 3935 mm; over 1005 mm from
    # 2 ln(10000 / 8995) h on
    deep = replace(DIP, gathers=1000.0, deepest_m=10.0)
    found = run(dip(puddle=deep), hours([5.0]))
    within = (1 - K * log(10000 / 9995)) / 0.5
    beyond = (1 - K * log(10000 / 8995)) * 60
    assert used(found) == pytest.approx(within + beyond)


def test_limits():
    seven, eight = read_code("IP67"), read_code("IP68")
    assert immersion_limit(seven, "new") == (0.5, 1.0)
    assert immersion_limit(seven, "new", (3.0, 9.0)) == (0.5, 1.0)
    assert immersion_limit(eight, "hire", (3.0, 9.0)) == (9.0, 3.0)
    assert immersion_limit(seven, "worn") is None
    assert immersion_limit(read_code("IP66"), "new") is None
    assert immersion_limit(read_code("IP66/IP67"), "new") == (0.5, 1.0)


# ---------------------------------------------------------------- what is logged


def test_covers_keep_it_out_of_nothing_and_bringing_in_does():
    bag = Cover("bag", "bag", sealed=True, in_stock=1)
    described = dip(covers=[bag], cover="bag")
    assert used(run(described, hours(SHOWER), [entry(0.0, "covered")])) == pytest.approx(
        over_h(5.0) / 0.5
    )
    # in after the shower's hour: only what was over in that
    found = run(described, hours(SHOWER), [entry(1.0, "brought-in")])
    assert used(found) == pytest.approx((1 - K * log(80 / 75)) / 0.5)


def test_a_dry_inspection_begins_the_clock_anew():
    found = run(dip(), hours(SHOWER), [entry(1.0, "inspected", result="dry")])
    assert used(found) == pytest.approx(K * log(PEAK / 5.0) / 0.5)


def test_two_calls_equal_one():
    whole = run(dip(), hours(SHOWER))
    first = run(dip(), hours(SHOWER[:2]))
    assert first.carried.puddles_mm["pole"] == pytest.approx(31.477547 * exp(-0.5))
    rest = run(dip(), hours(SHOWER[2:], start=after(2)), carried=first.carried)
    assert used(rest) == pytest.approx(used(whole))


def test_a_puddle_of_another_place_is_no_matter():
    places = [position(puddle=DIP), position("bank")]
    described = show([fixture("IP65", position="bank")], positions=places)
    assert used(run(described, hours(SHOWER))) == 0.0
    # moved into it after an hour, it stands in what is left
    found = run(described, hours(SHOWER), [entry(1.0, "moved", position="bank", to="pole")])
    assert used(found) >= 1.0
    assert hour_of(found.flooded_s[0, found.group_of[0]]) == 1.0
