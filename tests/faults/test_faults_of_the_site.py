"""Faults that are not one server's: the site's connection, its clock, a moved site, settings."""

from __future__ import annotations

import socket
import threading
import time
from contextlib import ExitStack
from datetime import timedelta

import fault_server as server
import pytest
from fault_stage import START, feed_of, forecast, hours, sheet_text, staged
from service_site import hook_to, mail_to, wait_for

from monitor.alerts.feed_troubles import clock_found, setup_found, uplink_found
from monitor.alerts.losses import FeedSight
from monitor.service.polling import MOST_AT_ONCE, Pollers
from monitor.service.sky import Sky
from monitor.store.outbox import deliveries
from monitor.store.runs import received_runs
from monitor.units import to_epoch

TWO = {"one": sheet_text("one"), "two": sheet_text("two")}


def sight(source="one", **more):
    usual = {
        "asked": True,
        "failing": "no.",
        "said_at": START,
        "reaches_to": START + timedelta(hours=48),
        "max_age_s": 8 * 3600.0,
        "kind": "passing",
        "fault": "name",
        "host": f"{source}.example",
        "failures": 1,
    }
    return FeedSight(source, **{**usual, **more})


# ---------------------------------------------------------------- the connection


def test_no_name_is_found_the_connection_is_down_and_told_once_near_ones_first(tmp_path):
    contacts = (
        mail_to(25, "a@example.org")
        + hook_to("https://desk.example.org/hook", "far desk")
        + hook_to("https://192.168.7.9/hook", "near desk")
        + '[[contacts]]\nname = "board"\nkind = "folder"\npath = "board"\n'
    )
    feeds = feed_of("http://weather-a.invalid", "one") + feed_of("http://weather-b.invalid", "two")
    with staged(tmp_path / "show", feeds, TWO, contacts=contacts) as made:
        first, second = made.poll()
        assert "The name weather-a.invalid could not be found" in first.says
        assert (made.sight("one").fault, made.sight("two").fault) == ("name", "name")
        assert (made.wait_minutes("one"), made.wait_minutes("two")) == (1, 1)
        made.run()
        down = [a for a in made.changes("weather") if a.id.startswith("uplink")]
        assert len(down) == 1
        says = "The site's connection is down: weather-a.invalid, weather-b.invalid cannot be"
        assert down[0].reason.startswith(says)
        rows = [d.row for d in deliveries(made.db) if d.row.message.alert_id == down[0].id]
        assert [r.contact for r in rows] == ["board", "near desk", "crew chief", "far desk"]
        assert "pass this on by voice or radio first" in rows[0].message.text
        # Still down minutes later: it is not said again.
        for minutes in (1, 2):
            made.later(minutes=minutes)
            made.poll()
            made.run()
        assert made.wait_minutes("one") == 5
        assert len([a for a in made.changes("weather") if a.id == down[0].id]) == 1
    assert not second.ok


def test_the_connection_is_back(tmp_path):
    feeds = feed_of("http://weather-a.invalid", "one") + feed_of("http://weather-b.invalid", "two")
    with (
        server.fault_server(server.says(forecast(START))) as weather,
        staged(tmp_path / "show", feeds, TWO) as made,
    ):
        weather.clock = made.clock
        made.poll()
        made.run()
        made.later(minutes=1)
        # In place of a server of the world outside, which these tests may not ask: while any
        # such server fails, one on this machine that answers proves nothing.
        made.changed("show.toml", "http://weather-a.invalid", weather.url)
        made.poll()
        made.run()
        assert any(a.id.startswith("uplink") for a in made.open("weather"))
        made.changed("show.toml", "http://weather-b.invalid", weather.url)
        made.poll()
        made.run()
        (over,) = [
            a for a in made.changes("weather") if a.id.startswith("uplink") and a.stage != "notice"
        ]
        assert (over.stage, over.reason) == ("stood-down", "the site's connection works again")


def test_one_of_two_that_answers_clears_the_connection():
    assert uplink_found([sight("one"), sight("two")])
    assert uplink_found([sight("one"), sight("two", fault="refused")])
    assert uplink_found([sight("one"), sight("two", failing=None, fault=None)]) is None
    assert uplink_found([sight("one"), sight("two", fault="timeout")]) is None
    # a server on this machine proves nothing, either way
    assert uplink_found([sight("one", host="127.0.0.1", fault="refused", failures=9)]) is None
    here = sight("two", host="localhost", failing=None, fault=None)
    assert uplink_found([sight("one", failures=2), here])
    # one name alone may be a slip of one server: it is taken for the connection the second time
    assert uplink_found([sight("one")]) is None
    assert "or one.example is" in uplink_found([sight("one", failures=2)]).reason
    assert uplink_found([]) is None


