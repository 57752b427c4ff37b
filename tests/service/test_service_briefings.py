"""The sheets go out by themselves: once, in time, with the history, and to a real mailbox."""

from __future__ import annotations

import email
from datetime import datetime, timedelta
from email import policy

from service_site import mail_server, mail_to
from service_stage import RECORD_FEED, START, record

from monitor.domain import LogEntry, UnableError
from monitor.service import briefings
from monitor.store.chain import verify
from monitor.store.handovers import Handover, record_handover
from monitor.store.history import recall, record_log
from monitor.store.outbox import deliveries

MAILS = mail_to(25, "a@example.org")

PEOPLE = """
[[people]]
name = "Ines"
shifts = ["09:00-23:00"]

[[people]]
name = "Dario"
shifts = ["23:00-09:00"]
"""

EVENING = START.replace(hour=21, minute=29)
"""22:29 on site: half an hour and a minute before the shift change at 23:00."""


def on_stage(stage, contacts=MAILS + PEOPLE, **more):
    weather = record({12: 8.0}, hours=60)
    made = stage(feeds=RECORD_FEED, contacts=contacts, files={"weather.csv": weather}, **more)
    made.poll()
    return made


def sheets(made, kind):
    found = [d.row.message for d in deliveries(made.db) if d.row.message.kind == "watch"]
    return [message for message in found if message.thread.startswith(f"{kind}-")]


def at(made, moment: datetime):
    made.now = moment
    return made.run()


def test_the_handover_comes_half_an_hour_before_the_shift_change_and_once(stage):
    made = on_stage(stage)
    at(made, START)
    at(made, EVENING)
    assert sheets(made, "handover") == []
    at(made, EVENING + timedelta(minutes=1))
    (sent,) = sheets(made, "handover")
    assert sent.subject.startswith("Handover 23:00: ")
    assert "Ines to Dario, 23:00 (in 30 min)." in sent.text
    for minutes in (2, 20, 45, 59):
        at(made, EVENING + timedelta(minutes=minutes))
    assert len(sheets(made, "handover")) == 1
    # the next change is at 09:00 on site, 08:00 UTC
    at(made, START.replace(hour=7, minute=30) + timedelta(days=1))
    assert [m.data["change_at"] for m in sheets(made, "handover")] == [
        "2027-07-15T22:00:00Z",
        "2027-07-16T08:00:00Z",
    ]
    assert verify(made.db).ok


def test_a_service_that_was_down_tells_it_late_but_not_too_late(stage):
    made = on_stage(stage)
    at(made, EVENING + timedelta(minutes=50))
    assert len(sheets(made, "handover")) == 1
    other = on_stage(stage)
    at(other, EVENING + timedelta(days=1, minutes=90))
    assert len(sheets(other, "handover")) == 1


def test_the_daily_sheet_comes_every_morning_with_the_on_watch_message(stage):
    made = on_stage(stage)
    at(made, START)
    assert sheets(made, "daily") == []
    # no quiet hours: 08:00 on site, 07:00 UTC
    morning = START.replace(hour=7, minute=0) + timedelta(days=1)
    at(made, morning - timedelta(minutes=1))
    assert sheets(made, "daily") == []
    told = at(made, morning)
    assert [m.thread.partition("-")[0] for m in told if m.kind == "watch"] == ["watch", "daily"]
    at(made, morning + timedelta(minutes=1))
    assert len(sheets(made, "daily")) == 1
    at(made, morning + timedelta(days=1))
    assert len(sheets(made, "daily")) == 2


def test_after_load_out_there_is_nothing_to_hand_over(stage, tmp_path):
    made = on_stage(stage)
    show = tmp_path / "show" / "show.toml"
    load_in = next(line for line in show.read_text().splitlines() if line.startswith("load_in_at"))
    ended = f'{load_in}\nload_out_at = "2027-07-15T20:00+01:00"'
    show.write_text(show.read_text().replace(load_in, ended))
    made.watch.look()
    made.watch.look()
    assert made.watch.current.show.event.load_out_at is not None
    at(made, EVENING + timedelta(minutes=1))
    assert sheets(made, "handover") == []


def test_a_sheet_that_cannot_be_queued_leaves_nothing(stage, monkeypatch):
    made = on_stage(stage)
    at(made, START)
    before = verify(made.db).head

    def breaking(*_args, **_kinds):
        raise UnableError("The disk is full.", "Free some space.")

    with monkeypatch.context() as patch:
        patch.setattr(briefings, "send", breaking)
        at(made, EVENING + timedelta(minutes=1))
    assert isinstance(made.cycle.sums_fault, UnableError)
    assert verify(made.db).head == before
    assert recall(made.db, briefings.HANDOVER_KEY) is None
    at(made, EVENING + timedelta(minutes=2))
    assert len(sheets(made, "handover")) == 1


def test_the_sheet_says_what_was_logged_and_who_took_over_last(stage):
    made = on_stage(stage)
    at(made, START)
    covered = LogEntry(START + timedelta(hours=1), "covered", position="wash", by="Ines")
    record_log(made.db, covered, "k1", covered.at)
    record_handover(made.db, Handover(START - timedelta(hours=4), "Dario", "Ines"))
    at(made, EVENING + timedelta(minutes=1))
    text = sheets(made, "handover")[0].text
    assert "Lawn wash: 6 under Tarp hood since 13:30, by Ines; holds to a gust of 18 m/s." in text
    assert "08:30, Dario to Ines: both sides ticked." in text


def test_it_arrives_in_a_real_mailbox(stage):
    with mail_server() as (mailbox, port):
        made = on_stage(stage, contacts=mail_to(port, "a@example.org") + PEOPLE)
        at(made, EVENING + timedelta(minutes=1))
        made.deliver()
        mails = [email.message_from_bytes(m.content, policy=policy.default) for m in mailbox.mails]
    (mail,) = [m for m in mails if m["Subject"].startswith("Handover 23:00")]
    body = mail.get_body(("plain",)).get_content()
    assert "[ ] Given by: Ines" in body
    assert "Told, and no answer" in body
    assert "Cautions" in body


def test_looking_for_a_sheet_writes_nothing(stage):
    made = on_stage(stage)
    at(made, START)
    before = list(made.db.query("SELECT key, value FROM notes ORDER BY key"))
    head = verify(made.db).head
    known = briefings.known_now(made.db, made.watch, START)
    assert known.sources == 1
    assert list(made.db.query("SELECT key, value FROM notes ORDER BY key")) == before
    assert verify(made.db).head == head
