"""`dryspell report` on a real database: verified, altered row by row, and carried on."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.domain import Alert, Message, Outcome
from monitor.feeds.record import read_record
from monitor.show import read_show
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change, record_revision
from monitor.store.outbox import enqueue, lease, settle
from monitor.store.runs import record_weather

LOAD_IN = datetime(2020, 6, 10, 7, tzinfo=UTC)
"""08:00 on site."""
HEADINGS = "starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"
RECORD = "\n".join(
    [HEADINGS, *(f"2020-06-10T{h:02d}:00Z,60,{r},0,0,,15,5" for h, r in ((7, 0), (8, 5), (9, 5)))]
).encode()


def run(*args):
    return CliRunner().invoke(dryspell, [str(a) for a in args])


@pytest.fixture(scope="module")
def watched(tmp_path_factory):
    """A show with weather, an alert, its message, its outcome, an entry of the log, a revision."""
    folder = write_show(
        tmp_path_factory.mktemp("watched") / "show",
        ["a,IP44,open,upright,S1"],
        headings="id,code,position,mount,serial",
        show=SHOW.replace("2027-06-10", "2020-06-10"),
    )
    read = read_show(folder, {})
    at = LOAD_IN + timedelta(minutes=5)
    db = open_database(folder / "dryspell.db")
    with closing(db.conn):
        with immediate(db):
            record_revision(db, read.files, read.show.revision, LOAD_IN, LOAD_IN)
            record_weather(db, read_record(RECORD, "w.csv"), RECORD, LOAD_IN)
            record_change(db, ordered(at), "rain is coming", at)
            message = Message("open-1", "work", "start", "Cover", "Cover.", "COVER", {}, "t", at)
            enqueue(db, message, "messages", "messages", at=at, expires_at=at + timedelta(hours=6))
        settle(db, lease(db, at), Outcome(sent=True), at)
    done = run("log", "covered", "--show", folder, "--position", "open", "--by", "Ines",
               "--at", "2020-06-10T08:30")  # fmt: skip
    assert done.exit_code in (0, 1), done.output
    return folder


def ordered(at):
    return Alert(
        id="open-1", kind="work", stage="start", action="cover", position="open", fixtures=("a",),
        count=1, people=1, minutes=3.5, isolate_at=None, start_by=None,
        do_by=LOAD_IN + timedelta(hours=2), members=1, probability=None, at=at, reason="rain",
    )  # fmt: skip


def altered(watched, tmp_path, sql):
    """A copy of the show whose database somebody with the file and a browser has altered."""
    folder = tmp_path / "show"
    shutil.copytree(watched, folder)
    with closing(sqlite3.connect(folder / "dryspell.db")) as db:
        for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            db.execute(f"DROP TRIGGER {name}")
        assert db.execute(sql).rowcount == 1, sql
        db.commit()
    return folder


def report(folder, tmp_path, *more):
    out = tmp_path / "report"
    return run("report", "--show", folder, "--out", out, "--to", "2020-06-10T11:00", *more), out


def test_a_history_that_holds_is_said_so(watched, tmp_path):
    done, out = report(watched, tmp_path)
    assert done.exit_code == 0, done.output
    chain = json.loads((out / "report.json").read_text(encoding="utf-8"))["chain"]
    assert (chain["verified"], chain["breaks_at_row"]) == (True, None)
    assert chain["rows"] == 6
    assert "Verified." in (out / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("sql", "row"),
    [
        ("UPDATE revisions SET from_time = replace(from_time, '2020', '2019')", 1),
        ("UPDATE weather_runs SET received_at = replace(received_at, '07:', '06:')", 2),
        ("UPDATE weather_runs SET weather_sha256 = body_sha256", 2),
        ("UPDATE alert_changes SET reason = 'none'", 3),
        ("UPDATE alert_changes SET body = replace(body, '\"minutes\":3.5', '\"minutes\":9.5')", 3),
        ("UPDATE alert_changes SET body = 'nonsense'", 3),
        ("DELETE FROM alert_changes", 3),
        ("UPDATE messages SET contact = 'Bex'", 4),
        ("UPDATE outcomes SET at = replace(at, '2020', '2019')", 5),
        ("UPDATE log_entries SET entry = replace(entry, 'Ines', 'Odile')", 6),
        ("UPDATE log_entries SET at = replace(at, '07:30', '07:10')", 6),
        ("UPDATE log_entries SET entry = '{}'", 6),
        ("UPDATE chain SET at = replace(at, '2020', '2019') WHERE n = 4", 4),
        ("DELETE FROM chain WHERE n = 2", 2),
        ("UPDATE contents SET packed = x'00' WHERE sha256 = (SELECT weather_sha256 FROM weather_runs)", 2),
    ],
)  # fmt: skip
def test_altering_one_row_makes_it_fail_and_say_where(watched, tmp_path, sql, row):
    done, out = report(altered(watched, tmp_path, sql), tmp_path)
    says = " ".join(done.stderr.split())
    assert done.exit_code in (1, 3), done.output
    assert "The history does not hold" in says
    assert f"at row {row}: " in says
    if done.exit_code == 1:  # a report could be made of it all the same, and says so
        chain = json.loads((out / "report.json").read_text(encoding="utf-8"))["chain"]
        assert (chain["verified"], chain["breaks_at_row"]) == (False, row)
        assert "It does not hold." in (out / "report.html").read_text(encoding="utf-8")
    else:
        assert "no report can be made of it" in says
        assert not out.exists()


def test_rows_taken_off_the_end_show_against_a_noted_head(watched, tmp_path):
    whole, out = report(watched, tmp_path)
    assert whole.exit_code == 0
    head = json.loads((out / "report.json").read_text(encoding="utf-8"))["chain"]["head"]
    folder = altered(watched, tmp_path, "DELETE FROM log_entries")
    with closing(sqlite3.connect(folder / "dryspell.db")) as db:
        db.execute("DELETE FROM chain WHERE n = 6")
        db.commit()
    # whole in itself: nothing gives it away
    assert report(folder, tmp_path)[0].exit_code == 0
    noted, out = report(folder, tmp_path, "--head", head.upper())
    assert noted.exit_code == 1
    assert "rows were taken off its end" in " ".join(noted.stderr.split())
    assert (
        json.loads((out / "report.json").read_text(encoding="utf-8"))["chain"]["verified"] is False
    )
    assert report(watched, tmp_path, "--head", head)[0].exit_code == 0


def test_an_earlier_show_is_carried_on_and_an_altered_report_of_it_refused(watched, tmp_path):
    done, out = report(watched, tmp_path)
    assert done.exit_code == 0
    earlier = tmp_path / "earlier.json"
    earlier.write_bytes((out / "report.json").read_bytes())
    # the lamp was covered at 08:30 site time with no cover named: 10 mm on 25
    rows = ["b,IP44,open,upright,s1"]
    show = SHOW.replace("2027-06-10T08:00", "2020-07-01T08:00")
    later = write_show(
        tmp_path / "later", rows, headings="id,code,position,mount,serial", show=show
    )
    run("log", "isolated", "--show", later, "--position", "open", "--at", "2020-07-01T09:00")
    out = tmp_path / "later-report"
    args = ("report", "--show", later, "--out", out, "--to", "2020-07-01T11:00")
    done = run(*args, "--earlier", earlier)
    assert done.exit_code == 0, done.output
    (unit,) = json.loads((out / "report.json").read_text(encoding="utf-8"))["units"]
    assert unit["carried_used"] == pytest.approx(0.4)
    assert unit["used_all_shows"] == pytest.approx(0.4)

    content = earlier.read_bytes()
    earlier.write_bytes(content.replace(b'"used_total": 0.4', b'"used_total": 0.0'))
    done = run(*args, "--earlier", earlier)
    assert done.exit_code == 2
    assert "was altered after it was written" in " ".join(done.stderr.split())
    done = run(*args, "--earlier", tmp_path / "none.json")
    assert done.exit_code == 2
    assert "cannot be read" in " ".join(done.stderr.split())
    # and its own report is no earlier show
    own, _ = report(watched, tmp_path, "--earlier", tmp_path / "report" / "report.json")
    assert own.exit_code == 2
    assert "is of this show" in " ".join(own.stderr.split())
