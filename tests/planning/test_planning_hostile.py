"""Evenings that tempt a plan into saying what cannot be done.

As in test_planning_evening: rain of 1 mm/h from 14:00 spends the half millimetre of an IP20 by
14:30; on the pole 2 min to set up and 1 a fixture, by one. Times are hours after noon, UTC.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import numpy as np
import pytest
from exposure.rigs import after, entry, fixture, hours, position, show
from planning.planned import bag, only, planned, since_noon_h

from monitor.domain import Answered, Crew, Hours, Person
from monitor.planning.crew import start_margin_s
from monitor.planning.hands import Hand, Leg, Schedule, Task, Turn
from monitor.planning.on_shift_first import on_shift_first
from monitor.planning.schedule import latest
from monitor.planning.standing import standing
from monitor.planning.workable import Span

RAIN = hours([0, 0, 1, 1, 1], 0.0)
MINUTE = 1 / 60
ALWAYS = ((-np.inf, np.inf),)


def rig(*places, people=(), count=1, crew=None, value=1.0):
    rows = [
        fixture("IP20", f"f{n}", position=p.id, count=count, cover="bag", value=value)
        for n, p in enumerate(places, 1)
    ]
    described = show(rows, positions=places, covers=[bag(in_stock=100)])
    return replace(described, crew=crew or Crew(people=people))


def shift(start, end):
    return Hours(time.fromisoformat(start), time.fromisoformat(end))


def said(at_h, what, place="pole", fixtures=("f1",), **more):
    return Answered(after(at_h), f"{place}-1", what, place, "protect", fixtures, **more)


def job_at(found, place):
    (job,) = (j for j in found.jobs if j.position == place)
    return job


# ----------------------------------------------------------------------------- closings


def task(key="a", **changes):
    plain = Task(key, 10.0, 1, frozenset(), (), 3600.0, 1.0, alone_ok=True, first_minutes=3.0)
    return replace(plain, **changes)


def test_a_gap_too_short_for_one_fixture_is_no_start():
    # Ten minutes of work due at 60 min; closed from 10 to 50 but for 28 to 30, then open. Eight
    # minutes of the two open ends (50 to 60) and the gap would do; the gap is too short to begin
    # in. Work of 12 min: 10 after the closing, 2 in the gap; with three wanted before a closing
    # it begins at 7, not at 28, nor at 27, which is closed.
    shut = (Span(600.0, 28 * 60.0, "gust"), Span(30 * 60.0, 50 * 60.0, "gust"))
    (turn,) = latest([task(minutes=12.0, blocked=shut)], 1, 0.0).turns
    assert turn.start_s == pytest.approx(7 * 60.0)
    # the same read forward, where it is late: due at 5 min, from 8 min on nobody begins before 50
    late = latest([task(blocked=shut, do_by_s=300.0)], 1, 8 * 60.0)
    assert late.turns[0].start_s == pytest.approx(50 * 60.0)
    assert late.late[0].by_s == pytest.approx(55 * 60.0)


def test_nobody_is_at_another_job_when_the_earlier_start_before_a_closing_is_ordered():
    # One party, 6 mm/h from noon. "a" closes from 13:00 to 14:00 and is due 14:30 by 15 mm: of its
    # 31 min one is left to do before 13:00, but it wants 3 to begin: 12:57. "b", 3 min and due
    # 12:59 by 5.9 mm, then has to be done by 12:57, not by 12:59: 12:54.
    ladder = position("a", access="ladder", access_limit_mps=10.0)
    described = rig(ladder, position("b"), crew=Crew(parties=1))
    a, b = described.fixtures
    rows = (replace(a, count=29, stated_mm=15.0), replace(b, stated_mm=5.9))
    found = planned(replace(described, fixtures=rows), hours([6, 6, 6], 0.0, gust=[3, 14, 3]))
    assert since_noon_h(job_at(found, "a").start_by_s) == pytest.approx(1 - 3 * MINUTE)
    assert since_noon_h(job_at(found, "b").start_by_s) == pytest.approx(1 - 6 * MINUTE)
    assert not any(job.late for job in found.jobs)


# ------------------------------------------------------------------------------ call-outs


def test_who_is_called_so_that_nobody_is_alone_is_called_in_time():
    # A ladder is not for one alone: Ben is called, 60 min on his way. 3 min before 14:30 is
    # 14:27; he is called 60 + 20 min before that, not at the usual margin.
    ladder = position("pole", access="ladder", access_limit_mps=None)
    people = (Person("Ada"), Person("Ben", (), (shift("22:00", "06:00"),), 60.0))
    described = rig(ladder, people=people)
    job = only(planned(described, RAIN))
    assert job.facts.who == ("Ada",)
    assert since_noon_h(job.start_by_s) == pytest.approx(2.5 - 3 * MINUTE)
    assert since_noon_h(job.call_by_s) == pytest.approx(1.5 - 3 * MINUTE)
    assert start_margin_s(described, job) == pytest.approx(80 * 60.0)


def test_who_takes_over_is_called_in_time():
    # Ada leaves at 14:20; thirty fixtures are 32 min: 13:58 to 14:30. Ben, called at noon, is
    # there from 14:10: he cannot begin it, and takes it over as he comes.
    people = (
        Person("Ada", (), (shift("06:00", "14:20"),)),
        Person("Ben", (), (shift("15:00", "22:00"),), 130.0),
    )
    described = rig(position("pole"), people=people, count=30)
    job = only(planned(described, RAIN))
    assert since_noon_h(job.start_by_s) == pytest.approx(2 - 2 * MINUTE)
    assert (job.facts.who, job.facts.handed_to) == (("Ada",), ("Ben",))
    assert since_noon_h(job.call_by_s) == pytest.approx(0.0)
    # noon is 118 min before 13:58, and 20 of slack
    assert start_margin_s(described, job) == pytest.approx(138 * 60.0)


def test_nobody_is_called_for_what_somebody_on_shift_can_do():
    people = (
        Person("Called", (), (shift("22:00", "06:00"),), 10.0),
        Person("Here", (), (shift("06:00", "22:00"),)),
    )
    job = only(planned(rig(position("pole"), people=people), RAIN))
    assert job.facts.who == ("Here",)
    assert job.call_by_s is None
    assert since_noon_h(job.start_by_s) == pytest.approx(2.5 - 3 * MINUTE)


def test_somebody_on_shift_is_freed_by_a_third_for_what_only_they_may_do():
    # "high" wants a ticket: Cal (off shift) or Ada. Ada has "low", which Ben can do.
    crew = (
        Hand("Ada", frozenset({"lift"}), ALWAYS),
        Hand("Ben", frozenset(), ALWAYS),
        Hand("Cal", frozenset({"lift"}), ALWAYS),
    )
    tasks = (task("high", tickets=frozenset({"lift"})), task("low"))
    turns = tuple(
        Turn(key, 0.0, 600.0, (Leg((name,), 0.0, 600.0),))
        for key, name in (("high", "Cal"), ("low", "Ada"))
    )
    shifts = {"Ada": ALWAYS, "Ben": ALWAYS, "Cal": ()}
    found = on_shift_first(Schedule(turns, (), exact=True), tasks, crew, shifts)
    assert [(turn.key, turn.who) for turn in found.turns] == [("high", ("Ada",)), ("low", ("Ben",))]
    # without Ben there is nobody for "low", and Cal is called
    two = on_shift_first(Schedule(turns, (), exact=True), tasks, crew[::2], shifts)
    assert [turn.who for turn in two.turns] == [("Cal",), ("Ada",)]


def test_who_says_so_is_at_it_without_the_ticket_and_nowhere_else():
    # Nobody holds "lift"; Ada says she is doing it. She is not planned for "b" as well.
    lift = position("a", tickets=("lift",))
    described = rig(lift, position("b"), people=(Person("Ada"), Person("Ben")), count=10)
    found = planned(described, RAIN, at_h=2.25, answers=[said(2.25, "doing", "a", by="Ada")])
    assert job_at(found, "a").facts.who == ("Ada",)
    assert job_at(found, "b").facts.who == ("Ben",)


# -------------------------------------------------------------------------------- answers


PAIR = show(
    [fixture("IP20", name, cover="bag") for name in ("f1", "f2")],
    positions=[position("pole")],
    covers=[bag()],
)


@pytest.mark.parametrize("what", ["doing", "cannot", "not-needed"])
def test_an_answer_ends_with_the_last_fixture_logged(what):
    told = [said(1.0, what, fixtures=("f1", "f2"))]
    log = [entry(1.1, "covered", fixture="f1"), entry(1.2, "covered", fixture="f2")]
    assert ("pole", "protect") not in standing(told, log, PAIR, after(1.3).timestamp())
    # bare again by single fixtures: what was answered before is not said of that
    again = [*log, entry(1.3, "uncovered", fixture="f1"), entry(1.3, "uncovered", fixture="f2")]
    job = only(planned(PAIR, RAIN, at_h=1.4, log=again, answers=told))
    assert (job.under_way, job.cannot, job.not_needed) == (False, None, False)


def test_no_cover_stands_while_they_are_brought_in_one_by_one():
    told = [said(1.0, "cannot", fixtures=("f1", "f2"), because="no-cover")]
    one_in = [entry(1.1, "brought-in", fixture="f1")]
    job = only(planned(PAIR, RAIN, at_h=1.2, log=one_in, answers=told))
    assert (job.action, job.fixtures) == ("bring-in", ("f2",))
    one_on = [entry(1.1, "covered", fixture="f1")]
    job = only(planned(PAIR, RAIN, at_h=1.2, log=one_on, answers=told))
    assert (job.action, job.fixtures) == ("cover", ("f2",))


def test_not_needed_is_not_said_of_fixtures_that_came_to_it_since():
    told = [said(1.0, "not-needed", fixtures=("f1",))]
    job = only(planned(PAIR, RAIN, at_h=1.2, answers=told))
    assert set(job.fixtures) == {"f1", "f2"}
    assert not job.not_needed
    assert job.start_by_s is not None


# ---------------------------------------------------------------------------------- worth


@pytest.mark.parametrize("cheap", [0.0, 0.01])
def test_what_is_dear_is_not_lost_for_what_is_cheap_beside_it(cheap):
    # a minute costs 1: 103 min for 100 worthless ones and one of 50, which alone is 3 min
    rows = [
        fixture("IP20", "dear", cover="bag", value=50.0),
        fixture("IP20", "cheap", cover="bag", value=cheap, count=100, stated_mm=0.4),
    ]
    described = show(rows, positions=[position("pole")], covers=[bag(in_stock=200)])
    described = replace(described, crew=Crew(minute_cost=1.0))
    job = only(planned(described, RAIN))
    assert job.fixtures == ("dear",)
    assert since_noon_h(job.start_by_s) == pytest.approx(2.5 - 3 * MINUTE)
    assert (job.facts.worth.cost, job.facts.worth.at_stake) == (3.0, 50.0)
