"""Until load-in ends every connector that is not capped counts as open. By hand: calm rain of
0.2 mm in an hour on a lamp that rain sets no limit to, with an open code of IP20, so 0.5 mm at
every angle: an hour with the connector open uses 0.2 / 0.5 = 0.4.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from exposure.rigs import after, entry, fixture, hours, run, show

from monitor.exposure.rig import compile_rig
from monitor.exposure.tracks import groups_of

SIX_HOURS = [0.2] * 6


def described(ends_h=2.0, **own):
    own = {"connector_code": "IP65", "connector_open_code": "IP20", **own}
    plain = show([fixture("IP65", **own)])
    ends = None if ends_h is None else after(ends_h)
    return replace(plain, event=replace(plain.event, load_in_ends_at=ends))


def used(shown, log=()):
    found = run(shown, hours(SIX_HOURS), log)
    return found.used[0, -1, found.group_of[0]]


def test_open_until_load_in_ends_and_mated_after():
    assert used(described(2.0)) == pytest.approx(0.8)
    # half an hour of a step counts by half
    assert used(described(1.5)) == pytest.approx(0.6)
    assert used(described(None)) == 0.0


def test_capped_by_the_log_it_counts_as_mated():
    assert used(described(4.0), [entry(1.0, "capped")]) == pytest.approx(0.4)
    # and open again, over the end of load-in as well: 1 h before, 6 - 2 h after
    log = [entry(1.0, "capped"), entry(2.0, "uncapped")]
    assert used(described(4.0), log) == pytest.approx(0.4 * 5)


def test_capped_in_the_files_it_never_was_open():
    assert used(described(connector_state="capped")) == 0.0


def test_open_in_the_files_it_stays_open():
    assert used(described(2.0, connector_state="open")) == pytest.approx(0.4 * 6)


def test_a_connector_with_no_open_code_counts_as_unprotected():
    assert used(described(2.0, connector_open_code=None)) == pytest.approx(0.8)


def test_what_names_no_connector_has_none():
    assert used(described(2.0, connector_code=None, connector_open_code=None)) == 0.0


def test_what_is_put_out_after_load_in_is_as_in_the_files():
    log = [entry(0.0, "brought-in"), entry(3.0, "put-out")]
    assert used(described(2.0), log) == 0.0
    # before it: open from 1 h to 2 h
    log = [entry(0.0, "brought-in"), entry(1.0, "put-out")]
    assert used(described(2.0), log) == pytest.approx(0.4)


def test_standing_has_a_moment():
    rig = compile_rig(described(2.0))
    groups, _ = groups_of(rig, [], after(0).timestamp())
    (group,) = groups
    assert group.open_at(after(1).timestamp())
    assert group.chain_at(after(1).timestamp()).standing == "indoor"
    assert not group.open_at(after(3).timestamp())
    assert group.chain_at(after(3).timestamp()).standing == "permanent"


def test_a_revision_of_the_files_within_load_in_caps_it():
    # capped in the files from 13:00 on: open for the first hour alone
    before, now = described(4.0), described(4.0, connector_state="capped")
    rig = compile_rig(now, [(before, after(1).timestamp())])
    (group,) = groups_of(rig, [], after(0).timestamp())[0]
    assert [(s.end_s - after(0).timestamp(), s.connector_open) for s in group.track.segments] == [
        (3600.0, True),
        (float("inf"), False),
    ]


def test_two_calls_equal_one():
    shown = described(2.0)
    whole = run(shown, hours(SIX_HOURS))
    first = run(shown, hours(SIX_HOURS[:1]))
    rest = run(shown, hours(SIX_HOURS[1:], start=after(1)), carried=first.carried)
    assert rest.used[0, -1, 0] == pytest.approx(whole.used[0, -1, 0])
