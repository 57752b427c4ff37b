"""Jobs for rain: which fixtures, cover or bring in, in how many minutes, by when.

Straight-down rain (no wind) puts its own depth on a fixture. A code ending in 0 may take
0.5 mm, a digit 4 half of 50 mm on hire; `stated_mm` is its own allowance. So every moment
below is a depth divided by a rate.
"""

from __future__ import annotations

import numpy as np
import pytest
from exposure.rigs import after, entry, fixture, hours, one_fixture, position, show
from planning.planned import bag, families, hood, only, planned, since_noon_h


def rain(*depths, wind=0.0, **more):
    return hours(depths, wind, **more)


# ---------------------------------------------------------------- by when


def test_due_when_its_allowance_is_spent_and_started_in_time():
    # 1 mm in the hour from 14:00: half a millimetre by 14:30. 6 fixtures at 1 min and 2 min
    # to set up are 8 min: start by 14:22
    job = only(planned(one_fixture("IP20", count=6), rain(0, 0, 1, 1)))
    assert since_noon_h(job.do_by_s) == pytest.approx(2.5)
    assert job.minutes == 8.0
    assert since_noon_h(job.start_by_s) == pytest.approx(2.5 - 8 / 60)
    assert (job.count, job.people, job.members, job.probability) == (6, 1, 1, None)
    assert not job.late


def test_what_is_used_already_brings_it_forward():
    # 0.4 mm fell by 13:00; the last 0.1 of the half millimetre falls in 6 min from 14:00
    job = only(planned(one_fixture("IP20"), rain(0.4, 0, 1, 1), at_h=1.0))
    assert since_noon_h(job.do_by_s) == pytest.approx(2.1)
    assert job.facts.used == pytest.approx(0.8)
    assert "80% used already" in job.reason


def test_nothing_to_do_without_enough_rain():
    # 0.24 mm: not even half
    assert planned(one_fixture("IP20"), rain(0.12, 0.12, 0)).jobs == ()


def test_late_where_no_start_is_left():
    # at 14:00 there are 30 min; 40 fixtures take 42
    found = planned(one_fixture("IP20", count=40), rain(0, 0, 1), at_h=2.0)
    assert only(found).late
    assert not only(planned(one_fixture("IP20", count=28), rain(0, 0, 1), at_h=2.0)).late


def test_blocked_time_moves_the_start_before_it():
    # gust 14 over 10 m/s from 13:00 to 14:00; due 14:30, 42 min: 30 after it, 12 before
    ladder = position(access="ladder", access_limit_mps=10.0)
    weather = rain(0, 0, 1, gust=[3, 14, 3])
    job = only(planned(one_fixture("IP20", count=40, positions=[ladder]), weather))
    assert since_noon_h(job.start_by_s) == pytest.approx(1 - 12 / 60)
    assert job.facts.access_closes_at == after(1.0)


def test_members_are_pooled_at_the_risk():
    # four forecasts of equal weight at risk 0.5: the second to cross counts.
    # 2, 1, 0.5 mm/h from 13:00 spend 0.5 mm at 13:15, 13:30, 14:00
    weather = hours([[0, 2, 2], [0, 1, 1], [0, 0.5, 0.5], [0, 0, 0]], 0.0)
    job = only(planned(one_fixture("IP20", policy={"risk": 0.5}), weather))
    assert since_noon_h(job.do_by_s) == pytest.approx(1.5)
    assert (job.members, job.probability) == (4, None)


def test_ten_members_have_a_probability():
    weather = hours([[0, 1, 1]] * 7 + [[0, 0, 0]] * 3, 0.0)
    job = only(planned(one_fixture("IP20"), weather))
    assert (job.members, job.probability) == (10, 0.7)


# ---------------------------------------------------------------- the first wet spell


@pytest.mark.parametrize(("dry_hours", "together"), [(5, True), (6, False)])
def test_showers_under_six_hours_apart_are_one_spell(dry_hours, together):
    # f1 is due in the first shower, f2 (30 mm of 25 allowed) only in the second
    two = show([fixture("IP20", "f1"), fixture("IP44", "f2")])
    job = only(planned(two, rain(0, 2, *[0] * dry_hours, 30, 0)))
    assert job.fixtures == (("f1", "f2") if together else ("f1",))
    assert since_noon_h(job.do_by_s) == pytest.approx(1.25)


