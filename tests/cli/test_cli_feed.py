from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.store.database import open_database
from monitor.store.history import recall

RECORD = """\
starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c,cloud_pct,thunder
2027-07-15T12:00Z,60,0.1,4.5,6.8,215,17.8,16.6,100,no
2027-07-15T13:00Z,60,,4.7,7.1,214,,16.6,100,yes
"""
FEED = '\n[[feeds]]\nsheet = "open-meteo"\n'


def answer_at(first):
    """An answer of that shape, three hourly stamps from `first` on; rain is of the hour before."""
    stamps = [(first + timedelta(hours=h)).strftime("%Y-%m-%dT%H:%M") for h in range(3)]
    units = {
        "precipitation": "mm",
        "wind_speed_10m": "m/s",
        "wind_gusts_10m": "m/s",
        "wind_direction_10m": "°",
        "temperature_2m": "°C",
        "dew_point_2m": "°C",
        "cloud_cover": "%",
        "weather_code": "wmo code",
    }
    values = {
        "precipitation": [0.0, 1.25, 2.5],
        "wind_speed_10m": [4.0, 5.0, 6.0],
        "wind_gusts_10m": [7.0, 8.0, 9.0],
        "wind_direction_10m": [200, 210, 220],
        "temperature_2m": [15.0, 14.0, 13.0],
        "dew_point_2m": [10.0, 11.0, 12.0],
        "cloud_cover": [50, 75, 100],
        "weather_code": [3, 61, 95],
    }
    body = {
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601", **units},
        "hourly": {"time": stamps, **values},
    }
    return json.dumps(body).encode()


@pytest.fixture
def server():
    """A weather service on this machine; `server.body` is what it answers."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            self.server.asked.append(self.path)
            self.send_response(self.server.status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(self.server.body)))
            self.end_headers()
            self.wfile.write(self.server.body)

        def log_message(self, *arguments):
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as serving:
        serving.asked, serving.status = [], 200
        hour = datetime.now(tz=UTC).replace(minute=0, second=0, microsecond=0)
        serving.body = answer_at(hour)
        thread = threading.Thread(target=serving.serve_forever, args=(0.02,), daemon=True)
        thread.start()
        yield serving
        serving.shutdown()
        thread.join()


def run(*arguments, **more):
    result = CliRunner().invoke(dryspell, ["feed", *map(str, arguments)], **more)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def own_server(tmp_path, server):
    base = f'base_url = "http://127.0.0.1:{server.server_port}"\n'
    return write_show(tmp_path / "show", ["a,IP65,open"], show=SHOW + FEED + base)


def test_a_live_feed(tmp_path, server):
    folder = own_server(tmp_path, server)
    done = run("--show", folder)
    assert done.exit_code == 0, done.stderr
    assert "open-meteo: 3 steps" in done.stdout
    assert "Open-Meteo.com" in done.stdout  # the credit line that its licence asks for
    # 1.25 mm is of the hour that ends at the second stamp
    assert "1.25" in done.stdout
    assert len(server.asked) == 1
    # a server of one's own asks for no consent, so nothing was kept either
    assert not (folder / "dryspell.db").exists()


def test_live_json(tmp_path, server):
    done = run("--show", own_server(tmp_path, server), "--json", "-")
    data = json.loads(done.stdout)
    assert (data["schema"], data["sheet"], data["members"]) == (
        "dryspell.weather/1",
        "open-meteo",
        1,
    )
    assert [step["rain_mm"] for step in data["steps"]] == [0.0, 1.25, 2.5]


@pytest.mark.parametrize(("status", "body"), [(503, b"{}"), (200, b"<html>sign in</html>")])
def test_no_weather_needs_attention(tmp_path, server, status, body):
    server.status, server.body = status, body
    done = run("--show", own_server(tmp_path, server))
    assert done.exit_code == 1
    assert "127.0.0.1" in done.stderr


def test_nobody_is_asked_before_the_terms_are_agreed_to(tmp_path):
    folder = write_show(tmp_path / "show", ["a,IP65,open"], show=SHOW + FEED)
    done = run("--show", folder)
    assert done.exit_code == 2
    assert "non-commercial" in done.stderr
    assert "--accept-licence" in done.stderr
    assert not (folder / "dryspell.db").exists()


@pytest.fixture
def asking(tmp_path, server):
    """A show whose feed is free for some uses only, on this machine's own server."""
    feed = '\n[[feeds]]\nsheet = "my-meteo"\n'
    folder = write_show(tmp_path / "show", ["a,IP65,open"], show=SHOW + feed)
    (folder / "sheets").mkdir()
    (folder / "sheets" / "my-meteo.toml").write_text(
        'extends = "open-meteo"\n[feed]\nid = "my-meteo"\nfree_hosts = ["127.0.0.1"]\n'
        f'[request]\nurl = "http://127.0.0.1:{server.server_port}/v1/forecast"\n',
        encoding="utf-8",
    )
    return folder


