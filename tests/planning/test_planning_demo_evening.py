"""The bundled festival told hour by hour: who does what first, worked by hand.

All times are UTC; the site's clock is an hour on. Day shift 08:00 to 22:00: Ines (ladder), Tomas
(hoists), Suki (platform). Night shift from 22:00: Dario; Suki may be called, 25 min.

Minutes, from show.toml: trusses 10 and 1.5 or 1.3 a fixture, three people; ladders 4 and 3 a
fixture, two; towers 12 and 4 a fixture, two; stage lip 2 and 1, avenue 5 and 3.5, quay 5 and 1,
feet of the towers 2 and 1, each one person.

Access closes: ladders and the bar's canopy over 10 m/s, so from Thu 21:00 (10.8); platform and
trusses over 12.5 m/s, from Thu 23:00 (13.0), an hour before the rain that the towers' beams are
covered for. The wind at 9 m is C_R(9) / C_R(10) of it and counts as at least the 10 m gust.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from monitor.builtin import builtin
from monitor.domain import Answered, LogEntry
from monitor.evaluation import from_now, until_now
from monitor.exposure.assess import assess
from monitor.exposure.results import Carried
from monitor.exposure.rig import compile_rig
from monitor.exposure.tracks import groups_of
from monitor.feeds.record import read_record
from monitor.planning.crew import plan
from monitor.show import read_show

WHOLE = read_show(Path(str(builtin("demo"))), {}).show
SHOW = replace(WHOLE, washdowns=())
"""Without the avenue's sprinklers, which have a test of their own"""
WEATHER = read_record(builtin("demo").joinpath("weather.csv").read_bytes(), "weather.csv")
INES, TOMAS, SUKI, DARIO = "Ines Varga", "Tomas Abara", "Suki Lind", "Dario Penn"
SLACK = timedelta(minutes=2)
"""The deadlines below are worked with rounded speeds of the drops."""


def thu(clock):
    return datetime.fromisoformat(f"2027-07-15T{clock}+00:00")


def fri(clock):
    return datetime.fromisoformat(f"2027-07-16T{clock}+00:00")


def sat(clock):
    return datetime.fromisoformat(f"2027-07-17T{clock}+00:00")


def logged(what, place, at, **more):
    return LogEntry(at=at, entry=what, position=place, **more)


AFTERNOON = tuple(
    logged("covered", place, thu("13:00"))
    for place in ("tower-b", "downstage-truss", "stage-lip", "ladder-left", "bar-canopy")
)
"""What the drizzle alone spends, covered in time."""


def at(now, log=(), *, show=SHOW, answers=()):
    """The plan at a moment; the record is the forecast."""
    rig, zero = compile_rig(show), float(WEATHER.starts[0])
    groups, _ = groups_of(rig, log, zero)
    so_far = Carried.nothing(len(groups))
    fell = until_now(WEATHER, zero, now.timestamp())
    if len(fell.starts):
        so_far = assess(rig, fell, log, out_from_s=zero).carried
    left = from_now(WEATHER, now.timestamp())
    ahead = assess(rig, left, log, out_from_s=zero, carried=so_far)
    found = plan(rig, ahead, so_far, now.timestamp(), answers=answers, log=log)
    return {job.position: job for job in found.jobs if job.family == "protect" and job.do_by_s}


def moment(seconds):
    return datetime.fromtimestamp(seconds, UTC)


def starts(jobs, place):
    return moment(jobs[place].start_by_s)


def order(jobs, *places):
    return sorted(places, key=lambda place: jobs[place].start_by_s)


def without(name):
    people = tuple(person for person in SHOW.crew.people if person.name != name)
    return replace(SHOW, crew=replace(SHOW.crew, people=people))


# ------------------------------------------------------------------- the weather by hand

FALL_MM_MPS = (
    (0, 0), (0.5, 2.06), (1.0, 4.03), (1.4, 5.17), (2.0, 6.49), (2.6, 7.57), (3.2, 8.26),
    (4.0, 8.83), (5.8, 9.17),
)  # fmt: skip
"""Gunn and Kinzer (1949), a few rows."""


def arriving_mps(rate):
    """1 / V* = 1 / sum(f V), Best (1950): F = 1 - exp(-(D / a)^2.25), a = 1.30 R^0.232."""
    edges = np.linspace(0.0, 8.0, 1601)
    spread = 1.0 - np.exp(-((edges / (1.30 * rate**0.232)) ** 2.25))
    middle = (edges[1:] + edges[:-1]) / 2.0
    speed = np.interp(middle, *zip(*FALL_MM_MPS, strict=True))
    return float((np.diff(spread) * speed).sum())


