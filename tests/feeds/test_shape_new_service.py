"""A service that no one has read before: one sheet in the show folder, and no code.

Rows under days; the date in the day, a twelve-hour wall clock in the row; knots, Fahrenheit and
inches, some of them in text; cloud as a share; humidity in place of a dew point.
"""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.feeds.canonical import as_json
from monitor.feeds.decode import decode
from monitor.feeds.sheet import find_sheet

SHEET = """\
[feed]
id = "harbour-board"
credit = "Forecast by the harbour board"
licence = "CC0"

[request]
url = "https://harbour.example/forecast"
params = { where = "{lat:.3f},{lon:.3f}" }

[run]
issued = "made"

[place]
distance_m = "station.metres_away"

[shape]
kind = "rows"
records = "days"
each = "hours"

[time]
path = "join(' ', [outer.date, at])"
format = "strptime:%m/%d/%Y %I:%M %p"
zone = "America/New_York"

[vars.precip]
path = "rain"
cover = "following"
period = "1h"
stat = "sum"
unit = "in"
parse = "number"
unit_check = { at = "uom.rain", is = "in" }
required = true

[vars.wind]
path = "wind.speed"
cover = "instant"
stat = "mean"
unit = "kn"
parse = "number"
required = true

[vars.gust]
path = "wind.gust"
cover = "following"
period = "1h"
stat = "max"
unit = "kn"
fallback = { from = "wind", factor = 1.5 }

[vars.direction]
path = "wind.from"
cover = "instant"
stat = "mean"
unit = "degree"
missing = [-1]

[vars.temp]
path = "temp"
cover = "instant"
stat = "mean"
unit = "degF"

[vars.humidity]
path = "humidity"
cover = "instant"
stat = "mean"
unit = "%"

[vars.cloud]
path = "sky"
cover = "instant"
stat = "mean"
unit = "0..1"

[vars.thunder]
path = "weather"
cover = "following"
period = "1h"
stat = "code"
map = { "~TS" = "yes", "*" = "no" }
"""


def hour(clock, rain, wind, gust, direction, temp, sky, weather):
    return {
        "at": clock,
        "rain": rain,
        "wind": {"speed": wind, "gust": gust, "from": direction},
        "temp": temp,
        "humidity": 100,
        "sky": sky,
        "weather": weather,
    }


ANSWER = {
    "made": "2026-06-01T23:30:00Z",
    "station": {"metres_away": 2100},
    "uom": {"rain": "in", "wind": "kn"},
    "days": [
        {
            "date": "06/01/2026",
            "hours": [
                hour("10:00 PM", "0.10", "10 kn", 20, 270, 59, 0.5, "TSRA"),
                hour("11:00 PM", "0.05", "20 kn", 30, 270, 68, 1, "RA"),
            ],
        },
        {
            "date": "06/02/2026",
            "hours": [
                hour("12:00 AM", None, None, None, -1, 50, 1, None),
                hour("01:00 AM", "0.00", "10 kn", None, 90, 41, 0, "FG"),
            ],
        },
    ],
}

# New York is four hours behind UTC in June: 10 PM on the 1st is 02:00 of the 2nd.
# rain: 0.10 in = 2.54 mm, 0.05 in = 1.27 mm, null, nought; each of the hour after its stamp.
# wind: 10 kn = 5.144444 m/s, 20 kn = 10.288889; first hour (10 + 20) / 2 = 15 kn = 7.716667.
#   Midnight is null, so both hours that touch it are not known. The last hour has its start only.
# gust: 20 kn = 10.288889, 30 kn = 15.433333; null at midnight, and no wind to derive it from;
#   null at 1 AM: 1.5 x 10 kn = 15 kn = 7.716667.
# from: 270 at both ends; -1 stands for missing; 90 at 1 AM.
# temp: 59 F = 15 C, 68 F = 20 C, 50 F = 10 C, 41 F = 5 C; means 17.5, 15, 7.5, and 5 at the end.
# dew: at 100 % humidity the dew point is the temperature.
# cloud: (50 + 100) / 2 = 75, 100, (100 + 0) / 2 = 50, 0.
BY_HAND = [
    ("2026-06-02T02:00:00Z", 2.54, 7.716667, 10.288889, 270.0, 17.5, 17.5, 75.0, "yes"),
    ("2026-06-02T03:00:00Z", 1.27, None, 15.433333, None, 15.0, 15.0, 100.0, "no"),
    ("2026-06-02T04:00:00Z", None, None, None, None, 7.5, 7.5, 50.0, None),
    ("2026-06-02T05:00:00Z", 0.0, 5.144444, 7.716667, 90.0, 5.0, 5.0, 0.0, "no"),
]
COLUMNS = [
    "starts_at",
    "rain_mm",
    "wind_mps",
    "gust_mps",
    "wind_from_deg",
    "temp_c",
    "dew_point_c",
    "cloud_pct",
    "thunder",
]


