"""`dryspell rehearse --years`: over folders of records, and over an archive on loopback."""

from __future__ import annotations

import csv
import io
import json
import re
import threading
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from urllib.parse import parse_qs, urlsplit

import pytest
from cli.cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell

HEADINGS = "starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg"
DATED = SHOW.replace(
    'load_in_at = "2027-06-10T08:00"',
    'load_in_at = "2014-06-10T08:00"\nload_out_at = "2014-06-10T20:00"',
)
"""Twelve hours from 07:00 UTC on, long enough ago for every clock."""
OWN_SHEET = """\
extends = "open-meteo-archive"

[request]
url = "http://127.0.0.1:{port}/v1/archive"
"""


def run(*arguments):
    result = CliRunner().invoke(dryspell, [*map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def record(year, wet, *, mm=5.0, first=0, last=24):
    """10 June of a year, calm, wet in the hours given (UTC)."""
    rows = [
        f"{year}-06-10T{h:02d}:00Z,60,{mm if h in wet else 0},0,0,0" for h in range(first, last)
    ]
    return "\n".join([HEADINGS, *rows]) + "\n"


@pytest.fixture
def folder(tmp_path):
    rows = ["a,IP20,open,bag", "b,IP65,open,"]
    return write_show(tmp_path / "show", rows, headings="id,code,position,cover", show=DATED)


@pytest.fixture
def records(tmp_path):
    there = tmp_path / "records"
    there.mkdir()
    for year, wet in ((2013, {12}), (2012, set()), (2011, {23}), (2010, {9, 10})):
        (there / f"{year}.csv").write_text(record(year, wet), encoding="utf-8")
    return there


def years_json(folder, *more):
    done = run("rehearse", "--show", folder, "--json", "-", *more)
    assert done.exit_code in (0, 1), done.stderr
    return json.loads(done.stdout)


# ---------------------------------------------------------------- records


def test_a_folder_of_records(folder, records):
    data = years_json(folder, "--years", 4, "--weather", records)
    # Of 2011 the wet hour is 23:00 UTC, after load-out.
    assert [(y["year"], y["rain_mm"], y["counted"]) for y in data["years"]] == [
        (2013, 5.0, True),
        (2012, 0.0, True),
        (2011, 0.0, True),
        (2010, 10.0, True),
    ]
    a, b = data["fixtures"]
    assert (a["needed_years"], b["needed_years"]) == ([2013, 2010], [])
    # 10 mm on 0.5 mm; spent after 6 minutes of 09:00 UTC, 10:06 by the clock of London.
    assert (a["worst_used"], a["worst_year"]) == (pytest.approx(20.0), 2010)
    assert a["soonest_at"] == "2010-06-10T09:06:00Z"
    assert a["earliest_time_of_day"] == "10:06"
    codes = {row["code"]: row["needed_years"] for row in data["instead"]}
    assert codes["IP20"] == [2013, 2010]
    assert codes["IP65"] == []


def test_on_the_screen(folder, records):
    done = run("rehearse", "--show", folder, "--years", 9, "--weather", records)
    assert done.exit_code == 0
    said = re.sub(r"\s+", " ", done.output)
    assert "Test meadow: 10 Jun 08:00 to 10 Jun 20:00, site time, in 4 of 4 past years." in said
    assert "2 of 4 20.0 in 2010" in said
    assert "The records reach back to 2010 only: 4 of the 9 years asked for." in said
    assert "11 to 45 % of wind-driven rain is lost" in said


def test_one_file_of_several_years(folder, records, tmp_path):
    bodies = [p.read_text(encoding="utf-8").splitlines() for p in sorted(records.iterdir())]
    whole = tmp_path / "all.csv"
    whole.write_text("\n".join([HEADINGS, *(r for b in bodies for r in b[1:])]) + "\n")
    one = years_json(folder, "--years", 4, "--weather", whole)
    many = years_json(folder, "--years", 4, "--weather", records)
    assert one["fixtures"] == many["fixtures"]
    assert one["weather"]["source"] == "all.csv"


def test_the_same_twice(folder, records):
    arguments = ("rehearse", "--show", folder, "--years", 4, "--weather", records, "--json", "-")
    assert run(*arguments).stdout == run(*arguments).stdout


def test_a_code_instead(folder, records):
    data = years_json(
        folder, "--years", 4, "--weather", records, "--instead", "ip 23", "--instead", "IP23"
    )
    # Hung in any way, a 3 counts as untested from above: 0.5 mm, like bare gear.
    assert [(r["code"], r["needed_years"]) for r in data["instead"]] == [("IP23", [2013, 2010])]


def test_a_report_of_it(folder, records, tmp_path):
    out = tmp_path / "out"
    done = run("rehearse", "--show", folder, "--years", 4, "--weather", records, "--report", out)
    assert done.exit_code == 0
    assert f"The report is in {out}: open past-years.html." in done.output
    html = (out / "past-years.html").read_text(encoding="utf-8")
    assert "What would have needed covering" in html
    assert "<script" not in html
    rows = list(
        csv.DictReader(
            io.StringIO((out / "past-years-fixtures.csv").read_text(encoding="utf-8-sig"))
        )
    )
    assert [(r["id"], r["year"], r["needed_covering"]) for r in rows[:4]] == [
        ("a", "2013", "yes"),
        ("a", "2012", "no"),
        ("a", "2011", "no"),
        ("a", "2010", "yes"),
    ]
    assert sorted(p.name for p in out.iterdir()) == [
        "past-years-fixtures.csv",
        "past-years-instead.csv",
        "past-years-positions.csv",
        "past-years.html",
    ]


def test_equal_rows_of_two_files_count_once_and_others_are_refused(folder, records):
    again = records / "2013-again.csv"
    again.write_text(record(2013, {12}, first=10, last=14), encoding="utf-8")
    assert years_json(folder, "--years", 1, "--weather", records)["years"][0]["rain_mm"] == 5.0
    again.write_text(record(2013, {12}, mm=6.0, first=10, last=14), encoding="utf-8")
    done = run("rehearse", "--show", folder, "--years", 1, "--weather", records)
    assert done.exit_code == 2
    assert "2013-06-10T12:00:00Z" in done.stderr
    assert "2013.csv" in done.stderr
    assert "2013-again.csv" in done.stderr


def test_every_broken_file_is_told(folder, records):
    for year in (2013, 2010):
        (records / f"{year}.csv").write_text(f"{HEADINGS}\nyesterday,60,1,0,0,0\n")
    done = run("rehearse", "--show", folder, "--years", 4, "--weather", records)
    assert done.exit_code == 2
    assert "2013.csv" in done.stderr
    assert "2010.csv" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "There is no weather to rehearse with."),
        (["--instead", "IP54", "--weather", "w.csv"], "--instead is about past years."),
        (["--accept-licence", "--weather", "w.csv"], "--accept-licence is about past years."),
        (["--years", "2", "--crew", "follows", "--weather", "w.csv"], "Leave --crew out."),
        (["--years", "2", "--instead", "blue", "--weather", "w.csv"], "cannot be read as a code"),
        (["--years", "2", "--weather", "nowhere"], "There is no such file."),
        (["--years", "0"], "0 is not in the range"),
    ],
)
def test_options_that_do_not_fit(folder, arguments, said):
    done = run("rehearse", "--show", folder, *arguments)
    assert done.exit_code == 2
    assert said in re.sub(r"\s+", " ", done.stderr)


