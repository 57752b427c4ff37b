from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.feeds.record import read_record
from monitor.store.database import open_database
from monitor.store.runs import record_weather

DRYSPELL = [sys.executable, "-c", "from monitor.cli import main; main()"]
HEADINGS = "starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"

# Calm, so rain falls straight down: wetting is the rain itself. An upright IP44 for hire has
# 25 mm (50 x 0.5), so 3 x 5 mm uses 15 / 25 = 0.6 of it, half of it after 12.5 mm: half an hour
# into the third.
CALM = "\n".join(
    [HEADINGS, *(f"2027-07-15T{h}:00Z,60,{r},0,0,,15,5" for h, r in ((12, 5), (13, 5), (14, 5)))]
)


def run(*arguments):
    result = CliRunner().invoke(dryspell, [*map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def folder(tmp_path):
    return write_show(
        tmp_path / "show", ["a,IP44,open,upright,bag"], headings="id,code,position,mount,cover"
    )


@pytest.fixture
def record(tmp_path):
    (tmp_path / "w.csv").write_text(CALM + "\n", encoding="utf-8")
    return tmp_path / "w.csv"


# ---------------------------------------------------------------- rehearse


def test_rehearse_gives_what_fell(folder, record):
    done = run("rehearse", "--show", folder, "--weather", record, "--json", "-")
    assert done.exit_code == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["schema"] == "dryspell.rehearsal/1"
    assert (data["weather"]["steps"], data["weather"]["rain_mm"]) == (3, pytest.approx(15))
    (fixture,) = data["fixtures"]
    assert fixture["wetting_mm"] == pytest.approx(15)
    assert fixture["used"] == pytest.approx(0.6)
    assert fixture["half_used_at"] == "2027-07-15T14:30:00Z"
    assert fixture["spent_at"] is None
    assert sorted(p.name for p in folder.iterdir()) == ["fixtures.csv", "show.toml"]


def test_the_log_of_the_folder_counts(folder, record):
    # covered after the second hour: 10 of 15 mm, 10 / 25
    (folder / "log.csv").write_text(
        "at,entry,position\n2027-07-15T14:00Z,covered,open\n", encoding="utf-8"
    )
    done = run("rehearse", "--show", folder, "--weather", record, "--json", "-")
    assert json.loads(done.stdout)["fixtures"][0]["used"] == pytest.approx(0.4)


def test_the_screen_says_that_the_record_is_the_forecast(folder, record):
    done = run("rehearse", "--show", folder, "--weather", record, "--crew", "follows")
    assert done.exit_code == 0, done.stderr
    assert "record itself was the forecast" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_where_the_wind_was_measured_matters(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP44,open"], show=SHOW.replace('"field"', '"town"'))
    (tmp_path / "w.csv").write_text(
        f"{HEADINGS}\n2027-07-15T12:00Z,60,5,8,9,180,15,5\n", encoding="utf-8"
    )

    def wetting(*options):
        done = run(
            "rehearse", "--show", folder, "--weather", tmp_path / "w.csv", "--json", "-", *options
        )
        return json.loads(done.stdout)["fixtures"][0]["wetting_mm"]

    # Roughness of a town: C_R = 0.24 ln(16) = 0.665 at 2 m and 10 m alike (z_min is 16 m), so an
    # airfield's 8 m/s is 5.3 m/s at the fixture, and 8 m/s measured on the site is 8 m/s.
    assert wetting("--wind-basis", "local") > wetting()
    # 8 m/s at 2 m is more at 10 m: x ln(10 / 0.05) / ln(2 / 0.05) = 1.44
    assert wetting("--wind-height-m", "2") > wetting()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (f"{HEADINGS}\n2027-07-15T12:00,60,5,8,9,180,15,5\n", "w.csv:2: "),
        (f"{HEADINGS}\n2027-07-15T12:00Z,60,-5,8,9,180,15,5\n", "w.csv:2: "),
        ("", "w.csv"),
    ],
)
def test_a_bad_record_is_refused_and_nothing_written(folder, tmp_path, text, says):
    (tmp_path / "w.csv").write_text(text, encoding="utf-8")
    out = tmp_path / "out.json"
    done = run("rehearse", "--show", folder, "--weather", tmp_path / "w.csv", "--json", out)
    assert done.exit_code == 2
    assert done.stderr.startswith(says)
    assert not out.exists()


def test_no_record(folder, tmp_path):
    done = run("rehearse", "--show", folder, "--weather", tmp_path / "none.csv")
    assert done.exit_code == 2
    assert "There is no such file" in done.stderr
    assert run("rehearse", "--show", folder).exit_code == 2


# ---------------------------------------------------------------- report


def test_a_rehearsal_ends_in_a_report(folder, record, tmp_path):
    out = tmp_path / "report"
    done = run("rehearse", "--show", folder, "--weather", record, "--report", out)
    assert done.exit_code == 0, done.output
    assert "<html" in (out / "report.html").read_text(encoding="utf-8")
    assert (out / "fixtures.csv").exists()


@pytest.mark.parametrize("command", ["report", "rehearse"])
def test_a_report_never_writes_over_a_show(folder, record, command):
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    options = {
        "report": ("--out", folder),
        "rehearse": ("--weather", record, "--report", folder),
    }
    done = run(command, "--show", folder, *options[command])
    assert done.exit_code == 2
    assert "write over" in done.stderr
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_no_report_of_a_show_that_was_never_watched(folder, tmp_path):
    done = run("report", "--show", folder, "--out", tmp_path / "report")
    assert done.exit_code == 3
    assert "nothing has been watched or logged" in done.stderr
    assert not (tmp_path / "report").exists()
    assert not (folder / "dryspell.db").exists()


def test_a_report_of_what_fell_and_what_was_logged(tmp_path, record):
    show = SHOW.replace("2027-06-10T08:00", "2020-07-15T13:00")
    folder = write_show(
        tmp_path / "show", ["a,IP44,open,upright"], headings="id,code,position,mount", show=show
    )
    text = record.read_bytes().replace(b"2027-07-15", b"2020-07-15")
    with closing(open_database(folder / "dryspell.db")) as db:
        record_weather(db, read_record(text, "w.csv"), text, datetime(2020, 7, 15, 15, tzinfo=UTC))
    run("log", "isolated", "--show", folder, "--position", "open", "--at", "2020-07-15T14:30")
    out = tmp_path / "report"
    done = run("report", "--show", folder, "--out", out, "--to", "2020-07-15T16:00")
    assert done.exit_code == 0, done.output
    assert f"Wrote {out / 'report.html'}" in done.stdout
    assert "isolated" in (out / "report.html").read_text(encoding="utf-8")
    # 15 mm straight down, as in the rehearsal above
    (row,) = csv.DictReader((out / "fixtures.csv").read_text(encoding="utf-8-sig").splitlines())
    assert row["id"] == "a"
    assert float(row["wetting_mm"]) == pytest.approx(15)
    assert float(row["used"]) == pytest.approx(0.6)


def test_a_period_in_site_time_that_is_none(tmp_path):
    folder = write_show(
        tmp_path / "show", ["a,IP44,open"], show=SHOW.replace("2027-06-10", "2020-06-10")
    )
    run("log", "isolated", "--show", folder, "--position", "open", "--at", "2020-06-11T10:00")
    options = ("--from", "2020-06-13T10:00", "--to", "2020-06-12T10:00")
    done = run("report", "--show", folder, "--out", tmp_path / "report", *options)
    assert done.exit_code == 2
    assert "--from" in done.stderr
    bad = run("report", "--show", folder, "--out", tmp_path / "report", "--to", "later")
    assert bad.exit_code == 2
    assert "--to: " in bad.stderr
    assert not (tmp_path / "report").exists()


# ---------------------------------------------------------------- ahead, run


@pytest.fixture
def watched(tmp_path):
    """A show whose weather is a record that reaches from yesterday to two days ahead, dry."""
    show = (
        SHOW.replace("2027-06-10", "2020-06-10") + '\n[[feeds]]\nsheet = "record"\nfile = "w.csv"\n'
    )
    folder = write_show(tmp_path / "watched", ["a,IP44,open"], show=show)
    hour = datetime.now(tz=UTC).replace(minute=0, second=0, microsecond=0) - timedelta(hours=24)
    rows = [
        f"{hour + timedelta(hours=h):%Y-%m-%dT%H:%MZ},60,0,2,3,180,15,5" for h in range(24 + 48)
    ]
    (folder / "w.csv").write_text("\n".join([HEADINGS, *rows]) + "\n", encoding="utf-8")
    return folder


def test_ahead_looks_once_and_leaves_nothing(watched):
    done = run("ahead", "--show", watched, "--json", "-")
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert (data["schema"], data["alerts"]) == ("dryspell.ahead/1", [])
    assert sorted(p.name for p in watched.iterdir()) == ["fixtures.csv", "show.toml", "w.csv"]
    assert "Nothing has to be done" in run("ahead", "--show", watched).stdout


def test_ahead_with_its_weather_lost_needs_attention(watched):
    # a record that ended an hour ago says nothing of what comes
    lines = (watched / "w.csv").read_text(encoding="utf-8").splitlines()
    (watched / "w.csv").write_text("\n".join(lines[:24]) + "\n", encoding="utf-8")
    done = run("ahead", "--show", watched)
    assert done.exit_code == 1, done.output
    assert "lost" in done.stdout


@pytest.mark.parametrize("command", ["ahead", "run"])
def test_nobody_is_asked_before_the_terms_are_agreed_to(tmp_path, command):
    folder = write_show(
        tmp_path / "show", ["a,IP65,open"], show=SHOW + '\n[[feeds]]\nsheet = "open-meteo"\n'
    )
    done = run(command, "--show", folder)
    assert done.exit_code == 2
    assert "dryspell feed --sheet open-meteo --accept-licence" in done.stderr
    assert sorted(p.name for p in folder.iterdir()) == ["fixtures.csv", "show.toml"]


def test_run_watches_until_it_is_stopped(watched):
    with subprocess.Popen(
        [*DRYSPELL, "run", "--show", str(watched)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # port 0: any that is free
        env={**os.environ, "PYTHONUNBUFFERED": "1", "DRYSPELL_PAGE__LISTEN": "127.0.0.1:0"},
    ) as running:
        first = running.stdout.readline()
        while not running.stdout.readline().startswith("w.csv: "):
            assert running.poll() is None
        second = subprocess.run(
            [*DRYSPELL, "run", "--show", str(watched)], capture_output=True, text=True, check=False
        )
        running.send_signal(signal.SIGTERM)
        out, err = running.communicate(timeout=20)
    assert running.returncode == 0, err
    assert "1 fixture at 1 position of Test meadow" in first
    assert "Nothing is watched now" in out
    # one service per folder
    assert second.returncode == 3
    assert f"already watching {watched.resolve()}." in " ".join(second.stderr.split())
