"""The minutes of a drill and of real jobs, worked by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain import Answered, LogEntry, Problem
from monitor.setup.real_jobs import Offer, RealJob, offer, real_jobs
from monitor.setup.timed import Drill, Minutes, believable, count_of, minutes_of

AT = datetime(2027, 7, 15, 18, 0, tzinfo=UTC)


def at(minutes, seconds=0):
    return AT + timedelta(minutes=minutes, seconds=seconds)


# ---------------------------------------------------------------- a drill


@pytest.mark.parametrize(
    ("there", "covered", "count", "setup", "each"),
    [
        (at(10), at(32, 30), 15, 10.0, 1.5),  # 22.5 min for 15
        (at(9, 10), at(32, 30), 15, 9.5, 1.6),  # 9.17 up; 23.33 / 15 is 1.556, up
        (at(12), at(24), 3, 12.0, 4.0),
        (at(0, 1), at(0, 2), 1, 0.5, 0.1),  # a second is up to the next step
        (at(0), at(6), 20, 0.0, 0.3),  # exactly 0.3: not up to 0.4 for what binary loses
    ],
)
def test_minutes_of_a_drill(there, covered, count, setup, each):
    assert minutes_of(Drill(at(0), there, covered), count) == Minutes(setup, each)


def test_a_drill_goes_step_by_step():
    steps = [Drill(), Drill(at(0)), Drill(at(0), at(9)), Drill(at(0), at(9), at(20))]
    assert [drill.next_step for drill in steps] == ["out", "there", "covered", None]
    assert [minutes_of(drill, 3) is None for drill in steps] == [True, True, True, False]


@pytest.mark.parametrize(
    ("drill", "is_so"),
    [
        (Drill(), True),
        (Drill(at(0)), True),
        (Drill(at(0), at(9), at(20)), True),
        (Drill(at(0), at(0), at(0)), True),
        (Drill(at(9), at(0)), False),
        (Drill(None, at(9)), False),
        (Drill(at(0), None, at(9)), False),
        (Drill(at(0), at(20), at(9)), False),
        (Drill(at(32)), False),  # two minutes from now
        (Drill(at(-800), at(9)), False),  # over twelve hours
    ],
)
def test_what_can_be_a_drill(drill, is_so):
    assert believable(drill, at(30)) is is_so


@pytest.mark.parametrize("text", ["", " ", "0", "-3", "3.5", "2001", "many", "٣", "9" * 5000])
def test_what_is_no_count(text):
    found = count_of(text)
    assert isinstance(found, Problem)
    assert found.key == "count"


def test_a_count():
    assert count_of(" 12 ") == 12


# ---------------------------------------------------------------- real jobs

PIECES = {"A": 1, "B": 4, "C": 1}


def says(minutes, answer="doing", fixtures=("A", "B"), position="truss", family="protect"):
    return Answered(
        at(minutes), "truss-1", answer, position=position, family=family, fixtures=fixtures
    )


def logged(minutes, entry="covered", position="truss", fixture=None, count=None):
    return LogEntry(
        at(minutes),
        entry,
        position=None if fixture else position,
        fixture=fixture,
        count=count,
    )


def jobs(answers, log):
    return [(job.minutes, job.count) for job in real_jobs("truss", PIECES, answers, log)]


def test_from_doing_to_done():
    """Done logs it covered at the same moment. A is one and B four: five pieces."""
    assert jobs([says(0), says(20, "done")], [logged(20)]) == [(20.0, 5)]


def test_logged_without_an_answer():
    assert jobs([says(0)], [logged(18)]) == [(18.0, 5)]


def test_two_who_both_say_doing_began_with_the_first():
    assert jobs([says(0), says(5), says(20, "done")], [logged(20)]) == [(20.0, 5)]


def test_piece_by_piece_it_ends_with_the_last_that_was_ordered():
    log = [logged(10, fixture="A"), logged(16, fixture="C"), logged(25, fixture="B")]
    assert jobs([says(0)], log) == [(25.0, 5)]


@pytest.mark.parametrize(
    ("answers", "log"),
    [
        ([says(0)], []),  # never finished
        ([], [logged(20)]),  # nobody said they were at it
        ([says(0), says(5, "cannot")], [logged(20)]),
        ([says(0), says(5, "not-needed")], [logged(20)]),
        ([says(0)], [logged(20, count=(2, 5))]),  # in part
        ([says(0)], [logged(20, position="bar")]),
        ([says(0)], [logged(20, entry="isolated")]),
        ([says(0), says(20, "done")], [logged(20, entry="brought-in")]),
        ([says(0, position="bar")], [logged(20)]),
        ([says(0, family="uncover")], [logged(20)]),
        ([says(0)], [logged(0.5)]),  # tapped afterwards
        ([says(0)], [logged(241)]),  # forgotten
        ([says(0, fixtures=("X",))], [logged(20)]),  # nothing that hangs there now
        ([says(20)], [logged(10)]),  # covered before
    ],
)
def test_what_is_no_timed_job(answers, log):
    assert jobs(answers, log) == []


def test_one_after_another():
    answers = [says(0), says(20, "done"), says(100), says(130, "done")]
    assert jobs(answers, [logged(20), logged(130)]) == [(20.0, 5), (30.0, 5)]


def real(*minutes):
    return [RealJob(AT, m, 10) for m in minutes]


def test_the_one_in_the_middle_says_how_far_off_the_plan_is():
    """Planned are 10 + 10 x 1.5 = 25 min. 30, 35 and 90 took 1.2, 1.4 and 3.6 times as long:
    10 x 1.4 is 14, and 1.5 x 1.4 is 2.1.
    """
    found = offer(real(90, 30, 35), Minutes(10.0, 1.5))
    assert found == Offer(3, pytest.approx(1.4), Minutes(14.0, 2.1))


def test_faster_than_planned():
    """20, 20 and 25 of 25 min: 0.8 times; 10 x 0.8 is 8, 1.5 x 0.8 is 1.2."""
    found = offer(real(20, 20, 25), Minutes(10.0, 1.5))
    assert found is not None
    assert found.minutes == Minutes(8.0, 1.2)


@pytest.mark.parametrize(
    ("took", "planned"),
    [
        (real(90, 90), Minutes(10.0, 1.5)),  # too few
        (real(25, 27, 23), Minutes(10.0, 1.5)),  # within a tenth
        (real(27.4, 27.4, 27.4), Minutes(10.0, 1.5)),  # not quite a tenth
        (real(20, 20, 20), Minutes(0.0, 0.0)),  # nothing planned to scale
        ([], Minutes(10.0, 1.5)),
    ],
)
def test_nothing_to_offer(took, planned):
    assert offer(took, planned) is None
