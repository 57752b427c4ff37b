"""The service as it runs: a real forecast, mail and web server, signals, locks and clocks."""

from __future__ import annotations

import email
import os
import signal
import subprocess
import sys
import threading
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from email import policy

import pytest
from service_site import (
    ENVIRON,
    desk_receiver,
    feed_of,
    hook_to,
    mail_server,
    mail_to,
    payload,
    start_service,
    wait_for,
    weather_server,
    write_show,
)

from monitor.domain import BadInputError, UnableError
from monitor.service import Pace, look_ahead, scheduling, serve
from monitor.store.chain import verify
from monitor.store.database import hold_folder, open_database
from monitor.store.history import alert_changes, recall
from monitor.store.outbox import deliveries

COMMAND = "from monitor.cli import main; main()"
FAST = Pace(poll_s=0.05, look_s=0.05, evaluate_s=0.3, deliver_s=0.05, clock_s=0.05)


def now() -> datetime:
    return datetime.now(UTC)


@contextmanager
def running(folder, clock=now, pace=FAST):
    """The service in a thread; stopped at the end, whatever happens."""
    stop, lines = threading.Event(), []
    thread = threading.Thread(
        target=serve,
        args=(folder, ENVIRON),
        kwargs={"clock": clock, "say": lines.append, "pace": pace, "stop": stop},
    )
    thread.start()
    try:
        yield lines
    finally:
        stop.set()
        thread.join(20)
        assert not thread.is_alive()


@contextmanager
def read_db(folder):
    db = open_database(folder / "dryspell.db")
    with closing(db.conn):
        yield db


def subjects(mailbox):
    return [
        email.message_from_bytes(m.content, policy=policy.default)["Subject"] for m in mailbox.mails
    ]


def test_a_forecast_of_rain_ends_in_a_mailbox_and_at_a_receiver(tmp_path):
    with (
        weather_server(payload(now(), rain_in_h=1)) as sky,
        mail_server() as (mailbox, port),
        desk_receiver() as desk,
    ):
        contacts = mail_to(port, "a@example.org", "b@example.org") + hook_to(desk.url)
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url), contacts=contacts)
        with running(folder) as lines:
            wait_for(lambda: len(mailbox.mails) >= 4 and len(desk.got) >= 2)
    kinds = [body["type"] for _, body in desk.got]
    assert kinds[0] == "dryspell.watch"
    assert kinds[1] in ("dryspell.alert.start", "dryspell.alert.notice")
    data = desk.got[1][1]["data"]
    assert (data["action"], data["position"], data["count"]) == ("cover", "wash", 6)
    assert data["isolate_at"] == "Lawn distribution"
    assert desk.refused == 0
    work = [m for m, s in zip(mailbox.mails, subjects(mailbox), strict=True) if "cover" in s]
    assert sorted(m.rcpt_tos[0] for m in work) == ["a@example.org", "b@example.org"]
    assert lines[0].startswith("Watching 6 fixtures at 1 position of Lower meadow.")
    assert "Told: crew chief, desk." in lines
    assert lines[-1] == "Stopped. Nothing is watched now."
    with read_db(folder) as db:
        assert verify(db).ok
        assert {d.state for d in deliveries(db)} == {"sent"}


def test_a_weather_server_that_dies_is_weather_lost_and_its_return_is_told(tmp_path):
    with (
        weather_server(payload(now(), rain_in_h=30)) as sky,
        mail_server() as (mailbox, port),
    ):
        # a forecast older than 1.5 s is too old here
        feeds = feed_of(sky.url, max_age_hours=1.5 / 3600)
        folder = write_show(
            tmp_path / "show", feeds=feeds, contacts=mail_to(port, "a@example.org"), poll="1s"
        )
        with running(folder) as lines:
            wait_for(lambda: "On watch at Lower meadow: 6 fixtures" in subjects(mailbox))
            sky.body = None
            lost = "Weather lost. There is no usable forecast for Lower meadow"
            wait_for(lambda: lost in subjects(mailbox))
        assert any("503" in line for line in lines)
        assert subjects(mailbox).count(lost) == 1
        # the next try after a failure is a minute away; a start asks when it is due
        sky.body = payload(now(), rain_in_h=31)
        with read_db(folder) as db:
            scheduling.forget_next_tries(
                db, scheduling.FolderWatch(folder, ENVIRON).current.show.feeds, now()
            )
        with running(folder):
            wait_for(lambda: "Weather for Lower meadow is read again" in subjects(mailbox))


