"""Whether work was done in time is judged by what fell, and what the crew said stands beside it.

IP20 pieces in a calm: 0.5 mm is their allowance, so 1 mm in an hour spends it in half an hour.
"""

from __future__ import annotations

import numpy as np
import pytest
from report.report_samples import (
    NOON,
    Page,
    after,
    alert,
    changes,
    entry,
    fixture,
    material,
    read_csv,
    show,
    weather,
)

from monitor.domain import Answered, Declared
from monitor.report import write_report
from monitor.report.jobs import jobs
from monitor.report.page import page
from monitor.report.spent import spent_at
from monitor.scores import score

RAIN = [0.0, 1.0, 0.0, 0.0, 0.0, 0.0]
"""1 mm from 13:00Z to 14:00Z: spent at 13:30Z, an hour and a half after noon."""
TOLD = changes(alert("start", at=0.5, do_by=3.0))


def made(log=(), told=TOLD, rain=RAIN, **more):
    return material(show(fixture()), weather(rain), log, changes=told, **more)


def only(*args, **more):
    (job,) = jobs(made(*args, **more))
    return job


# ---------------------------------------------------------------- what fell


@pytest.mark.parametrize(
    ("hours", "came", "spent"),
    [(1.25, "in-time", None), (1.75, "late", 1.5), (2.5, "late", 1.5), (4.0, "late", 1.5)],
)
def test_the_deadline_of_the_forecast_is_not_what_decides(hours, came, spent):
    # the forecast had let them until three; by what fell it was half past one
    job = only((entry(hours, "covered"),))
    assert job.came == came
    assert job.spent_at == (None if spent is None else after(spent))


def test_a_forecast_that_never_was_is_late_and_its_allowance_lasted():
    job = only((entry(3.5, "covered"),), rain=[0.0] * 6)
    assert (job.came, job.spent_at) == ("late", None)
    text = Page(page(made((entry(3.5, "covered"),), rain=[0.0] * 6))).said
    assert (
        "done late, Thu 1 Jul 16:30; by what is known to have fallen the allowance lasted" in text
    )


def test_spent_and_never_done_is_missed_though_it_was_stood_down():
    told = changes(alert("start", at=0.5, do_by=5.5), alert("stood-down", at=2.0))
    assert only(told=told).came == "missed"
    assert only(told=told, rain=[0.0] * 6).came == "not-needed"


def test_the_page_and_the_table_say_when(tmp_path):
    found = made((entry(1.75, "covered"),))
    text = Page(page(found)).said
    # 13:45Z and 13:30Z are 14:45 and 14:30 on site
    assert "done late, Thu 1 Jul 14:45; by what fell an allowance was spent Thu 1 Jul 14:30" in text
    write_report(tmp_path, found)
    (row,) = read_csv(tmp_path / "alerts.csv")
    assert row["spent_at"] == "2027-07-01T14:30:00+01:00"


def test_a_dry_inspection_gives_the_allowance_back():
    log = (entry(1.75, "inspected", result="dry"),)
    found = made(log)
    assert spent_at(found, "f1", after(1.74)) == after(1.5)
    assert spent_at(found, "f1", after(2.0)) is None
    assert spent_at(found, "no such", after(2.0)) is None
    assert spent_at(found, "f1", NOON) is None


# ---------------------------------------------------------------- answers and declarations


def test_answers_stand_with_who_and_when(tmp_path):
    told = changes(
        alert("start", at=0.5, do_by=3.0),
        alert("stood-down", at=2.0),
        alert("start", at=4.0, do_by=5.0),
    )
    said = (
        Answered(after(1.0), "pole-1", "cannot", because="act-on-stage", by="Kit"),
        Answered(after(1.5), "pole-1", "doing", by="Ines <b>"),
        Answered(after(4.5), "pole-1", "done"),
        Answered(after(1.0), "other-1", "done"),
    )
    found = made(told=told, answered=said)
    assert [len(job.answered) for job in jobs(found)] == [2, 1]
    text = Page(page(found)).said
    assert "Cannot be done (act on stage), Kit, Thu 1 Jul 14:00" in text
    assert "Doing it, Ines <b>, Thu 1 Jul 14:30" in text
    write_report(tmp_path, found)
    rows = read_csv(tmp_path / "alerts.csv")
    assert rows[0]["answers"] == (
        "cannot (act-on-stage) 2027-07-01T14:00:00+01:00 Kit; "
        "doing 2027-07-01T14:30:00+01:00 Ines <b>"
    )


def test_who_declared_what_open(tmp_path):
    said = (
        Declared(after(2.0), "height", "Odile", note="ladders only"),
        Declared(after(3.0), "power", "Dario", position="pole"),
    )
    rows = Page(page(made(declared=said))).rows("declared")
    assert rows == [
        ["Thu 1 Jul 15:00", "work at height", "the whole site", "Odile", "ladders only"],
        ["Thu 1 Jul 16:00", "power on again", "pole", "Dario", ""],
    ]
    assert "declared" not in Page(page(made())).tables


# ---------------------------------------------------------------- parts of hours


def test_a_gauge_that_measured_no_whole_hour_measured_all_the_same():
    # noon to 12:40 by a gauge, the rest by nobody
    fell = weather([0.1] * 4, minutes=10)
    none = score([], None, terrain="II", risk=0.25)
    found = made(rain=RAIN, rehearsed=False, scores=none)
    assert "Nothing was measured on the site in this period" in Page(page(found)).said
    gauged = material(
        show(fixture()), fell, rehearsed=False, scores=none, measured=np.ones(4, dtype=bool)
    )
    text = Page(page(gauged)).said
    assert "Rain was measured on the site for 40 min, but in no hour from beginning to end" in text
    assert "Nothing was measured" not in text
