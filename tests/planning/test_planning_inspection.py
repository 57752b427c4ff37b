"""The inspection queue, worked out by hand.

In calm rain (wind 0) water falls straight down, so wetting is the rain's own depth. IP20 has
the run-off allowance of 0.5 mm, which condition never lowers: 1 mm is 2.0, said as 200 %. IP44
in condition hire has half of 10 x 5 / 1 = 50 mm, 25 mm: 1 mm is 0.04, said as 4 %.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from exposure.rigs import NOON, after, entry, fixture, hours, position, run, show

from monitor.domain import Cover, LogEntry, Puddle, Spray
from monitor.exposure.rig import compile_rig
from monitor.planning.inspection import IN_ORDER, queue, share
from monitor.planning.tested import baseline, beyond, compared, readings_of


def waiting(described, weather, log=(), at_h=None):
    known = [e for e in log if at_h is None or e.at <= after(at_h)]
    end_h = weather.rain_mm.shape[1] if at_h is None else at_h
    past = run(described, weather, known)
    return queue(compile_rig(described), past, known, after(end_h))


def ids(found):
    return [item.fixture for item in found]


def looked_at(hour, name, result="damp", **readings):
    return entry(hour, "inspected", fixture=name, result=result, **readings)


ONE_MM = hours([[1.0, 0.0]])


# ---------------------------------------------------------------- order


def test_seen_wet_first_then_worst_used():
    rig = show(
        [fixture("IP44", "a"), fixture("IP20", "b"), fixture("IP44", "c"), fixture("IP44", "d")]
    )
    log = [entry(1, "wet", fixture="c"), looked_at(1.5, "d", "water-inside")]
    found = waiting(rig, ONE_MM, log, 2)
    # c and d by what people saw (both 4 %), then b with 200 %, a with 4 %
    assert ids(found) == ["c", "d", "b", "a"]
    assert [i.seen_wet for i in found] == [True, True, False, False]
    assert [round(i.used, 6) for i in found] == [0.04, 0.04, 2.0, 0.04]
    # four per cent is worth a look; the rest is needed
    assert [i.needed for i in found] == [True, True, True, False]
    assert found[0].why == ("reported wet, Thu 13:00", "used 4 %")
    assert found[1].why == ("water found inside, Thu 13:30", "used 4 %")
    assert "out of service" in " ".join(found[1].do)


def test_at_equal_use_what_has_no_test_against_water_comes_first():
    # the maker's own half millimetre stands without condition: 1 mm is 2.0 there too
    rig = show([fixture("IP44", "a", stated_mm=0.5), fixture("IP20", "b"), fixture("IPX0", "c")])
    found = waiting(rig, ONE_MM)
    assert ids(found) == ["b", "c", "a"]
    assert {round(i.used, 6) for i in found} == {2.0}


def test_a_little_less_use_said_the_same_is_equal():
    # 1.002 mm over 0.5 mm is 200.4 %: nobody sees that difference
    rig = show([fixture("IP44", "a", stated_mm=0.499), fixture("IP20", "b")])
    assert ids(waiting(rig, ONE_MM)) == ["b", "a"]


def test_what_took_nothing_is_not_on_it():
    assert waiting(show([fixture("IP65", "a"), fixture("IP20", "b")]), hours([[0.0, 0.0]])) == ()


@pytest.mark.parametrize(
    ("used", "said"),
    [
        (0.044, "4 %"),
        (0.999, "99 %"),
        (2.4, "240 %"),
        (9.999, "999 %"),
        (14.9, "14 times its allowance"),
    ],
)
def test_a_share_in_words_is_never_rounded_up(used, said):
    assert share(used) == said


# ---------------------------------------------------------------- only dry ends it


@pytest.mark.parametrize("result", ["damp", "water-inside", "not-tested"])
def test_only_dry_sets_it_back(result):
    rig = show([fixture("IP20", "a")])
    good = {"earth_ohm": 0.05, "insulation_mohm": 500.0}
    log = [looked_at(1.5, "a", result, **good)]
    (item,) = waiting(rig, ONE_MM, log, 2)
    assert item.used == pytest.approx(2.0)
    assert waiting(rig, ONE_MM, [*log, looked_at(1.8, "a", "dry")], 2) == ()


@pytest.mark.parametrize(
    ("result", "why", "seen_wet"),
    [("damp", "found damp, Thu 13:30", True), ("not-tested", "not tested, Thu 13:30", False)],
)
def test_what_was_found_puts_it_on_though_no_rain_did(result, why, seen_wet):
    rig, dry = show([fixture("IP44", "a")]), hours([[0.0, 0.0]])
    log = [looked_at(1.5, "a", result)]
    for weather in (waiting(rig, dry, log, 2), queue(compile_rig(rig), None, log, after(2))):
        (item,) = weather
        assert item.why == (why,)
        assert (item.seen_wet, item.needed, item.water_inside) == (seen_wet, True, False)
    assert waiting(rig, dry, [*log, looked_at(1.8, "a", "dry")], 2) == ()
    # tested since: that somebody could not before is no news any more
    (later,) = waiting(rig, dry, [*log, looked_at(1.8, "a", "damp")], 2)
    assert later.why == ("found damp, Thu 13:48",)


def test_readings_alone_do_not():
    rig = show([fixture("IP20", "a")])
    log = [LogEntry(after(1.5), "inspected", fixture="a", earth_ohm=0.05, insulation_mohm=500.0)]
    assert ids(waiting(rig, ONE_MM, log, 2)) == ["a"]


def test_wet_again_after_it_was_found_dry():
    rig = show([fixture("IP44", "a")])
    log = [entry(1, "wet", fixture="a"), looked_at(1.2, "a", "dry"), entry(1.5, "wet", fixture="a")]
    assert waiting(rig, hours([[0.0, 0.0]]), log, 1.3) == ()
    (item,) = waiting(rig, hours([[0.0, 0.0]]), log, 2)
    assert item.why == ("reported wet, Thu 13:30",)


def test_dry_since_the_last_step_counted_takes_hold_at_once():
    rig = show([fixture("IP20", "a")])
    log = [looked_at(2.1, "a", "dry")]
    past = run(rig, ONE_MM, log)
    assert queue(compile_rig(rig), past, log, after(2.05)) != ()
    assert queue(compile_rig(rig), past, log, after(2.2)) == ()


# ---------------------------------------------------------------- why


def test_damp_nights():
    # 21:00 to 01:00 UTC in July: the sun is down (it sets at about 20:20), the air saturated,
    # the sky clear, so the surface is below the dew point: four hours of one night
    night = hours(
        [[0.0] * 4], temp=10.0, dew=10.0, cloud=0.0, wind=1.0, start=NOON.replace(hour=21)
    )
    (item,) = waiting(show([fixture("IP44", "a")]), night, at_h=13)
    assert item.why == ("4 damp hours in one night",)
    assert (item.used, item.needed) == (0.0, True)


def test_days_in_the_wet():
    # no dew point: nothing dries, so from noon on 1 July to noon on 5 July each of five days
    # has a wet hour; temporary gear may stay three
    rain = [1.0] + [0.0] * 95
    (item,) = waiting(show([fixture("IP44", "a")]), hours([rain]))
    assert item.why == ("used 4 %", "5 days out with wet or damp hours")


def test_a_cover_blown_off():
    bag = Cover("bag", "bag", sealed=True, gust_limit_mps=10.0, in_stock=9)
    rig = show([fixture("IP44", "a", cover="bag")], covers=(bag,))
    weather = hours([[0.0, 0.0, 0.0]], wind=1.0, gust=[[5.0, 15.0, 5.0]])
    (item,) = waiting(rig, weather, [entry(0, "covered")])
    assert item.why == ("its cover counts as blown off, Thu 13:00",)
    log = [entry(0, "covered"), looked_at(2.5, "a", "dry")]
    assert waiting(rig, weather, log) == ()
    # put on again after that, and blown off again: when the first went is no answer any more
    gusts = hours([[0.0] * 5], wind=1.0, gust=[[5.0, 15.0, 5.0, 5.0, 15.0]])
    (item,) = waiting(rig, gusts, [*log, entry(3, "covered")])
    assert item.why == ("its cover counts as blown off",)


def test_a_wet_case():
    rig = show([fixture("IP44", "a"), fixture("IP44", "b")])
    log = [entry(0.5, "brought-in", fixture="a"), entry(2.5, "brought-in", fixture="b")]
    # b stands dry for an hour: 1 mm of film over 0.3 mm runs off, and what is left dries by
    # noon sun (0.3 mm at about half a millimetre an hour) before it is brought in
    weather = hours([[1.0, 0.0, 0.0]], temp=25.0, dew=5.0, wind=3.0, cloud=0.0)
    found = {i.fixture: i.why for i in waiting(rig, weather, log)}
    assert found["a"][-1] == "came in wet or damp: its case stays open"
    assert not any("case" in why for why in found["b"])


def test_what_stood_in_a_puddle_is_set_apart():
    # 8 mm for each of rain, K = 2 h: an hour of 5 mm is over 5 mm from 2 ln(80/75) h on, 52 min of
    # it; then it falls from 31.48 to 5 in 2 ln(31.48/5) = 3.68 h, two of which are over
    low = position("low", may_flood_m=0.3, puddle=Puddle(8.0, 2 * math.log(2), 0.3))
    rig = show([fixture("IP67", "a", position="low")], positions=(low,))
    (found,) = waiting(rig, hours([[5.0, 0.0, 0.0]]))
    assert found.why[-1] == ("stood in a puddle for about 172 min, as rain and drain-down give it")
    assert not any("energised" in step for step in found.do)
    assert any("no power" in step.lower() for step in found.do)
    # found dry since: nothing of it is left to say
    dry = [entry(3, "inspected", position="low", result="dry")]
    assert waiting(rig, hours([[5.0, 0.0, 0.0]]), dry) == ()


def test_standing_and_salt_water():
    low = position("low", may_flood_m=0.3, isolate_at="Dip distribution")
    sea = position("sea", spray=Spray(2.0, 5.0, 0.0, 1.0, salt=True))
    rig = show(
        [fixture("IP44", "a", position="low"), fixture("IP44", "b", position="sea")],
        positions=(low, sea),
    )
    log = [entry(1, "wet", position="low")]
    first, second = waiting(rig, ONE_MM, log)
    assert first.why[-1] == "water may stand 0.3 m deep there: perhaps submerged"
    assert first.do[0].startswith("Isolate at Dip distribution, lock it, prove it dead")
    assert second.why[-1] == "the water there is salt"
    for item in (first, second):
        assert "no power" in item.do[-1]
        assert not any("nsulation" in step for step in item.do)


def test_where_it_hangs_now_and_by_its_weakest_part():
    near, far = position("near"), position("far", isolate_at="Far box")
    described = show(
        [fixture("IP65", "a", position="near", supply_code="IP20")], positions=(near, far)
    )
    (item,) = waiting(described, ONE_MM, [entry(1, "moved", position="near", to="far")])
    assert (item.position, item.isolate_at) == ("far", "Far box")
    assert item.what == "fixture, IP65 (its supply)"


def test_without_weather_what_people_saw_still_counts():
    rig = show([fixture("IP44", "a"), fixture("IP20", "b")])
    log = [entry(1, "wet")]
    assert ids(queue(compile_rig(rig), None, log, after(2))) == ["b", "a"]
    assert queue(compile_rig(rig), None, [entry(3, "wet")], after(2)) == ()


def test_what_to_do_comes_in_its_order():
    (item,) = waiting(show([fixture("IP20", "a")]), ONE_MM)
    heads = [step.split()[0].strip(",:") for step in item.do]
    assert heads == ["Isolate", "Look", "Earth", "Insulation", "Function"]
    assert [step.split()[0].strip(",:") for step in IN_ORDER] == heads


# ---------------------------------------------------------------- readings


def test_the_baseline_is_what_was_read_before_it_got_wet():
    rig = show([fixture("IP20", "a")])
    rain_from_one = hours([[0.0, 1.0, 0.0]])
    log = [
        looked_at(0.5, "a", "not-tested", earth_ohm=0.08),
        looked_at(0.9, "a", "not-tested", insulation_mohm=250.0, earth_ohm=0.09),
        looked_at(2.5, "a", "damp", earth_ohm=0.31, insulation_mohm=40.0),
    ]
    (item,) = waiting(rig, rain_from_one, log)
    first, last = item.baseline, item.last
    assert (first.earth_ohm, first.insulation_mohm, first.at_load_in) == (0.08, 250.0, True)
    assert (last.earth_ohm, last.insulation_mohm) == (0.31, 40.0)
    assert compared(last, first) == (
        "earth 0.31 ohm, 0.08 at load-in; insulation 40 megohm, 250 at load-in"
    )
    assert "Earth continuity, where it has an earth (0.08 ohm at load-in)" in item.do


def test_a_first_reading_after_the_rain_is_no_load_in():
    rig = show([fixture("IP20", "a")])
    log = [looked_at(1.5, "a", earth_ohm=0.2), looked_at(1.8, "a", earth_ohm=0.3)]
    (item,) = waiting(rig, ONE_MM, log)
    assert (item.baseline.at_load_in, item.baseline.earth_ohm) == (False, 0.2)
    assert compared(item.last, item.baseline) == "earth 0.3 ohm, 0.2 at its first reading"


def test_one_reading_is_its_own_baseline():
    log = [looked_at(0.2, "a", earth_ohm=0.2)]
    tests = readings_of("a", log)
    assert baseline(tests, None).at_load_in
    assert readings_of("b", log) == ()
    assert baseline((), None) is None


def test_a_position_has_no_readings():
    assert readings_of("a", [entry(1, "inspected", result="dry", earth_ohm=0.1)]) == ()


def test_figures_worse_than_those_often_used():
    # earth over 0.1 ohm, insulation under 1 megohm; the limits themselves are not worse
    assert beyond(0.1, 1.0) == ()
    assert beyond(None, None) == ()
    earth, insulation = beyond(0.31, 0.4)
    assert earth == "earth 0.31 ohm is over the 0.1 ohm often used, beside that of the lead"
    assert insulation == "insulation 0.4 megohm is under the 1 megohm often used at 500 V DC"


def test_pooled_past_is_taken_too():
    # two members, half each: 1 mm and 0 mm in one step come to 0.5 mm, 1.0 of 0.5 mm
    weather = hours([[1.0], [0.0]])
    pooled = type(weather)(
        **{
            **{f: getattr(weather, f) for f in weather.__dataclass_fields__},
            "shares": np.array([[0.5], [0.5]]),
        }
    )
    (item,) = waiting(show([fixture("IP20", "a")]), pooled, at_h=1)
    assert item.why == ("used 100 %",)