# ---------------------------------------------------------------- the clock


def ahead_by(stage, seconds):
    """A server whose clock is behind the stage's."""
    return lambda: stage.now - timedelta(seconds=seconds)


def test_a_clock_a_minute_wrong_is_said_and_five_minutes_wrong_is_a_trouble(tmp_path):
    with (
        server.fault_server(lambda h: None) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        said = []
        for n, seconds in enumerate((59, 61, 299, 301, -301, 10)):
            weather.clock = ahead_by(made, seconds)
            weather.reply = server.says(forecast(made.now, mm=1.0 + n))
            (polled,) = made.poll()
            made.run()
            said.append((polled.ok, "differ by" in polled.says, len(made.open("weather"))))
            made.later(minutes=10)
        # once a day, whatever it is by then
        assert said == [
            (True, False, 0),
            (True, True, 0),
            (True, False, 0),
            (True, False, 1),
            (True, False, 1),
            (True, False, 0),
        ]
        told = made.changes("weather")
        assert [a.stage for a in told] == ["notice", "stood-down"]
        assert told[0].reason == "The clock of the monitor is 5 min ahead of that of 127.0.0.1."
        assert "Set the clock of that machine" in made.told("weather")[0].text


def test_a_copy_from_a_cache_is_as_old_as_it_says(tmp_path):
    with (
        server.fault_server(lambda h: None) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        # made ten minutes ago, and kept for ten minutes
        weather.clock = ahead_by(made, 600)
        weather.reply = server.says(forecast(made.now), Age="600")
        (polled,) = made.poll()
        assert "differ" not in polled.says
        made.run()
        assert made.open("weather") == []


def test_of_two_clocks_one_may_be_the_servers():
    assert clock_found([sight(skew_s=400.0)])
    assert clock_found([sight(skew_s=400.0), sight("two", skew_s=2.0)]) is None
    assert clock_found([sight(skew_s=400.0), sight("two", skew_s=-400.0)]) is None
    both = clock_found([sight(skew_s=-600.0), sight("two", skew_s=-660.0), sight("three")])
    assert "is 10 min behind that of one.example, two.example" in both.reason
    assert clock_found([sight()]) is None


# ---------------------------------------------------------------- settings


def test_what_a_person_mends_is_told_at_once_and_asked_at_once_when_it_is_mended(tmp_path):
    with (
        server.fault_server(server.sends(b"{}", 403)) as weather,
        staged(tmp_path / "show", feed_of(weather.url, contact="nobody")) as made,
    ):
        weather.clock = made.clock
        made.poll()
        made.run()
        told = [a for a in made.changes("weather") if a.id.startswith("feed-fault-feed")]
        assert [a.stage for a in told] == ["notice"]
        assert "fault-feed needs somebody to mend it." in told[0].reason
        assert "User-Agent" in told[0].reason
        assert "more than four decimals" in told[0].reason
        # 12:30 and an hour
        assert any("It is asked again at 13:30." in m.text for m in made.told("weather"))
        made.later(minutes=5)
        assert made.poll() == []
        weather.reply = server.says(forecast(made.now))
        made.changed("show.toml", '"nobody"', '"crew@example.org"')
        (polled,) = made.poll()
        made.run()
        assert polled.ok
        assert weather.asked[-1][1]["User-Agent"].endswith(" crew@example.org")
        over = [a for a in made.changes("weather") if a.id == told[0].id][-1]
        assert (over.stage, over.reason) == ("stood-down", "fault-feed: that is mended")


def test_a_server_that_asked_for_patience_gets_it_whatever_is_edited(tmp_path):
    with (
        server.fault_server(server.sends(b"{}", 429, Retry_After="3600")) as weather,
        staged(tmp_path / "show", feed_of(weather.url, contact="nobody")) as made,
    ):
        made.poll()
        made.later(minutes=5)
        made.changed("show.toml", '"nobody"', '"crew@example.org"')
        assert made.poll() == []
        made.later(minutes=55)
        assert len(made.poll()) == 1


def test_a_feed_with_a_trouble_that_is_taken_out_ends_it(tmp_path):
    with (
        server.fault_server(server.sends(b"{}", 404)) as weather,
        staged(
            tmp_path / "show", feed_of(weather.url, "one") + feed_of(weather.url, "two"), TWO
        ) as made,
    ):
        made.poll()
        made.run()
        (told,) = [a for a in made.changes("weather") if a.id.startswith("feed-two")]
        made.changed("show.toml", feed_of(weather.url, "two"), "")
        made.run()
        over = [a for a in made.changes("weather") if a.id == told.id][-1]
        assert (over.stage, over.reason) == ("stood-down", "two is not read any more")
        # The other one still needs somebody.
        assert any(a.id.startswith("feed-one") for a in made.open("weather"))


@pytest.mark.parametrize(("hours_ahead", "told"), [(1.9, False), (2.1, True)])
def test_a_wait_is_told_from_two_hours_on(tmp_path, hours_ahead, told):
    waits = sight(kind="throttled", next_try_at=START + timedelta(hours=hours_ahead))
    with staged(tmp_path / "show", "") as made:
        assert (setup_found(waits, made.watch.current.show, START) is not None) == told


# ---------------------------------------------------------------- the site moves


def test_what_was_read_for_another_place_does_not_count(tmp_path):
    with (
        server.fault_server(lambda h: None) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        show = made.watch.current.show
        weather.reply = server.says(forecast(made.now, rain_in_h=-2, mm=2.0))
        made.poll()
        made.later(hours=1)
        runs = made.cycle.sky.runs
        runs.catch_up(made.db)
        old = Sky(runs).past(show, (), made.now)
        assert old.rain_mm[0, -1] > 0
        # The site is moved: neither the forecast nor the rain before it is this place's.
        made.changed("show.toml", "latitude = 52.0", "latitude = 53.0")
        show = made.watch.current.show
        assert runs.ahead(show, made.now) is None
        assert not len(Sky(runs).past(show, (), made.now).starts)
        assert made.state() == "unread"
        made.run()
        assert made.open("weather") == []
        # It is asked at once, though the next poll was nine minutes away.
        weather.reply = server.says(forecast(made.now, mm=5.0))
        made.later(minutes=1)
        (polled,) = made.poll()
        assert polled.has_new
        assert "latitude=53.0000" in weather.asked[-1][0]
        made.run()
        assert made.state() == "current"
        assert runs.ahead(show, made.now).rain_mm.max() > 0
        # And back again: what was read for the first place counts again, once it is asked anew.
        made.changed("show.toml", "latitude = 53.0", "latitude = 52.0")
        show = made.watch.current.show
        assert runs.ahead(show, made.now) is None
        again = Sky(runs).past(show, (), made.now - timedelta(minutes=1))
        assert again.rain_mm.tolist() == old.rain_mm.tolist()
        made.later(minutes=1)
        # The answer is the same to the letter, and for this place now.
        (polled,) = made.poll()
        assert polled.has_new
        # A start anew reads the same from the database.
        fresh = type(runs)()
        fresh.catch_up(made.db)
        runs.catch_up(made.db)
        one, other = (Sky(r).past(show, (), made.now) for r in (fresh, runs))
        assert one.rain_mm.tolist() == other.rain_mm.tolist()


def test_a_moved_site_whose_server_wants_patience_has_no_weather_and_says_so(tmp_path):
    with (
        server.fault_server(server.says(forecast(START))) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        made.poll()
        made.later(minutes=10)
        weather.reply = server.sends(b"{}", 429, Retry_After="7000")
        made.poll()
        made.changed("show.toml", "latitude = 52.0", "latitude = 53.0")
        assert made.poll() == []
        made.run()
        # not asked yet for the new place, and not to be asked for two hours
        assert made.state() == "lost"
        (lost,) = [a for a in made.changes("weather") if a.stage == "start"]
        assert "fault-feed has given no forecast yet." in lost.reason
        assert "fewer requests" in lost.reason


def test_a_name_server_that_hangs_holds_up_neither_a_round_nor_an_end(tmp_path, monkeypatch):
    held, real = threading.Event(), socket.getaddrinfo

    def hangs(host, *args, **kwargs):
        if host == "weather-a.invalid":
            held.wait(10)
        return real(host, *args, **kwargs)

    monkeypatch.setattr(socket, "getaddrinfo", hangs)
    with (
        server.fault_server(server.says(forecast(START))) as weather,
        staged(
            tmp_path / "show",
            feed_of("http://weather-a.invalid", "one") + feed_of(weather.url, "two"),
            TWO,
        ) as made,
    ):
        pollers = Pollers()
        began = time.monotonic()
        (polled,) = pollers.round(made.db, made.asking(), wait_s=5)
        assert (polled.source, polled.ok) == ("two", True)
        pollers.end()
        assert time.monotonic() - began < 3
        held.set()
        wait_for(
            lambda: not any(t.name == "feed weather-a.invalid:http" for t in threading.enumerate())
        )
        # Whatever came of it after the end is not kept.
        assert made.sight("one").asked is False


def test_another_server_is_asked_at_once_and_the_past_stays(tmp_path):
    with (
        server.fault_server(server.says(forecast(START, rain_in_h=-2))) as weather,
        server.fault_server(server.sends(b"", 500)) as other,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        made.poll()
        made.later(minutes=1)
        runs, show = made.cycle.sky.runs, made.watch.current.show
        runs.catch_up(made.db)
        before = Sky(runs).past(show, (), made.now).rain_mm.tolist()
        made.changed("show.toml", weather.url, other.url)
        show = made.watch.current.show
        # what fell at this place has fallen, whoever said so
        assert Sky(runs).past(show, (), made.now).rain_mm.tolist() == before
        assert runs.ahead(show, made.now) is None
        (polled,) = made.poll()
        assert not polled.ok
        assert made.state() == "lost"
        assert len(other.asked) == 1


# ---------------------------------------------------------------- side by side


def test_a_feed_that_hangs_does_not_delay_another(tmp_path):
    with (
        server.fault_server(server.drips("body", 0.05)) as slow,
        server.fault_server(server.says(forecast(START))) as quick,
        staged(
            tmp_path / "show",
            feed_of(slow.url, "one") + feed_of(quick.url, "two"),
            {"one": sheet_text("one").replace('"0.5s"', '"20s"'), "two": sheet_text("two")},
        ) as made,
    ):
        pollers = Pollers()
        began = time.monotonic()
        try:
            (polled,) = pollers.round(made.db, made.asking(), wait_s=5)
            assert (polled.source, polled.ok) == ("two", True)
            # The other hangs still; this one comes due and is asked again meanwhile.
            made.later(minutes=10)
            (polled,) = pollers.round(made.db, made.asking(), wait_s=5)
            assert polled.source == "two"
            assert pollers.round(made.db, made.asking(), wait_s=0) == []
            assert (len(slow.asked), len(quick.asked)) == (1, 2)
            made.run()
        finally:
            pollers.end()
        assert time.monotonic() - began < 5
        assert slow.hung_up.wait(2)
        # Nothing is kept of what was cut off.
        assert made.sight("one").asked is False
        assert [r.weather.source for r in received_runs(made.db)] == ["two"]
        assert pollers.round(made.db, made.asking()) == []


def test_one_server_is_not_asked_twice_at_once(tmp_path):
    at_once, most = [], []
    lock = threading.Lock()

    def counting(handler):
        with lock:
            at_once.append(1)
            most.append(len(at_once))
        time.sleep(0.05)
        with lock:
            at_once.pop()
        server.says(forecast(START))(handler)

    names = [f"feed-{n}" for n in range(6)]
    with (
        server.fault_server(counting) as shared,
        server.fault_server(counting) as other,
        staged(
            tmp_path / "show",
            "".join(feed_of(shared.url if n < 3 else other.url, s) for n, s in enumerate(names)),
            {name: sheet_text(name) for name in names},
        ) as made,
    ):
        polled = made.poll()
        assert [p.source for p in polled] == names
        assert all(p.ok for p in polled)
        # two servers, each with one request under way
        assert max(most) == 2


def test_no_more_than_four_servers_are_asked_at_once_and_none_is_left_out(tmp_path):
    free = threading.Event()

    def waits(handler):
        free.wait(5)
        server.says(forecast(START))(handler)

    names = [f"feed-{n}" for n in range(6)]
    with ExitStack() as stack:
        servers = [stack.enter_context(server.fault_server(waits)) for _ in names]
        feeds = "".join(feed_of(s.url, name) for s, name in zip(servers, names, strict=True))
        sheets = {name: sheet_text(name).replace('"0.5s"', '"10s"') for name in names}
        made = stack.enter_context(staged(tmp_path / "show", feeds, sheets))
        pollers = Pollers()
        assert pollers.round(made.db, made.asking(), wait_s=0) == []
        wait_for(lambda: sum(len(s.asked) for s in servers) == MOST_AT_ONCE == 4)
        assert pollers.round(made.db, made.asking(), wait_s=0.1) == []
        assert sum(len(s.asked) for s in servers) == 4
        free.set()
        done = pollers.round(made.db, made.asking())
        assert sorted(p.source for p in done) == names


def test_the_rain_of_a_slow_feed_is_picked_up_by_a_later_round(tmp_path):
    free = threading.Event()

    def late(handler):
        free.wait(5)
        server.says(forecast(START))(handler)

    with (
        server.fault_server(late) as weather,
        staged(
            tmp_path / "show",
            feed_of(weather.url),
            {"fault-feed": sheet_text().replace('"0.5s"', '"10s"')},
        ) as made,
    ):
        pollers = Pollers()
        assert pollers.round(made.db, made.asking(), wait_s=0.05) == []
        free.set()
        found = []
        wait_for(lambda: found.extend(pollers.round(made.db, made.asking(), wait_s=0.2)) or found)
        assert found[0].has_new
        wet = to_epoch(START.replace(hour=16, minute=0))
        run = received_runs(made.db)[-1].weather
        assert (
            run.rain_mm[0][run.ends.tolist().index(wet)]
            == hours(forecast(START))["precipitation"][8]
        )