def test_with_only_a_folder_every_start_and_every_message_says_so(tmp_path):
    with weather_server(payload(now())) as sky:
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url))
        with running(folder) as lines:
            wait_for(lambda: len(list((folder / "messages").glob("*.eml"))) >= 2)
    nobody = "No person is being told: messages are only laid in a folder."
    assert nobody in lines
    assert all(nobody in line for line in lines if "On watch" in line or "cover" in line)


def test_sigterm_ends_it_cleanly(tmp_path):
    with weather_server(payload(now())) as sky, desk_receiver() as desk:
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url), contacts=hook_to(desk.url))
        service = start_service(folder)
        try:
            wait_for(lambda: desk.got)
            second = start_service(folder)
            said, _ = second.communicate(timeout=20)
            assert second.returncode == 3
            assert f"(process {service.pid}) is already watching" in said
            service.send_signal(signal.SIGTERM)
            said, _ = service.communicate(timeout=20)
        finally:
            service.kill()
            service.wait()
    assert service.returncode == 0
    assert said.splitlines()[-1].startswith("Stopped. Nothing is watched now.")
    assert "Traceback" not in said
    with hold_folder(folder), read_db(folder) as db:
        assert verify(db).ok
        leased = db.execute("SELECT count(*) FROM outbox WHERE leased_until IS NOT NULL")
        assert leased.fetchone()[0] == 0


def test_the_command_itself_from_forecast_to_mailbox(tmp_path):
    with (
        weather_server(payload(now(), rain_in_h=1)) as sky,
        mail_server() as (mailbox, port),
        desk_receiver() as desk,
    ):
        contacts = mail_to(port, "a@example.org") + hook_to(desk.url)
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url), contacts=contacts)
        service = subprocess.Popen(
            [sys.executable, "-c", COMMAND, "run", "--show", str(folder)],
            env={**os.environ, **ENVIRON, "DRYSPELL_PAGE__LISTEN": "127.0.0.1:0"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            wait_for(lambda: len(mailbox.mails) >= 2 and len(desk.got) >= 2)
            service.send_signal(signal.SIGTERM)
            said, complained = service.communicate(timeout=20)
        finally:
            service.kill()
            service.wait()
    assert (service.returncode, complained) == (0, "")
    assert said.splitlines()[0].startswith("Watching 6 fixtures")
    assert any("cover 6 fixtures at Lawn wash" in s for s in subjects(mailbox))
    assert [b["type"].split(".")[1] for _, b in desk.got] == ["watch", "alert"]
    assert desk.refused == 0


def test_a_send_that_is_under_way_is_finished_before_the_end(tmp_path):
    with weather_server(payload(now())) as sky, desk_receiver() as desk:
        desk.holds = threading.Event()
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url), contacts=hook_to(desk.url))
        stop = threading.Event()
        service = threading.Thread(
            target=serve,
            args=(folder, ENVIRON),
            kwargs={"clock": now, "say": lambda _: None, "pace": FAST, "stop": stop},
        )
        service.start()
        try:
            assert desk.reached.wait(20)
            stop.set()
            service.join(0.3)
            assert service.is_alive()
        finally:
            desk.holds.set()
            stop.set()
            service.join(20)
        assert not service.is_alive()
    with read_db(folder) as db:
        states = {d.row.id: d.state for d in deliveries(db)}
        assert [states[row_id] for row_id, _ in desk.got] == ["sent"] * len(desk.got)
        leased = db.execute("SELECT count(*) FROM outbox WHERE leased_until IS NOT NULL")
        assert leased.fetchone()[0] == 0


def test_a_second_service_for_a_folder_is_refused(tmp_path):
    folder = write_show(tmp_path / "show")
    with hold_folder(folder), pytest.raises(UnableError, match="already watching"):
        serve(folder, ENVIRON, clock=now, say=str)
    assert not (folder / "dryspell.db").exists()


def test_terms_of_use_are_answered_before_anything_is_fetched(tmp_path):
    folder = write_show(tmp_path / "show", feeds='[[feeds]]\nsheet = "open-meteo"\n')
    with pytest.raises(BadInputError, match="non-commercial"):
        serve(folder, ENVIRON, clock=now, say=str)
    assert not (folder / "dryspell.db").exists()
    with pytest.raises(BadInputError, match="non-commercial"):
        look_ahead(folder, ENVIRON, clock=now)


def test_a_clock_that_is_set_back_wakes_everything(tmp_path):
    behind = timedelta(0)
    with weather_server(payload(now())) as sky, desk_receiver(verifies=False) as desk:
        folder = write_show(
            tmp_path / "show", feeds=feed_of(sky.url), contacts=hook_to(desk.url), poll="2h"
        )
        with running(folder, clock=lambda: now() - behind) as lines:
            wait_for(lambda: len(desk.got) >= 2)
            asked = sky.asked
            behind = timedelta(minutes=50)
            wait_for(lambda: any("The clock was set by -3000 s" in line for line in lines))
            wait_for(lambda: sky.asked > asked)


