"""The crew's log worked by hand: out, in, covered, moved, capped, inspected.

Calm rain on a new IP44: nothing is driven, so an hour of 10 mm is 10 mm of wetting and uses
10 / 50 = 0.2.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from exposure.fine_spectrum import summed
from exposure.rigs import (
    NOON,
    after,
    entry,
    fixture,
    hour_of,
    hours,
    one_fixture,
    position,
    run,
    show,
)

from monitor.domain import Cover, LogEntry, Roof

HOOD = Cover("hood", "hood", keeps_out_to_deg=60.0, gust_limit_mps=12.0, in_stock=9)
SEALED = Cover("bag", "bag", sealed=True, in_stock=9)
SIX_HOURS = [10.0] * 6


def used(found, fixture=0):
    return found.used[0, -1, found.group_of[fixture]]


def wetting(found, fixture=0):
    return found.wetting_mm[0, :, found.group_of[fixture]].sum()


def plain(**more):
    return one_fixture("IP44", condition="new", **more)


# ---------------------------------------------------------------- out and in


def test_without_an_entry_it_is_out_from_the_start_given():
    found = run(plain(), hours(SIX_HOURS))
    assert wetting(found) == pytest.approx(60.0)
    assert used(found) == pytest.approx(1.2)
    assert hour_of(found.half_used_s[0, 0]) == pytest.approx(2.5)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(5.0)
    assert found.hours_out[0] == 6.0


def test_load_in_inside_a_step_splits_it():
    found = run(plain(), hours(SIX_HOURS), out_from=after(1.25))
    assert wetting(found) == pytest.approx(47.5)
    assert found.hours_out[0] == pytest.approx(4.75)


def test_a_put_out_takes_the_place_of_load_in():
    found = run(plain(), hours(SIX_HOURS), [entry(2.5, "put-out")])
    assert wetting(found) == pytest.approx(35.0)
    assert used(found) == pytest.approx(0.7)
    assert hour_of(found.half_used_s[0, 0]) == pytest.approx(5.0)
    assert found.hours_out[0] == pytest.approx(3.5)


def test_brought_in_and_put_out_again():
    log = [entry(0, "put-out"), entry(1.5, "brought-in"), entry(4, "put-out")]
    found = run(plain(), hours(SIX_HOURS), log)
    assert wetting(found) == pytest.approx(15.0 + 20.0)
    assert used(found) == pytest.approx(0.7)
    assert found.hours_out[0] == pytest.approx(3.5)
    # 0.3 by 1.5 h, then 0.2 more from 4 h on
    assert hour_of(found.half_used_s[0, 0]) == pytest.approx(5.0)


def test_part_brought_in_is_still_out():
    found = run(plain(count=15), hours(SIX_HOURS), [entry(1, "brought-in", count=(3, 15))])
    assert wetting(found) == pytest.approx(60.0)


def test_all_of_the_count_is_all_of_it():
    found = run(plain(count=15), hours(SIX_HOURS), [entry(1, "brought-in", count=(15, 15))])
    assert wetting(found) == pytest.approx(10.0)


def test_an_entry_for_one_fixture_leaves_its_neighbour_out():
    described = show([fixture(name="a", condition="new"), fixture(name="b", condition="new")])
    found = run(described, hours(SIX_HOURS), [entry(2, "brought-in", fixture="a")])
    assert (wetting(found, 0), wetting(found, 1)) == pytest.approx((20.0, 60.0))


# ---------------------------------------------------------------- covers


def test_a_hood_keeps_calm_rain_out_while_it_is_on():
    log = [entry(1, "covered"), entry(4, "uncovered")]
    found = run(plain(cover="hood", covers=[HOOD]), hours(SIX_HOURS), log)
    assert wetting(found) == pytest.approx(30.0)
    assert found.covered_hours[0, 0] == pytest.approx(3.0)
    assert np.isnan(found.blown_s[0, 0])


def test_a_hood_lets_in_what_slants_past_its_angle():
    """Past 60 degrees at 8 m/s: drops slower than 8 / tan 60 = 4.6188 m/s and no others.

    They bring R/V* sum(f V) down and R/V* U sum(f) across, summed over 20,000 sizes in the air.
    """
    described = plain(cover="hood", covers=[HOOD], mount="upright")
    found = run(described, hours([4.0], 8.0, gust=11.0), [entry(0, "covered")])
    slow = 8.0 / math.tan(math.radians(60.0))
    down = summed(4.0, lambda speed: speed * (speed < slow))
    across = 8.0 * summed(4.0, lambda speed: speed < slow)
    expected = 4.0 / summed(4.0, lambda speed: speed) * math.hypot(down, across)
    assert wetting(found) == pytest.approx(expected, rel=0.005)
    assert wetting(found) < 0.5 * 7.2496  # what the same rain brings in the open


def test_a_sealed_cover_keeps_everything_out():
    described = plain(cover="bag", covers=[SEALED])
    found = run(described, hours([4.0, 4.0], 25.0), [entry(1, "covered")])
    assert found.wetting_mm[0, 0, 0] > 4.0
    assert found.wetting_mm[0, 1, 0] == 0.0


def test_part_covered_counts_as_uncovered():
    log = [entry(0, "covered", count=(3, 15))]
    found = run(plain(count=15, cover="hood", covers=[HOOD]), hours(SIX_HOURS), log)
    assert wetting(found) == pytest.approx(60.0)
    assert found.covered_hours[0, 0] == 0.0
    assert any("covered in part only" in note for note in found.groups[0].track.notes)


def test_covered_with_no_cover_named_counts_as_uncovered_and_says_so():
    found = run(plain(), hours(SIX_HOURS), [entry(0, "covered")])
    assert wetting(found) == pytest.approx(60.0)
    assert any("no cover is named" in note for note in found.groups[0].track.notes)


GUSTY = (0.0, 0.0, 13.0, 0.0, 0.0, 0.0)


def test_a_gust_over_its_limit_takes_the_cover_off_until_logged_again():
    described = plain(cover="hood", covers=[HOOD])
    weather = hours(SIX_HOURS, gust=GUSTY)
    found = run(described, weather, [entry(0, "covered")])
    # off from the start of the third hour
    assert wetting(found) == pytest.approx(40.0)
    assert hour_of(found.blown_s[0, 0]) == 2.0
    assert found.covered_hours[0, 0] == pytest.approx(2.0)
    again = run(described, weather, [entry(0, "covered"), entry(4.5, "covered")])
    assert wetting(again) == pytest.approx(25.0)
    assert again.covered_hours[0, 0] == pytest.approx(3.5)
    assert hour_of(again.blown_s[0, 0]) == 2.0


def test_a_gust_at_its_limit_leaves_the_cover_on():
    found = run(
        plain(cover="hood", covers=[HOOD]), hours(SIX_HOURS, gust=12.0), [entry(0, "covered")]
    )
    assert wetting(found) == 0.0


def test_the_gust_counts_at_the_height_of_the_position():
    """11 m/s at 10 m is 11 x ln(30/0.05) / ln(10/0.05) = 13.28 at 30 m over grass: past 12."""
    aloft = one_fixture(
        "IP44",
        condition="new",
        cover="hood",
        covers=[HOOD],
        positions=[position(height_m=30.0)],
    )
    found = run(aloft, hours(SIX_HOURS, gust=11.0), [entry(0, "covered")])
    assert wetting(found) == pytest.approx(60.0)


def test_the_covers_of_members_come_off_on_their_own():
    weather = hours([SIX_HOURS, SIX_HOURS], gust=[GUSTY, [0.0] * 6])
    found = run(plain(cover="hood", covers=[HOOD]), weather, [entry(0, "covered")])
    assert found.wetting_mm[:, :, 0].sum(axis=1) == pytest.approx([40.0, 0.0])
    assert hour_of(found.blown_s[0, 0]) == 2.0
    assert np.isnan(found.blown_s[1, 0])


# ---------------------------------------------------------------- moved


def test_moved_from_the_open_to_under_a_roof():
    roof = Roof("roof", 0.0, 10.0, 10.0, 12.0)
    under = position("under", roof="roof", in_from_front_m=4.0, in_from_right_m=5.0)
    described = plain(positions=[position(), under], roofs=[roof])
    found = run(described, hours(SIX_HOURS), [entry(2.5, "moved", fixture="f1", to="under")])
    # calm rain does not come in under a roof
    assert wetting(found) == pytest.approx(25.0)
    assert found.hours_out[0] == 6.0


def test_after_a_move_the_entries_of_its_new_position_count():
    other = position("other")
    described = plain(positions=[position(), other])
    log = [
        entry(1, "moved", fixture="f1", to="other"),
        entry(2, "brought-in", position="pole"),
        entry(4, "brought-in", position="other"),
    ]
    assert wetting(run(described, hours(SIX_HOURS), log)) == pytest.approx(40.0)


def test_a_move_takes_the_cover_off():
    described = plain(cover="hood", covers=[HOOD], positions=[position(), position("other")])
    log = [entry(1, "covered"), entry(3, "moved", to="other")]
    assert wetting(run(described, hours(SIX_HOURS), log)) == pytest.approx(40.0)


# ---------------------------------------------------------------- open and capped connectors


def test_an_open_connector_counts_until_it_is_capped():
    """Open tail: nothing states a code, 0.5 mm. An hour of 10 mm uses 20 of it."""
    described = plain(connector_code="IP65", connector_state="open")
    found = run(described, hours(SIX_HOURS), [entry(1, "capped")])
    assert used(found) == pytest.approx(20.0)
    assert found.weakest_part(0) == "connector"
    # the fixture itself goes on as it would
    assert found.part_used[0, :, 0] == pytest.approx([1.2, 0.0, 20.0])


def test_an_open_connector_of_its_own_code():
    described = plain(connector_code="IP65", connector_open_code="IP42", connector_state="open")
    # mount `any` past digit 2's 15 degrees: first run-off again
    assert used(run(described, hours([1.0]))) == pytest.approx(2.0)
    described = plain(connector_code="IP65", connector_open_code="IP44", connector_state="open")
    assert used(run(described, hours([1.0]))) == pytest.approx(1.0 / 50.0)


def test_uncapped_in_the_middle_and_capped_again():
    described = plain(connector_code="IP65")
    log = [entry(2, "uncapped"), entry(2.5, "capped")]
    found = run(described, hours(SIX_HOURS), log)
    assert found.part_used[0, 2, 0] == pytest.approx(5.0 / 0.5)


def test_a_chain_is_as_good_as_its_weakest_part():
    """Supply IP22 hangs as it will (any): 0.5 mm; an hour of 1 mm uses 2 of it."""
    described = one_fixture("IP65", condition="new", supply_code="IP22", connector_code="IP44")
    found = run(described, hours([1.0]))
    assert found.part_used[0, :, 0] == pytest.approx([0.0, 2.0, 0.02])
    assert used(found) == pytest.approx(2.0)
    assert found.weakest_part(0) == "supply"


def test_a_chain_with_no_limit_from_rain_uses_nothing():
    found = run(one_fixture("IP65", supply_code="IP66", connector_code="IP67"), hours(SIX_HOURS))
    assert used(found) == 0.0
    assert np.isnan(found.spent_s).all()


# ---------------------------------------------------------------- inspections


def test_a_dry_inspection_sets_back_and_the_total_stays():
    found = run(plain(), hours(SIX_HOURS), [entry(5.5, "inspected", result="dry")])
    assert used(found) == pytest.approx(0.1)
    assert found.used_total[0, 0] == pytest.approx(1.2)
    # the first crossings stay on record
    assert hour_of(found.half_used_s[0, 0]) == pytest.approx(2.5)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(5.0)


def test_use_starts_from_nothing_after_a_dry_inspection():
    found = run(plain(), hours(SIX_HOURS), [entry(2, "inspected", result="dry")])
    assert found.used[0, :, 0] == pytest.approx([0.2, 0.4, 0.2, 0.4, 0.6, 0.8])
    # 0.5 is reached 2.5 h after the inspection
    assert hour_of(found.half_used_s[0, 0]) == pytest.approx(4.5)
    assert np.isnan(found.spent_s[0, 0])


@pytest.mark.parametrize("result", ["damp", "water-inside", "not-tested"])
def test_no_other_result_sets_anything_back(result):
    found = run(plain(), hours(SIX_HOURS), [entry(3, "inspected", result=result)])
    assert used(found) == pytest.approx(1.2)
    assert found.groups[0].track.notes


def test_water_inside_keeps_it_out_of_service_until_found_dry():
    log = [entry(1, "inspected", result="water-inside")]
    kept = run(plain(), hours(SIX_HOURS), log).groups[0].track
    assert kept.out_of_service_s == after(1).timestamp()
    log.append(entry(3, "inspected", result="dry"))
    assert run(plain(), hours(SIX_HOURS), log).groups[0].track.out_of_service_s is None


def test_drying_never_sets_use_back():
    hot = hours([10.0, *[0.0] * 20], temp=30.0, dew=5.0, wind=4.0, cloud=0.0)
    found = run(plain(), hot)
    assert (np.diff(found.used[0, :, 0]) >= 0.0).all()
    assert found.used[0, -1, 0] == found.used[0, 0, 0]


def test_an_entry_that_arrives_late_counts_at_its_own_time():
    early = LogEntry(after(1), "brought-in", position="pole")
    late = [entry(3, "put-out"), entry(0, "put-out"), early]
    found = run(plain(), hours(SIX_HOURS), late)
    assert wetting(found) == pytest.approx(10.0 + 30.0)


def test_the_record_begins_before_anything_is_out():
    found = run(plain(), hours(SIX_HOURS, start=NOON), out_from=after(9))
    assert wetting(found) == 0.0
    assert found.hours_out[0] == 0.0
