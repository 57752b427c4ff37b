"""The crew's evening on the jobs: hands, turns, closings, and who is told to do what.

Straight-down rain of 1 mm/h from 14:00 spends the half millimetre of an IP20 by 14:30. A fixture
on the pole takes 2 min to set up and 1 to cover, by one. Times are hours after noon, UTC.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import time, timedelta

import numpy as np
import pandas as pd
import pvlib
import pytest
from exposure.rigs import NOON, after, entry, fixture, hours, position, show
from planning.planned import bag, hood, only, planned, since_noon_h

from monitor.domain import Crew, Facts, Hours, Person
from monitor.planning.evening import evening
from monitor.planning.job import Job
from monitor.planning.schedule_check import check
from monitor.planning.workable import Span

RAIN = (0, 0, 1, 1, 1)
MINUTE = 1 / 60


def rain(*depths, **more):
    return hours(depths or RAIN, 0.0, **more)


def shift(start, end):
    return Hours(time.fromisoformat(start), time.fromisoformat(end))


def person(name, *shifts, tickets=(), call=None):
    spans = tuple(shift(*span.split("-")) for span in shifts)
    return Person(name, tuple(tickets), spans, call)


def crewed(described, *people, **more):
    return replace(described, crew=Crew(people=people, **more))


def at(place, *people, places=None, count=1, **crew):
    """One fixture at each place, and the people."""
    placed = places or (place,)
    rows = [fixture("IP20", f"f{n}", position=p.id, count=count) for n, p in enumerate(placed)]
    return crewed(show(rows, positions=placed), *people, **crew)


def job_at(found, place):
    (job,) = (j for j in found.jobs if j.position == place)
    return job


def start_h(job):
    return since_noon_h(job.start_by_s)


# ------------------------------------------------------------------------------- hands


def test_one_party_does_one_after_the_other_and_two_do_both_at_once():
    # 3 min each, both due 14:30: 14:27, and before it 14:24
    places = (position("a"), position("b"))
    rig = at(None, places=places)
    for parties, first in ((1, 2.5 - 6 * MINUTE), (2, 2.5 - 3 * MINUTE)):
        found = planned(replace(rig, crew=Crew(parties=parties)), rain())
        starts = sorted(start_h(job) for job in found.jobs)
        assert starts == pytest.approx([first, 2.5 - 3 * MINUTE])
        assert not any(job.late for job in found.jobs)
        assert all(job.facts.who == () for job in found.jobs)


def test_a_job_over_a_shift_change_names_both_sides():
    # 40 fixtures: 42 min, from 13:48 to 14:30; Ada leaves at 14:00 and Ben comes
    rig = at(position("pole"), person("Ada", "06:00-14:00"), person("Ben", "14:00-22:00"), count=40)
    job = only(planned(rig, rain()))
    assert start_h(job) == pytest.approx(1.8)
    assert since_noon_h(job.ends_s) == pytest.approx(2.5)
    assert (job.facts.who, job.facts.handed_to) == (("Ada",), ("Ben",))
    assert job.facts.handed_at == after(2.0)
    assert job.people == 1


def test_who_holds_the_ticket_does_it_before_the_shift_ends():
    # the ticket leaves at 14:00: done by then, half an hour before it is due
    rig = at(
        position("pole", tickets=("hoists",)),
        person("Ada", "06:00-14:00", tickets=["hoists"]),
        person("Ben"),
    )
    job = only(planned(rig, rain()))
    assert start_h(job) == pytest.approx(2.0 - 3 * MINUTE)
    assert job.facts.who == ("Ada",)


def test_nobody_with_the_ticket_is_said_and_never_called_in_time():
    rig = at(position("pole", tickets=("hoists",)), person("Ben"))
    job = only(planned(rig, rain()))
    assert job.late
    assert math.isinf(job.late_by_s)
    assert (job.facts.late, job.facts.late_minutes, job.facts.who) == (True, None, ())
    assert job.missing == "nobody here holds a hoists ticket"
    # told as early as if somebody could
    assert start_h(job) == pytest.approx(2.5 - 3 * MINUTE)


@pytest.mark.parametrize(
    ("place", "people", "says"),
    [
        ({"people_needed": 3}, [person("Ada"), person("Ben")], "2 of 3 people it takes"),
        ({"access": "ladder"}, [person("Ada")], "nobody does this as the only person on site"),
        # due 14:30: a shift from 15:00, or three hours' way from noon, is too late
        ({}, [person("Ada", "15:00-22:00")], "nobody is here before it is due"),
        ({}, [person("Ada", "20:00-22:00", call=180)], "nobody is here before it is due"),
        (
            {"tickets": ("hoists",)},
            [person("Ada"), person("Ben", "15:00-22:00", tickets=["hoists"])],
            "nobody here before it is due holds a hoists ticket",
        ),
        # one leaves at 13:00 and the ticket comes at 14:00: never the two together
        (
            {"tickets": ("climb", "hoists")},
            [
                person("Ada", "06:00-13:00", tickets=["climb"]),
                person("Ben", "14:00-22:00", tickets=["hoists"]),
            ],
            "the people and the tickets it takes are not here together",
        ),
    ],
)
def test_what_nobody_there_can_begin_in_time_says_who_is_missing(place, people, says):
    assert only(planned(at(position("pole", **place), *people), rain())).missing == says


def test_what_is_late_but_begun_in_time_misses_nobody():
    # 20 fixtures, 22 min: from 14:20 it ends at 14:42, begun ten minutes before it is due
    late = only(
        planned(at(position("pole"), person("Ada"), count=20), rain(), at_h=2 + 20 * MINUTE)
    )
    assert late.late
    assert late.missing is None


def test_who_is_at_other_work_until_it_is_due_cannot_do_it():
    # At 14:02 one person; both are due 14:30
    places = (position("a"), position("b"))
    rows = [
        fixture("IP20", "dear", position="a", count=26, value=5.0),
        fixture("IP20", "cheap", position="b", count=27),
    ]
    rig = crewed(show(rows, positions=places), person("Ada"))
    found = planned(rig, rain(), at_h=2 + 2 * MINUTE)
    # 28 min from 14:02: done at 14:30; the other begins then
    assert not job_at(found, "a").late
    assert job_at(found, "b").missing == "whoever could do it is not free before it is due"


def test_what_can_wait_for_those_who_come_is_still_saved():
    # Ada comes at 15:00; the first is due 14:30, the second, of 2.5 mm, at 16:30: told for that
    rows = [fixture("IP20", "f1"), fixture("IP20", "f2", stated_mm=2.5)]
    rig = crewed(show(rows, positions=[position("pole")]), person("Ada", "15:00-22:00"))
    job = only(planned(rig, rain(0, 0, 1, 1, 1, 1)))
    assert (job.missing, job.late) == (None, False)
    assert start_h(job) == pytest.approx(3.0)
    assert since_noon_h(job.do_by_s) == pytest.approx(4.5)
    assert job.reason.endswith("who is there cannot save the first of them")


@pytest.mark.parametrize(("at_h", "comes_h"), [(0.0, 2.0), (1.9, 1.9 + 25 / 60)])
def test_who_is_called_is_there_from_now_and_the_way(at_h, comes_h):
    # Ada sleeps until 16:00 and takes 25 min to come: at noon she is reckoned with at any
    # later time; at 13:54 not before 14:19. 8 min of work are due by 14:30.
    rig = at(position("pole"), person("Ada", "16:00-20:00", call=25), count=6)
    job = only(planned(rig, rain(), at_h=at_h))
    assert start_h(job) == pytest.approx(2.5 - 8 * MINUTE)
    assert start_h(job) >= comes_h
    assert job.facts.extra[-1] == "Ada is off shift then and takes 25 minutes to come."
    # at 14:10 she is there by 14:35 and ends at 14:43: 13 min late
    late = only(planned(rig, rain(), at_h=2 + 10 / 60))
    assert late.late_by_s == pytest.approx(13 * 60.0)
    assert late.facts.late_minutes == pytest.approx(13.0)


def test_who_cannot_be_called_is_there_on_shift_only():
    rig = at(position("pole"), person("Ada", "12:00-13:00"))
    assert start_h(only(planned(rig, rain()))) == pytest.approx(1.0 - 3 * MINUTE)


def test_somebody_on_shift_may_be_asked_to_stay():
    rig = at(position("pole"), person("Ada", "06:00-14:00", call=25))
    job = only(planned(rig, rain(), at_h=1.9))
    assert start_h(job) == pytest.approx(2.5 - 3 * MINUTE)


def test_nobody_is_alone_on_a_ladder():
    # Ben leaves at 14:00, and then Ada would be the only one: done while he is there
    rig = at(position("pole", access="ladder"), person("Ada"), person("Ben", "06:00-14:00"))
    assert start_h(only(planned(rig, rain()))) == pytest.approx(2.0 - 3 * MINUTE)
    alone = at(position("pole", access="ladder"), person("Ada"))
    assert math.isinf(only(planned(alone, rain())).late_by_s)
    allowed = replace(alone, crew=replace(alone.crew, alone=("ladder",)))
    assert start_h(only(planned(allowed, rain()))) == pytest.approx(2.5 - 3 * MINUTE)


def test_who_is_called_so_that_nobody_is_alone_is_named():
    rig = at(
        position("pole", access="ladder"), person("Ada"), person("Ben", "16:00-22:00", call=20)
    )
    extra = only(planned(rig, rain())).facts.extra
    assert extra[-1].endswith("is off shift then and takes 20 minutes to come.")


# --------------------------------------------------------------- what cannot all be done


def test_the_order_saves_the_most_value_and_says_how_late_the_rest_is():
    # 20 fixtures: 22 min each; at 14:00 there are 30 min. The dear one first, 14:00 to 14:22;
    # the other from then to 14:44, 14 min late
    places = (position("a"), position("b"))
    rows = [
        fixture("IP20", "cheap", position="a", count=20),
        fixture("IP20", "dear", position="b", count=20, value=5.0),
    ]
    found = planned(show(rows, positions=places), rain(), at_h=2.0)
    dear, cheap = job_at(found, "b"), job_at(found, "a")
    # late ones keep to the end found, those in time start as late as that allows
    assert (dear.late, dear.facts.late) == (False, False)
    assert start_h(dear) == pytest.approx(2.0)
    assert cheap.late_by_s == pytest.approx(14 * 60.0)
    assert (cheap.late, cheap.facts.late, cheap.facts.late_minutes) == (True, True, 14.0)
    assert start_h(cheap) == pytest.approx(2.0 + 22 * MINUTE)
    assert dear.value == 100.0


# ------------------------------------------------------------------------------ closings


def ladder(name="pole", **changes):
    return position(name, access="ladder", access_limit_mps=10.0, **changes)


def windy(*gusts):
    return rain(gust=list(gusts))


def test_a_start_leaves_time_for_set_up_and_one_fixture_before_a_closing():
    # due 14:30, closed 13:00 to 14:00. 31 fixtures: 33 min, 30 of them after the closing; the
    # latest start would be 12:57. 29 fixtures: 31 min; one minute before it, 12:59, and nobody
    # has set up by then: 12:57 as well, for set-up and one fixture.
    for count, latest in ((31, 1 - 3 * MINUTE), (29, 1 - 3 * MINUTE), (35, 1 - 7 * MINUTE)):
        rig = at(ladder(), person("Ada"), person("Ben"), count=count)
        job = only(planned(rig, windy(3, 14, 3, 3, 3)))
        assert start_h(job) == pytest.approx(latest)
        assert not job.late


def test_nobody_begins_what_closes_before_one_fixture_is_done():
    # closed 13:00 to 14:00, set-up and one fixture 3 min: 12:57 is the last start, 12:58 is none
    weather = windy(3, 14, 3, 3, 3)
    rig = at(ladder(), person("Ada"), person("Ben"), count=29)
    assert only(planned(rig, weather, at_h=1 - 3 * MINUTE)).no_time is None
    job = only(planned(rig, weather, at_h=1 - 2 * MINUTE))
    assert job.no_time is not None
    assert since_noon_h(job.no_time.start_s) == pytest.approx(1.0)
    assert job.blocked is None
    # 31 min from 14:00 on are one too many
    assert start_h(job) == pytest.approx(2.0)
    assert job.late_by_s == pytest.approx(60.0)


def test_a_closing_is_nothing_to_what_is_not_told_of_yet():
    # due 14:30 a day later; the closing at 13:00 today, two minutes from now, is over by then
    weather = hours([*[0] * 26, 1, 1, 1], 0.0, gust=[3, 14, *[3] * 27])
    job = only(planned(at(ladder(), person("Ada"), person("Ben")), weather, at_h=1 - 2 * MINUTE))
    assert job.no_time is None
    assert start_h(job) == pytest.approx(26.5 - 3 * MINUTE)


def test_what_is_late_is_done_as_soon_as_what_is_in_time_allows():
    # One party, twelve places: two jobs of 22 min due 14:30 of which at 14:02 one is in time; ten
    # of 3 min are due at 14:30 + 6 h by a fixture that takes 6.5 mm, and wait for both
    rows = [fixture("IP20", f"now{n}", position=f"n{n}", count=20, value=9.0 - n) for n in range(2)]
    rows += [fixture("IP20", f"later{n}", position=f"l{n}", stated_mm=6.5) for n in range(10)]
    rig = show(rows, positions=[position(row.position) for row in rows])
    found = planned(rig, hours([0, 0, *[1] * 12], 0.0), at_h=2 + 2 * MINUTE)
    first, second = job_at(found, "n0"), job_at(found, "n1")
    assert (first.late, second.late) == (False, True)
    # 14:02 to 14:24, then to 14:46: 16 min late
    assert second.late_by_s == pytest.approx(16 * 60.0)
    assert not any(job.late for job in found.jobs if job.position.startswith("l"))


def test_thunder_and_an_official_warning_close_it_just_the_same():
    weather = rain(0, 0, 1, 1, 1)
    thunder = np.zeros((1, 5))
    thunder[0, 1] = 1.0
    job = only(
        planned(at(position("pole"), person("Ada")), replace(weather, thunder=thunder), at_h=0.98)
    )
    assert (job.no_time.by, since_noon_h(job.no_time.start_s)) == ("thunder", pytest.approx(1.0))


def test_where_only_power_can_be_cut_no_wind_and_no_company_is_asked_for():
    mast = position("pole", access="none", access_limit_mps=5.0, tickets=("hoists",), daylight=True)
    job = only(planned(at(mast, person("Ada")), windy(14, 14, 14, 14, 14)))
    assert (job.action, job.blocked, job.facts.who) == ("isolate", None, ("Ada",))
    # two minutes' walk
    assert start_h(job) == pytest.approx(2.5 - 2 * MINUTE)


def test_what_is_reached_by_daylight_is_done_before_sunset():
    # Sunset and sunrise as pvlib has them; the program's sun may be some minutes off. Rain from
    # 02:00: due 02:30 at night.
    day = pd.DatetimeIndex([NOON, NOON + timedelta(days=1)])
    sun = pvlib.solarposition.sun_rise_set_transit_spa(day, 51.5, 0.0)
    sets_h = (sun["sunset"].iloc[0] - NOON) / timedelta(hours=1)
    rises_h = (sun["sunrise"].iloc[1] - NOON) / timedelta(hours=1)
    weather = rain(*[0] * 14, 1, 1, 1)
    mast = position("pole", daylight=True)
    job = only(planned(at(mast, person("Ada")), weather))
    assert start_h(job) == pytest.approx(sets_h - 3 * MINUTE, abs=4 * MINUTE)
    night = planned(at(mast, person("Ada")), weather, at_h=12.0)
    job = only(night)
    assert (job.blocked.by, job.blocked.says) == ("dark", "it is dark there")
    assert since_noon_h(job.blocked.end_s) == pytest.approx(rises_h, abs=4 * MINUTE)
    assert night.blocked["pole"].by == "dark"


# ------------------------------------------------------------------------- what plan says


def test_the_clock_of_a_rehearsal_stops_at_every_turn():
    rig = at(position("pole"), person("Ada", "06:00-14:00"), person("Ben", "14:00-22:00"), count=40)
    found = planned(rig, rain())
    job = only(found)
    for moment in (job.start_by_s, after(2.0).timestamp(), job.do_by_s, job.start_by_s - 3600.0):
        assert moment in found.changes_s
    assert list(found.changes_s) == sorted(set(found.changes_s))


def test_jobs_for_covers_that_come_off_and_for_what_leaks_share_the_hands():
    # the covered one leaks and is brought in, the bare one is covered; one party, 3 min each
    rows = [
        fixture("IP20", "leaky", position="a", cover="hood"),
        fixture("IP20", "bare", position="b", cover="bag"),
    ]
    rig = show(rows, positions=(position("a"), position("b")), covers=[bag(), hood()])
    weather = hours(RAIN, 5.0)
    found = planned(rig, weather, log=[entry(0.0, "covered", fixture="leaky")])
    jobs = sorted(found.jobs, key=lambda j: j.start_by_s)
    assert {j.family for j in jobs} >= {"covered", "protect"}
    assert jobs[0].ends_s <= jobs[1].start_by_s + 1e-3


# -------------------------------------------------------------------------------- property


@pytest.mark.parametrize("seed", range(60))
def test_what_is_planned_breaks_no_rule(seed):
    rng = np.random.default_rng(seed)
    places = tuple(
        position(
            f"p{n}",
            access=str(rng.choice(["ground", "ladder", "platform", "none"])),
            people_needed=int(rng.integers(1, 3)),
            tickets=("platform",) if rng.random() < 0.3 else (),
        )
        for n in range(int(rng.integers(1, 7)))
    )
    people = tuple(
        person(
            f"hand {n}",
            *(["06:00-14:00", "14:00-22:00"][int(rng.integers(2)) : int(rng.integers(1, 3))]),
            tickets=["platform"] if n == 0 else [],
            call=float(rng.integers(5, 40)) if rng.random() < 0.5 else None,
        )
        for n in range(int(rng.integers(1, 5)))
    )
    named = rng.random() < 0.7
    crew = Crew(parties=int(rng.integers(1, 4)), people=people if named else ())
    rig = replace(show([fixture()], positions=(*places, position("pole"))), crew=crew)
    now_s = NOON.timestamp()
    jobs, shut = [], {}
    for place in places:
        start = now_s + 60.0 * float(rng.integers(-60, 240))
        shut[place.id] = (Span(start, start + 3600.0, "gust", 14.0),) if rng.random() < 0.5 else ()
        do_by = now_s + 60.0 * float(rng.integers(10, 300))
        jobs.append(
            Job(
                place.id,
                "protect",
                "isolate" if place.access == "none" else "cover",
                ("f1",),
                int(rng.integers(1, 9)),
                place.people_needed,
                float(rng.integers(3, 60)),
                do_by,
                do_by,
                1,
                None,
                "rain",
                value=float(rng.integers(1, 100)),
                facts=Facts(),
            )
        )
    found = evening(rig, jobs, shut, {}, (), now_s)
    assert check(found.schedule, found.tasks, found.crew, now_s) == ()
    assert [job.position for job in found.jobs] == [job.position for job in jobs]
    for job in found.jobs:
        assert job.late == (job.late_by_s > 0.0) == job.facts.late
        assert job.start_by_s is not None
        assert job.ends_s is None or job.ends_s <= job.do_by_s + job.late_by_s + 0.01
        if math.isfinite(job.late_by_s):
            assert job.start_by_s >= now_s - 0.01
