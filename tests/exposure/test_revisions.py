"""History goes by the revision of the show folder that was in force, worked by hand.

Calm rain of 2 mm/h for six hours; straight down, so wetting is 2 mm an hour. IP20: allowance
0.5 mm, used 4 an hour. IP44 at hire: 25 mm at every angle, used 0.08 an hour.
"""

from dataclasses import replace

import pytest
from rigs import NOON, entry, fixture, hours, position, show

from monitor.domain import Roof
from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig

RAIN = hours([2.0] * 6, 0.0)
START = NOON.timestamp()


def used(now, *earlier, log=()):
    rig = compile_rig(now, [(old, START + 3600.0 * until_h) for old, until_h in earlier])
    found = assess(rig, RAIN, log, out_from_s=START)
    return found.used[0, -1, found.group_of[0]], found


def test_a_code_counts_from_when_it_stood_in_the_files():
    got, _ = used(show([fixture("IP44")]), (show([fixture("IP20")]), 2.0))
    assert got == pytest.approx(2 * 4.0 + 4 * 0.08)


def test_the_same_files_again_change_nothing():
    one, _ = used(show([fixture("IP44")]))
    two, found = used(show([fixture("IP44")]), (show([fixture("IP44")]), 2.0))
    assert one == two == pytest.approx(6 * 0.08)
    assert len(found.groups[0].track.segments) == 1


def test_a_fixture_that_came_into_the_files_later_was_not_out_before():
    got, found = used(show([fixture("IP20")]), (show([fixture("IP20", "other")]), 4.0))
    assert got == pytest.approx(2 * 4.0)
    assert found.hours_out[found.group_of[0]] == pytest.approx(2.0)


def test_it_hung_where_the_files_had_it():
    pole, shed = (
        position(),
        position("shed", height_m=1.0, roof="roof", in_from_front_m=5.0, in_from_right_m=5.0),
    )
    roof = Roof("roof", 0.0, 10.0, 10.0, 3.0, frozenset({"front", "right", "back", "left"}))
    now = replace(
        show([fixture("IP20", position="shed")], positions=[pole, shed]), roofs={"roof": roof}
    )
    old = replace(show([fixture("IP20")], positions=[pole, shed]), roofs={"roof": roof})
    got, _ = used(now, (old, 3.0))
    assert got == pytest.approx(3 * 4.0)  # dry under its roof since


def test_two_changes_and_the_log_between_them():
    # IP20 to 1 h; IP44 to 3 h; IP20 since; brought in from 2 h to 4 h
    log = [entry(2.0, "brought-in", fixture="f1"), entry(4.0, "put-out", fixture="f1")]
    got, _ = used(
        show([fixture("IP20")]),
        (show([fixture("IP20")]), 1.0),
        (show([fixture("IP44")]), 3.0),
        log=log,
    )
    assert got == pytest.approx(1 * 4.0 + 1 * 0.08 + 2 * 4.0)


def test_in_pieces_as_at_once():
    rig = compile_rig(show([fixture("IP44")]), [(show([fixture("IP20")]), START + 9000.0)])
    whole = assess(rig, RAIN, (), out_from_s=START)
    first = assess(rig, RAIN.between(START, START + 7200.0), (), out_from_s=START)
    rest = RAIN.between(START + 7200.0, START + 1e6)
    last = assess(rig, rest, (), out_from_s=START, carried=first.carried)
    assert last.carried.used == pytest.approx(whole.carried.used)
