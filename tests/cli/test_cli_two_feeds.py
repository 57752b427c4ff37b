"""Two services of different kinds that differ, from their servers to the message."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from click.testing import CliRunner
from service_site import feed_of, weather_server, write_show

from monitor.cli import dryspell

NOW = datetime(2027, 7, 15, 7, 0, tzinfo=UTC)
"""12:30 by Indian Standard Time, half an hour off the hours of a forecast."""
MM = 0.99

ROWS = """
[feed]
id = "harbour"
credit = "Forecast by the harbour board"
licence = "CC0"
use = "any"

[request]
url = "https://harbour.example/forecast"
poll = "1m"

[run]
issued = "made"

[shape]
kind = "rows"
records = "hours"

[time]
path = "from"
format = "iso"
zone = "UTC"

[vars.precip]
path = "rain"
cover = "following"
period = "1h"
stat = "sum"
unit = "mm"
required = true

[vars.wind]
path = "wind"
cover = "instant"
stat = "mean"
unit = "kn"
required = true
"""


def hours(count=24):
    first = NOW - timedelta(hours=1)
    return [first + timedelta(hours=n) for n in range(count)]


def columns(wet):
    """Rain in the hour that begins at `wet`; a stamp is the end of its hour."""
    ends = [begin + timedelta(hours=1) for begin in hours()]
    hourly = {
        "time": [end.strftime("%Y-%m-%dT%H:%M") for end in ends],
        "precipitation": [MM if begin == wet else 0.0 for begin in hours()],
        "wind_speed_10m": [0.0] * len(ends),
    }
    units = {"precipitation": "mm", "wind_speed_10m": "m/s"}
    return json.dumps({"utc_offset_seconds": 0, "hourly_units": units, "hourly": hourly}).encode()


def rows(wet):
    """The same, a stamp being the begin of its hour."""
    said = [
        {"from": begin.isoformat(), "rain": MM if begin == wet else 0.0, "wind": 0}
        for begin in hours()
    ]
    return json.dumps({"made": NOW.isoformat(), "hours": said}).encode()


def test_one_says_14_00_and_the_other_16_00(tmp_path):
    """IP20: 0.5 mm run off. Of 0.99 mm in an hour, in a calm and without margin, that has fallen
    after 0.5 / 0.99 of it: 1818 s, 18 s past the half hour.

    The columns have it in the hour from 08:00 UTC, so 08:30, which is 14:00 in Kolkata; the rows
    in the hour from 10:00, so 16:00. Each feed is half of the weight, which is past the quarter
    at which this show acts: the first of them sets the deadline.
    """
    with (
        time_machine.travel(NOW, tick=False),
        weather_server(columns(datetime(2027, 7, 15, 8, tzinfo=UTC))) as first,
        weather_server(rows(datetime(2027, 7, 15, 10, tzinfo=UTC))) as second,
    ):
        other = f'[[feeds]]\nsheet = "harbour"\nbase_url = "{second.url}"\n'
        folder = write_show(
            tmp_path / "show",
            feeds=feed_of(first.url) + other,
            contacts="[policy]\nhourly_margin = 1.0\n",
            load_in=NOW - timedelta(hours=3),
            files={"sheets/harbour.toml": ROWS},
        )
        show = (folder / "show.toml").read_text(encoding="utf-8")
        (folder / "show.toml").write_text(
            show.replace("Europe/London", "Asia/Kolkata"), encoding="utf-8"
        )
        done = CliRunner().invoke(dryspell, ["ahead", "--json", "-", "--show", str(folder)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.output
    data = json.loads(done.stdout)
    assert [feed["state"] for feed in data["feeds"]] == ["current", "current"]
    (alert,) = data["alerts"]
    assert [feed["feed"] for feed in alert["by_feed"]] == ["local-weather", "harbour"]
    two, four = (datetime(2027, 7, 15, hour, 30, 18, tzinfo=UTC).timestamp() for hour in (8, 10))
    due = [alert["do_by"], *(feed["do_by"] for feed in alert["by_feed"])]
    said = [datetime.fromisoformat(at).timestamp() for at in due]
    assert said == pytest.approx([two, two, four], abs=1.0)
    assert "Feeds differ: local-weather says 14:00, harbour says 16:00." in alert["says"]
    # 08:00 and 10:00 UTC are 13:30 and 15:30 in Kolkata
    rain = "Rain by feed: local-weather 1.0 mm from 13:30 to 14:30; harbour 1.0 mm from 15:30"
    assert rain in alert["says"]
    assert "of rain from 13:30 to 16:30" not in alert["says"]
