"""Jobs out of several feeds: who is counted, what each says, and what changes nothing.

Straight-down rain: a code ending in 0 may take 0.5 mm. Quarters of an hour are not charged the
hourly margin.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from exposure.rigs import NOON, after, hours, one_fixture, position
from hypothesis import given, settings
from hypothesis import strategies as st
from planning.planned import bag, only, since_noon_h

from monitor.alerts.lifecycle import Source, WatchState
from monitor.evaluation import evaluate
from monitor.exposure.rig import compile_rig
from monitor.feeds.past import still_to_come

NAN = float("nan")


def feed(rain, source, *, each_h=0.25, **more):
    made = hours(rain, more.pop("wind", 0.0), each_h=each_h, forecast=True, **more)
    return replace(made, source=source, fetched_at=NOON, issued_at=NOON)


def found(*feeds, risk=0.25, described=None, state=None):
    return evaluate(
        compile_rig(described or one_fixture("IP20", policy={"risk": risk})),
        past=None,
        ahead=still_to_come(feeds, NOON.timestamp()),
        log=(),
        state=state or WatchState(),
        now=NOON,
        source=Source(("feeds",), run="1"),
    )


def job(*feeds, **more):
    return only(found(*feeds, **more).plan)


def shower(at_quarter, depth, quarters=48):
    """One wet quarter of an hour."""
    rain = [0.0] * quarters
    rain[at_quarter] = depth
    return rain


def says(made):
    return {
        f.feed: (
            None if f.do_by is None else since_noon_h(f.do_by.timestamp()),
            since_noon_h(f.to.timestamp()),
            f.members,
        )
        for f in made.facts.by_feed
    }


def test_each_feed_says_its_own_deadline():
    # 1 mm in a quarter of an hour: 0.5 after 7.5 min; a from 14:00, b from 16:00
    made = job(feed(shower(8, 1.0), "a"), feed(shower(16, 1.0, 64), "b"))
    assert since_noon_h(made.do_by_s) == pytest.approx(2.125)
    assert says(made) == {
        "a": (pytest.approx(2.125), 12.0, 1),
        "b": (pytest.approx(4.125), 16.0, 1),
    }
    # by the end of that wet spell both say so
    assert (made.members, made.facts.says_so, made.probability) == (2, 2, None)


def test_a_feed_that_sees_no_need_says_how_far_it_looked():
    made = job(feed(shower(8, 1.0), "a"), feed([0.0] * 24, "b"))
    assert says(made) == {"a": (pytest.approx(2.125), 12.0, 1), "b": (None, 6.0, 1)}
    assert (made.members, made.facts.says_so) == (2, 1)


def test_a_single_forecast_beside_twenty_members():
    # nine members at 13:00 (0.225 with 1/40 each), the single one at 15:00: 0.725 by then
    twenty = [shower(4, 1.0)] * 9 + [[0.0] * 48] * 11
    made = job(feed(shower(12, 1.0), "one"), feed(twenty, "twenty"))
    assert since_noon_h(made.do_by_s) == pytest.approx(3.125)
    assert (made.members, made.facts.says_so, made.probability) == (21, 10, 0.725)
    # the ensemble alone, 0.45 of itself, is over the risk two hours before
    assert says(made) == {
        "one": (pytest.approx(3.125), 12.0, 1),
        "twenty": (pytest.approx(1.125), 12.0, 20),
    }


def test_a_nowcast_that_has_ended_halves_no_chance():
    # The nowcast sees nothing for two hours. 6 of 20 members cross at 16:07: 0.3 of who speaks.
    twenty = [shower(16, 1.0)] * 6 + [[0.0] * 48] * 14
    made = job(feed([0.0] * 8, "nowcast"), feed(twenty, "twenty"))
    assert (made.members, made.facts.says_so, made.probability) == (20, 6, 0.3)
    # its rain is that of those who speak: 6 of 20 say 1 mm
    assert made.facts.rain_mm == pytest.approx(0.3)


def test_a_nowcast_that_has_ended_blinds_nobody():
    dry = found(feed([0.0] * 8, "nowcast"), feed([0.0] * 64, "hourly")).plan
    assert not dry.blind
    assert since_noon_h(dry.known_until_s) == 16.0
    # two feeds, each blank where the other speaks
    first, second = [0.0] * 8 + [NAN] * 56, [NAN] * 8 + [0.0] * 56
    assert not found(feed(first, "a"), feed(second, "b")).plan.blind
    # a gap of both is a gap
    both = [0.0] * 8 + [NAN] + [0.0] * 55
    assert found(feed(both, "a"), feed(both, "b")).plan.blind


def test_thunder_is_known_where_one_feed_knows_it():
    silent = feed([0.0] * 64, "silent")
    knows = replace(feed([0.0] * 64, "knows"), thunder=np.zeros((1, 64)))
    assert not found(silent).plan.thunder_known
    assert found(silent, knows).plan.thunder_known


def test_thunder_and_gusts_block_by_the_pooled_share():
    # one of two equal feeds says thunder now: 0.5; at risk 0.6 that does not block
    stormy = replace(feed([0.0] * 64, "a"), thunder=np.ones((1, 64)))
    calm = replace(feed([0.0] * 64, "b"), thunder=np.zeros((1, 64)))
    assert found(stormy, calm, risk=0.5).plan.thunder is not None
    assert found(stormy, calm, risk=0.6).plan.thunder is None
    ladder = position(access="ladder", access_limit_mps=10.0)
    for risk, blocked in ((0.5, True), (0.6, False)):
        described = one_fixture("IP20", positions=[ladder], policy={"risk": risk})
        windy = feed([0.0] * 64, "a", gust=14.0)
        plan = found(windy, feed([0.0] * 64, "b", gust=4.0), described=described).plan
        assert bool(plan.blocked) == blocked


def test_the_gust_that_is_told_is_the_one_at_risk():
    # of ten members one has 30 m/s, three 14, the rest 8: at 0.25 it is 14
    gusts = [[30.0] * 48] + [[14.0] * 48] * 3 + [[8.0] * 48] * 6
    made = job(feed([shower(8, 1.0)] * 10, "ten", gust=gusts))
    assert made.facts.gust_mps == 14.0


def test_winds_from_all_sides_name_no_side():
    made = job(feed([shower(8, 1.0)] * 2, "two", wind=6.0, wind_from=[[90.0] * 48, [270.0] * 48]))
    assert made.facts.wind_mps == 6.0
    assert made.facts.wind_from_deg is None


# ---------------------------------------------------------------- what changes nothing

_quarters = st.lists(st.sampled_from([0.0, 0.0, 0.1, 0.4, 2.0]), min_size=8, max_size=8)
_feeds = st.lists(st.lists(_quarters, min_size=1, max_size=3), min_size=1, max_size=3)


def due(*feeds):
    return [
        (j.position, j.action, j.fixtures, j.do_by_s, j.facts.rain_mm)
        for j in found(*feeds).plan.jobs
    ]


@settings(deadline=None, max_examples=40)
@given(_feeds, st.randoms())
def test_the_order_of_feeds_is_of_no_account(raw, dice):
    feeds = [feed(rain, name) for rain, name in zip(raw, "abc", strict=False)]
    one, other = due(*feeds), due(*dice.sample(feeds, len(feeds)))
    assert one == [(*j[:3], pytest.approx(j[3]), pytest.approx(j[4])) for j in other]


@settings(deadline=None, max_examples=40)
@given(_feeds)
def test_the_same_feed_under_another_name_changes_nothing(raw):
    feeds = [feed(rain, name) for rain, name in zip(raw, "abc", strict=False)]
    again = [replace(made, source=made.source.upper()) for made in feeds]
    one, other = due(*feeds), due(*feeds, *again)
    assert one == [(*j[:3], pytest.approx(j[3]), pytest.approx(j[4])) for j in other]


@settings(deadline=None, max_examples=40)
@given(_feeds, _quarters)
def test_a_feed_that_has_ended_changes_nothing(raw, rain):
    feeds = [feed(rain, name) for rain, name in zip(raw, "abc", strict=False)]
    ended = feed(rain, "ended", start=after(-2.0))
    assert due(*feeds) == due(*feeds, ended)


@settings(deadline=None, max_examples=40)
@given(_feeds, st.integers(0, 7))
def test_a_feed_that_falls_silent_puts_nothing_off(raw, quarter):
    """Where a feed saw no rain at all its silence is worth no more than its word."""
    dry = [0.0] * quarter + [NAN] * (8 - quarter)
    feeds = [feed(rain, name) for rain, name in zip(raw, "ab", strict=False)]
    spoke = found(*feeds, feed([0.0] * 8, "dry")).plan
    fell_silent = found(*feeds, feed(dry, "dry")).plan
    before = min((j.do_by_s for j in spoke.jobs if j.do_by_s is not None), default=np.inf)
    after_it = min((j.do_by_s for j in fell_silent.jobs if j.do_by_s is not None), default=np.inf)
    assert after_it <= before


def test_a_hole_in_one_feed_is_no_word_against_another():
    # five of eleven cross in the quarter from 3 h: 0.4545 of a feed that weighs half, 0.227;
    # the other knows nothing from 2 h on but for the very last quarter of an hour
    wet, dry = shower(12, 1.0), [0.0] * 48
    sure = feed([wet] * 5 + [dry] * 6, "b")
    assert not found(feed([dry], "a"), sure).plan.jobs
    hole = feed([[0.0] * 8 + [NAN] * 39 + [0.0]], "a")
    made = job(hole, sure)
    # 0.5 of 1 mm: in the middle of the quarter
    assert since_noon_h(made.do_by_s) == pytest.approx(3.125)
    assert (made.members, made.probability) == (11, 0.455)


# ---------------------------------------------------------------- gusts that are not known


def covered(*feeds, **more):
    described = one_fixture(
        "IP20", covers=[bag(gust_limit_mps=12.0)], cover="bag", policy={"risk": 0.25}, **more
    )
    return job(*feeds, described=described)


def test_gusts_that_nobody_knows_stay_below_no_limit():
    # the rain at three o'clock is known with its wind; of the dry hour before it no wind is
    wind = [0.0, 0.0, NAN, 0.0]
    assert covered(feed([0, 0, 0, 1], "one", each_h=1.0)).action == "cover"
    found_now = covered(feed([0, 0, 0, 1], "one", each_h=1.0, wind=wind))
    assert found_now.action == "bring-in"
    assert found_now.facts.not_covered_because == "gusts not known, bag stands 12"


def test_one_feed_that_knows_them_is_enough():
    silent = feed([0, 0, 0, 1], "silent", each_h=1.0, wind=[0.0, 0.0, NAN, 0.0])
    for gust, action in ((5.0, "cover"), (12.0, "bring-in")):
        speaks = feed([0, 0, 0, 1], "speaks", each_h=1.0, gust=gust)
        assert covered(silent, speaks).action == action


def test_a_silent_feed_does_not_outvote_a_gusty_one():
    # one of five has gusts over the limit, a fifth of the weight; but only two speak at all
    def dumb(n):
        return feed([0, 0, 0, 0], f"dumb{n}", each_h=1.0, wind=NAN)

    calm = feed([0, 0, 0, 1], "calm", each_h=1.0, gust=3.0)
    gusty = feed([0, 0, 0, 1], "gusty", each_h=1.0, gust=20.0)
    assert covered(calm, gusty, *(dumb(n) for n in range(3))).action == "bring-in"


# ---------------------------------------------------------------- the rain of each feed


def test_each_feed_has_its_own_rain_of_the_spell():
    # 1 mm in the quarter from one o'clock, 2 mm in that from three; and one that has none
    found_job = job(
        feed(shower(4, 1.0), "early"), feed(shower(12, 2.0), "late"), feed(shower(0, 0.0), "none")
    )
    told = {
        f.feed: (
            None if f.wet_from is None else since_noon_h(f.wet_from.timestamp()),
            None if f.wet_to is None else since_noon_h(f.wet_to.timestamp()),
            f.rain_mm,
        )
        for f in found_job.facts.by_feed
    }
    assert told == {
        "early": (1.0, 1.25, pytest.approx(1.0)),
        "late": (3.0, 3.25, pytest.approx(2.0)),
        "none": (None, None, pytest.approx(0.0)),
    }
