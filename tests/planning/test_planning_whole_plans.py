"""plan() on random rigs, weather and people, against every way to work them."""

from __future__ import annotations

import numpy as np
import pytest
from planning.whole_plans import SLOT, Work, drawn, latest_starts, there

from monitor.exposure.assess import assess
from monitor.exposure.results import Carried
from monitor.exposure.rig import compile_rig
from monitor.exposure.tracks import groups_of
from monitor.planning.crew import plan

SLACK = 1e-3


@pytest.mark.parametrize("block", range(10))
def test_no_whole_plan_starts_later_than_can_be_or_promises_what_cannot(block):
    feasible = 0
    for seed in range(40 * block, 40 * block + 40):
        described, weather, begins = drawn(np.random.default_rng(seed))
        rig, now_s = compile_rig(described), begins.timestamp()
        groups, _ = groups_of(rig, (), now_s)
        so_far = Carried.nothing(len(groups))
        ahead = assess(rig, weather, (), out_from_s=now_s, carried=so_far)
        found = plan(rig, ahead, so_far, now_s)
        works = [Work(described, weather, begins, p) for p in described.positions.values()]
        can, _ = there(described.crew, begins)
        jobs = {job.position: job for job in found.jobs}
        assert {w.place for w in works} <= set(jobs), seed
        for work in works:
            assert jobs[work.place].do_by_s - now_s == pytest.approx(work.due * SLOT), seed
        best = latest_starts(works, described.crew, can)
        mine = [jobs[w.place] for w in works]
        assert any(job.late for job in mine) == (best is None), seed
        for job, work in zip(mine, works, strict=True):
            at = (job.start_by_s - now_s) / SLOT
            slot = int(at + SLACK)
            # Nobody is told to begin in closed time, nor where one fixture cannot be done.
            if job.ends_s is not None:
                assert not work.shut[slot : slot + work.first].any(), seed
        if best is not None:
            feasible += 1
            starts = sorted((job.start_by_s - now_s) / SLOT for job in mine)
            assert starts == pytest.approx(best), seed
    assert feasible >= 5