def test_the_spell_that_matters_is_the_first_that_spends_something():
    # 1 mm at 13:00 harms nobody; 30 mm ten hours later spend 25 in its 50th minute
    job = only(planned(one_fixture("IP44"), rain(0, 1, *[0] * 10, 60, 0)))
    assert since_noon_h(job.do_by_s) == pytest.approx(12 + 24 / 60)
    assert job.facts.rain_mm == pytest.approx(60.0)
    assert job.facts.wet_from == after(12.0)


def test_the_facts_are_those_of_the_spell():
    weather = rain(0, 2, 0, 3, *[0] * 7, 9, wind=[1, 2, 3, 4] + [0] * 8, gust=[3.0] * 12)
    facts = only(planned(one_fixture("IP20"), weather)).facts
    assert facts.rain_mm == pytest.approx(5.0)
    assert (facts.wet_from, facts.wet_to) == (after(1.0), after(4.0))
    assert facts.wind_mps == 4.0  # of the wettest step
    assert facts.gap == "open sky"


# ---------------------------------------------------------------- which can wait


def test_what_is_due_more_than_an_hour_later_can_wait():
    # 1 mm/h from 14:00: 0.5 mm at 14:30, 1.5 at 15:30 (one hour later: not yet), 3 at 17:00
    three = show(
        [
            fixture("IP20", "f1"),
            fixture("IP20", "f2", stated_mm=1.5),
            fixture("IP20", "f3", stated_mm=3.0),
        ]
    )
    job = only(planned(three, rain(0, 0, *[1] * 6)))
    assert job.fixtures == ("f1", "f2", "f3")
    assert [(w.fixtures, w.do_by) for w in job.facts.can_wait] == [(("f3",), after(5.0))]


# ---------------------------------------------------------------- cover, bring in or isolate


def with_cover(cover, count=4, **more):
    return one_fixture("IP20", covers=[cover], cover=cover.id, count=count, **more)


def test_covered_where_there_are_enough_covers():
    job = only(planned(with_cover(bag(in_stock=4)), rain(0, 0, 1)))
    assert (job.action, job.minutes) == ("cover", 6.0)
    assert job.facts.cover_name == "bag"


def test_minutes_each_are_those_of_the_action():
    slow = position(cover_minutes_each=3.0, bring_in_minutes_each=7.0, setup_minutes=10.0)
    found = planned(with_cover(bag(), positions=[slow]), rain(0, 0, 1))
    assert only(found).minutes == 10 + 4 * 3
    found = planned(with_cover(bag(in_stock=3), positions=[slow]), rain(0, 0, 1))
    assert only(found).minutes == 10 + 4 * 7


def test_brought_in_where_covers_are_short_or_none_is_named():
    assert only(planned(with_cover(bag(in_stock=3)), rain(0, 0, 1))).action == "bring-in"
    assert only(planned(one_fixture("IP20"), rain(0, 0, 1))).action == "bring-in"
    # one of two rows without a cover: the whole job is to bring in
    mixed = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP20", "f2")], covers=[bag(in_stock=9)]
    )
    assert only(planned(mixed, rain(0, 0, 1))).action == "bring-in"


@pytest.mark.parametrize(
    ("gust", "action"),
    [([3, 3, 11.9, 3], "cover"), ([3, 3, 12.0, 3], "bring-in"), ([13, 3, 3, 3], "bring-in")],
)
def test_the_gusts_to_the_end_of_the_spell_decide(gust, action):
    # staying below the limit means under it; a gust before the rain counts as well
    cover = bag(gust_limit_mps=12.0)
    assert only(planned(with_cover(cover), rain(0, 0, 1, 0, gust=gust))).action == action


def test_a_gust_after_the_spell_does_not_count():
    weather = rain(0, 0, 1, *[0] * 7, 0, gust=[3] * 10 + [30])
    assert only(planned(with_cover(bag(gust_limit_mps=12.0)), weather)).action == "cover"


