"""Evenings too large for every way, against a general solver that knows nothing of the planner."""

from __future__ import annotations

import numpy as np
import pytest
from planning.evenings import MINUTE, evening
from planning.solver import Model

from monitor.planning.schedule import latest
from monitor.planning.schedule_check import check

HOURS = 4
EVENINGS = [
    (load, seed, named) for load in (0.3, 0.6, 1.1) for seed in (0, 1) for named in (False, True)
]


def drawn(load, seed, named):
    return evening(np.random.default_rng(seed), 12, 2, load, hours=HOURS, named=named)


def test_no_schedule_starts_later_than_the_solver_proves_possible_and_few_much_sooner():
    gaps, impossible = [], 0
    for load, seed, named in EVENINGS:
        tasks, crew = drawn(load, seed, named)
        schedule = latest(tasks, crew, 0.0)
        assert check(schedule, tasks, crew, 0.0) == ()
        found, bound, proven = Model(tasks, crew, HOURS * 60).first_start(3.0)
        if proven and found is None:
            impossible += 1
            assert not schedule.feasible  # never an infeasible plan called feasible
        elif schedule.feasible:
            first = schedule.first_start_s / MINUTE
            assert first <= bound + 1e-6
            if proven:
                gaps.append(found - first)
    print(f"minutes before the solver's optimum: {sorted(gaps)}; impossible {impossible}")
    assert len(gaps) >= 6
    assert impossible >= 2
    assert min(gaps) >= -1e-6
    assert np.median(gaps) <= 1.0
    assert max(gaps) <= 10.0


@pytest.mark.parametrize("named", [False, True], ids=["parties", "people"])
def test_the_value_saved_is_never_over_what_the_solver_proves_and_mostly_all_of_it(named):
    shares = []
    for seed in range(4):
        tasks, crew = drawn(1.3, seed, named)
        schedule = latest(tasks, crew, 0.0)
        assert not schedule.feasible
        late = {entry.key for entry in schedule.late}
        saved = sum(t.value for t in tasks if t.key not in late)
        found, bound, proven = Model(tasks, crew, HOURS * 60, optional=True).value_saved(1.5)
        assert saved <= bound + 1e-6
        if proven:
            shares.append(saved / found)
    print(f"of the solver's value: {sorted(shares)}")
    assert len(shares) >= 2
    assert min(shares) >= 0.85
    assert np.median(shares) >= 0.95
