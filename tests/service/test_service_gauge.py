"""The site's own gauge through the running service: what it measures counts before any forecast.

The fixtures are IP20, whose allowance is the 0.5 mm at which a film runs off, at any angle. In a
calm rain falls straight down and a fixture takes what falls, so every millimetre measured (never
charged the margin of a forecast) uses two allowances: 12 mm are 24.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from gauge_stage import (
    Client,
    Report,
    command,
    counter,
    gauge,
    mails,
    now,
    stamp,
    token_for,
    watching,
)
from service_site import (
    feed_of,
    mail_server,
    mail_to,
    payload,
    wait_for,
    weather_server,
    write_show,
)
from web.web_site import RUN

DRY = 999
"""Hours until it rains: past the end of what the service forecasts."""
HOUR = timedelta(hours=1)


@pytest.fixture
def mailbox():
    with mail_server() as (box, port):
        box.port = port
        yield box


@pytest.fixture
def sky():
    with weather_server(payload(now(), rain_in_h=DRY)) as serving:
        yield serving


@pytest.fixture
def folder_of(tmp_path, sky, mailbox):
    def make(*, load_in=None, **of_the_gauge):
        return write_show(
            tmp_path / "show",
            feeds=feed_of(sky.url),
            contacts=mail_to(mailbox.port, "a@example.org") + gauge(**of_the_gauge),
            load_in=load_in,
        )

    return make


def texts(mailbox, *words):
    """The texts of the mails so far that have all of these words in them."""
    said = [f"{subject}\n{text}" for subject, text in mails(mailbox)]
    return [text for text in said if all(word in text for word in words)]


def work(client):
    return [alert for alert in client.state()["alerts"] if alert["kind"] == "work"]


# ---------------------------------------------------------------- posted


def test_a_counter_that_climbs_against_a_dry_forecast(tmp_path, folder_of, mailbox):
    folder = folder_of()
    at = now()
    with watching(folder, arguments=[*RUN, str(folder)]) as url:
        client = Client(url, token_for(folder))
        wait_for(lambda: texts(mailbox, "On watch", "Measured on site by mast"))
        assert client.state()["alerts"] == []
        assert client.state()["stations"][0]["last_at"] is None
        client.post(counter(at - HOUR, at, 100.0, 1.0))
        # it rains on, by the gauge, on gear that nobody has isolated
        wait_for(lambda: texts(mailbox, "ISOLATE NOW Lawn wash"))
        wait_for(lambda: texts(mailbox, "Wet already, with no allowance left: 6 at Lawn wash."))
        state = client.state()
    assert state["stations"][0]["last_at"] == stamp(at)
    (alert,) = [found for found in state["alerts"] if found["kind"] == "work"]
    assert (alert["action"], alert["fixtures"]) == ("isolate", ["WASH"])
    assert "12.0 mm of rain fell" in alert["says"]
    report = Report(folder, tmp_path / "out", to=stamp(at))
    assert sum(mm for _, _, mm in report.measured()) == pytest.approx(12.0)
    assert report.used() == pytest.approx(24.0)
    assert "measured on site" in report.page


def test_late_readings_change_the_past_and_a_later_forecast_does_not(
    tmp_path, folder_of, sky, mailbox
):
    folder = folder_of()
    at = now()
    with watching(folder) as url:
        client = Client(url, token_for(folder))
        client.post(counter(at - HOUR, at, 100.0, 1.0))
        wait_for(lambda: work(client))
        first = Report(folder, tmp_path / "first", to=stamp(at))
        # what a logger had kept while its link was down: 12 mm of the hour before
        client.post(counter(at - 2 * HOUR, at - HOUR - timedelta(minutes=5), 88.0, 1.0))
        late = Report(folder, tmp_path / "late", to=stamp(at))
        # the forecast now says that it has poured for hours
        heard_at = client.state()["feeds"][0]["said_at"]
        sky.body = payload(now(), rain_in_h=-3)
        wait_for(lambda: client.state()["feeds"][0]["said_at"] > heard_at)
        wait_for(lambda: len(texts(mailbox)) >= 2)
    after = Report(folder, tmp_path / "after", to=stamp(at))
    depths = [sum(mm for _, _, mm in r.measured()) for r in (first, late, after)]
    assert depths == pytest.approx([12.0, 24.0, 24.0])
    assert [r.used() for r in (first, late, after)] == pytest.approx([24.0, 48.0, 48.0])
    assert after.rows("weather") == late.rows("weather")


# ---------------------------------------------------------------- a file that grows


def test_a_file_that_grows(tmp_path, folder_of, mailbox):
    folder = folder_of(file="mast.csv")
    at = now()
    lines = [
        f"{r['time']},{r['rain_total_mm']},{r['wind_ms']}\n"
        for r in counter(at - HOUR, at, 100.0, 1.0)
    ]
    path = folder / "mast.csv"
    path.write_text("".join(["time,rain_total_mm,wind_ms\n", lines[0]]), encoding="utf-8")
    with watching(folder) as url:
        client = Client(url, token_for(folder))
        wait_for(lambda: client.state()["stations"][0]["last_at"] == stamp(at - HOUR))
        wait_for(lambda: texts(mailbox, "On watch"))
        assert work(client) == []
        with path.open("a", encoding="utf-8") as logger:
            logger.write("".join(lines[1:]))
        wait_for(lambda: texts(mailbox, "ISOLATE NOW Lawn wash"))
    report = Report(folder, tmp_path / "out", to=stamp(at))
    assert sum(mm for _, _, mm in report.measured()) == pytest.approx(12.0)
    assert report.used() == pytest.approx(24.0)


# ---------------------------------------------------------------- silence


def test_a_gauge_that_falls_silent_while_rain_is_forecast(folder_of, sky, mailbox):
    sky.body = payload(now(), rain_in_h=3)
    # ten minutes without a word are a silence, which this clock makes six seconds
    folder = folder_of(every_minutes=0.1)
    with watching(folder, speed=100.0) as url:
        client = Client(url, token_for(folder))
        client.post({"station": "mast", "rain_total_mm": 5.0})
        wait_for(lambda: work(client))
        wait_for(lambda: texts(mailbox, "Gauge mast: nothing heard"))
        (said,) = texts(mailbox, "Gauge mast: nothing heard")
        assert "What it does not measure is not taken as dry: there the forecast counts" in said
        assert [alert["action"] for alert in work(client)] == ["cover"]
        client.post({"station": "mast", "rain_total_mm": 5.0})
        wait_for(lambda: texts(mailbox, "auge mast measures again"))


# ---------------------------------------------------------------- the crew's word


def test_rain_that_no_forecast_has(folder_of, mailbox):
    folder = folder_of()
    unforeseen = "It is raining on site by the crew's word; no forecast says so"
    with watching(folder) as url:
        client = Client(url, token_for(folder))
        wait_for(lambda: texts(mailbox, "On watch"))
        assert client.state()["alerts"] == []
        command("raining", "--by", "Kit", "--show", folder)
        wait_for(lambda: texts(mailbox, unforeseen))
        # 2.5 mm/h for half an hour: the 0.5 mm of the fixtures are spent in 12 min
        wait_for(lambda: [alert["action"] for alert in work(client)] == ["cover"])
        command("raining", "--stopped", "--show", folder)
        wait_for(lambda: texts(mailbox, "The crew said at", "that it has stopped"))


# ---------------------------------------------------------------- how good the forecast was


def test_the_gauge_is_the_truth_that_forecasts_are_held_against(tmp_path, folder_of, sky, mailbox):
    """A service that ran some six hours ago heard a forecast of six wet hours from the next on.

    Five of them are over by now. The gauge has rain in the first two, 4 mm each in steps of ten
    minutes, and none in the other three: two hits, three false alarms, nothing missed.
    """
    at = now()
    hour = at.replace(minute=0, second=0)
    began = hour - 6 * HOUR
    asked_at = began + HOUR / 2
    sky.body = payload(asked_at, rain_in_h=1)
    folder = folder_of(load_in=began - HOUR)
    with watching(folder, behind_h=(at - asked_at) / HOUR):
        wait_for(lambda: texts(mailbox, "cover 6 fixtures at Lawn wash"))
    wet = counter(began + HOUR, began + 3 * HOUR, 50.0, 4.0 / 6, minutes=10)
    dry = counter(began + 3 * HOUR, at, wet[-1]["rain_total_mm"], 0.0, minutes=10)
    with watching(folder) as url:
        client = Client(url, token_for(folder))
        client.post(wet[:-1] + dry)
        # 8 mm in each of the last three hours, by the forecast
        wait_for(lambda: texts(mailbox, "measured no rain in 3 h", "24.0 mm"))
    report = Report(folder, tmp_path / "out", to=stamp(hour))
    assert sum(mm for _, _, mm in report.measured()) == pytest.approx(8.0)
    assert "Measured on site (mast): 5 hours, 2 of them wet" in report.page
    counts = [
        sum(int(row[name]) for row in report.rows("scores"))
        for name in ("hours", "hits", "misses", "false_alarms", "correct_negatives")
    ]
    assert counts == [5, 2, 0, 3, 0]
    assert {row["feed"] for row in report.rows("scores")} == {"local-weather"}
