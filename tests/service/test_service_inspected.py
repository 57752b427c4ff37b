"""What each inspection found and what the fixture had taken by then, by hand.

Calm rain falls straight down: wetting is the rain's depth. IP20 has 0.5 mm, whatever its
condition; IP44 with mount any in condition hire has 25 mm.
"""

from __future__ import annotations

import numpy as np
import pytest
from exposure.rigs import NOON, entry, fixture, hours, position, show

from monitor.domain import Cover
from monitor.exposure.rig import compile_rig
from monitor.service.inspected import inspections


def found(described, weather, log):
    return inspections(compile_rig(described), weather, log, NOON.timestamp())


def hour(row):
    return (row.at - NOON).total_seconds() / 3600.0


def test_each_by_what_was_on_it_since_it_was_last_dry():
    rain = hours([[1.0, 1.0, 0.0, 1.0]])
    log = [
        entry(0.5, "inspected", fixture="a", result="damp", earth_ohm=0.2),
        entry(2.0, "inspected", fixture="a", result="dry"),
        entry(4.0, "inspected", fixture="a", result="water-inside", insulation_mohm=0.4),
    ]
    rows = found(show([fixture("IP20", "a", type="wash")]), rain, log)
    # half an hour of 1 mm/h, then the rest of two hours, then the one mm after it was dry
    assert [hour(r) for r in rows] == [0.5, 2.0, 4.0]
    assert [r.wetting_mm for r in rows] == pytest.approx([0.5, 2.0, 1.0])
    assert [r.used for r in rows] == pytest.approx([1.0, 4.0, 2.0])
    assert [r.result for r in rows] == ["damp", "dry", "water-inside"]
    assert [(r.earth_ohm, r.insulation_mohm) for r in rows] == [
        (0.2, None),
        (None, None),
        (None, 0.4),
    ]
    # wet from the first drop; nothing dries without a dew point, so hours 2 and 3 count as well
    assert [r.wet_hours for r in rows] == pytest.approx([0.5, 2.0, 1.0])
    assert all(r.known for r in rows)
    assert {(r.type, r.code, r.condition) for r in rows} == {("wash", "IP20", "hire")}


def test_covered_hours_and_a_part_of_a_row():
    bag = Cover("bag", "bag", sealed=True, in_stock=9)
    described = show([fixture("IP44", "a", cover="bag", count=4)], covers=(bag,))
    log = [
        entry(1, "covered"),
        entry(3, "uncovered"),
        entry(4, "inspected", result="dry", count=(3, 4)),
    ]
    (row,) = found(described, hours([[5.0] * 4]), log)
    # 5 mm in the first hour and 5 in the last; two hours under the bag
    assert (row.wetting_mm, row.used) == pytest.approx((10.0, 0.4))
    assert row.covered_hours == pytest.approx(2.0)
    assert (row.count, row.part) == (4, (3, 4))


def test_a_position_is_all_that_hung_there_then():
    near, far = position("near"), position("far")
    described = show(
        [fixture("IP20", "a", position="near"), fixture("IP20", "b", position="near")],
        positions=(near, far),
    )
    log = [
        entry(1, "moved", fixture="b", to="far"),
        entry(2, "inspected", position="near", result="dry"),
        entry(3, "inspected", position="far", result="damp"),
    ]
    rows = found(described, hours([[0.0] * 4]), log)
    assert [(r.fixture, r.position) for r in rows] == [("a", "near"), ("b", "far")]


def test_unknown_weather_is_said():
    log = [entry(2, "inspected", fixture="a", result="dry")]
    described = show([fixture("IP20", "a")])
    (gap,) = found(described, hours([[1.0, np.nan]]), log)
    assert (gap.known, gap.wetting_mm) == (False, 1.0)
    (short,) = found(described, hours([[1.0]]), log)
    assert not short.known
    (none,) = found(described, None, log)
    assert (none.known, none.used) == (False, 0.0)
    assert found(described, hours([[1.0]]), []) == ()
