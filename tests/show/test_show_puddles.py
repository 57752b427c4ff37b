"""Puddles in show.toml and what makers state of an 8 in fixtures.csv, and each fault."""

from __future__ import annotations

import pytest
from show_samples import ENVIRON, change, notes, problems, small

from monitor.domain import Puddle
from monitor.show import read_show


def with_puddle(folder, text):
    show = small(folder)
    change(show, "show.toml", 'id = "tower"\n', f'id = "tower"\n{text}\n')
    return show


def test_it_is_read(tmp_path):
    text = "may_flood_m = 0.1\npuddle = { gathers = 8, half_gone_hours = 3 }"
    read = read_show(with_puddle(tmp_path, text), ENVIRON).show
    assert read.positions["tower"].puddle == Puddle(8.0, 3.0, 0.1)
    # half gone in 3 h: K = 3 / ln 2
    assert read.positions["tower"].puddle.drain_hours == pytest.approx(4.3280851)


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ("puddle = { gathers = 8, half_gone_hours = 3 }", "missing-key", "no may_flood_m"),
        (
            "may_flood_m = 0.1\npuddle = { gathers = 0.5, half_gone_hours = 3 }",
            "out-of-range",
            "gathers of puddle of position tower is 0.5",
        ),
        (
            "may_flood_m = 0.1\npuddle = { gathers = 8 }",
            "missing-key",
            "half_gone_hours of puddle of position tower is missing",
        ),
        (
            "may_flood_m = 0.1\npuddle = { gathers = 8, half_gone_hours = 3, depth = 2 }",
            "unknown-key",
            "depth",
        ),
    ],
)
def test_faults(tmp_path, text, code, says):
    (found,) = problems(with_puddle(tmp_path, text))
    assert found.code == code
    assert says in found.says
    assert found.remedy
    assert found.line is not None


def rows(folder, *lines):
    show = small(folder)
    (show / "log.csv").unlink()
    head = "id,code,position,immersion_m,immersion_minutes"
    (show / "fixtures.csv").write_text("\n".join([head, *lines]) + "\n", "utf-8")
    return show


def test_what_a_maker_states_of_an_8(tmp_path):
    show = rows(tmp_path, "A,IP68,tower,2,120", "B,IP68,tower,0.5,", "C,IP68,tower,,")
    found = read_show(show, ENVIRON).show.fixtures
    assert [(f.immersion_m, f.immersion_minutes) for f in found] == [
        (2.0, 120.0),
        (0.5, None),
        (None, None),
    ]


def test_minutes_without_a_depth_are_refused(tmp_path):
    (found,) = problems(rows(tmp_path, "A,IP68,tower,,120"))
    assert (found.file, found.line) == ("fixtures.csv", 2)
    assert "no immersion_m" in found.says


def test_on_a_7_it_does_not_count_and_that_is_told(tmp_path):
    show = rows(tmp_path, "A,IP67,tower,2,")
    assert "immersion-without-8" in [note.code for note in notes(show)]