def test_an_empty_folder(folder, tmp_path):
    (tmp_path / "none").mkdir()
    done = run("rehearse", "--show", folder, "--years", 2, "--weather", tmp_path / "none")
    assert done.exit_code == 2
    assert "There is no weather record in this folder." in done.stderr


def test_a_permanent_site_is_told_what_is_missing(tmp_path, records):
    endless = write_show(tmp_path / "endless", ["a,IP20,open"])
    done = run("rehearse", "--show", endless, "--years", 2, "--weather", records)
    assert done.exit_code == 2
    assert "load_out_at" in done.stderr


# ---------------------------------------------------------------- archive


def answer(first, last, wet, *, known_to=None):
    """An archive's answer for days (UTC), both included: rain of the hour before each stamp.

    `wet` are (year, hour) whose hour on 10 June has 5 mm; from `known_to` on nothing is known.
    """
    stamps = []
    at = datetime(first.year, first.month, first.day, tzinfo=UTC)
    while at.date() <= last:
        stamps.append(at)
        at += timedelta(hours=1)
    unknown = [known_to is not None and s >= known_to for s in stamps]

    def column(value):
        return [None if u else value for u in unknown]

    before = [s - timedelta(hours=1) for s in stamps]
    rain = [
        None if u else 5.0 if (b.month, b.day) == (6, 10) and (b.year, b.hour) in wet else 0.0
        for b, u in zip(before, unknown, strict=True)
    ]
    units = {
        "precipitation": "mm",
        "wind_speed_10m": "m/s",
        "wind_gusts_10m": "m/s",
        "wind_direction_10m": "°",
        "temperature_2m": "°C",
        "dew_point_2m": "°C",
        "cloud_cover": "%",
    }
    return {
        "latitude": 52.0,
        "longitude": -2.0,
        "elevation": 40.0,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601", **units},
        "hourly": {
            "time": [f"{s:%Y-%m-%dT%H:%M}" for s in stamps],
            "precipitation": rain,
            "wind_speed_10m": column(0.0),
            "wind_gusts_10m": column(0.0),
            "wind_direction_10m": column(0),
            "temperature_2m": column(15.0),
            "dew_point_2m": column(5.0),
            "cloud_cover": column(50),
        },
    }