def test_a_cycle_that_fails_is_told_and_the_service_goes_on(tmp_path, monkeypatch):
    with weather_server(payload(now())) as sky, desk_receiver() as desk:
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url), contacts=hook_to(desk.url))
        real = scheduling.Cycle.run
        broken = threading.Event()
        broken.set()

        def run(self, db, at):
            if broken.is_set():
                raise UnableError("The sum does not add up.", "Wait.")
            return real(self, db, at)

        called, call_on = [], scheduling.Cycle.call_on

        def calling(self, db, at):
            called.append(at)
            return call_on(self, db, at)

        monkeypatch.setattr(scheduling.Cycle, "run", run)
        monkeypatch.setattr(scheduling.Cycle, "call_on", calling)
        with running(folder) as lines:
            wait_for(lambda: desk.got)
            wait_for(lambda: called)
            assert "The sum does not add up." in desk.got[0][1]["data"]["reason"]
            broken.clear()
            wait_for(lambda: any(b["type"] == "dryspell.alert.stood-down" for _, b in desk.got))
            wait_for(lambda: any("cover" in line for line in lines))
    with read_db(folder) as db:
        told = [c.alert.id for c in alert_changes(db) if c.alert.id.startswith("fault-evaluating")]
    assert len(told) == 2
    assert len(set(told)) == 1


# ---------------------------------------------------------------- one look ahead


def test_a_look_ahead_leaves_nothing_behind(tmp_path):
    with weather_server(payload(now(), rain_in_h=1)) as sky:
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url))
        before = sorted(p.name for p in folder.iterdir())
        found = look_ahead(folder, ENVIRON, clock=now)
    assert sorted(p.name for p in folder.iterdir()) == before
    assert found.json["schema"] == "dryspell.ahead/1"
    (alert,) = found.json["alerts"]
    assert (alert["kind"], alert["action"], alert["position"]) == ("work", "cover", "wash")
    assert found.json["feeds"][0]["state"] == "current"
    assert any("Cover 6 at Lawn wash" in line for line in found.lines)
    assert any("Open-Meteo" in line for line in found.lines)


def test_a_look_ahead_uses_and_feeds_the_history(tmp_path):
    with weather_server(payload(now(), rain_in_h=30)) as sky:
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url))
        with read_db(folder) as db:
            assert recall(db, "feed/local-weather") is None
        found = look_ahead(folder, ENVIRON, clock=now)
        assert not found.attention
        assert any("Nothing has to be done" in line for line in found.lines)
        with read_db(folder) as db:
            assert recall(db, "feed/local-weather") is not None


def test_a_look_ahead_without_weather_says_lost(tmp_path):
    with weather_server(None) as sky:
        folder = write_show(tmp_path / "show", feeds=feed_of(sky.url))
        found = look_ahead(folder, ENVIRON, clock=now)
    assert found.attention
    assert found.json["feeds"][0]["state"] == "lost"
    assert any(line.startswith("Weather lost: local-weather has given no") for line in found.lines)
    assert not any("Nothing has to be done" in line for line in found.lines)


# ---------------------------------------------------------------- the first word


SECOND = """
extends = "open-meteo"
[feed]
id = "second"
use = "any"
[request]
poll = "1s"
jitter = "0s"
"""


def test_nothing_is_told_on_one_of_two_forecasts_before_the_other_has_answered(tmp_path):
    holds = threading.Event()
    wet, dry = payload(now(), rain_in_h=1), payload(now(), rain_in_h=30)
    with weather_server(wet) as first, weather_server(dry) as second, desk_receiver() as desk:
        second.holds = holds
        other = feed_of(second.url).replace("local-weather", "second")
        folder = write_show(
            tmp_path / "show",
            feeds=feed_of(first.url) + other,
            contacts=hook_to(desk.url),
            files={"sheets/second.toml": SECOND},
        )
        with running(folder):
            wait_for(lambda: first.asked and second.asked)
            threading.Event().wait(0.6)
            assert desk.got == []
            holds.set()
            wait_for(lambda: any(b["data"].get("action") == "cover" for _, b in desk.got))
    (cover,) = [b["data"] for _, b in desk.got if b["data"].get("action") == "cover"][:1]
    assert [feed["feed"] for feed in cover["by_feed"]] == ["local-weather", "second"]
