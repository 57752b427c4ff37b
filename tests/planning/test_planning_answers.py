"""What the crew answers, in the plan: who is at it, what cannot be done, and for how long.

As in test_planning_evening: due 14:30, 2 min to set up and 1 a fixture, by one.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import time

import numpy as np
import pytest
from exposure.rigs import after, entry, fixture, hours, position, show
from planning.planned import bag, only, planned, since_noon_h

from monitor.alerts.answers import what_is_left
from monitor.domain import Answered, Crew, Hours, Person
from monitor.planning.standing import standing

RAIN = hours([0, 0, 1, 1, 1], 0.0)
MINUTE = 1 / 60


def answered(at_h, what, place="pole", fixtures=("f1",), **more):
    return Answered(after(at_h), f"{place}-1", what, place, "protect", fixtures, **more)


def rig(*places, count=1, parties=1, people=()):
    rows = [
        fixture("IP20", f"f{n}", position=p.id, count=count, cover="bag")
        for n, p in enumerate(places, 1)
    ]
    described = show(rows, positions=places, covers=[bag(in_stock=100)])
    return replace(described, crew=Crew(parties=parties, people=people))


POLE = rig(position("pole"), count=10)


def start_h(job):
    return since_noon_h(job.start_by_s)


def job_at(found, place):
    (job,) = (j for j in found.jobs if j.position == place and j.family == "protect")
    return job


# ------------------------------------------------------------------------------- doing


def test_what_somebody_is_at_goes_on_from_the_answer():
    # 12 min from 13:00; at 13:05 there are 7 left
    job = only(planned(POLE, RAIN, at_h=1 + 5 * MINUTE, answers=[answered(1.0, "doing")]))
    assert job.under_way
    assert start_h(job) == pytest.approx(1.0)
    assert since_noon_h(job.ends_s) == pytest.approx(1.2)
    assert not job.late


def test_it_is_never_said_to_take_less_than_a_minute_more():
    job = only(planned(POLE, RAIN, at_h=2.0, answers=[answered(1.0, "doing")]))
    assert since_noon_h(job.ends_s) == pytest.approx(2 + MINUTE)


def test_its_party_is_busy_and_the_rest_is_planned_round_it():
    # one party, at "a" until 14:24 (22 min from 14:02): "b" wants 12 min before 14:30 and has 6;
    # it ends at 14:36. With a second party nothing changes for b: 14:18.
    both = rig(position("a"), position("b"), count=10)
    both = replace(both, fixtures=(replace(both.fixtures[0], count=20), both.fixtures[1]))
    told = [answered(2 + 2 * MINUTE, "doing", "a", ("f1",))]
    found = planned(both, RAIN, at_h=2 + 4 * MINUTE, answers=told)
    assert job_at(found, "a").under_way
    assert since_noon_h(job_at(found, "a").ends_s) == pytest.approx(2.4)
    assert job_at(found, "b").late_by_s == pytest.approx(6 * 60.0, abs=2.0)
    two = replace(both, crew=Crew(parties=2))
    free = job_at(planned(two, RAIN, at_h=2 + 4 * MINUTE, answers=told), "b")
    assert start_h(free) == pytest.approx(2.3)
    assert not free.late


def test_whoever_says_so_is_at_it_though_their_shift_is_over():
    people = (Person("Ada"), Person("Ben", shifts=(Hours(time(6), time(13, 59)),)))
    both = rig(position("a"), position("b"), count=10, people=people)
    found = planned(both, RAIN, at_h=2.0, answers=[answered(1.95, "doing", "a", by="Ben")])
    assert job_at(found, "a").facts.who == ("Ben",)
    assert job_at(found, "b").facts.who == ("Ada",)


def team(*people, place=None):
    return rig(place or position("pole", people_needed=2), count=40, people=people)


THEIRS = {("pole", "protect"): ("Ada", "Cy")}


@pytest.mark.parametrize("by", ["Ada", "Cy", "the desk"])
def test_the_team_that_is_at_it_stays_the_team(by):
    # alike in all; whoever said so, it is theirs who were told, and Ben is free
    described = team(Person("Ada"), Person("Ben"), Person("Cy"))
    told = [answered(1.0, "doing", by=by)]
    for at_h in (1.1, 1.3):
        job = only(planned(described, RAIN, at_h=at_h, answers=told, told=THEIRS))
        assert (job.facts.who, job.facts.handed_to) == (("Ada", "Cy"), ())


def test_whoever_says_so_is_in_the_team_in_place_of_one_who_was_told():
    # the ticket is kept in it
    described = team(
        Person("Ada"),
        Person("Ben"),
        Person("Cy", ("hoists",)),
        place=position("pole", people_needed=2, tickets=("hoists",)),
    )
    job = only(
        planned(described, RAIN, at_h=1.1, answers=[answered(1.0, "doing", by="Ben")], told=THEIRS)
    )
    assert job.facts.who == ("Ben", "Cy")


def test_a_team_hands_over_only_where_a_shift_ends():
    # 42 min from 13:48 to 14:30; Cy leaves at 14:00, and Dee is there from then on
    late = (Hours(time(14), time(22)),)
    described = team(
        Person("Ada"),
        Person("Cy", shifts=(Hours(time(6), time(14)),)),
        Person("Dee", shifts=late),
    )
    told = [answered(1.8, "doing", by="Ada")]
    job = only(planned(described, RAIN, at_h=1.9, answers=told, told=THEIRS))
    assert since_noon_h(job.ends_s) == pytest.approx(2.5)
    assert (job.facts.who, job.facts.handed_to) == (("Ada", "Cy"), ("Ada", "Dee"))
    assert (job.facts.handed_at - after(2.0)).total_seconds() == pytest.approx(0.0, abs=2.0)


def test_nobody_is_in_two_teams():
    # Cy was told both; he said that he is at b, so a goes on with Ada and Ben
    places = (position("a", people_needed=2), position("b"))
    described = rig(*places, count=40, people=(Person("Ada"), Person("Ben"), Person("Cy")))
    told = [
        answered(1.0, "doing", "a", ("f1",), by="Ada"),
        answered(1.1, "doing", "b", ("f2",), by="Cy"),
    ]
    theirs = {("a", "protect"): ("Ada", "Cy"), ("b", "protect"): ("Cy",)}
    found = planned(described, RAIN, at_h=1.2, answers=told, told=theirs)
    assert job_at(found, "a").facts.who == ("Ada", "Ben")
    assert job_at(found, "b").facts.who == ("Cy",)


def test_what_is_logged_fixture_by_fixture_leaves_the_rest_in_hand():
    # two rows; the first is logged at 13:03, so of the second a minute is left from then
    pair = show(
        [fixture("IP20", name, cover="bag") for name in ("f1", "f2")],
        positions=[position("pole")],
        covers=[bag()],
    )
    log = [entry(1.05, "covered", fixture="f1")]
    told = [answered(1.0, "doing", fixtures=("f1", "f2"))]
    job = only(planned(pair, RAIN, at_h=1.05, log=log, answers=told))
    assert job.under_way
    assert since_noon_h(job.ends_s) == pytest.approx(1.05 + MINUTE)


# ------------------------------------------------------------------------------- cannot


def test_act_on_stage_frees_the_hands_for_the_rest_at_once():
    # one party, 12 min each, both due 14:30: a or b by 14:06. Without a, b by 14:18.
    both = rig(position("a"), position("b"), count=10)
    before = planned(both, RAIN, at_h=1.0)
    assert sorted(map(start_h, before.jobs)) == pytest.approx([2.1, 2.3])
    told = [answered(1.0, "cannot", "a", because="act-on-stage", by="Ines")]
    found = planned(both, RAIN, at_h=1.0, answers=told)
    stuck = job_at(found, "a")
    assert (stuck.cannot.by, stuck.cannot.says) == ("crew", "act on stage, says Ines")
    assert math.isinf(stuck.cannot.end_s)
    assert math.isinf(stuck.late_by_s)
    assert stuck.blocked is None
    assert start_h(job_at(found, "b")) == pytest.approx(2.3)


def test_until_a_time_it_is_planned_for_after_it():
    told = [answered(1.0, "cannot", because="act-on-stage", until=after(2.25))]
    job = only(planned(POLE, RAIN, at_h=1.0, answers=told))
    assert since_noon_h(job.cannot.end_s) == pytest.approx(2.25)
    # 12 min before 14:30, after 14:15
    assert start_h(job) == pytest.approx(2.3)
    assert not job.late
    late = only(planned(POLE, RAIN, at_h=1.0, answers=[replace(told[0], until=after(2.4))]))
    # from 14:24 to 14:36
    assert late.late_by_s == pytest.approx(6 * 60.0)
    over = only(planned(POLE, RAIN, at_h=2.26, answers=told))
    assert over.cannot is None


def test_the_end_of_what_cannot_be_is_a_moment_to_look_again():
    told = [answered(1.0, "cannot", until=after(2.25))]
    assert after(2.25).timestamp() in planned(POLE, RAIN, at_h=1.0, answers=told).changes_s


@pytest.mark.parametrize(
    ("thunder", "at_h", "by_h"),
    [
        # due 14:30; thunder in the hour from 14:00, or from 13:00 and so until 14:30: nobody
        # crosses the place then, and it is over only when it is due
        ((0, 0, 1, 0, 0), 1.0, 2.0),
        ((0, 1, 0, 0, 0), 0.5, 1.0),
        # over at 13:30: an hour is left; and where it has begun there is no time before it
        ((1, 0, 0, 0, 0), 0.5, 2.5),
        ((0, 1, 0, 0, 0), 1.2, 2.5),
    ],
)
def test_power_is_cut_before_thunder_stops_all_work(thunder, at_h, by_h):
    weather = replace(RAIN, thunder=np.array([thunder], dtype=float))
    told = [answered(at_h, "cannot", because="act-on-stage")]
    job = only(planned(POLE, weather, at_h=at_h, answers=told))
    assert since_noon_h(job.cut_by_s) == pytest.approx(by_h)
    left = what_is_left(job, POLE, after(at_h), ())
    assert (left.action, since_noon_h(left.do_by_s)) == ("isolate", pytest.approx(by_h))


STOOD = show(
    [fixture("IP20", "f1", cover="bag"), fixture("IP20", "f2", cover="bag", stated_mm=2.5)],
    positions=[position("pole")],
    covers=[bag(in_stock=5)],
)
"""Of 1 mm/h from 14:00 the first stands 0.5 mm, until 14:30, and the second 2.5 mm, until 16:30:
it is saved where the first is not."""
LONG = hours([0, 0, 1, 1, 1, 1], 0.0)


def lost_first(at_h=1.0, log=()):
    """Nobody can cover before 14:45, when the first is spent."""
    told = [answered(1.0, "cannot", fixtures=("f1", "f2"), action="cover", until=after(2.75))]
    (job,) = (j for j in planned(STOOD, LONG, at_h=at_h, log=log, answers=told).jobs)
    return job, what_is_left(job, STOOD, after(at_h), log)


def test_what_is_spent_before_anybody_can_is_isolated_by_then():
    job, left = lost_first()
    assert since_noon_h(job.lost_by_s) == pytest.approx(2.5)
    assert start_h(job) >= 2.75
    assert (left.action, since_noon_h(left.do_by_s)) == ("isolate", pytest.approx(2.5))
    assert left.start_by_s is None
    assert "The rest after that: start by " in left.reason


@pytest.mark.parametrize(
    "cut", [entry(1.5, "isolated"), entry(1.5, "isolated", fixture="f1")], ids=["all", "it"]
)
def test_once_its_power_is_cut_the_rest_is_left_to_be_covered(cut):
    job, left = lost_first(at_h=1.6, log=[cut])
    assert job.cannot is not None
    assert (left.action, left.start_by_s, left.do_by_s) == ("cover", job.start_by_s, job.do_by_s)


def test_power_cut_to_another_does_not_do():
    _, left = lost_first(at_h=1.6, log=[entry(1.5, "isolated", fixture="f2")])
    assert left.action == "isolate"


@pytest.mark.parametrize("action", ["cover", "bring-in"])
def test_that_it_is_isolated_does_not_end_a_cannot_to_cover(action):
    told = [answered(1.0, "cannot", action=action)]
    found = standing(told, [entry(1.2, "isolated")], POLE, after(1.5).timestamp())
    assert found["pole", "protect"].answer == "cannot"


def test_who_is_at_the_switch_covers_nothing():
    """Sam cannot cover, and Ines isolates: the job is not under way, and still cannot be done."""
    told = [
        answered(1.0, "cannot", action="cover", by="Sam"),
        answered(1.1, "doing", action="isolate", by="Ines"),
    ]
    job = only(planned(POLE, RAIN, at_h=1.2, answers=told))
    assert (job.under_way, job.cannot.says) == (False, "it cannot be done now, says Sam")
    found = standing(told, [entry(1.2, "isolated")], POLE, after(1.5).timestamp())
    assert set(found) == {("pole", "protect")}


def test_without_a_cover_it_is_brought_in():
    told = [answered(1.0, "cannot", because="no-cover")]
    before, now = only(planned(POLE, RAIN)), only(planned(POLE, RAIN, at_h=1.0, answers=told))
    assert (before.action, now.action) == ("cover", "bring-in")
    assert now.cannot is None
    assert not now.late


# --------------------------------------------------------------------------- not needed


def test_not_needed_takes_no_hands():
    both = rig(position("a"), position("b"), count=10)
    found = planned(both, RAIN, at_h=1.0, answers=[answered(1.0, "not-needed", "a")])
    idle = job_at(found, "a")
    assert (idle.not_needed, idle.start_by_s) == (True, None)
    assert since_noon_h(idle.do_by_s) == pytest.approx(2.5)
    assert start_h(job_at(found, "b")) == pytest.approx(2.3)


# ---------------------------------------------------------------------- how long it holds


@pytest.mark.parametrize(
    ("log", "now_h", "holds"),
    [
        ((), 1.5, True),
        ((), 25.1, False),  # more than a day
        ((entry(1.2, "covered", count=(3, 10)),), 1.5, False),  # it can be done after all
        ((entry(1.2, "covered"),), 1.5, False),
        ((entry(0.9, "covered"),), 1.5, True),
        ((entry(1.2, "wet"),), 1.5, True),  # says nothing of the job
    ],
)
def test_a_cannot_holds_until_something_is_logged_there(log, now_h, holds):
    found = standing([answered(1.0, "cannot")], log, POLE, after(now_h).timestamp())
    assert (("pole", "protect") in found) == holds


def test_the_last_answer_counts_and_none_from_the_future():
    told = [answered(1.0, "cannot"), answered(1.2, "doing"), answered(3.0, "not-needed")]
    found = standing(told, (), POLE, after(2.0).timestamp())
    assert found["pole", "protect"].answer == "doing"
    part = (entry(1.3, "covered", count=(3, 10)),)
    assert standing(told, part, POLE, after(2.0).timestamp())["pole", "protect"].answer == "doing"


def test_an_answer_to_other_fixtures_is_no_answer_to_these():
    job = only(
        planned(POLE, RAIN, at_h=1.0, answers=[answered(1.0, "not-needed", fixtures=("x",))])
    )
    assert not job.not_needed


def test_done_is_not_taken_for_logged():
    job = only(planned(POLE, RAIN, at_h=1.0, answers=[answered(1.0, "done")]))
    assert (job.under_way, job.not_needed, job.cannot) == (False, False, None)
    assert start_h(job) == pytest.approx(2.3)