def wetting(hour, factor):
    """R sqrt(1 + (U / V*)^2) of an hour of the record in the open; U = factor x U10."""
    rate, wind = float(WEATHER.rain_mm[0, hour]), float(WEATHER.wind_mps[0, hour])
    if rate == 0.0:
        return 0.0
    return rate * math.hypot(1.0, factor * wind / arriving_mps(rate))


def hours_from(moment_utc):
    return round((moment_utc.timestamp() - WEATHER.starts[0]) / 3600.0)


def spent_at(allowance_mm, factor, share=1.0):
    """When so much water has come onto what stands in the open since Thursday noon."""
    sum_mm = 0.0
    for hour in range(len(WEATHER.starts)):
        mm = share * wetting(hour, factor)
        if sum_mm + mm >= allowance_mm:
            part = (allowance_mm - sum_mm) / mm
            return moment(float(WEATHER.starts[hour]) + 3600.0 * part)
        sum_mm += mm
    raise AssertionError("never")


def roughness(height_m):
    """C_R of terrain II."""
    return 0.19 * math.log(max(height_m, 4.0) / 0.05)


# ------------------------------------------------------------------------ Thursday noon


@pytest.fixture(scope="module")
def noon():
    return at(thu("12:00"))


def test_at_load_in_the_open_tails_and_the_trusss_lip_come_first(noon):
    # Three tails of tower B are open: as good as IP20, half a millimetre. 0.1, 0.2 and 0.2 mm of
    # drizzle at 4.5 m/s are more than that on their worst plane before 14:00. The truss hangs a
    # metre behind the lip and has none of that shelter from fine drops: due minutes later.
    due = spent_at(0.5, roughness(9.0))
    assert abs(moment(noon["tower-b"].do_by_s) - due) < SLACK
    assert (
        abs(moment(noon["downstage-truss"].do_by_s) - moment(noon["tower-b"].do_by_s)) < 3 * SLACK
    )
    # The truss wants all three of the day, 10 + 15 x 1.5 = 32.5 min; the tower, 12 + 6 x 4 = 36
    # min, wants two of them before that: two in a row, back from the truss's do-by.
    truss = moment(noon["downstage-truss"].do_by_s) - timedelta(minutes=32.5)
    assert starts(noon, "downstage-truss") == truss
    assert abs(starts(noon, "tower-b") - (truss - timedelta(minutes=36))) < timedelta(seconds=1)
    assert SUKI in noon["tower-b"].facts.who
    assert set(noon["downstage-truss"].facts.who) == {INES, TOMAS, SUKI}
    # Everybody is at the truss until the lip is nearly due, so the lip is done before: 9 min
    # beside the tower, by the third.
    assert starts(noon, "stage-lip") == truss - timedelta(minutes=9)
    assert set(noon["stage-lip"].facts.who).isdisjoint(noon["tower-b"].facts.who)
    assert min(noon.values(), key=lambda job: job.start_by_s).position == "tower-b"


def test_the_drizzle_reaches_one_ladder_and_not_the_other(noon):
    # Wind from 195 to 215: left is open from 60 to 210, right from 240 to 30
    left, right = noon["ladder-left"], noon["ladder-right"]
    assert moment(left.do_by_s) < thu("17:00")
    assert moment(right.do_by_s) > sat("17:00")
    # 4 + 6 x 3 = 22 min by two, one of them with the ladder ticket
    assert starts(noon, "ladder-left") == moment(left.do_by_s) - timedelta(minutes=22)
    assert INES in left.facts.who


# ------------------------------------------------------------------- the first evening


@pytest.fixture(scope="module")
def evening():
    return at(thu("18:00"), AFTERNOON)


def test_the_platform_closes_before_the_rain_that_the_tower_is_covered_for(evening):
    # IP54 on hire in the open at 9 m: 25 mm. That is reached in the fourth hour of Friday.
    tower = evening["tower-a"]
    assert abs(moment(tower.do_by_s) - spent_at(25.0, roughness(9.0))) < SLACK
    assert fri("03:00") < moment(tower.do_by_s) < fri("04:00")
    assert tower.facts.access_closes_at == thu("23:00")
    # 12 + 3 x 4 = 24 min before the platform closes, hours before the rain does harm
    assert starts(evening, "tower-a") == thu("22:36")
    assert moment(tower.ends_s) == thu("23:00")
    # Suki has the platform ticket and is off shift: with Dario, the only other one there
    assert set(tower.facts.who) == {SUKI, DARIO}
    assert "Suki Lind is off shift then and takes 25 minutes to come." in tower.facts.extra


