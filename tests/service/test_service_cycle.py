"""One cycle: everything it decides is written at once, and about itself it is honest."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from service_site import feed_of, mail_to, weather_server
from service_stage import RECORD_FEED, START, record

from monitor.domain import LogEntry, UnableError
from monitor.service import cycle as cycle_module
from monitor.service import telling
from monitor.service.cycle import begin_watch
from monitor.service.log_book import withdraw
from monitor.service.telling import expires_at
from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.history import (
    alert_changes,
    log_entries,
    open_alerts,
    recall,
    record_log,
    revisions,
)
from monitor.store.outbox import deliveries
from monitor.store.withdrawn import Withdrawal

MAILS = mail_to(25, "a@example.org", "b@example.org")


def on_record(stage, rain, contacts=MAILS, **more):
    made = stage(feeds=RECORD_FEED, contacts=contacts, files={"weather.csv": record(rain)}, **more)
    made.poll()
    return made


def told(made, kind):
    return [d.row.message for d in deliveries(made.db) if d.row.message.kind == kind]


# ---------------------------------------------------------------- all or nothing


def test_a_change_goes_to_every_recipient_with_its_history(stage):
    # 8 mm fall in the hour from 14:00 UTC on: an IP20 lamp has no rain to spare
    made = on_record(stage, {3: 8.0})
    made.run()
    changes = alert_changes(made.db)
    assert [(c.alert.kind, c.alert.stage) for c in changes] == [("work", "notice")]
    rows = [d.row for d in deliveries(made.db) if d.row.message.kind == "work"]
    assert [r.recipient for r in rows] == ["a@example.org", "b@example.org"]
    assert recall(made.db, "watch/state")["open"]
    assert revisions(made.db)[0].revision == made.watch.current.show.revision
    assert verify(made.db).ok


def test_a_cycle_that_breaks_half_way_leaves_nothing(stage, monkeypatch):
    made = on_record(stage, {3: 8.0})
    real, calls = telling.enqueue, []

    def breaking(*args, **kinds):
        calls.append(1)
        # two recipients are told of the watch; the second of the work breaks
        if len(calls) == 4:
            raise UnableError("The disk is full.", "Free some space.")
        return real(*args, **kinds)

    monkeypatch.setattr(telling, "enqueue", breaking)
    with pytest.raises(UnableError):
        made.run()
    assert alert_changes(made.db) == ()
    assert deliveries(made.db) == ()
    assert recall(made.db, "watch/state") is None
    assert revisions(made.db) == ()
    made.run()
    assert len(alert_changes(made.db)) == 1
    assert len(deliveries(made.db)) == 4


def test_nothing_new_writes_nothing(stage):
    made = on_record(stage, {3: 8.0})
    made.run()
    before = verify(made.db).head
    made.later(minutes=1)
    assert made.run() == []
    assert verify(made.db).head == before


def test_what_is_logged_meanwhile_is_not_answered_with_an_order(stage, monkeypatch):
    made = on_record(stage, {3: 8.0})
    real, thinking = cycle_module.evaluate, []

    def slow(*args, **kinds):
        found = real(*args, **kinds)
        if not thinking:
            thinking.append(found)
            entry = LogEntry(made.now - timedelta(minutes=1), "brought-in", position="wash")
            record_log(made.db, entry, "key-1", made.now)
        return found

    monkeypatch.setattr(cycle_module, "evaluate", slow)
    made.run()
    assert thinking[0].changes
    assert told(made, "work") == []


def test_an_entry_that_is_withdrawn_orders_the_work_again(stage):
    made = on_record(stage, {3: 8.0})
    made.run()
    assert [c.alert.stage for c in alert_changes(made.db)] == ["notice"]
    entry = LogEntry(made.now, "brought-in", position="wash")
    record_log(made.db, entry, "key-1", made.now)
    made.later(minutes=1)
    made.run()
    made.later(minutes=1)
    withdraw(made.db, ["1"], Withdrawal("Odile", "the other truss"), made.now, "--withdraw")
    assert log_entries(made.db) == ()
    made.run()
    assert [c.alert.stage for c in alert_changes(made.db)] == ["notice", "stood-down", "notice"]
    assert verify(made.db).ok


def test_a_stage_later_drops_what_was_not_sent_of_the_one_before(stage):
    made = on_record(stage, {3: 8.0})
    made.run()
    # one hour before the rain the start is called
    made.now = START.replace(minute=0) + timedelta(hours=2, minutes=15)
    made.run()
    work = [d for d in deliveries(made.db) if d.row.message.kind == "work"]
    assert [(d.row.message.stage, d.state) for d in work] == [
        ("notice", "cancelled"),
        ("notice", "cancelled"),
        ("start", "queued"),
        ("start", "queued"),
    ]


def test_how_long_a_message_is_worth_sending(stage):
    made = on_record(stage, {3: 8.0})
    made.run()
    work = alert_changes(made.db)[0].alert
    hour = timedelta(hours=1)
    assert expires_at(replace(work, do_by=START + hour), START) == START + 5 * hour
    assert expires_at(replace(work, do_by=START - 9 * hour), START) == START + 2 * hour
    assert expires_at(replace(work, do_by=None), START) == START + 6 * hour
    assert expires_at(replace(work, kind="stop"), START) == START + 6 * hour


# ---------------------------------------------------------------- on watch


def test_on_watch_is_told_first_and_every_morning(stage):
    def on_watch():
        return [m for m in told(made, "watch") if m.alert_id == "watch"]

    made = on_record(stage, {})
    made.run()
    assert len(on_watch()) == 2
    assert "weather.csv: current" in on_watch()[0].text.lower()
    made.later(hours=19)
    made.run()
    assert len(on_watch()) == 2
    # 08:00 site time is 07:00 UTC, 19.5 hours after the start
    made.later(minutes=30)
    made.run()
    assert len(on_watch()) == 4
    made.later(minutes=1)
    made.run()
    assert len(on_watch()) == 4


def test_on_watch_carries_the_end_of_the_chain(stage):
    made = on_record(stage, {})
    made.run()
    text = told(made, "watch")[0].text
    # whatever is cut off later, the report finds the link that this message holds
    noted = next(word.strip(";.") for word in text.split() if len(word.strip(";.")) == 64)
    assert verify(made.db, [noted]).ok


def test_a_changed_show_is_told_as_a_new_watch(stage):
    made = on_record(stage, {})
    made.run()
    fixtures = made.folder / "fixtures.csv"
    fixtures.write_text(fixtures.read_text().replace(",6,", ",7,"))
    assert not made.watch.look()  # still being written, for all we know
    assert made.watch.look()
    made.later(seconds=10)
    made.run()
    assert "7 fixtures" in told(made, "watch")[-1].subject
    assert len(revisions(made.db)) == 2


def test_a_start_within_the_hour_is_not_told_again(stage):
    made = on_record(stage, {})
    made.run()
    begin_watch(made.db, made.now + timedelta(minutes=59))
    made.run()
    assert len(told(made, "watch")) == 2
    made.later(hours=1)
    begin_watch(made.db, made.now)
    made.run()
    assert len(told(made, "watch")) == 4


def test_on_watch_waits_for_the_first_word_on_the_weather(stage):
    with weather_server(None) as sky:
        made = stage(feeds=feed_of(sky.url), contacts=MAILS)
        made.run()
        assert told(made, "watch") == []
        made.poll()
        made.run()
    assert "Local-weather: no usable forecast." in told(made, "watch")[0].text


# ---------------------------------------------------------------- before quiet hours


def quiet_from(made, hours):
    show = made.folder / "show.toml"
    text = show.read_text().replace("[event]", f'[event]\nquiet_hours = "{hours}"')
    show.write_text(text)
    made.watch.look()
    assert made.watch.look()


def tonight(made):
    return [m for m in told(made, "watch") if m.alert_id == "tonight"]


def test_the_outlook_comes_once_half_an_hour_before_quiet_hours(stage):
    # rain in the hour from 23:00 UTC, midnight on site; START is 12:30 on site
    made = on_record(stage, {12: 8.0})
    quiet_from(made, "23:00-07:00")
    made.now = START.replace(hour=21, minute=29)
    made.run()
    assert tonight(made) == []
    made.later(minutes=1)  # 22:30 on site
    made.run()
    first, second = tonight(made)  # to each of two mailboxes
    assert first == second
    assert first.text.startswith("Tonight at Lower meadow, 23:00 to Fri 07:00: 1 job planned.")
    assert "Lawn wash (6 fixtures): start by" in first.text
    made.later(minutes=1)
    made.run()
    assert len(tonight(made)) == 2
    # started again in quiet hours nothing is sent after; the next evening it comes again
    made.later(hours=23, minutes=58)
    made.run()
    assert len(tonight(made)) == 2
    made.later(minutes=1)
    made.run()
    assert len(tonight(made)) == 4


def test_no_outlook_in_the_night_itself(stage):
    made = on_record(stage, {12: 8.0})
    quiet_from(made, "23:00-07:00")
    made.now = START.replace(hour=22, minute=0)
    made.run()
    assert tonight(made) == []


def test_what_may_wait_for_the_morning_is_worth_sending_then(stage):
    made = on_record(stage, {3: 8.0})
    quiet_from(made, "11:00-23:00")
    made.run()
    (row, _) = [d.row for d in deliveries(made.db) if d.row.message.kind == "work"]
    # 23:00 on site is 22:00 UTC; two hours more is the least any message is worth
    assert row.expires_at >= START.replace(hour=22, minute=0) + timedelta(hours=2)


def test_a_stop_that_stands_is_in_the_words_of_the_morning(stage):
    made = on_record(stage, {3: 8.0})
    made.run()
    assert told(made, "watch")[0].data["stops"] == []
    work = alert_changes(made.db)[0].alert
    stop = replace(work, id="99", kind="stop", stage="stop", at=made.now)
    with immediate(made.db):
        telling.tell(made.db, made.watch.current.show, stop, "gusts", made.now)
    made.later(hours=19, minutes=30)  # 08:00 on site
    made.run()
    morning = [m for m in told(made, "watch") if m.alert_id == "watch"][-1]
    assert "99" in morning.data["stops"]
    assert "A stop stands at Lawn wash since Thu 12:30" in morning.text


# ---------------------------------------------------------------- about the monitor itself


def test_weather_lost_is_told_and_stands_nothing_down(stage):
    # the record ends; what was asked for stays asked for
    made = on_record(stage, {8: 8.0, 9: 8.0})
    made.run()
    assert [a.alert.kind for a in open_alerts(made.db)] == ["work"]
    made.later(hours=33)
    made.run()
    kinds = {a.alert.kind: a.alert for a in open_alerts(made.db)}
    assert set(kinds) >= {"weather", "work"}
    assert "weather.csv reaches only to" in kinds["weather"].reason
    lost = told(made, "weather")
    assert "No forecast is not a dry forecast" in lost[0].text
    made.later(minutes=59)
    made.run()
    assert len(told(made, "weather")) == len(lost)
    made.later(minutes=1)
    made.run()
    assert len(told(made, "weather")) == 2 * len(lost)
    later = record({}, start=made.now)
    (made.folder / "weather.csv").write_text(later)
    made.poll()
    made.run()
    assert told(made, "weather")[-1].stage == "stood-down"
    assert "weather" not in {a.alert.kind for a in open_alerts(made.db)}


def test_a_show_without_a_feed_has_no_weather(stage):
    made = stage(contacts=MAILS)
    made.run()
    assert told(made, "weather")[0].subject.startswith("Weather lost.")
    assert "names no weather feed" in told(made, "weather")[0].text


def test_a_broken_folder_keeps_the_last_good_one_and_says_where(stage):
    made = on_record(stage, {})
    made.run()
    good = made.watch.current.show.revision
    show = made.folder / "show.toml"
    text = show.read_text()
    show.write_text(text.replace("height_m = 0.5", "height_m = high"))
    line = 1 + text[: text.index("height_m = 0.5")].count("\n")
    made.watch.look()
    assert made.watch.look()
    made.run()
    assert made.watch.current.show.revision == good
    said = told(made, "weather")[-1]
    assert f"show.toml line {line}:" in said.text
    assert "The folder as it was before stays in force." in said.text
    show.write_text(text)
    made.watch.look()
    assert made.watch.look()
    made.run()
    assert told(made, "weather")[-1].stage == "stood-down"


def test_a_rig_does_not_vanish_while_it_is_watched(stage):
    """fixtures.csv cut down to its headings, as an editor that fails may leave it."""
    made = on_record(stage, {0: 3.0})
    made.run()
    standing = {alert.alert.id for alert in open_alerts(made.db)}
    good = made.watch.current.show.revision
    rows = made.folder / "fixtures.csv"
    text = rows.read_text()
    rows.write_text(text.partition("\n")[0] + "\n")
    made.watch.look()
    assert made.watch.look()
    made.run()
    assert made.watch.current.show.revision == good
    assert standing <= {alert.alert.id for alert in open_alerts(made.db)}
    assert "fixtures.csv has no rows any more" in told(made, "weather")[-1].text
    rows.write_text(text)
    made.watch.look()
    assert made.watch.look()
    assert made.watch.broken is None


def test_with_only_a_folder_nobody_is_told(stage):
    made = on_record(stage, {}, contacts="")
    made.run()
    assert "No person is being told" in told(made, "watch")[0].text
    assert made.deliver()
    assert list((made.folder / "messages").glob("*.eml"))
