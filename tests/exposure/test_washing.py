"""Sprinklers and hoses counted as rain is, by hand.

A new IP44 of half a square metre may take 50 mm at every angle, a hired one 25, IP20 half a
millimetre. No rain falls unless it says so.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from exposure.rigs import NOON, SITE, after, entry, fixture, hour_of, hours, position, run, show

from monitor.codes import read_code
from monitor.domain import Cover, Hours, Washdown
from monitor.exposure.credit import credit
from monitor.exposure.washing import RATE_MM_H, jets_beyond, wash_allowance_mm, washdown_spans
from monitor.show.settings import default_policy

DRY = [0.0] * 6


def sprinkler(begin=(14, 0), end=(16, 0), rate=10.0, kind="sprinkler", places=("pole",), **more):
    return Washdown(kind, places, rate, every_day=(Hours(time(*begin), time(*end)),), **more)


def lawn(code="IP44", *washdowns, **own):
    own.setdefault("condition", "new")
    positions = own.pop("positions", None)
    covers = own.pop("covers", ())
    plain = show([fixture(code, **own)], positions=positions, covers=covers)
    return replace(plain, washdowns=washdowns or (sprinkler(),))


def used(found):
    return found.used[0, -1, found.group_of[0]]


# ---------------------------------------------------------------- when it runs


def test_every_day_in_site_time_over_a_clock_change():
    # In London the clock is put back on 31 October 2027 at 02:00 BST: 04:30 is 03:30 UTC on the
    # 30th and 04:30 UTC on the 31st.
    zone = ZoneInfo("Europe/London")
    start = datetime(2027, 10, 30, tzinfo=UTC).timestamp()
    early = sprinkler((4, 30), (5, 0))
    spans = [s for s in washdown_spans(early, start, start + 2 * 86400, zone) if s[0] >= start]
    assert [s - start for s, _ in spans[:2]] == [3.5 * 3600, 86400 + 4.5 * 3600]
    assert {end - begin for begin, end in spans} == {1800.0}


def test_on_some_days_of_the_week():
    # 1 July 2027 is a Thursday: of a week from then on Monday is the 5th, Friday the 2nd
    only = sprinkler((4, 30), (5, 0), days=(0, 4))
    start = NOON.timestamp()
    spans = washdown_spans(only, start, start + 7 * 86400, ZoneInfo("UTC"))
    assert [datetime.fromtimestamp(s, tz=UTC).day for s, _ in spans] == [2, 5]


def test_once():
    once = Washdown("low", ("pole",), 750.0, start=after(1), end=after(2))
    zone = ZoneInfo("UTC")
    day = NOON.timestamp(), NOON.timestamp() + 86400
    assert washdown_spans(once, *day, zone) == [(after(1).timestamp(), after(2).timestamp())]
    assert washdown_spans(once, day[1], day[1] + 86400, zone) == []


# ---------------------------------------------------------------- what it uses


def test_a_sprinkler_uses_what_rain_from_below_would():
    # 2 h x 10 mm/h = 20 mm of 50
    found = run(lawn(), hours(DRY))
    assert used(found) == pytest.approx(0.4)
    assert found.wetting_mm[0, :, 0] == pytest.approx([0, 0, 10, 10, 0, 0])


def test_it_adds_to_the_rain_and_counts_where_rain_is_not_known():
    assert used(run(lawn(), hours([5.0, *DRY[1:]]))) == pytest.approx(0.4 + 0.1)
    assert used(run(lawn(), hours([np.nan] * 6))) == pytest.approx(0.4)


def test_steps_are_cut_at_its_ends():
    # from 14:30 to 14:45: a quarter of an hour, 2.5 mm of IP20's half: over at 14:33
    found = run(lawn("IP20", sprinkler((14, 30), (14, 45))), hours(DRY))
    assert used(found) == pytest.approx(5.0)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(2.5 + 0.05)


def test_no_forecast_margin_is_charged_on_it():
    assert used(run(lawn(), hours(DRY, forecast=True))) == pytest.approx(0.4)


def test_every_member_gets_the_same():
    found = run(lawn(), hours([DRY, [5.0, *DRY[1:]]]))
    assert found.used[:, -1, 0] == pytest.approx([0.4, 0.5])


def test_other_positions_get_none():
    assert used(run(lawn("IP44", sprinkler(places=("elsewhere",))), hours(DRY))) == 0.0


def test_a_position_may_say_its_times_itself():
    # a hose on IP44, which no jet test covers: half a millimetre at 750 mm/h is spent in 2.4 s
    own = position(washdown="low", washdown_times=(Hours(time(14), time(15)),))
    described = show([fixture("IP44", condition="new")], positions=[own])
    found = run(described, hours(DRY))
    assert used(found) == pytest.approx(750 / 0.5)
    assert hour_of(found.spent_s[0, 0]) == pytest.approx(2.0 + 0.5 / 750)


@pytest.mark.parametrize(
    ("kind", "code", "may_take"),
    [
        ("sprinkler", "IP20", 0.5),
        # 1 and 2 count nothing from below; 3 neither
        ("sprinkler", "IP22", 0.5),
        ("sprinkler", "IP43", 0.5),
        ("sprinkler", "IP44", 50.0),
        ("sprinkler", "IP65", np.inf),
        ("sprinkler", "IP67", np.inf),
        ("low", "IP44", 0.5),
        ("low", "IP65", np.inf),
        ("low", "IP66", np.inf),
        ("low", "IP67", 0.5),
        ("low", "IP66/IP67", np.inf),
        ("high", "IP65", 0.5),
        ("high", "IP66", np.inf),
        ("high", "IP69", 0.5),
    ],
)
def test_what_a_code_may_take(kind, code, may_take):
    policy, read = default_policy(), read_code(code)
    washed = Washdown(kind, ("pole",), 1.0)
    credited = credit(read, "new", policy)
    assert wash_allowance_mm(washed, read, "new", credited, policy) == pytest.approx(may_take)
    beyond = kind != "sprinkler" and may_take < np.inf
    assert jets_beyond([washed], {"fixture": read}, "new") is beyond


def test_what_is_worn_is_not_credited_with_jets():
    policy, read = default_policy(), read_code("IP66")
    credited = credit(read, "worn", policy)
    assert wash_allowance_mm(sprinkler(kind="low"), read, "worn", credited, policy) == 0.5
    assert jets_beyond([sprinkler(kind="low")], {"fixture": read}, "worn")


def test_a_makers_word_holds_for_any_water():
    # 30 mm stated, 750 mm/h for 2 h: 1500 / 30
    found = run(lawn("IP20", sprinkler(kind="low", rate=750.0), stated_mm=30.0), hours(DRY))
    assert used(found) == pytest.approx(50.0)


def test_the_weakest_part_is_hit_as_well():
    # the lamp is tested with jets, its plug was only under water
    found = run(lawn("IP66", sprinkler(kind="low"), connector_code="IP67"), hours(DRY))
    assert found.part_used[0, :, 0] == pytest.approx([0.0, 0.0, 2 * 10.0 / 0.5])


# ---------------------------------------------------------------- what keeps it out


@pytest.mark.parametrize(
    ("cover", "share"),
    [
        (Cover("bag", "bag", sealed=True, in_stock=1), 0.0),
        (Cover("bag", "sleeve", keeps_out_to_deg=90, in_stock=1), 0.0),
        (Cover("bag", "hood", keeps_out_to_deg=60, in_stock=1), 1.0),
    ],
)
def test_covers_keep_it_out_where_they_close_all_round(cover, share):
    described = lawn("IP44", covers=[cover], cover="bag")
    # covered at 15:00, when half of it has fallen
    found = run(described, hours(DRY), [entry(3.0, "covered")])
    assert used(found) == pytest.approx(0.2 + 0.2 * share)


def test_brought_in_it_gets_none():
    assert used(run(lawn(), hours(DRY), [entry(3.0, "brought-in")])) == pytest.approx(0.2)


def test_moved_there_it_gets_its_share():
    places = [position(), position("lawn")]
    described = lawn("IP44", sprinkler(places=("lawn",)), positions=places)
    found = run(described, hours(DRY), [entry(3.0, "moved", to="lawn")])
    assert used(found) == pytest.approx(0.2)


def test_two_calls_equal_one():
    described = lawn()
    whole = run(described, hours(DRY))
    first = run(described, hours(DRY[:3]))
    rest = run(described, hours(DRY[3:], start=after(3)), carried=first.carried)
    assert used(rest) == pytest.approx(used(whole))


def test_pooled_members_get_it_once():
    shares = np.full((2, 6), 0.5)
    weather = replace(hours([DRY, [5.0, *DRY[1:]]]), shares=shares)
    found = run(lawn(), weather)
    # the mean of 0.4 and 0.5
    assert used(found) == pytest.approx(0.45)
    assert found.wetting_mm[0, 2, 0] == pytest.approx(10.0)


def test_wet_hours_run_while_it_does():
    # on from 14:00 to 16:00, in still air with no evaporation known: the film stays to 18:00
    found = run(lawn(), hours(DRY, temp=np.nan))
    assert found.wet_hours[0, 0] == pytest.approx(4.0)


def test_jets_are_the_tests_litres_on_a_square_metre():
    # 12.5 and 100 litres a minute on one square metre are as many millimetres a minute
    assert (RATE_MM_H["low"], RATE_MM_H["high"]) == (12.5 * 60, 100 * 60)
    assert SITE.timezone.key == "UTC"