def test_first_comes_what_the_rigger_must_do_before_the_shift_ends(evening):
    # Eddies under the roof spend the upstage truss (IP20) by 22:43, but Tomas, who alone has the
    # hoists, leaves at 22:00: 10 + 10 x 1.3 = 23 min before that, with all three of the day.
    truss = evening["upstage-truss"]
    assert thu("22:00") < moment(truss.do_by_s) < thu("23:00")
    assert starts(evening, "upstage-truss") == thu("21:37")
    assert moment(truss.ends_s) == thu("22:00")
    assert set(truss.facts.who) == {INES, TOMAS, SUKI}
    assert order(evening, *evening)[:2] == ["upstage-truss", "tower-a"]
    # By its deadline alone it would have been left until the rigger was gone: 22:43 - 23 min
    assert moment(truss.do_by_s) - timedelta(minutes=23) > thu("22:00")


def test_no_job_of_the_first_evening_straddles_the_shift_change(evening):
    # The one that would, the truss, cannot be handed to anybody
    for job in evening.values():
        assert job.facts.handed_to == ()
        begins, ends = moment(job.start_by_s), moment(job.ends_s)
        assert not begins < thu("22:00") < ends


def test_the_night_is_two_people_on_the_ground(evening):
    # IP44 and IP54 close to the ground, U at 4 m and below: 25 mm by 03:50. Five jobs: avenue 12,
    # bar floor 6, quay 6, feet of the towers 4 and 3: 31 min for two people, so one has 16 at
    # least. Before 03:50: 3, then 6 (9) and 6 (15) by one, 4 and then 12 (16) by the other.
    due = spent_at(25.0, roughness(1.0))
    places = ("avenue", "bar-floor", "mere-quay", "tower-b-foot", "tower-a-foot")
    for place in places:
        assert abs(moment(evening[place].do_by_s) - due) < SLACK
    do_by = moment(evening["avenue"].do_by_s)
    before = sorted(round((do_by - starts(evening, p)).total_seconds() / 60.0) for p in places)
    assert before == [3, 4, 9, 15, 16]


def test_the_avenues_sprinklers_come_on_top_of_the_rain():
    # 25 mm as above; on Friday from 03:30 the sprinklers add 15 mm/h to the sixteenth hour's rain
    # (12:00 is the first). What half of that hour leaves is spent at both rates together.
    factor = roughness(1.0)
    before = sum(wetting(hour, factor) for hour in range(15)) + wetting(15, factor) / 2.0
    due = thu("00:00") + timedelta(days=1, hours=3.5)
    due += timedelta(hours=(25.0 - before) / (wetting(15, factor) + 15.0))
    jobs = at(thu("18:00"), AFTERNOON, show=WHOLE)
    assert abs(moment(jobs["avenue"].do_by_s) - due) < SLACK
    assert jobs["avenue"].facts.extra[0] == (
        "Sprinklers from Fri 04:30 to 05:00, 7.5 mm from every side: ask whoever runs them to "
        "leave them off."
    )


def test_with_one_person_fewer_the_tower_comes_before_the_truss():
    # Without Dario, Suki would be alone after 22:00 and nobody is alone on a platform. Tower (two
    # people, 24 min) and truss (three, 23 min) by 22:00, one after the other: 21:13 either way;
    # the second starts latest if it is the shorter: truss 21:37.
    jobs = at(thu("18:00"), AFTERNOON, show=without(DARIO))
    assert starts(jobs, "tower-a") == thu("21:13")
    assert starts(jobs, "upstage-truss") == thu("21:37")
    assert not jobs["tower-a"].late
    # and she does the ground alone in the night: 12 + 6 + 6 + 4 + 3 = 31 min
    places = ("avenue", "bar-floor", "mere-quay", "tower-b-foot", "tower-a-foot")
    do_by = moment(jobs["avenue"].do_by_s)
    first = min(starts(jobs, place) for place in places)
    assert do_by - first == timedelta(minutes=31)


