from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from report_samples import (
    NOON,
    Page,
    after,
    alert,
    entry,
    fixture,
    mail,
    read_csv,
    show,
    weather,
)

from monitor.domain import BadInputError, Event, Message, Outcome
from monitor.report import material_from, write_report
from monitor.report.page import page
from monitor.show import ShowFolder
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change, record_log, record_revision
from monitor.store.outbox import enqueue, lease, settle
from monitor.store.runs import record_weather


@pytest.fixture
def db(tmp_path):
    with open_database(tmp_path / "dryspell.db") as opened:
        yield opened


def folder(described=None, **changes):
    described = described or show(fixture(code="IP44"), contacts=[mail()], revision="r1")
    return ShowFolder(Path("show"), replace(described, **changes), (), {})


def received(db, fell, at, **changes):
    run = replace(fell, fetched_at=at, issued_at=at, **changes)
    record_weather(db, run, None, at)


def forecast(rain, **changes):
    fell = weather(rain, source="forecast", **changes)
    return replace(fell, forecast=np.ones(len(rain), dtype=bool))


def test_an_empty_history_makes_a_report_that_knows_nothing(db, tmp_path):
    made = material_from(db, folder(), after(6))
    assert made.period == (NOON.timestamp(), after(6).timestamp())
    write_report(tmp_path / "out", made)
    said = Page((tmp_path / "out" / "report.html").read_text(encoding="utf-8")).said
    assert "No weather is known for this period" in said
    assert "6.0 h are not known" in said
    assert "Nothing has been recorded yet." in said
    assert read_csv(tmp_path / "out" / "weather.csv") == []


def test_the_past_is_the_last_forecast_before_and_the_record_where_there_is_one(db):
    received(db, forecast([10.0, 10.0, 10.0]), after(-1))
    # A later run says nothing of the hour that was over when it came.
    received(db, forecast([0.0, 2.0, 2.0]), after(1.5))
    received(db, weather([3.0], start=after(2)), after(3), source="gauge")
    made = material_from(db, folder(), after(3))
    w = made.exposure.steps.weather
    assert w.rain_mm[0].tolist() == [10.0, 2.0, 3.0]
    assert made.kinds() == ("forecast", "forecast", "record")
    # Forecast hours are charged 1.3: (10 + 2) x 1.3 + 3 mm on a top that keeps 25 mm.
    assert made.exposure.used[0, -1, 0] == pytest.approx((12 * 1.3 + 3) / 25)
    said = Page(page(made)).said
    assert "15.0 mm of rain on open ground (3.0 mm from a weather record, 12.0 mm from" in said


def test_what_is_still_to_come_is_no_history(db):
    received(db, forecast([1.0] * 10), after(-1))
    record_log(db, entry(8.0, "covered"), "k1", after(1))
    made = material_from(db, folder(), after(2))
    assert made.period[1] == after(2).timestamp()
    assert made.exposure.steps.weather.rain_mm.sum() == pytest.approx(2.0)
    assert made.log == ()


def test_a_period_counts_its_own_depth_and_used_from_load_in(db):
    received(db, weather([10.0, 5.0, 5.0, 0.0]), after(4))
    made = material_from(db, folder(), after(4), from_=after(1), to=after(2))
    assert made.exposure.wetting_mm.sum() == pytest.approx(5.0)
    assert made.exposure.hours_out[0] == pytest.approx(1.0)
    # 10 mm before and 5 in the period, of 25.
    assert made.before is not None
    assert made.before.used.max() == pytest.approx(0.4)
    assert made.exposure.used[0, -1, 0] == pytest.approx(0.6)
    assert "Used is counted from load-in" in Page(page(made)).said
    # The half, 12.5 mm, was reached half way through the second hour, 14:30 on site.
    assert "Thu 1 Jul 14:30" in Page(page(made)).rows("fixtures")[0][5]


def test_the_log_s_put_out_before_load_in_begins_the_period(db):
    received(db, weather([1.0, 1.0], start=after(-2)), after(0))
    record_log(db, entry(-2.0, "put-out"), "k1", after(-2))
    made = material_from(db, folder(), after(1))
    assert made.period[0] == after(-2).timestamp()
    assert made.exposure.wetting_mm.sum() == pytest.approx(2.0)


