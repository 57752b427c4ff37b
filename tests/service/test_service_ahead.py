"""One look ahead sees what is open: the state, the log and the answers that the service has kept.

Six IP20 pieces in a record with the wind at 3 m/s; 8 mm fall in one hour.
"""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from service_site import ENVIRON, mail_to
from service_stage import RECORD_FEED, START, record

from monitor.domain import Reading
from monitor.service import look_ahead
from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.history import recall
from monitor.store.readings import add_reading

MAILS = mail_to(25, "a@example.org")


@pytest.fixture
def made(stage):
    def make(rain, more="", text=None):
        files = {"weather.csv": text or record(rain)}
        found = stage(feeds=RECORD_FEED, contacts=MAILS + more, files=files)
        found.poll()
        return found

    return make


def look(stage):
    return look_ahead(stage.folder, ENVIRON, clock=stage.clock)


def screen(found):
    """Its lines as one, however they were broken."""
    return " ".join("\n".join(found.lines).split())


def test_work_ahead_with_times_people_covers_and_rain(made):
    # rain in the hour from 14:00Z, 15:00 on site
    found = look(made({3: 8.0}))
    said = screen(found)
    assert "Cover 6 at Lawn wash 1 person" in said
    assert "Start by Done by" in said
    assert "Covers: 6 Tarp hood." in said
    assert "Wet 15:00 to 16:00, up to 8.0 mm, gusts up to 6 m/s where people work." in said
    assert not found.attention


def test_what_was_not_done_in_time_is_overdue_and_needs_attention(made):
    stage = made({3: 8.0})
    stage.run()
    stage.later(hours=2.9)
    stage.run()
    stage.later(minutes=36)
    stage.run()
    found = look(stage)
    assert "OVERDUE. 6 at Lawn wash: taken as " in screen(found)
    assert "due 15:0" in screen(found)
    assert "and not logged done." in screen(found)
    assert found.attention
    assert "overdue" in [alert["stage"] for alert in found.json["alerts"]]


def test_it_writes_nothing_of_what_it_judges(made):
    stage = made({3: 8.0})
    stage.run()
    look(stage)
    before, state = verify(stage.db).head, recall(stage.db, "watch/state")
    stage.later(hours=4)
    look(stage)
    assert verify(stage.db).head == before
    assert recall(stage.db, "watch/state") == state


def test_a_stop_that_stands_is_shown_first(made):
    # thunder in the hour from 11:00Z: nobody works until half past twelve, 13:30 on site
    head, *rows = record({3: 8.0}).splitlines()
    told = [f"{row},,{'yes' if 'T11:00Z' in row else 'no'}" for row in rows]
    text = "\n".join([f"{head},cloud_pct,thunder", *told]) + "\n"
    stage = made({}, text=text)
    stage.run()
    found = look(stage)
    first = next(line for line in found.lines if line.startswith(("STOP", "Notice", "Cover")))
    assert first == "STOP. Nobody works at Lower meadow before 13:30 (in 60 min)."
    assert "Power is cut at: Lawn distribution." in screen(found)
    assert found.attention
    # the same again once the hour is over: the stop stays for its half hour
    stage.later(minutes=45)
    again = look(stage)
    assert "STOP. Nobody works at Lower meadow before 13:30 (in 15 min)." in screen(again)
    assert again.attention


def test_rain_that_no_forecast_has(made):
    stage = made({}, '[[gauges]]\nstation = "mast"\n')
    with immediate(stage.db):
        for minutes, total in ((-30, 1.0), (-15, 1.1), (0, 1.2)):
            at = START + timedelta(minutes=minutes)
            add_reading(stage.db, Reading("mast", at, rain_total_mm=total), stage.now)
    found = look(stage)
    said = screen(found)
    assert "It rains now, more than any forecast has: 0.2 mm in 30 min by mast." in said
    assert "Cover 6 at Lawn wash: start by" in said
    assert found.attention


def test_it_fits_a_screen(made):
    found = look(made({3: 8.0}))
    assert max(map(len, found.lines)) <= 80
    assert len(found.lines) <= 24
    assert json.dumps(found.json)


def test_the_age_of_a_forecast_that_nothing_newer_has_followed(made):
    found = look(made({3: 8.0}))
    assert "Weather: weather.csv, to Fri " in screen(found)


def gusty(made, rain):
    """Gusts of 14 m/s until 13:00Z, 14:00 on site, over what a ladder may be used in."""
    head, *rows = record(rain).splitlines()
    told = [row.replace(",6,220", ",14,220") if row[11:13] in ("11", "12") else row for row in rows]
    stage = made({}, text="\n".join([head, *told]) + "\n")
    show = stage.folder / "show.toml"
    text = show.read_text(encoding="utf-8").replace('access = "ground"', 'access = "ladder"')
    show.write_text(text, encoding="utf-8")
    return look(stage)


def test_what_waits_for_the_wind_is_shown_and_nobody_is_sent_before(made):
    found = gusty(made, {3: 8.0})
    assert "STOP. Nobody works at Lawn wash before 14:00 (in 90 min)." in found.lines
    (row,) = [line for line in found.lines if "Cover 6 at Lawn wash" in line]
    assert "14:00" <= row[:5] < "15:00"


def test_no_line_sends_anybody_where_nobody_works(made):
    # rain from 13:00Z leaves no time after the gusts
    found = gusty(made, {2: 8.0})
    assert any(line.startswith("STOP. Nobody works at Lawn wash before") for line in found.lines)
    (row,) = [line for line in found.lines if "Cover 6 at Lawn wash" in line]
    assert row[:5] >= "14:00"
    assert "late" in row


def test_faults_of_a_gauges_file_are_told(made):
    stage = made({}, '[[gauges]]\nstation = "mast"\nfile = "mast.csv"\n')
    (stage.folder / "mast.csv").write_text(
        "at,rain_total_mm\n2027-07-15T11:20Z,much\n", encoding="utf-8"
    )
    said = screen(look(stage))
    assert "Gauge mast: mast.csv line 2: " in said