def test_without_a_platform_the_tower_is_never_done_and_nothing_else_suffers(evening):
    people = tuple(replace(p, tickets=()) if p.name == SUKI else p for p in SHOW.crew.people)
    jobs = at(thu("18:00"), AFTERNOON, show=replace(SHOW, crew=replace(SHOW.crew, people=people)))
    tower = jobs["tower-a"]
    assert (tower.late, tower.late_by_s, tower.ends_s) == (True, math.inf, None)
    assert tower.facts.who == ()
    assert SHOW.positions["tower-a"].isolate_at == "DIST-DTA, foot of tower A"
    # told in time to cut its power: as late as the platform could have been started
    assert starts(jobs, "tower-a") == thu("22:36")
    assert starts(jobs, "upstage-truss") == starts(evening, "upstage-truss")


def cannot(until=None):
    fixtures = tuple(f.id for f in SHOW.fixtures if f.position == "upstage-truss")
    return Answered(
        thu("20:00"), "upstage-truss-1", "cannot", "upstage-truss", "protect", fixtures,
        because="act-on-stage", until=until, by="Ines Varga",
    )  # fmt: skip


def test_act_on_stage_at_21_leaves_the_truss_and_keeps_the_tower():
    # 21:00 on the site's clock. Without an end nobody is planned for it; the tower is as it was
    jobs = at(thu("20:00"), AFTERNOON, answers=[cannot()])
    truss = jobs["upstage-truss"]
    assert truss.cannot is not None
    assert truss.cannot.says == "act on stage, says Ines Varga"
    assert (truss.late_by_s, truss.facts.who) == (math.inf, ())
    assert starts(jobs, "tower-a") == thu("22:36")


def test_act_on_stage_until_half_past_ten_leaves_just_enough():
    # until 22:30 on the site's clock, 21:30: the start at 21:37 stands. Until 21:45 it does not:
    # 15 of 23 min before the rigger leaves, and the rest waits for the morning and the wind
    jobs = at(thu("20:00"), AFTERNOON, answers=[cannot(thu("21:30"))])
    assert starts(jobs, "upstage-truss") == thu("21:37")
    assert not jobs["upstage-truss"].late
    late = at(thu("20:00"), AFTERNOON, answers=[cannot(thu("21:45"))])["upstage-truss"]
    assert late.late
    assert moment(late.ends_s) > fri("08:00")


# ------------------------------------------------------------------------------ Saturday


@pytest.fixture(scope="module")
def saturday():
    dry = [
        logged("inspected", place, fri("12:00"), result="dry")
        for place in ("ladder-left", "ladder-right")
    ]
    return at(sat("08:00"), (*AFTERNOON[:3], *dry))


def test_on_saturday_the_right_ladder_wants_all_its_covers(saturday):
    # The squall comes from 300, straight into the right side (240 to 30), 0.6 / cos 15 = 0.62 m
    # in: 21.6 mm/h at C_R(4 m) x 11 m/s. IP24 on hire: 25 mm, some used on Friday's veered wind
    right = saturday["ladder-right"]
    assert len(right.fixtures) == 6
    hour = hours_from(sat("17:00"))
    left_mm = 25.0 * (1.0 - right.facts.used)
    part = left_mm / wetting(hour, roughness(3.5))
    assert abs(moment(right.do_by_s) - (sat("17:00") + part * timedelta(hours=1))) < SLACK
    # Thunder in the 16:00 hour: off the ladder by then
    assert right.facts.access_closes_at == sat("16:00")
    assert moment(right.ends_s) <= sat("16:00")


def test_the_left_ladder_wants_only_the_floods_whose_code_counts_for_nothing(saturday):
    # Before the squall 0.6 mm fall from 200: the rays at 180 and 200 come in at left (60 to 210),
    # the one at 220 does not: three quarters. The profiles may take 25 mm; the two floods, hung
    # on their side, half a millimetre.
    left = saturday["ladder-left"]
    assert left.fixtures == ("SL-05", "SL-06")
    came = 0.75 * wetting(hours_from(sat("16:00")), roughness(3.5))
    assert came > 0.5
    assert abs(moment(left.do_by_s) - (sat("16:00") + 0.5 / came * timedelta(hours=1))) < SLACK
    # Both ladders want Ines: 22 min and 4 + 2 x 3 = 10 min, one after the other by 16:00
    assert min(starts(saturday, place) for place in ("ladder-left", "ladder-right")) == sat("15:28")