@pytest.fixture
def archive(folder):
    """An archive on this machine, and an own sheet of the show that names it."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            asked = {k: v[0] for k, v in parse_qs(urlsplit(self.path).query).items()}
            self.server.asked.append(asked)
            first = date.fromisoformat(asked["start_date"])
            last = date.fromisoformat(asked["end_date"])
            status = 503 if first.year in self.server.failing else 200
            body = json.dumps(
                answer(first, last, self.server.wet, known_to=self.server.known_to)
            ).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *arguments):
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as serving:
        serving.asked, serving.failing, serving.known_to = [], set(), None
        serving.wet = {(2013, 12), (2011, 9)}
        thread = threading.Thread(target=serving.serve_forever, args=(0.02,), daemon=True)
        thread.start()
        (folder / "sheets").mkdir()
        sheet = OWN_SHEET.format(port=serving.server_address[1])
        (folder / "sheets" / "mine.toml").write_text(sheet, encoding="utf-8")
        with (folder / "show.toml").open("a", encoding="utf-8") as show:
            show.write('\n[[feeds]]\nsheet = "mine"\n')
        yield serving
        serving.shutdown()
        thread.join()


def test_an_archive_is_asked_for_each_year_and_only_once(folder, archive):
    first = years_json(folder, "--years", 3)
    # From 07:00 to 19:00 UTC on 10 June, an hour more on both sides, all on that day.
    assert [(a["start_date"], a["end_date"]) for a in archive.asked] == [
        (f"{year}-06-10", f"{year}-06-10") for year in (2013, 2012, 2011)
    ]
    assert archive.asked[0]["latitude"] == "52.0000"
    assert [(y["year"], y["rain_mm"]) for y in first["years"]] == [
        (2013, 5.0),
        (2012, 0.0),
        (2011, 5.0),
    ]
    assert first["fixtures"][0]["needed_years"] == [2013, 2011]
    assert "Open-Meteo" in first["weather"]["credit"]
    assert any("11 to 45 %" in said for said in first["cautions"])
    kept = sorted(p.name for p in (folder / "past-years").iterdir())
    assert len(kept) == 3
    assert all(name.startswith("mine_20") for name in kept)

    # A second look needs no network: whatever the server would say, it is not asked.
    archive.failing = {2013, 2012, 2011}
    assert years_json(folder, "--years", 3) == first
    assert len(archive.asked) == 3


def test_where_answers_are_kept_is_told(folder, archive):
    done = run("rehearse", "--show", folder, "--years", 1)
    assert done.exit_code == 0
    said = re.sub(r"\s+", "", done.output)
    assert f"Thearchive'sanswersarekeptin{folder / 'past-years'}." in said


def test_a_moved_site_is_asked_for_anew(folder, archive):
    years_json(folder, "--years", 1)
    path = folder / "show.toml"
    path.write_text(path.read_text().replace("latitude = 52.0", "latitude = 52.05"))
    years_json(folder, "--years", 1)
    assert [a["latitude"] for a in archive.asked] == ["52.0000", "52.0500"]


def test_a_failure_is_told_and_nothing_more_is_asked(folder, archive):
    archive.failing = {2012}
    done = run("rehearse", "--show", folder, "--years", 4)
    assert done.exit_code == 1
    assert [a["start_date"][:4] for a in archive.asked] == ["2013", "2012"]
    said = re.sub(r"\s+", " ", done.output)
    assert "in 1 of 4 past years" in said
    assert "The archive was not asked further:" in said
    assert "2010 not counted: 12.0 h not known, 100 % of the event" in said
    # What was kept is used again; the rest is asked for when the service is back.
    archive.failing = set()
    assert run("rehearse", "--show", folder, "--years", 4).exit_code == 0
    assert [a["start_date"][:4] for a in archive.asked[2:]] == ["2012", "2011", "2010"]


def test_an_answer_that_ends_too_soon_is_not_kept(folder, archive):
    # Nothing is known from 17:00 UTC on: 2 of 12 h are missing, over a tenth.
    archive.known_to = datetime(2013, 6, 10, 18, tzinfo=UTC)
    data = years_json(folder, "--years", 1)
    assert (data["years"][0]["counted"], data["years"][0]["unknown_hours"]) == (False, 2.0)
    assert "does not reach the end" in data["years"][0]["weather"]
    assert not (folder / "past-years").exists()


def test_the_terms_of_the_built_in_archive_are_asked_about_first(folder):
    done = run("rehearse", "--show", folder, "--years", 2)
    assert done.exit_code == 2
    assert "non-commercial" in done.stderr
    assert not (folder / "past-years").exists()


def test_terms_once_agreed_to_are_remembered(folder, archive):
    sheet = folder / "sheets" / "mine.toml"
    sheet.write_text(
        'extends = "open-meteo-archive"\n[feed]\nfree_hosts = ["127.0.0.1"]\n'
        + OWN_SHEET.format(port=archive.server_address[1]).partition("\n")[2]
    )
    assert run("rehearse", "--show", folder, "--years", 1).exit_code == 2
    assert archive.asked == []
    assert run("rehearse", "--show", folder, "--years", 1, "--accept-licence").exit_code == 0
    assert run("rehearse", "--show", folder, "--years", 2).exit_code == 0
    assert len(archive.asked) == 2


def test_the_folder_of_answers_is_no_part_of_the_show(folder, archive):
    before = run("check", "--show", folder).output
    years_json(folder, "--years", 1)
    assert run("check", "--show", folder).output == before
