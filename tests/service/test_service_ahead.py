"""One look ahead sees what is open: the state, the log and the answers that the service has kept.

Six IP20 pieces in a record with the wind at 3 m/s; 8 mm fall in one hour.
"""

from __future__ import annotations

import json
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from service_site import ENVIRON, mail_to
from service_stage import RECORD_FEED, START, record

from monitor.alerts.open_alert import WatchState
from monitor.domain import Answered, LogEntry, Reading
from monitor.service import look_ahead
from monitor.store.answers import record_answer
from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.history import recall, record_log
from monitor.store.readings import add_reading
from monitor.store.records import from_json

LONDON = ZoneInfo("Europe/London")
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


# ---------------------------------------------------------------- late, answered, to be isolated


def told_to_start(made):
    """Rain from 14:00Z; ten minutes before the 6 pieces have to be done, and not begun.

    On the ground: 2 min to set up and 1.5 min for each of 6, 11 min in all.
    """
    stage = made({3: 8.0})
    stage.run()
    stage.later(hours=2.25)
    stage.run()
    (alert,) = [o.alert for o in recall_state(stage).open]
    return stage, alert


def recall_state(stage):
    return from_json(WatchState, json.dumps(recall(stage.db, "watch/state")))


def answer(stage, alert, word, **more):
    with immediate(stage.db):
        record_answer(
            stage.db,
            Answered(
                stage.now, alert.id, word, position="wash", family="protect",
                fixtures=("WASH",), **more,
            ),
        )  # fmt: skip


def test_what_begins_now_and_ends_late_says_by_how_much(made):
    stage, alert = told_to_start(made)
    assert (alert.action, alert.minutes) == ("cover", 11.0)
    stage.now = alert.do_by - timedelta(minutes=3.5)
    said = screen(look(stage))
    # 11 min of work with 3.5 min left: 7.5 min, told as 8
    assert "Cover 6 at Lawn wash: start at once, done by " in said
    assert ", 8 min late at best." in said


def test_what_is_answered_not_needed_asks_nobody_to_start(made):
    stage, alert = told_to_start(made)
    answer(stage, alert, "not-needed", by="Ruth")
    said = screen(look(stage))
    assert "Cover 6 at Lawn wash: not needed, done by " in said
    assert "Ruth answered not needed at 14:45." in said
    assert "start at once" not in said
    assert "start by" not in said


def test_what_somebody_is_at_is_under_way(made):
    stage, alert = told_to_start(made)
    answer(stage, alert, "doing", by="Moss")
    said = screen(look(stage))
    assert "Cover 6 at Lawn wash: under way, done by " in said
    assert "Moss answered doing at 14:45." in said
    assert "late at best" not in said


def test_what_cannot_be_done_is_isolated_by_its_time(made):
    stage, alert = told_to_start(made)
    answer(stage, alert, "cannot", because="act-on-stage", by="Moss")
    found = look(stage)
    said = screen(found)
    due = alert.do_by.astimezone(LONDON).strftime("%H:%M")
    assert f"Isolate 6 at Lawn wash: done by {due} (in " in said
    assert "Moss answered cannot at 14:45: there is an act on stage." in said
    assert "Cut-off: Lawn distribution." in said
    assert "without a deadline" not in said
    assert "Covers:" not in said


def test_a_planned_row_says_what_was_answered(made):
    stage = made({6: 8.0})
    stage.run()
    (opened,) = recall_state(stage).open
    assert opened.alert.stage == "notice"
    answer(stage, opened.alert, "not-needed")
    found = look(stage)
    (row,) = [line for line in found.lines if "Cover 6 at Lawn wash" in line]
    assert row.startswith("not needed ")
    assert "answered not needed at 12:30." in screen(found)


def test_what_is_logged_ends_the_answer(made):
    stage, alert = told_to_start(made)
    answer(stage, alert, "not-needed", by="Ruth")
    stage.later(minutes=1)
    with immediate(stage.db):
        record_log(stage.db, LogEntry(stage.now, "covered", "wash"), "log-1", stage.now)
    assert "answered" not in screen(look(stage))