def test_covers_that_are_on_elsewhere_are_not_in_stock():
    away = position("tower")
    rig = show(
        [
            fixture("IP20", "f1", cover="bag", count=4),
            fixture("IP20", "f2", cover="bag", count=3, position="tower"),
        ],
        positions=[position(), away],
        covers=[bag(in_stock=6)],
    )
    log = [entry(0.5, "covered", position="tower")]
    assert only(planned(rig, rain(0, 0, 1), 1.0, log)).action == "bring-in"
    log = [entry(0.5, "brought-in", position="tower")]
    assert only(planned(rig, rain(0, 0, 1), 1.0, log)).action == "cover"


def test_covers_are_promised_once_to_what_is_due_first():
    # six covers for 4 at the pole (due later: 1 mm stated) and 4 at the tower (due first)
    rig = show(
        [
            fixture("IP20", "f1", cover="bag", count=4, stated_mm=1.0),
            fixture("IP20", "f2", cover="bag", count=4, position="tower"),
        ],
        positions=[position(), position("tower")],
        covers=[bag(in_stock=6)],
    )
    found = {job.position: job.action for job in planned(rig, rain(0, 0, 1, 1)).jobs}
    assert found == {"tower": "cover", "pole": "bring-in"}


def test_where_nobody_can_reach_power_is_cut():
    mast = position(access="none", setup_minutes=5.0)
    job = only(planned(with_cover(bag(), positions=[mast]), rain(0, 0, 1)))
    # only the setup: nothing is done at each fixture
    assert (job.action, job.minutes) == ("isolate", 5.0)


# ---------------------------------------------------------------- who gets a job for rain


@pytest.mark.parametrize("code", ["IP55", "IP65", "IP66/IP67"])
@pytest.mark.parametrize("condition", ["hire", "worn"])
def test_extended_and_permanent_gear_gets_no_job_for_rain(code, condition):
    found = planned(one_fixture(code, condition=condition), rain(0, *[20] * 10))
    assert found.jobs == ()


def test_but_what_its_maker_limits_does():
    # 20 mm/h from 13:00 spend 30 mm at 14:30
    job = only(planned(one_fixture("IP65", stated_mm=30.0), rain(0, *[20] * 10)))
    assert since_noon_h(job.do_by_s) == pytest.approx(2.5)


def test_a_makers_clock_in_rain_gives_a_job_too():
    # wet from 13:00 on: two hours in rain are over at 15:00
    job = only(planned(one_fixture("IP65", stated_hours_in_rain=2.0), rain(0, *[5] * 10)))
    assert since_noon_h(job.do_by_s) == pytest.approx(3.0)


@pytest.mark.parametrize("what", ["covered", "brought-in"])
def test_what_is_covered_or_in_has_no_job(what):
    log = [entry(0.5, what)]
    assert planned(with_cover(bag()), rain(0, 0, 1), 1.0, log).jobs == ()


def test_logged_at_this_very_moment_counts():
    log = [entry(1.0, "covered")]
    assert planned(with_cover(bag()), rain(0, 0, 1), 1.0, log).jobs == ()


def test_part_of_a_row_covered_is_not_covered():
    log = [entry(0.5, "covered", count=(3, 4))]
    assert only(planned(with_cover(bag(in_stock=8)), rain(0, 0, 1), 1.0, log)).count == 4


def test_water_inside_takes_it_out_of_service():
    log = [entry(0.5, "inspected", result="water-inside")]
    assert planned(one_fixture("IP20"), rain(0, 0, 1), 1.0, log).jobs == ()


# ---------------------------------------------------------------- although it is covered


def test_a_cover_that_leaks_is_no_answer():
    # the hood lets slanting rain in whole: due as if bare, and only inside is dry. Wind 5 m/s
    # makes it more than 1 mm/h, so before 14:30
    log = [entry(0.5, "covered")]
    found = planned(with_cover(hood()), rain(0, 0, 1, 1, wind=5.0), 1.0, log)
    assert families(found) == ["covered"]
    job = only(found, "covered")
    assert job.action == "bring-in"
    assert 2.0 < since_noon_h(job.do_by_s) < 2.5


def test_a_cover_that_will_blow_off_is_no_answer():
    # off from 14:00; 1 mm from then: 0.5 by 14:30
    log = [entry(0.5, "covered")]
    weather = rain(0, 0, 1, gust=[3, 3, 13])
    job = only(planned(with_cover(bag(gust_limit_mps=12.0)), weather, 1.0, log), "covered")
    assert since_noon_h(job.do_by_s) == pytest.approx(2.5)


