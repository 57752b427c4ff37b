"""The section on forecasts: what it says, what it draws, what its file holds."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from report.report_samples import Page, fixture, material, read_csv, show, svgs, weather
from weather_for_scores import run, steps

from monitor.report import write_report
from monitor.report.page import page
from monitor.scores import score

# By hand: 40 hours from midnight, one run issued 8 h before, so the first 4 hours are 8 to 11 h
# after it and the next 12 are 12 to 23 h after it.
WET = [1.0] * 16 + [0.0] * 24
SAID = [1.0] * 3 + [0.0] + [1.0] * 8 + [0.0] * 4 + [0.0] * 22 + [1.0] * 2


def scored(said=SAID, fell=WET, *, source="feed A", **more):
    return score(
        [run(said, issued_h=-8, source=source, **more)], steps(fell), terrain="II", risk=0.25
    )


def read(scores, **more):
    made = material(show(fixture()), weather([0.0]), rehearsed=False, scores=scores, **more)
    html = page(made)
    return html, Page(html)


def test_it_is_said_in_words():
    _, found = read(scored(), measured=np.ones(1, dtype=bool))
    assert "Measured on site (gauge): 40 hours, 16 of them wet (0.2 mm or more)." in found.said
    # Hours 0 to 3: three of four seen, none forecast that stayed dry; both under ten.
    assert (
        "Of 4 wet hours, 3 were seen 6 to 12 h before; 0 of 3 wet hours forecast stayed dry. "
        "Too few to say: the wet hours and those forecast."
    ) in found.said


def test_a_record_is_not_called_measured_on_the_site():
    # without a gauge, what the forecasts are held against is the record that was given
    _, found = read(scored())
    assert "From a weather record (gauge): 40 hours, 16 of them wet" in found.said
    assert "Measured on site" not in found.said


def test_a_gauge_and_a_record_are_both_named():
    fell = weather([0.0, 0.0])
    made = material(
        show(fixture()),
        fell,
        rehearsed=False,
        scores=scored(),
        measured=np.array([True, False]),
    )
    assert "Measured on site or from a weather record (gauge): 40 hours" in Page(page(made)).said


def test_the_table_holds_counts_always_and_shares_where_there_are_enough():
    _, found = read(scored())
    rows = {row[0]: row for row in found.rows("forecasts") if len(row) > 1}
    assert rows["6 to 12 h before"][1:5] == ["4", "3 of 4", "0 of 3", "too few"]
    # Hours 4 to 15, 12 wet, 8 of them seen: 0.67; 8 forecast, too few for a ratio.
    twelve = rows["12 to 24 h before"]
    assert twelve[1:8] == ["12", "8 of 12", "0 of 8", "0.67", "too few", "too few", "0.67"]
    # Hours 16 to 39 are dry and 24 to 47 h after the issue: 2 of 24 forecast wet, 2/24 = 0.08;
    # Brier 2/24 = 0.08, amounts 2 x 1 mm / 24 = 0.08; no wind was measured.
    day = rows["24 to 48 h before"]
    assert day[1:] == [
        "24", "0 of 0", "2 of 2", "too few", "too few", "0.08", "too few", "0.08", "0.08", "–", "–",
    ]  # fmt: skip


def test_the_picture_shows_the_numbers():
    html, _ = read(scored())
    drawing = next(s for s in svgs(html) if "hits and false alarms" in s)
    root = ET.fromstring(drawing)
    texts = ["".join(t.itertext()) for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert texts.count("3 + 1") == 1
    assert "8 + 4" in texts
    assert "0 + 2" in texts
    assert "none" in texts
    assert "style=" not in drawing
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_without_a_measurement_nothing_is_judged():
    html, found = read(score([run(SAID, issued_h=-8)], None, terrain="II", risk=0.25))
    assert "Nothing was measured on the site in this period" in found.said
    assert "forecasts" not in found.tables
    assert "hits and false alarms" not in html


def test_without_a_forecast_that_is_said():
    _, found = read(score([], steps(WET), terrain="II", risk=0.25))
    assert "No forecast was received." in found.said


def test_hours_measured_before_any_run_came():
    _, found = read(score([run(SAID, issued_h=50)], steps(WET), terrain="II", risk=0.25))
    assert "None of its hours could be compared" in found.said


def test_coarse_steps_are_said():
    run_6h = run([6.0] * 4, issued_h=-8, minutes=360)
    _, found = read(score([run_6h], steps(WET), terrain="II", risk=0.25))
    assert "Steps longer than an hour were left out" in found.said


def test_a_rehearsal_has_no_such_section(tmp_path):
    made = material(show(fixture()), weather([0.0]))
    assert "How good the forecasts were" not in page(made)
    write_report(tmp_path, made)
    assert read_csv(tmp_path / "scores.csv") == []


def test_a_hostile_name_stays_text():
    _, found = read(scored(source="</title><script>alert(1)</script>"))
    assert "script" not in {tag for tag, _ in found.elements}
    assert "alert(1)" in found.said


def test_scores_csv_has_every_figure(tmp_path):
    wind = {"wind": 5.0, "wind_basis": "local"}
    truth = replace(steps(WET, wind=4.0, wind_basis="local"))
    members = run([SAID, [0.0] * 40], issued_h=-8, source="=feed", **wind)
    made = material(
        show(fixture()),
        weather([0.0]),
        rehearsed=False,
        scores=score([members], truth, terrain="II", risk=0.25),
    )
    write_report(tmp_path, made)
    rows = {row["lead_from_h"]: row for row in read_csv(tmp_path / "scores.csv")}
    row = rows["24"]
    # Neutralised for spreadsheets; two members, half of them with rain in 2 of 24 dry hours:
    # Brier 2 x 0.25 / 24. Amount: members 1 and 0 against 0: 1/2 - 1/4 = 1/4 in 2 of 24 hours;
    # fair: 1/2 - 1/2 = 0.
    assert row["feed"] == "'=feed"
    assert (row["members"], row["runs"], row["hours"]) == ("2", "1", "24")
    assert (row["false_alarms"], row["correct_negatives"]) == ("2", "22")
    assert float(row["brier"]) == pytest.approx(0.5 / 24)
    assert float(row["crps_mm"]) == pytest.approx(0.5 / 24)
    assert float(row["crps_fair_mm"]) == pytest.approx(0.0)
    assert row["hit_rate_pod"] == ""
    assert float(row["wind_bias_mps"]) == pytest.approx(1.0)
    assert (row["gust_hours"], row["gust_bias_mps"]) == ("0", "")
    assert rows["12"]["lead_to_h"] == "24"
