from __future__ import annotations

import os
import stat
from dataclasses import replace

import numpy as np
import pytest
from report_samples import (
    Page,
    alert,
    changes,
    entry,
    fixture,
    material,
    position,
    read_csv,
    show,
    weather,
)

from monitor.domain import UnableError
from monitor.report import write_report
from monitor.report.csv_files import neutral

FILES = (
    "report.html",
    "report.json",
    "report.schema.json",
    "fixtures.csv",
    "positions.csv",
    "covers.csv",
    "unit-log.csv",
    "earlier-shows.csv",
    "drying.csv",
    "cleaning.csv",
    "alerts.csv",
    "alert-scores.csv",
    "messages.csv",
    "weather.csv",
    "forecasts.csv",
    "scores.csv",
    "sha256sums.txt",
)


def test_every_file_is_written_and_told(tmp_path):
    out = tmp_path / "a" / "b"
    written = write_report(out, material(show(fixture()), weather([1.0])))
    assert tuple(p.name for p in written) == FILES
    assert sorted(p.name for p in out.iterdir()) == sorted(FILES)
    Page((out / "report.html").read_text(encoding="utf-8"))
    mask = os.umask(0o022)
    os.umask(mask)
    assert all(stat.S_IMODE(p.stat().st_mode) == 0o666 & ~mask for p in written)


def test_numbers_come_back_from_fixtures_csv(tmp_path):
    rig = show(fixture("a", "IP20"), fixture("b", "IP44", count=3), fixture("c", "IP66"))
    made = material(rig, weather([2.0, 0.3, np.nan, 4.0], wind=6.0, wind_from=225.0))
    write_report(tmp_path, made)
    rows = {row["id"]: row for row in read_csv(tmp_path / "fixtures.csv")}
    e = made.exposure
    for i, name in enumerate("abc"):
        g, row = int(e.group_of[i]), rows[name]
        assert float(row["wetting_mm"]) == pytest.approx(e.wetting_mm[0, :, g].sum(), rel=1e-9)
        assert float(row["used"]) == pytest.approx(e.used[0, -1, g], rel=1e-9)
        assert float(row["wet_hours"]) == pytest.approx(e.wet_hours[0, g], rel=1e-9)
        assert float(row["unknown_hours"]) == pytest.approx(1.0)
        assert row["basis"] == "estimate"
    assert list(rows) == ["a", "b", "c"]
    assert rows["b"]["count"] == "3"
    assert rows["c"]["allowance_mm"] == rows["c"]["spent_at"] == ""
    assert rows["c"]["state"] == "no-limit"
    assert rows["a"]["to_do"] == "Dry and inspect"


def test_each_fixture_has_a_row_however_many_share_a_line(tmp_path):
    made = material(show(*(fixture(f"A-{i:03d}") for i in range(500))), weather([1.0]))
    write_report(tmp_path, made)
    rows = read_csv(tmp_path / "fixtures.csv")
    assert [row["id"] for row in rows] == [f"A-{i:03d}" for i in range(500)]
    # 1 mm on IP20: all 0.5 mm are used after half an hour, at 12:30Z, 13:30 on site.
    assert {row["spent_at"] for row in rows} == {"2027-07-01T13:30:00+01:00"}


def test_positions_csv_counts_each_position(tmp_path):
    rig = show(
        fixture("a", "IP20", count=2),
        fixture("b", "IP66", position="tent"),
        positions=(position(), position("tent", name="Tent, north")),
    )
    write_report(tmp_path, material(rig, weather([1.0], gust=17.04), (entry(0.5, "wet"),)))
    first, second = read_csv(tmp_path / "positions.csv")
    assert (first["position"], first["fixtures"], first["over"]) == ("pole", "2", "2")
    assert (first["worst_fixture"], float(first["worst_used"])) == ("a", pytest.approx(2.0))
    assert (first["log_entries"], second["log_entries"]) == ("1", "0")
    assert (second["name"], second["no_limit"]) == ("Tent, north", "1")
    assert second["first_spent_at"] == ""
    assert float(first["strongest_gust_mps"]) == pytest.approx(17.04)