def test_a_cover_that_has_blown_off_is_off_until_logged_on_again():
    weather = rain(0, 0, 0, 0, 1, gust=[3, 10, 3, 3, 3])
    described = with_cover(bag(gust_limit_mps=9.0))
    log = [entry(0.5, "covered")]
    assert only(planned(described, weather, 3.0, log)).action == "cover"
    again = [*log, entry(3.0, "covered")]
    assert planned(described, weather, 3.0, again).jobs == ()


# ---------------------------------------------------------------- half used, and spent


def test_a_word_at_half_used_has_no_deadline():
    # 0.3 of 0.5 mm fell; no more rain comes
    job = only(planned(with_cover(bag()), rain(0.3, 0, 0, 0), 1.0))
    assert (job.action, job.do_by_s, job.start_by_s, job.minutes) == ("cover", None, None, None)
    assert job.reason.startswith("60% of the allowance is used")


def test_half_used_asks_for_what_can_be_done():
    weather = rain(0.3, 0, 0, 0)
    assert only(planned(with_cover(bag(in_stock=3)), weather, 1.0)).action == "bring-in"
    weather = rain(0.3, 0, 0, 0, gust=[3, 3, 20, 3])
    found = planned(with_cover(bag(gust_limit_mps=12.0)), weather, 1.0)
    assert only(found).action == "bring-in"


def test_half_used_is_told_only_where_wanted_and_bare():
    weather = rain(0.3, 0, 0, 0)
    quiet = with_cover(bag(), policy={"half_used_warns": False})
    assert planned(quiet, weather, 1.0).jobs == ()
    assert planned(with_cover(bag()), weather, 1.0, [entry(1.0, "covered")]).jobs == ()
    assert planned(with_cover(bag()), rain(0.2, 0, 0), 1.0).jobs == ()


def test_what_is_spent_is_inspected_and_no_longer_covered():
    found = planned(with_cover(bag()), rain(1, 0, 5, 5), 1.0, asked=("f1",))
    assert families(found) == ["inspect"]
    assert found.spent == {"f1": True}
    assert found.protected == {"f1": False}


def test_a_dry_inspection_starts_anew_at_once():
    log = [entry(1.0, "inspected", result="dry")]
    found = planned(with_cover(bag()), rain(1, 0, 1, 5), 1.0, log, asked=("f1",))
    assert families(found) == ["protect"]
    assert since_noon_h(only(found).do_by_s) == pytest.approx(2.5)
    assert found.spent == {"f1": False}


@pytest.mark.parametrize("result", ["damp", "not-tested"])
def test_any_other_inspection_leaves_it_spent(result):
    log = [entry(1.0, "inspected", result=result)]
    assert families(planned(with_cover(bag()), rain(1, 0, 1), 1.0, log)) == ["inspect"]


# ---------------------------------------------------------------- how far it is known


def test_a_plan_says_how_far_the_weather_is_known():
    known = planned(one_fixture("IP20"), rain(*[0] * 20))
    assert not known.blind
    assert since_noon_h(known.known_until_s) == 20.0
    assert known.wind_known


def test_unknown_rain_within_the_notice_makes_it_blind():
    nan = float("nan")
    assert planned(one_fixture("IP20"), rain(0, 0, nan, *[0] * 20)).blind
    beyond = planned(one_fixture("IP20"), rain(*[0] * 13, nan, *[0] * 6))
    assert not beyond.blind
    assert since_noon_h(beyond.known_until_s) == 13.0


def test_a_gap_within_the_notice_makes_it_blind():
    weather = rain(*[0] * 20)
    assert planned(one_fixture("IP20"), weather.take(np.r_[0:4, 5:20])).blind
    assert planned(one_fixture("IP20"), weather.take(np.r_[1:20])).blind
    assert planned(one_fixture("IP20"), weather.take(np.arange(0))).blind
    assert not planned(one_fixture("IP20"), weather.take(np.r_[0:13, 15:20])).blind


def test_rain_ahead_is_rain_within_the_notice():
    assert planned(one_fixture("IP65"), rain(0, 1)).rain_ahead == {"pole": True}
    assert planned(one_fixture("IP65"), rain(*[0] * 13, 1)).rain_ahead == {"pole": False}
