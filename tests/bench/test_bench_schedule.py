"""What a schedule costs, as a ratio taken in one run: no figure here depends on the machine.

100 tasks, 10 parties; the same with 20 named people of six sorts of tickets. The measure is what
start-by cost when each task was looked at alone, a thousand times over.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from planning.evenings import evening

from monitor.planning.schedule import latest
from monitor.planning.schedule_check import check
from monitor.planning.workable import latest_start_s

pytestmark = pytest.mark.bench

TIMES = 1000
MOST = 6.0
"""Times the measure."""


def least(work, rounds=3):
    """The shortest of some runs [s]."""
    taken = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


@pytest.mark.parametrize("load", [0.5, 1.2], ids=["in time", "too much"])
@pytest.mark.parametrize("named", [False, True], ids=["parties", "people"])
def test_a_hundred_tasks_and_ten_parties(named, load):
    tasks, crew = evening(np.random.default_rng(9), 100, 10, load, named=named)
    schedule = latest(tasks, crew, 0.0)
    assert check(schedule, tasks, crew, 0.0) == ()
    assert schedule.feasible == (load < 1.0)

    def alone():
        for _ in range(TIMES):
            for task in tasks:
                latest_start_s(task.blocked, task.do_by_s, task.minutes)

    measure = least(alone)
    taken = least(lambda: latest(tasks, crew, 0.0))
    print(f"schedule {taken:.3f} s, measure {measure:.4f} s, ratio {taken / measure:.1f}")
    assert taken < MOST * measure
