"""The rain is over: told once, with the head of the queue, and opening nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from service_stage import RECORD_FEED, START, record

from monitor.alerts.radio import LONGEST
from monitor.domain import LogEntry
from monitor.service.after_rain import rain_spells, waiting_now
from monitor.service.cycle import Cycle
from monitor.service.entries import Said, as_sent
from monitor.service.tested_words import first_wet, inspection_notes
from monitor.show import read_show
from monitor.store.chain import verify
from monitor.store.history import alert_changes, open_alerts, record_log
from monitor.units import to_epoch

DECIDES = "Local rules, the maker's figures and the competent person decide."
FORBIDDEN = (" go ", "stand by", "all clear")


@pytest.fixture
def watched(stage):
    """A stage whose record has 4 mm in the hour from 11:00, UTC; it is 11:30."""

    def make(rain=None, **more):
        files = {"weather.csv": record({0: 4.0} if rain is None else rain, **more)}
        made = stage(feeds=RECORD_FEED, files=files)
        made.poll()
        return made

    return make


def looks(stage, *minutes):
    """Rain-over messages of looks so many minutes after 11:30."""
    found = []
    for minute in minutes:
        stage.now = START + timedelta(minutes=minute)
        stage.poll()
        found += [(minute, m) for m in stage.run() if m.alert_id.startswith("rain-over")]
    return found


def test_it_is_told_once_with_what_to_inspect_first(watched):
    stage = watched()
    # wet to 12:00, so from 12:15 on a quarter of an hour was dry
    ((minute, message),) = looks(stage, 0, 15, 30, 44, 45, 60, 120)
    assert minute == 45
    assert message.subject == "The rain is over at Lower meadow"
    assert message.kind == "weather"
    # load-in was 08:30, the rain of the hour from 11:00 began after it
    assert "Rain reached gear from 12:00 on" in message.text
    assert "WASH at Lawn wash (used " in message.text
    assert "This opens neither work at height nor power: people declare those." in message.text
    assert "none at risk before 14:15" in message.text
    assert "Wet and live: keep off." in message.text
    assert "three things" in message.text
    assert len(message.radio) <= LONGEST
    assert "neither work at height nor power" in message.radio
    assert message.data["action"] is None
    assert not any(word in message.text.lower() for word in FORBIDDEN)
    # it ends something: nothing of it stays open, and the history says when
    assert not any(s.alert.id.startswith("rain-over") for s in open_alerts(stage.db))
    (change,) = [c for c in alert_changes(stage.db) if c.alert.id.startswith("rain-over")]
    assert (change.alert.stage, change.at) == ("stood-down", stage.now - timedelta(minutes=75))
    assert verify(stage.db).ok


def test_it_is_told_once_also_across_a_restart(watched):
    made = watched()
    assert len(looks(made, 0, 45)) == 1
    # a service that starts anew on the same history
    made.cycle = Cycle(made.watch)
    assert looks(made, 60, 90) == []


def test_rain_at_risk_holds_it_back(watched):
    stage = watched({0: 4.0, 2: 4.0})
    # wet 11-12 and 13-14: over at 14:15, not before
    assert [m for m, _ in looks(stage, 0, 45, 75, 120, 150, 164, 165, 180)] == [165]


def test_a_record_that_ends_is_not_dry(watched):
    # it ends at 13:00: at 12:15 the hour to come is not known
    assert looks(watched(hours=4), 0, 45, 60) == []


def test_a_dry_day_has_no_end_of_rain(watched):
    stage = watched({})
    assert looks(stage, 0, 45, 120) == []
    assert rain_spells(stage.db) == ()


def test_the_queue_of_a_history(watched):
    stage = watched()
    looks(stage, 0, 45)
    folder = read_show(stage.folder, {})
    (item,) = waiting_now(stage.db, folder, {}, stage.now).queue
    assert (item.fixture, item.count, item.needed) == ("WASH", 6, True)
    record_log(
        stage.db,
        LogEntry(stage.now, "inspected", fixture="WASH", result="dry"),
        "k",
        stage.now,
    )
    assert waiting_now(stage.db, folder, {}, stage.now + timedelta(minutes=1)).queue == ()


# ---------------------------------------------------------------- the answer to an inspection


def inspected(stage, at, result, earth=None, insulation=None):
    entry = LogEntry(
        at, "inspected", fixture="WASH", result=result, earth_ohm=earth, insulation_mohm=insulation
    )
    record_log(stage.db, entry, f"k-{at}", stage.now)
    return inspection_notes(stage.db, [entry], stage.watch.current.show)


def test_readings_are_held_against_those_of_the_load_in(watched):
    stage = watched()
    before = inspected(stage, START - timedelta(hours=1), "not-tested", 0.08, 250.0)
    assert before[0] == "WASH: earth 0.08 ohm; insulation 250 megohm. Kept as its first readings."
    looks(stage, 0, 45)
    # the water reached it with the hour that began at 11:00
    assert first_wet(stage.db) == {"WASH": to_epoch(START.replace(minute=0))}
    after = inspected(stage, stage.now, "damp", 0.31, 40.0)
    assert after == [
        "WASH: earth 0.31 ohm, 0.08 at load-in; insulation 40 megohm, 250 at load-in.",
        f"Earth 0.31 ohm is over the 0.1 ohm often used, beside that of the lead. {DECIDES}",
        "Logged as damp: used stays as it was, and it stays in the queue.",
    ]


def test_dry_with_such_readings_is_kept_and_asked_back(watched):
    notes = inspected(watched(), START, "dry", 0.31, 0.4)
    assert notes[-1].startswith(
        "It is kept as dry, and WASH counts as unused again. Is that right?"
    )
    assert "under the 1 megohm often used at 500 V DC" in notes[1]


def test_where_nobody_watched_load_in_is_the_last_moment_known_as_dry(stage):
    made = stage()  # load-in at 08:30
    inspected(made, START - timedelta(hours=1), "damp", 0.2)
    notes = inspected(made, START, "dry", 0.05)
    assert notes == ["WASH: earth 0.05 ohm, 0.2 at its first reading."]


def test_water_inside_stays_out(stage):
    made = stage()
    (note,) = inspected(made, START, "water-inside")
    assert "out of service" in note
    assert inspected(made, START + timedelta(hours=1), "dry") == []


def test_a_word_sent_before_readings_were_known_is_the_same_word():
    # what an older monitor made its digest of: these ten names, whatever was given
    said = Said("covered", position="wash", by="Ines")
    names = ("entry", "position", "fixture", "alert", "at", "count", "to", "result", "by", "note")
    assert as_sent(said) == {
        **dict.fromkeys(names),
        "entry": "covered",
        "position": "wash",
        "by": "Ines",
    }
    assert as_sent(Said("inspected", earth_ohm="0.1"))["earth_ohm"] == "0.1"
