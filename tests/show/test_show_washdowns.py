"""[[washdowns]] as read, and each fault with its place."""

from __future__ import annotations

from datetime import UTC, datetime, time

import pytest
from show_samples import ENVIRON, change, notes, problems, small

from monitor.domain import Hours, Washdown
from monitor.show import read_show

DAILY = """
[[washdowns]]
kind = "sprinkler"
positions = ["tower"]
every_day = ["04:30-05:00"]
days = ["Fri", "mon"]
"""
ONCE = """
[[washdowns]]
kind = "high"
positions = ["tower"]
start = "2027-07-16T09:00"
end = "2027-07-16T10:30"
rate_mm_h = 400
"""


def with_more(folder, text):
    show = small(folder)
    path = show / "show.toml"
    path.write_text(path.read_text("utf-8") + text, "utf-8")
    return show


def test_it_is_read(tmp_path):
    daily, once = read_show(with_more(tmp_path, DAILY + ONCE), ENVIRON).show.washdowns
    assert daily == Washdown(
        "sprinkler",
        ("tower",),
        15.0,
        every_day=(Hours(time(4, 30), time(5)),),
        days=(0, 4),
    )
    # the site's clock is an hour ahead of UTC in July
    assert once == Washdown(
        "high",
        ("tower",),
        400.0,
        start=datetime(2027, 7, 16, 8, tzinfo=UTC),
        end=datetime(2027, 7, 16, 9, 30, tzinfo=UTC),
    )


@pytest.mark.parametrize(
    ("old", "new", "code", "says"),
    [
        ('"tower"', '"towel"', "unknown-position", "names towel, which is not a position"),
        ('["tower"]', "[]", "missing-key", "positions of washdown 1 is empty"),
        ('kind = "sprinkler"\n', "", "missing-key", "kind of washdown 1 is missing"),
        ('"sprinkler"', '"rain"', "unknown-choice", 'kind of washdown 1 is "rain"'),
        ("04:30-05:00", "half past", "bad-hours", "every_day of washdown 1"),
        ('every_day = ["04:30-05:00"]\n', "", "washdown-times", "not from when to when it runs"),
        ('"mon"', '"moon"', "unknown-choice", "washdown 1"),
        ("every_day", "each_day", "unknown-key", "washdown 1 has a key each_day"),
        ('days = ["Fri"', 'start = "2027-07-16T09:00"\ndays = ["Fri"', "washdown-times", "both"),
    ],
)
def test_faults_of_daily_ones(tmp_path, old, new, code, says):
    found = problems(with_more(tmp_path, DAILY.replace(old, new, 1)))
    main = [p for p in found if p.code == code]
    assert main, [(p.code, p.says) for p in found]
    assert says in main[0].says
    assert main[0].remedy
    assert main[0].file == "show.toml"
    assert main[0].line is not None


@pytest.mark.parametrize(
    ("old", "new", "code", "says"),
    [
        ("10:30", "08:30", "bad-time", "end of washdown 1 is not after its start"),
        ('end = "2027-07-16T10:30"\n', "", "washdown-times", "not from when to when it runs"),
        ("rate_mm_h = 400", "rate_mm_h = 0", "out-of-range", "rate_mm_h of washdown 1 is 0"),
        ("rate_mm_h = 400", 'days = ["mon"]', "washdown-times", "days are of daily hours"),
    ],
)
def test_faults_of_single_ones(tmp_path, old, new, code, says):
    (found,) = problems(with_more(tmp_path, ONCE.replace(old, new, 1)))
    assert found.code == code
    assert says in found.says


def test_every_fault_at_once(tmp_path):
    broken = DAILY.replace('"tower"', '"towel"') + ONCE.replace("10:30", "08:30")
    assert [p.code for p in problems(with_more(tmp_path, broken))] == [
        "unknown-position",
        "bad-time",
    ]


def test_times_without_a_washdown_count_nothing_and_that_is_told(tmp_path):
    show = small(tmp_path)
    change(show, "show.toml", 'id = "tower"\n', 'id = "tower"\nwashdown_times = ["04:30-05:00"]\n')
    assert "no-washdown" in [note.code for note in notes(show)]
