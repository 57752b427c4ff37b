"""What the service says at its start. The demo's [event] has load-in on Thursday 15 July 2027 at
13:00 and load-out on Monday 19 July at 11:00, site time.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from monitor.builtin import builtin
from monitor.service.status import at_start
from monitor.service.watched import FolderWatch
from monitor.store.outbox_rows import Undelivered

NOTHING = Undelivered(None, 0, 0, 0, {})


@pytest.fixture(scope="module")
def watched(tmp_path_factory):
    folder = tmp_path_factory.mktemp("status") / "show"
    folder.mkdir()
    for item in builtin("demo").iterdir():
        if item.is_file():
            (folder / item.name).write_bytes(item.read_bytes())
    return FolderWatch(folder, {}).current


@pytest.mark.parametrize(
    ("now", "says"),
    [
        ("2026-11-26T06:40", "Load-in is Thu 15 July 2027 13:00: until then"),
        ("2027-07-15T11:59", "Load-in is Thu 15 July 2027 13:00: until then"),
        ("2027-07-19T10:01", "Load-out was Mon 19 July 2027 11:00."),
    ],
)
def test_a_show_of_another_time_says_when_it_is(watched, now, says):
    at = datetime.fromisoformat(now).replace(tzinfo=UTC)
    lines = list(at_start(watched, NOTHING, at))
    assert lines[1].startswith(says)
    assert "[event] of show.toml" in lines[1]


@pytest.mark.parametrize("now", ["2027-07-15T12:00", "2027-07-17T18:00", "2027-07-19T10:00"])
def test_while_it_is_on_nothing_is_said_of_its_dates(watched, now):
    at = datetime.fromisoformat(now).replace(tzinfo=UTC)
    assert not any("Load-" in line for line in at_start(watched, NOTHING, at))