def test_consent_is_asked_once_and_remembered(asking, server):
    assert run("--show", asking).exit_code == 2
    assert server.asked == []
    assert run("--show", asking, "--accept-licence").exit_code == 0
    with closing(open_database(asking / "dryspell.db")) as db:
        assert "non-commercial" in recall(db, "consent/my-meteo")["says"]
    assert run("--show", asking).exit_code == 0
    assert len(server.asked) == 2


@pytest.mark.parametrize(("typed", "code", "asked"), [(b"y\n", 0, 1), (b"n\n", 2, 0)])
def test_a_person_at_a_terminal_is_asked(asking, server, typed, code, asked):
    ours, theirs = os.openpty()
    try:
        os.write(ours, typed)
        done = subprocess.run(
            [sys.executable, "-c", "from monitor.cli import main; main()", "feed"],
            cwd=asking,
            stdin=theirs,
            capture_output=True,
            text=True,
            check=False,
        )
    finally:
        os.close(ours)
        os.close(theirs)
    assert done.returncode == code, done.stderr
    assert "Is that so? [y/N]" in done.stderr
    assert len(server.asked) == asked


def test_a_sample_needs_no_show(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    # 12:00Z covers 11:00 to 12:00
    (tmp_path / "answer.json").write_bytes(answer_at(datetime(2027, 7, 15, 12, tzinfo=UTC)))
    done = run("--sheet", "open-meteo", "--sample", "answer.json")
    assert done.exit_code == 0, done.stderr
    rows = [line for line in done.stdout.splitlines() if line.startswith("2027-")]
    assert [row.split()[:4] for row in rows] == [
        ["2027-07-15", "11:00", "60", "0.00"],
        ["2027-07-15", "12:00", "60", "1.25"],
        ["2027-07-15", "13:00", "60", "2.50"],
    ]
    assert " UTC." in done.stdout
    assert list(tmp_path.iterdir()) == [tmp_path / "answer.json"]


def test_a_sample_that_is_no_answer(tmp_path):
    (tmp_path / "answer.json").write_text("{", encoding="utf-8")
    done = run("--sheet", "open-meteo", "--sample", tmp_path / "answer.json", "--show", tmp_path)
    assert done.exit_code == 1
    assert "was not used" in done.stderr


def test_a_record_with_what_is_not_known(tmp_path):
    (tmp_path / "w.csv").write_text(RECORD, encoding="utf-8")
    done = run("--sheet", "record", "--sample", tmp_path / "w.csv", "--show", tmp_path)
    assert done.exit_code == 0, done.stderr
    rows = [line.split() for line in done.stdout.splitlines() if line.startswith("2027-")]
    assert rows[0] == [
        "2027-07-15",
        "12:00",
        "60",
        "0.10",
        "4.5",
        "6.8",
        "215",
        "17.8",
        "16.6",
        "100",
        "no",
    ]
    assert rows[1] == [
        "2027-07-15",
        "13:00",
        "60",
        "-",
        "4.7",
        "7.1",
        "214",
        "-",
        "16.6",
        "100",
        "yes",
    ]


def test_the_record_of_the_show_in_site_time(tmp_path):
    show = SHOW + '\n[[feeds]]\nsheet = "record"\nfile = "w.csv"\n'
    folder = write_show(tmp_path / "show", ["a,IP65,open"], show=show)
    (folder / "w.csv").write_text(RECORD, encoding="utf-8")
    done = run("--show", folder)
    # July in this zone is one hour ahead of UTC
    assert "2027-07-15 13:00 to 2027-07-15 15:00 site time" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--sheet", "opne-meteo"), "Perhaps open-meteo is meant"),
        (("--sheet", "record"), "no record to read"),
        (("--sheet", "record", "--sample", "no.csv"), "no.csv: There is no such file"),
        ((), "has no feed"),
    ],
)
def test_what_cannot_be_tried(tmp_path, arguments, says):
    folder = write_show(tmp_path / "show", ["a,IP65,open"])
    done = run("--show", folder, *arguments)
    assert done.exit_code == 2
    assert says in done.stderr
