"""An issue time is believed only as far as our own clock allows."""

from datetime import UTC, datetime, timedelta

import pytest

from monitor.feeds.decode import _believed

READ = datetime(2027, 7, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("ahead", "believed"),
    [(-600, True), (0, True), (5, True), (6, False), (60 * 24 * 400, False)],
)
def test_a_run_is_not_issued_after_it_is_read(ahead, believed):
    # five minutes are left for two clocks that differ
    issued = READ + timedelta(minutes=ahead)
    assert _believed(issued, READ) == (issued if believed else None)


def test_a_sample_has_no_clock_to_hold_it_against():
    assert _believed(READ, None) == READ
    assert _believed(None, READ) is None
