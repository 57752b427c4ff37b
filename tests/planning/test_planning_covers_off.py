"""The cover clock: what comes off before gusts over its limit, for the show, or off what is lit.

Noon is the record's start; the site keeps UTC. A job at the pole is 2 min of setting up and 1 a
fixture. NOON is a Thursday (1 July 2027).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from exposure.rigs import NOON, after, entry, fixture, hours, one_fixture, position, show
from planning.planned import bag, families, hood, only, planned, since_noon_h

from monitor.domain import Event, Hours, Roof

ON = [entry(0.5, "covered")]


def rain(*depths, wind=0.0, **more):
    return hours(depths, wind, **more)


def covered(cover=None, code="IP20", **own):
    cover = cover or bag(gust_limit_mps=12.0)
    return one_fixture(code, covers=[cover], cover=cover.id, **{"count": 4, **own})


def with_show(described, begins=16, ends=23, *, out_h=None):
    out = None if out_h is None else after(out_h)
    return replace(described, event=Event(NOON, out, Hours(time(begins), time(ends))))


DRY = rain(*[0] * 12)


# ---------------------------------------------------------------- before a gust over its limit


def test_off_before_the_first_gust_over_its_limit():
    # 13 m/s over 12 from 18:00: done by then, begun 6 min before
    found = planned(covered(), rain(*[0] * 12, gust=[3] * 6 + [13, 13] + [3] * 4), 1.0, ON)
    job = only(found, "uncover")
    assert (job.action, job.fixtures, job.count, job.minutes) == ("uncover", ("f1",), 4, 6.0)
    assert since_noon_h(job.do_by_s) == 6.0
    assert since_noon_h(job.start_by_s) == pytest.approx(6.0 - 0.1)
    assert job.reason == "gusts pass what the bag stands, 12 m/s, from Thu 18:00"
    assert (job.facts.gust_mps, job.facts.gust_at) == (13.0, after(6.0))
    assert (job.facts.cover_gust_limit_mps, job.facts.covers) == (12.0, (("bag", 4),))
    assert (job.members, job.probability, job.facts.says_so) == (1, None, 1)


def test_at_its_limit_a_cover_stays():
    # the model takes it off past its limit, not at it
    assert planned(covered(), rain(*[0] * 12, gust=12.0), 1.0, ON).jobs == ()


def test_the_gust_counts_at_the_height_of_the_fixture():
    # 11 m/s at 10 m over grass: C_R(z) = 0.19 ln(z / 0.05); at 30 m x ln(600) / ln(200) = 1.207
    # makes 13.3
    high = position(height_m=30.0)
    weather = rain(*[0] * 12, gust=[3] * 4 + [11] * 8)
    job = only(planned(covered(positions=[high]), weather, 1.0, ON), "uncover")
    assert since_noon_h(job.do_by_s) == 4.0
    assert planned(covered(), weather, 1.0, ON).jobs == ()


def test_no_limit_no_hurry():
    assert planned(covered(bag()), rain(*[0] * 12, gust=40.0), 1.0, ON).jobs == ()


def test_gear_that_needs_no_cover_loses_its_hood_as_well():
    weather = rain(*[0] * 6, 5, gust=[3] * 4 + [13] * 3)
    assert families(planned(covered(code="IP65"), weather, 1.0, ON)) == ["uncover"]


def test_blown_off_already_is_nothing_to_take_off():
    weather = rain(*[0] * 12, gust=[3, 13, 3, 13] + [3] * 8)
    assert "uncover" not in families(planned(covered(), weather, 2.5, ON))


def test_members_are_pooled_at_the_risk():
    # one of four has it at 15:00, another at 17:00: at 0.5 the second counts
    gusts = np.full((4, 12), 3.0)
    gusts[0, 3:], gusts[1, 5:] = 13.0, 13.0
    described = covered(policy={"risk": 0.5})
    job = only(planned(described, hours([[0] * 12] * 4, 0.0, gust=gusts), 1.0, ON), "uncover")
    assert since_noon_h(job.do_by_s) == 5.0
    assert (job.facts.says_so, job.members) == (2, 4)


# ---------------------------------------------------------------- where it rains as well


def test_where_rain_comes_with_the_gust_it_is_brought_in():
    # off from 14:00, 1 mm an hour from then: one job, to bring in, which says why before that
    found = planned(covered(), rain(0, 0, 1, gust=[3, 3, 13]), 1.0, ON)
    assert families(found) == ["covered"]
    job = only(found, "covered")
    assert job.action == "bring-in"
    assert (
        "Gusts pass what the bag stands, 12 m/s, from Thu 14:00: better in before that, for a "
        "loose cover flies." in job.facts.extra
    )


@pytest.mark.parametrize(("rain_at", "family"), [(9, "covered"), (10, "uncover")])
def test_a_gust_a_whole_spell_before_the_rain_takes_the_cover_off(rain_at, family):
    # gusts over its limit from 15:00 to 16:00; rain from 21:00 is no more than six hours after
    # 15:00, from 22:00 it is
    depths = [0] * rain_at + [1, 1]
    gust = [3] * 3 + [13] + [3] * (len(depths) - 4)
    assert families(planned(covered(), rain(*depths, gust=gust), 1.0, ON)) == [family]


def test_what_leaks_and_what_does_not_are_kept_apart():
    two = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP65", "f2", cover="bag")],
        covers=[bag(gust_limit_mps=12.0)],
    )
    found = planned(two, rain(0, 0, 1, gust=[3, 3, 13]), 1.0, ON)
    assert only(found, "covered").fixtures == ("f1",)
    assert only(found, "uncover").fixtures == ("f2",)


# ---------------------------------------------------------------- for the show


def test_off_for_the_show_where_it_stays_dry():
    job = only(planned(with_show(covered()), DRY, 1.0, ON), "uncover")
    assert (job.action, job.count, job.minutes) == ("uncover", 4, 6.0)
    assert since_noon_h(job.do_by_s) == 4.0
    assert since_noon_h(job.start_by_s) == pytest.approx(3.9)
    assert job.reason == "the show begins at 16:00, and they are not lit under their covers"
    assert job.value == 0.0


@pytest.mark.parametrize(
    ("cover_may", "fixture_may", "stays"),
    [(True, True, True), (True, False, False), (False, True, False), (False, False, False)],
)
def test_what_may_be_lit_under_it_keeps_it(cover_may, fixture_may, stays):
    described = covered(bag(may_run=cover_may), may_run_covered=fixture_may)
    found = planned(with_show(described), DRY, 1.0, ON)
    assert families(found) == ([] if stays else ["uncover"])


@pytest.mark.parametrize(
    ("wet", "until"),
    [
        (range(4, 6), "Thu 18:00"),
        # up to three hours after it begins
        (range(6, 8), "Thu 20:00"),
        # a dry hour between is no end of it, two are
        ([4, 6], "Thu 19:00"),
        ([4, 7], "Thu 17:00"),
        # it is still raining while the covers would come off
        ([3], "Thu 16:00"),
    ],
)
def test_where_rain_is_at_risk_then_nothing_is_ordered(wet, until):
    depths = [0.2 if step in wet else 0 for step in range(12)]
    found = planned(with_show(covered()), rain(*depths), 1.0, ON)
    assert found.jobs == ()
    assert found.cover_notices == {
        "pole": (f"4 covered at doors (16:00), rain until {until}: park them or decide.",)
    }


def test_rain_later_in_the_show_is_said_with_the_order():
    # from 16:00 three hours stay dry; it rains from 20:00, and the show ends at 23:00
    depths = [0] * 8 + [1] * 4
    job = only(planned(with_show(covered()), rain(*depths), 1.0, ON), "uncover")
    assert job.reason == (
        "the show begins at 16:00, and they are not lit under their covers; rain from Thu 20:00, "
        "so covers on again by then"
    )
    # rain after a show that ends at 20:00 is no matter of it
    job = only(planned(with_show(covered(), ends=20), rain(*depths), 1.0, ON), "uncover")
    assert job.reason == "the show begins at 16:00, and they are not lit under their covers"


def test_rain_that_does_not_reach_it_is_no_matter():
    # 5 m in from every edge of a roof: at no wind nothing comes in from the side
    under = position(roof="lid", in_from_front_m=5.0, in_from_right_m=5.0, height_m=3.0)
    described = covered(positions=[under], roofs=[Roof("lid", 0.0, 10.0, 10.0, 5.0)])
    found = planned(with_show(described), rain(*[2] * 12), 1.0, ON)
    assert families(found) == ["uncover"]


def test_rain_that_nobody_knows_is_not_dry():
    nan = float("nan")
    found = planned(with_show(covered()), rain(*[0] * 5, nan, *[0] * 6), 1.0, ON)
    assert found.jobs == ()
    assert found.cover_notices == {
        "pole": ("4 covered at doors (16:00), rain not known: park them or decide.",)
    }
    # nor is a forecast that ends before it
    found = planned(with_show(covered()), rain(*[0] * 6), 1.0, ON)
    assert found.jobs == ()
    assert list(found.cover_notices) == ["pole"]


@pytest.mark.parametrize(
    ("depths", "against"),
    [
        ([0] * 12, ""),
        # what rain kept on at doors is not ordered off in the middle of the show once it is dry
        ([0] * 4 + [1] + [0] * 7, ""),
        ([0] * 6 + [1] + [0] * 5, ", rain until Thu 19:00"),
    ],
)
def test_while_the_show_runs_nothing_comes_off_for_it(depths, against):
    found = planned(with_show(covered()), rain(*depths), 5.0, ON)
    assert families(found) == []
    assert found.cover_notices == {
        "pole": (f"4 still covered since doors (16:00){against}: park them or decide.",)
    }


def test_before_a_gust_over_its_limit_it_comes_off_in_the_show_as_well():
    weather = rain(*[0] * 12, gust=[3] * 8 + [13] * 4)
    job = only(planned(with_show(covered()), weather, 5.0, ON), "uncover")
    assert since_noon_h(job.do_by_s) == 8.0


def test_what_was_covered_during_the_show_waits_for_the_next():
    log = [entry(4.5, "covered")]
    assert planned(with_show(covered()), DRY, 5.0, log).jobs == ()


def test_a_show_more_than_a_day_off_is_no_matter():
    # load-out at 15:00 is before it
    assert planned(with_show(covered(), out_h=3.0), DRY, 1.0, ON).jobs == ()
    assert planned(covered(), DRY, 1.0, ON).jobs == ()


def test_a_gust_before_the_show_sets_the_time_for_all():
    # f1's bag stands 12 and comes off by 15:00; f2's hood may wait for the show at 16:30
    two = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP20", "f2", cover="hood")],
        covers=[bag(gust_limit_mps=12.0), hood(keeps_out_to_deg=60.0)],
    )
    two = replace(two, event=Event(NOON, None, Hours(time(16, 30), time(23))))
    job = only(planned(two, rain(*[0] * 12, gust=[3] * 3 + [13] * 9), 1.0, ON), "uncover")
    assert (job.fixtures, since_noon_h(job.do_by_s), job.minutes) == (("f1", "f2"), 3.0, 4.0)
    assert [(w.fixtures, w.do_by) for w in job.facts.can_wait] == [(("f2",), after(4.5))]


def test_the_hours_are_those_of_the_site():
    # 18:00 in a zone two hours ahead is 16:00 UTC
    described = with_show(covered(), begins=18, ends=22)
    site = replace(described.site, timezone=ZoneInfo("Africa/Maputo"))  # UTC+2 all year
    job = only(planned(replace(described, site=site), DRY, 1.0, ON), "uncover")
    assert since_noon_h(job.do_by_s) == 4.0
    assert "begins at 18:00" in job.reason


def test_where_nobody_can_reach_nothing_comes_off():
    mast = position(access="none")
    assert planned(with_show(covered(positions=[mast])), DRY, 1.0, ON).jobs == ()


# ---------------------------------------------------------------- under power


def timed(minutes=120.0, **own):
    return covered(bag(minutes_on_max=minutes), **own)


def test_longer_with_power_than_it_may():
    # covered at 12:30, lit from 13:00: two hours are over at 15:00
    log = [*ON, entry(1.0, "energised")]
    assert planned(timed(), DRY, 3.0, log).jobs == ()
    job = only(planned(timed(), DRY, 3.1, log), "uncover")
    assert (job.action, job.do_by_s, job.start_by_s) == ("uncover", None, None)
    assert job.reason == "under the bag with power since Thu 13:00, and it may be for 120 minutes"


def test_where_rain_reaches_it_power_goes_instead_of_the_cover():
    log = [*ON, entry(1.0, "energised")]
    job = only(planned(timed(), rain(*[0] * 4, 0.2, *[0] * 7), 3.1, log), "uncover")
    assert job.action == "isolate"


@pytest.mark.parametrize(
    ("more", "asked"),
    [
        ([entry(0.2, "energised")], True),
        ([entry(0.2, "energised"), entry(2.0, "isolated")], False),
        ([entry(0.2, "isolated"), entry(2.8, "energised")], False),
        # some of them isolated is not isolated
        ([entry(0.2, "energised"), entry(2.0, "isolated", count=(1, 4))], True),
        ([entry(0.2, "energised"), entry(2.0, "isolated", count=(4, 4))], False),
        ([entry(0.2, "isolated"), entry(0.4, "energised"), entry(2.8, "energised")], True),
        # another fixture's power is no matter
        ([entry(0.1, "isolated"), entry(0.2, "energised", fixture="other")], False),
    ],
)
def test_power_is_as_the_log_leaves_it(more, asked):
    found = planned(timed(), DRY, 3.0, [*ON, *more])
    assert families(found) == (["uncover"] if asked else [])


def test_power_that_is_not_logged_is_not_known():
    found = planned(timed(), DRY, 3.0, ON)
    assert found.jobs == ()
    (said,) = found.cover_notices["pole"]
    assert said == (
        "Under the bag since Thu 12:30: with power on it may be for 120 minutes, and the log does "
        "not say whether it is."
    )
    assert planned(timed(), DRY, 2.4, ON).cover_notices == {}


def test_what_comes_off_anyway_is_not_told_for_how_long_it_may_stay():
    described = with_show(timed(), begins=18)
    found = planned(described, DRY, 3.0, ON)
    assert families(found) == ["uncover"]
    assert only(found, "uncover").facts.extra == ()
    assert found.cover_notices == {}


def test_with_a_deadline_it_is_said_beside_it():
    log = [*ON, entry(0.6, "energised")]
    two = show(
        [fixture("IP20", "f1", cover="bag"), fixture("IP65", "f2", cover="dome")],
        covers=[
            bag(gust_limit_mps=12.0),
            bag("dome", may_run=True, minutes_on_max=60.0),
        ],
    )
    job = only(planned(two, rain(*[0] * 12, gust=[3] * 6 + [13] * 6), 3.0, log), "uncover")
    assert job.fixtures == ("f1",)
    assert (
        "under the bag with power since Thu 12:36, and it may be for 60 minutes" in job.facts.extra
    )
