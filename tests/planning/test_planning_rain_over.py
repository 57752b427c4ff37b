"""When a spell of rain is over: dry for a quarter of an hour, and for the hour to come."""

from __future__ import annotations

import numpy as np
from exposure.rigs import NOON, after, entry, fixture, hours, run, show

from monitor.evaluation import from_now, until_now
from monitor.planning.chance import unknown_to_all
from monitor.planning.heard import known_until_s
from monitor.planning.rain_over import Spell, followed

RIG = show([fixture("IP20", "a")])


def step(spells, weather, at_h, *, log=(), ahead=None, rig=RIG):
    """The spells as they stand `at_h` hours after noon."""
    now_s = after(at_h).timestamp()
    known = [e for e in log if e.at <= after(at_h)]
    fell = until_now(weather, NOON.timestamp(), now_s)
    past = run(rig, fell, known) if len(fell.starts) else None
    coming = run(rig, from_now(ahead or weather, now_s), known)
    unknown = unknown_to_all(coming.steps.unknown, coming.steps.weather.feed_of)
    reached = known_until_s(coming.steps.weather, unknown, now_s)
    return followed(spells, past, coming, reached, now_s, rig.policy)


def told(weather, moments, **more):
    """(begin, told as over) of each spell in hours, when looked at these moments."""
    spells = ()
    for at_h in moments:
        spells = step(spells, weather, at_h, **more)
    return [
        (
            (s.from_s - NOON.timestamp()) / 3600.0,
            None if s.over_s is None else (s.over_s - NOON.timestamp()) / 3600.0,
        )
        for s in spells
    ]


EVERY_QUARTER = np.arange(0.25, 6.01, 0.25)


def test_over_a_quarter_of_an_hour_after_the_last_wet_step():
    # rain 13:00 to 14:00; at 14:00 the last quarter was wet, at 14:15 it was dry
    rain = hours([[0.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]])
    assert told(rain, EVERY_QUARTER[:8]) == [(1.0, None)]
    assert told(rain, EVERY_QUARTER) == [(1.0, 2.25)]


def test_rain_within_the_hour_keeps_it():
    # 12-13 and 14-15 wet. At 13:15 the next hour reaches to 14:15: not over. At 15:15 it is
    rain = hours([[2.0, 0.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0]])
    assert told(rain, EVERY_QUARTER) == [(0.0, 3.25)]


def test_a_later_shower_is_another_spell():
    # 12-13 and 16-17 wet, three dry hours between: over at 13:15, and again at 17:15
    rain = hours([[2.0, 0.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0]])
    assert told(rain, EVERY_QUARTER) == [(0.0, 1.25), (4.0, 5.25)]


def test_what_is_not_known_is_not_dry():
    gap = hours([[2.0, 0.0, np.nan, 0.0, 0.0, 0.0, 0.0, 0.0]])
    # 14-15 not known: at 13:15 not over; from 15:15 on the past quarter is known again
    assert told(gap, EVERY_QUARTER[:12]) == [(0.0, None)]
    assert told(gap, EVERY_QUARTER) == [(0.0, 3.25)]
    # a record that ends at 14:00 says nothing of the hour after 13:15
    assert told(hours([[2.0, 0.0]]), [0.5, 1.25, 1.5]) == [(0.0, None)]


def test_rain_that_reached_nothing_is_no_spell():
    rain = hours([[2.0, 0.0, 0.0, 0.0]])
    inside = [entry(0, "brought-in")]
    assert told(rain, [0.5, 1.5], log=inside) == []


def test_covered_at_the_end_it_is_over_when_the_rain_is():
    # covered is no end of rain: brought in at 12:30, wet until then, rain to 14:00
    rain = hours([[2.0, 2.0, 0.0, 0.0, 0.0, 0.0]])
    inside = [entry(0.5, "brought-in")]
    assert told(rain, [0.75, 1.0, 1.75], log=inside) == [(0.0, None)]
    assert told(rain, [0.75, 2.0, 2.25], log=inside) == [(0.0, 2.25)]


def test_a_share_of_members_below_the_risk_does_not_hold_it():
    # one of five has rain in the next hour: 0.2 is under the risk of 0.25; two of five are not
    past = hours([[2.0, 0.0, 0.0, 0.0]])
    one = hours([[0.0, 0.0, 2.0, 0.0]] + [[0.0] * 4] * 4)
    two = hours([[0.0, 0.0, 2.0, 0.0]] * 2 + [[0.0] * 4] * 3)
    assert told(past, [0.5, 1.5], ahead=one) == [(0.0, 1.5)]
    assert told(past, [0.5, 1.5], ahead=two) == [(0.0, None)]


def test_a_trace_below_the_dry_mark_is_no_rain():
    # 0.04 mm/h is under dry_below_mm_h, 0.05
    assert told(hours([[2.0, 0.04, 0.0, 0.0, 0.0]]), [0.5, 1.25]) == [(0.0, 1.25)]


def test_rain_that_a_measurement_takes_away_was_none():
    wet, dry = hours([[2.0, 0.0, 0.0, 0.0]]), hours([[0.0, 0.0, 0.0, 0.0]])
    running = step((), wet, 0.5)
    assert running == (Spell(NOON.timestamp()),)
    assert step(running, dry, 0.75) == ()


def test_what_is_over_stays_over():
    late = hours([[2.0, 2.0, 0.0, 0.0, 0.0, 0.0]])
    before = (Spell(after(0).timestamp(), after(2).timestamp()),)
    assert step(before, late, 2.5) == before


def test_a_spell_of_the_day_before_is_no_news():
    # first looked at 13 hours after the rain ended, over the 12 hours that are remembered
    rain = hours([[2.0] + [0.0] * 20])
    assert told(rain, [14.0]) == []
    assert told(rain, [12.5]) == [(0.5, 12.5)]


def test_nothing_known_at_all():
    assert told(hours([[0.0, 0.0]]), [5.0]) == []
    coming = run(RIG, hours([[0.0]]))
    assert followed((), None, coming, -np.inf, NOON.timestamp(), RIG.policy) == ()