def test_weather_csv_marks_what_each_step_rests_on(tmp_path):
    fell = replace(
        weather([1.5, 0.0, np.nan], wind=3.0, gust=[9.0, np.nan, 5.0]),
        forecast=np.array([True, False, False]),
        thunder=np.array([[1.0, 0.0, np.nan]]),
        temp_c=np.array([[-3.2, 4.0, 5.0]]),
    )
    made = material(show(fixture()), fell, measured=np.array([False, False, True]))
    write_report(tmp_path, made)
    rows = read_csv(tmp_path / "weather.csv")
    assert [r["kind"] for r in rows] == ["forecast", "record", "measured"]
    assert [r["known"] for r in rows] == ["yes", "yes", "no"]
    assert [r["rain_mm"] for r in rows] == ["1.5", "0", ""]
    assert [r["wind_mps"] for r in rows] == ["3", "3", "3"]
    assert [r["gust_mps"] for r in rows] == ["9", "", "5"]
    assert [r["thunder"] for r in rows] == ["yes", "no", ""]
    assert rows[0]["temp_c"] == "-3.2"
    assert [r["starts_at"][11:16] for r in rows] == ["13:00", "14:00", "15:00"]
    assert {r["minutes"] for r in rows} == {"60"}


def test_alerts_csv_has_a_row_a_change(tmp_path):
    told = changes(alert("notice", at=0.0, do_by=2.0), alert("overdue", at=2.5, do_by=2.0))
    write_report(tmp_path, material(show(fixture()), weather([1.0] * 4), changes=told))
    rows = read_csv(tmp_path / "alerts.csv")
    assert [r["stage"] for r in rows] == ["notice", "overdue"]
    assert {r["outcome"] for r in rows} == {"missed"}
    assert {r["do_by"] for r in rows} == {"2027-07-01T15:00:00+01:00"}
    assert rows[0]["lead_minutes"] == "120"
    assert rows[0]["told_at"] == "2027-07-01T13:00:00+01:00"
    assert rows[0]["done_at"] == ""


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+49 30", "'+49 30"),
        ("-5", "'-5"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("  =1+1", "'  =1+1"),
        ("\t=1", "'\t=1"),
        ("＝1+1", "'＝1+1"),
        ("plain", "plain"),
        ("a=b", "a=b"),
        ("", ""),
        ("   ", "   "),
    ],
)
def test_no_spreadsheet_runs_a_cell(typed, written):
    assert neutral(typed) == written


def test_hostile_names_come_back_from_the_tables(tmp_path):
    names = ['=cmd|"/c calc"!A1', "@x", 'quote " and, comma', "line\nend", "Łódź ☂", "\ud800"]
    rig = show(*(replace(fixture(f"f{i}"), name=n, owner=n) for i, n in enumerate(names)))
    write_report(tmp_path, material(rig, weather([1.0])))
    rows = read_csv(tmp_path / "fixtures.csv")
    assert [r["name"] for r in rows] == ["'" + names[0], "'@x", *names[2:5], "?"]
    for row in rows:
        assert (row["owner"] or " ")[0] not in "=+-@"


def test_a_second_report_replaces_the_first(tmp_path):
    write_report(tmp_path, material(show(fixture("old")), weather([1.0])))
    write_report(tmp_path, material(show(fixture("new")), weather([1.0])))
    assert [r["id"] for r in read_csv(tmp_path / "fixtures.csv")] == ["new"]
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(FILES)


def test_what_cannot_be_written_is_told_and_leaves_the_earlier_report(tmp_path):
    in_the_way = tmp_path / "file"
    in_the_way.write_text("mine")
    with pytest.raises(UnableError, match="cannot be written"):
        write_report(in_the_way, material(show(fixture()), weather([1.0])))
    assert in_the_way.read_text() == "mine"

    out = tmp_path / "out"
    write_report(out, material(show(fixture("old")), weather([1.0])))
    (out / "weather.csv").unlink()
    (out / "weather.csv").mkdir()
    with pytest.raises(UnableError, match=r"weather\.csv"):
        write_report(out, material(show(fixture("new")), weather([1.0])))
    assert [r["id"] for r in read_csv(out / "fixtures.csv")] == ["old"]
    assert sorted(p.name for p in out.iterdir()) == sorted(FILES)
