"""With every feed lost there are no steps at all: nothing is added, nothing falls over."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from monitor.domain import LogEntry
from monitor.evaluation import nothing_known
from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig
from monitor.show import read_show

DEMO = Path(__file__).parents[2] / "config" / "demo"


def test_a_rig_with_spray_and_a_log_over_no_steps():
    rig = compile_rig(read_show(DEMO, {}).show)
    at = datetime(2027, 7, 15, 20, tzinfo=UTC)
    log = (
        LogEntry(at=at, entry="covered", position="stage-lip"),
        LogEntry(at=at.replace(hour=22), entry="inspected", position="stage-lip", result="dry"),
    )
    found = assess(
        rig, nothing_known(), log, out_from_s=datetime(2027, 7, 15, 12, tzinfo=UTC).timestamp()
    )
    assert found.used.shape == (1, 0, len(found.groups))
    assert not found.part_used.any()
    assert np.isnan(found.spent_s).all()
    assert found.carried.until_s == -np.inf


def test_no_steps_keep_what_was_carried():
    rig = compile_rig(read_show(DEMO, {}).show)
    before = assess(rig, nothing_known(), (), out_from_s=0.0).carried
    carried = type(before)(
        **{f: getattr(before, f) for f in before.__slots__} | {"used": before.used + 0.4}
    )
    after = assess(rig, nothing_known(), (), out_from_s=0.0, carried=carried).carried
    assert (after.used == 0.4).all()