def test_a_show_that_is_over_ends_at_its_load_out(db):
    described = replace(show(fixture()), event=Event(NOON, after(5)))
    made = material_from(db, folder(described), after(500))
    assert made.period[1] == after(5).timestamp()
    assert made.made_at == after(500)


def test_before_load_in_there_is_nothing_to_tell(db, tmp_path):
    made = material_from(db, folder(), after(-5))
    assert made.period[0] == made.period[1]
    write_report(tmp_path / "out", made)


@pytest.mark.parametrize(("from_", "to", "key"), [(9, None, "--from"), (None, -2, "--to")])
def test_a_period_in_which_nothing_can_have_happened_is_refused(db, from_, to, key):
    with pytest.raises(BadInputError) as refused:
        material_from(
            db,
            folder(),
            after(3),
            None if from_ is None else after(from_),
            None if to is None else after(to),
        )
    (problem,) = refused.value.problems
    assert (problem.code, problem.key) == ("empty-period", key)


def test_alerts_come_with_who_was_told_when_and_what_was_done(db):
    received(db, weather([1.0] * 6), after(6))
    asked = alert("start", at=1.0, do_by=3.0)
    message = Message("pole-1", "work", "start", "s", "t", "r", {}, "th", after(1))
    with immediate(db):
        record_change(db, asked, "rain is coming", after(1))
        for to in ("a@example.org", "b@example.org"):
            enqueue(db, message, "crew", to, at=after(1), expires_at=after(6))
    first, second = lease(db, after(1)), lease(db, after(1))
    settle(db, first, Outcome(sent=False, lasting=True, detail="no such box"), after(1))
    settle(db, second, Outcome(sent=True, detail="250"), after(1) + timedelta(minutes=2))
    record_log(db, entry(2.5, "covered"), "k1", after(2.6))

    made = material_from(db, folder(), after(5))
    found = Page(page(made))
    (row,) = found.rows("alerts")
    assert "start Thu 1 Jul 14:02" in row[2]
    assert row[5] == "118 min"  # from 13:02Z to 15:00Z
    assert row[6] == "done in time, Thu 1 Jul 15:30"
    assert "1 message could not be delivered." in found.said
    assert "No person was told" not in found.said


def test_with_only_a_folder_no_person_was_told(db):
    described = show(fixture())
    made = material_from(db, folder(described), after(1))
    assert made.told_nobody
    assert "No person was told" in Page(page(made)).said


def test_the_chain_is_verified_and_a_broken_one_is_said_aloud(db):
    received(db, weather([1.0]), after(1))
    record_log(db, entry(0.5, "wet"), "k1", after(1))
    made = material_from(db, folder(), after(1))
    assert made.chain.ok
    assert "Verified. All 2 rows are as they were written" in Page(page(made)).said
    db.execute("DROP TRIGGER log_entries_unaltered")  # someone with the file and a browser
    db.execute("UPDATE log_entries SET entry = replace(entry, '\"wet\"', '\"inspected\"')")
    made = material_from(db, folder(), after(1))
    assert not made.chain.ok
    assert "It does not hold. The chain does not hold at row 2" in Page(page(made)).said


def test_files_that_changed_since_are_told(db):
    record_revision(db, {"show.toml": b"a"}, "r0", NOON)
    (said,) = material_from(db, folder(), after(1)).notes
    assert said.startswith("The show's files were changed since they were last watched")
    record_revision(db, {"show.toml": b"b"}, "r1", after(1))
    assert "2 versions are kept" in material_from(db, folder(), after(1)).notes[0]


def test_credit_of_the_data_stands_in_the_report(db):
    received(db, forecast([1.0], credit="Data by Somebody, CC BY 4.0"), after(-1))
    made = material_from(db, folder(), after(1))
    assert made.credits == ("Data by Somebody, CC BY 4.0",)
    assert "Data by Somebody, CC BY 4.0" in Page(page(made)).said


def test_hours_out_in_a_gap_are_out_and_not_known(db, tmp_path):
    # Out for six hours from NOON; the weather of the first two and of the fifth is known.
    received(db, weather([0.0, 0.0]), after(2))
    received(db, weather([1.0], start=after(4)), after(5))
    made = material_from(db, folder(), after(6))
    write_report(tmp_path / "out", made)
    (row,) = read_csv(tmp_path / "out" / "fixtures.csv")
    assert (float(row["hours_out"]), float(row["unknown_hours"])) == (6.0, 3.0)
    assert "3.0 h are not known" in Page(page(made)).said