@pytest.fixture
def folder(tmp_path):
    """A show folder that has that sheet and nothing else."""
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "harbour-board.toml").write_text(SHEET, encoding="utf-8")
    (tmp_path / "answer.json").write_text(json.dumps(ANSWER), encoding="utf-8")
    return tmp_path


def by_hand(steps):
    assert [step["minutes"] for step in steps] == [60] * 4
    for step, right in zip(steps, BY_HAND, strict=True):
        for name, value in zip(COLUMNS, right, strict=True):
            expected = pytest.approx(value, abs=1e-6) if isinstance(value, float) else value
            assert step[name] == expected, (step["starts_at"], name)


def test_the_table_worked_by_hand(folder):
    weather = decode(
        (folder / "answer.json").read_bytes(),
        find_sheet("harbour-board", folder),
        fetched_at=None,
    )
    document = as_json(weather, "harbour-board")
    by_hand(document["steps"])
    assert document["credit"] == "Forecast by the harbour board"
    assert document["issued_at"] == "2026-06-01T23:30:00Z"
    assert document["dropped"] == [
        "gust: derived in 1 of 4 steps, 1.5 x the wind, not forecast",
        "dew_point: from temperature and humidity in 4 of 4 steps",
    ]


def test_the_command_reads_it_by_the_sheet_alone(folder):
    run = CliRunner().invoke(
        dryspell,
        [
            "feed",
            "--show",
            str(folder),
            "--sheet",
            "harbour-board",
            "--sample",
            str(folder / "answer.json"),
            "--json",
            str(folder / "out.json"),
        ],
    )
    assert run.exit_code == 0, run.output
    by_hand(json.loads((folder / "out.json").read_text())["steps"])
    assert "Steps: 4 of 1 h." in run.output
    assert "Issued 2026-06-01 23:30." in run.output
    lines = [line.split() for line in run.output.splitlines() if line.startswith("2026-06-02")]
    assert lines[0] == [
        "2026-06-02",
        "02:00",
        "60",
        "2.54",
        "7.7",
        "10.3",
        "270",
        "17.5",
        "17.5",
        "75",
        "yes",
    ]
    assert lines[1] == [
        "2026-06-02",
        "03:00",
        "60",
        "1.27",
        "-",
        "15.4",
        "-",
        "15.0",
        "15.0",
        "100",
        "no",
    ]
    assert "not forecast" in run.output
    assert "Forecast by the harbour board" in run.output


def test_the_command_says_why_an_answer_was_not_used(folder):
    changed = {**ANSWER, "uom": {"rain": "mm"}}
    (folder / "answer.json").write_text(json.dumps(changed), encoding="utf-8")
    run = CliRunner().invoke(
        dryspell,
        [
            "feed",
            "--show",
            str(folder),
            "--sheet",
            "harbour-board",
            "--sample",
            str(folder / "answer.json"),
        ],
    )
    assert run.exit_code == 1
    assert "precip came in mm, the sheet expects in (unit)" in run.stderr


def test_the_night_the_clocks_go_back(folder):
    # 2026-11-01, New York: 2 AM summer time (UTC-4) becomes 1 AM (UTC-5). 12 AM is 04:00Z, 1 AM
    # is either 05:00Z or 06:00Z, 2 AM is 07:00Z.
    night = {
        **ANSWER,
        "days": [
            {
                "date": "11/01/2026",
                "hours": [
                    hour("12:00 AM", "0.10", "10 kn", 20, 270, 59, 0.5, "RA"),
                    hour("01:00 AM", "0.20", "10 kn", 20, 270, 59, 0.5, "RA"),
                    hour("01:00 AM", "0.30", "10 kn", 20, 270, 59, 0.5, "RA"),
                    hour("02:00 AM", "0.40", "10 kn", 20, 270, 59, 0.5, "RA"),
                ],
            }
        ],
    }
    weather = decode(
        json.dumps(night).encode(), find_sheet("harbour-board", folder), fetched_at=None
    )
    document = as_json(weather, "harbour-board")
    assert [(s["starts_at"], s["rain_mm"]) for s in document["steps"]] == [
        ("2026-11-01T04:00:00Z", pytest.approx(2.54)),
        ("2026-11-01T07:00:00Z", pytest.approx(10.16)),
    ]
    assert any("America/New_York has twice" in one for one in document["dropped"])
