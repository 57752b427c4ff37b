"""What to dry and to clean, by truck and case; and which weather came when."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from report_samples import (
    NOON,
    Page,
    after,
    entry,
    fixture,
    material,
    position,
    read_csv,
    show,
    weather,
)

from monitor.report import write_report
from monitor.report.received import Received, received
from monitor.store.runs import StoredRun


def written(tmp_path, made):
    write_report(tmp_path, made)
    return Page((tmp_path / "report.html").read_text(encoding="utf-8"))


def test_the_drying_list_goes_by_truck_and_case_and_the_worst_first(tmp_path):
    rig = show(
        fixture("d", "IP20", truck="2", case="B"),
        fixture("c", "IP20"),  # nobody said where it travels
        fixture("b2", "IP20", truck="1", case="B", serial="S9"),
        fixture("b1", "IP20", truck="1", case="B", position="edge"),
        fixture("a", "IP20", truck="1", case="A", owner="Field Light", name="wash"),
        fixture("dry", "IP66", truck="1", case="A"),
        positions=(position(), position("edge", name="Edge")),
    )
    # b1's water was found in it: that comes first in its case, whatever the others took.
    log = (entry(0.5, "inspected", fixture="b1", result="water-inside"),)
    page = written(tmp_path, material(rig, weather([1.0]), log))
    rows = read_csv(tmp_path / "drying.csv")
    assert [(r["truck"], r["case"], r["id"]) for r in rows] == [
        ("1", "A", "a"),
        ("1", "A", "dry"),
        ("1", "B", "b1"),
        ("1", "B", "b2"),
        ("2", "B", "d"),
        ("", "", "c"),
    ]
    assert rows[2]["to_do"].startswith("Keep isolated and out of service")
    # 1 mm on an open IP20: spent. IP66 sets no limit, and is wet at the end all the same.
    assert [r["to_do"] for r in rows[:2]] == ["Dry and inspect", "Dry before it is packed"]
    heads = [row[0] for row in page.rows("drying") if len(row) == 1]
    assert heads == [
        "1; case A: 2 fixtures",
        "1; case B: 2 fixtures",
        "2; case B: 1 fixture",
        "Truck not said; case not said: 1 fixture",
    ]
    lines = [row for row in page.rows("drying") if len(row) == 6]
    assert lines[0][1:4] == ["a", "wash Field Light", "pole"]
    assert lines[3][1] == "b2 S9"


def test_what_has_no_serial_and_wants_the_same_is_one_line(tmp_path):
    rig = show(*(fixture(f"A-{i:03d}", "IP20", case="C") for i in range(1, 41)))
    page = written(tmp_path, material(rig, weather([1.0])))
    (line,) = [row for row in page.rows("drying") if len(row) == 6]
    assert line[1] == "A-001 to A-040 (40)"
    assert len(read_csv(tmp_path / "drying.csv")) == 40


def test_the_cleaning_list_is_its_own(tmp_path):
    rig = show(fixture("a", "IP44", truck="1", case="A", serial="S1"))
    dusty = weather([0.0] * 30, wind=9.0, gust=15.0, temp_c=np.full((1, 30), 28.0))
    dusty = replace(dusty, dew_point_c=np.full((1, 30), 8.0))
    rig = replace(rig, site=replace(rig.site, ground="bare"))
    page = written(tmp_path, material(rig, dusty))
    (row,) = read_csv(tmp_path / "cleaning.csv")
    assert (row["truck"], row["case"], row["id"], row["to_do"]) == ("1", "A", "a", "Clean")
    assert float(row["dusty_hours"]) >= 1.0
    assert "cleaning" in page.tables
    assert read_csv(tmp_path / "drying.csv") == []
    assert "What is not known to be wet is not known to be dry." in page.said


# ---------------------------------------------------------------- which weather came when


def run(at_h, fell, *, seen_h=None, times=1, number=1):
    at = after(at_h)
    seen = at if seen_h is None else after(seen_h)
    return StoredRun(number, at, seen, times, fell)


def test_the_next_day_of_a_run_counts_steps_by_their_part():
    # Two members of weight 1 and 3 in 3 h steps from noon: 3 mm and 7 mm a step. From 13:30 the
    # first step counts half; 24 h on, to 13:30, are 8 steps: half, seven whole, half.
    two = weather([1.0] * 12, minutes=180)
    two = replace(
        two,
        rain_mm=np.array([[3.0] * 12, [7.0] * 12]),
        gust_mps=np.array([[9.0] * 12, [float(i) for i in range(12)]]),
        wind_mps=np.zeros((2, 12)),
        wind_from_deg=np.zeros((2, 12)),
        temp_c=np.full((2, 12), np.nan),
        dew_point_c=np.full((2, 12), np.nan),
        cloud_pct=np.full((2, 12), np.nan),
        thunder=np.full((2, 12), np.nan),
        weights=np.array([1.0, 3.0]),
        issued_at=NOON,
    )
    (one,) = received([run(1.5, two)], NOON.timestamp(), after(48).timestamp())
    # (1 x 3 + 3 x 7) / 4 = 6 mm a step, times 8
    assert one.rain_24h_mm == pytest.approx(48.0)
    assert one.gust_24h_mps == pytest.approx(9.0)  # member 2's steps 0 to 8 reach 8
    assert (one.issued_at, one.members) == (NOON, 2)
    # 12 h are left of it: no figure for a day that it does not reach to the end of
    (short,) = received([run(24.0, two)], NOON.timestamp(), after(48).timestamp())
    assert np.isnan(short.rain_24h_mm)
    gap = replace(two, rain_mm=np.where(np.arange(12) == 5, np.nan, two.rain_mm))
    (holed,) = received([run(0.0, gap)], NOON.timestamp(), after(48).timestamp())
    assert np.isnan(holed.rain_24h_mm)


def test_runs_after_the_period_or_over_before_it_are_not_its():
    early, late = run(0.0, weather([1.0])), run(9.0, weather([1.0] * 24), number=2)
    assert received([early, late], after(2).timestamp(), after(8).timestamp()) == ()
    assert len(received([early, late], after(0.5).timestamp(), after(10).timestamp())) == 2


def test_issue_times_and_the_longest_silence_are_said(tmp_path):
    def one(issued_h, received_h, seen_h):
        return Received(
            "A", None if issued_h is None else after(issued_h), after(received_h), after(seen_h),
            2, 51, after(received_h), after(received_h + 48), 4.0, 12.0,
        )  # fmt: skip

    # Word at 1 h, again at 2 h; a new run at 3.5 h; the next at 8 h: silent for 4.5 h.
    runs = (one(0.0, 1.0, 2.0), one(3.0, 3.5, 3.5), one(None, 8.0, 8.0))
    made = material(
        show(fixture()), weather([0.0] * 9), received=runs, rehearsed=False,
        made_at=NOON + timedelta(hours=9),
    )  # fmt: skip
    page = written(tmp_path, made)
    assert page.rows("received") == [
        [
            "A 51 members",
            "3",
            "Thu 1 Jul 13:00 Thu 1 Jul 14:00",
            "not said Thu 1 Jul 21:00",
            "4 h 30 min",
        ]
    ]
    first, *_ = read_csv(tmp_path / "forecasts.csv")
    assert first["issued_at"] == "2027-07-01T13:00:00+01:00"
    assert (first["rain_next_24h_mm"], first["times_seen"]) == ("4", "2")
    assert "No gap: what fell is known for all of the period." in page.said
