"""Sheets that ask before they ask: a place's own address, and an issue time elsewhere."""

from __future__ import annotations

import json
from datetime import timedelta

import fault_server as server
import pytest
from fault_stage import START, feed_of, forecast, sheet_text, staged

from monitor.feeds.request import Asker
from monitor.feeds.sheet import read_sheet
from monitor.store.runs import received_runs

GRID = """
[[resolve]]
url = "https://weather.example/points/{lat:.4f},{lon:.4f}"
take = { grid_url = "place.grid" }
keep = "7d"
"""
POINTS = "/points/52.0000,-2.0000"
TO_A, TO_B = ({"place": {"grid": f"https://weather.example/grid/{name}"}} for name in ("A", "B"))


def grid_sheet(more=GRID, url="{grid_url}"):
    text = sheet_text(run='max_age = "8h"', more=more)
    return text.replace("[request]\n", f'[request]\nurl = "{url}"\n')


@pytest.fixture
def around(tmp_path):
    contexts = []

    def make(sheet):
        serving = server.fault_server(server.sends(b"{}", 404))
        weather = serving.__enter__()
        contexts.append(serving)
        staging = staged(tmp_path / "show", feed_of(weather.url), {"fault-feed": sheet})
        made = staging.__enter__()
        contexts.append(staging)
        weather.clock = made.clock
        return weather, made

    yield make
    for context in reversed(contexts):
        context.__exit__(None, None, None)


def paths(weather):
    return [path.partition("?")[0] for path, _ in weather.asked]


# ---------------------------------------------------------------- the place's own address


def test_the_place_is_asked_for_once_and_its_address_kept(around):
    weather, made = around(grid_sheet())
    weather.by_path = {
        POINTS: server.says(TO_A),
        "/grid/A": server.says(forecast(made.now)),
    }
    (polled,) = made.poll()
    assert polled.ok
    assert paths(weather) == [POINTS, "/grid/A"]
    # the query is the forecast's alone
    assert "?" not in weather.asked[0][0]
    for _ in range(3):
        made.later(minutes=10)
        made.poll()
    assert paths(weather)[2:] == ["/grid/A"] * 3
    # kept for seven days, and not longer
    made.later(days=7)
    made.poll()
    assert paths(weather)[5:] == [POINTS, "/grid/A"]


def test_a_place_that_cannot_be_asked_is_a_failure_like_any_other(around):
    weather, made = around(grid_sheet())
    weather.by_path = {POINTS: server.sends(b"{}", 503)}
    (polled,) = made.poll()
    sight = made.sight()
    assert (polled.ok, sight.kind, sight.fault) == (False, "passing", "status-503")
    assert made.wait_minutes() == 1
    weather.by_path = {POINTS: server.sends(b'{"reason": "outside"}', 404)}
    made.later(minutes=1)
    (polled,) = made.poll()
    assert (made.sight().kind, made.wait_minutes()) == ("config-fault", 60)
    assert "outside" in polled.says
    made.later(minutes=60)
    weather.by_path = {POINTS: server.drips("body")}
    made.poll()
    assert made.sight().fault == "deadline"
    assert "/grid/A" not in paths(weather)


def test_an_old_address_holds_on_while_the_place_cannot_be_asked_anew(around):
    weather, made = around(grid_sheet())
    weather.by_path = {POINTS: server.says(TO_A), "/grid/A": server.says(forecast(made.now))}
    made.poll()
    made.later(days=8)
    good = forecast(made.now)
    weather.by_path = {POINTS: server.sends(b"{}", 500), "/grid/A": server.says(good)}
    (polled,) = made.poll()
    assert polled.ok
    # It is asked for again an hour later, not at every poll.
    made.later(minutes=10)
    made.poll()
    assert paths(weather)[2:] == [POINTS, "/grid/A", "/grid/A"]
    made.later(minutes=51)
    made.poll()
    assert paths(weather)[5:] == [POINTS, "/grid/A"]


def test_a_place_that_has_moved_to_another_address_is_asked_for_at_once(around):
    weather, made = around(grid_sheet())
    weather.by_path = {POINTS: server.says(TO_A), "/grid/A": server.says(forecast(made.now))}
    made.poll()
    made.later(minutes=10)
    weather.by_path = {
        POINTS: server.says(TO_B),
        "/grid/B": server.says(forecast(made.now, mm=3.0)),
    }
    (polled,) = made.poll()
    assert (polled.ok, polled.has_new) == (True, True)
    assert paths(weather)[2:] == ["/grid/A", POINTS, "/grid/B"]


@pytest.mark.parametrize(
    "answer",
    [
        {},
        {"place": {"grid": None}},
        {"place": {"grid": True}},
        {"place": {"grid": ["a"]}},
        {"place": {"grid": "https://elsewhere.example/grid/A"}},
        {"place": {"grid": "http://weather.example/grid/A"}},
        {"place": {"grid": "https://weather.example@elsewhere.example/grid/A"}},
        {"place": {"grid": "https://weather.example/grid/A?to=elsewhere"}},
        {"place": {"grid": "../../etc"}},
        {"place": {"grid": "https://[::1"}},
    ],
)
def test_an_address_that_is_none_or_another_servers_is_not_followed(around, answer):
    weather, made = around(grid_sheet())
    weather.by_path = {POINTS: server.says(answer)}
    (polled,) = made.poll()
    assert not polled.ok
    assert made.sight().fault == "unresolved"
    assert made.wait_minutes() == 1
    assert paths(weather) == [POINTS]


def test_names_and_numbers_of_a_grid_fill_the_address(around):
    more = GRID.replace('{ grid_url = "place.grid" }', '{ office = "place.o", x = "place.x" }')
    weather, made = around(grid_sheet(more, "https://weather.example/grid/{office}/{x}"))
    weather.by_path = {
        POINTS: server.says({"place": {"o": "LWX", "x": 96}}),
        "/grid/LWX/96": server.says(forecast(made.now)),
    }
    (polled,) = made.poll()
    assert polled.ok
    assert paths(weather) == [POINTS, "/grid/LWX/96"]


# ---------------------------------------------------------------- an issue time elsewhere

META = '[run.issued]\nurl = "https://weather.example/meta.json"\npath = "available"\n'


def meta_sheet():
    return sheet_text(run='max_age = "8h"', more=META)


def test_the_issue_time_comes_from_its_own_address_and_only_when_it_is_newer(around):
    weather, made = around(meta_sheet())
    issued = START - timedelta(hours=2)
    weather.reply = server.says(forecast(made.now))
    weather.by_path = {"/meta.json": server.says({"available": issued.timestamp()}, ETag='"m1"')}
    (polled,) = made.poll()
    assert polled.ok
    sight = made.sight()
    assert (sight.said_at, sight.issued) == (issued, True)
    assert paths(weather) == ["/v1/forecast", "/meta.json"]
    # The same forecast again: there is nothing to ask an issue time of.
    made.later(minutes=10)
    made.poll()
    assert paths(weather)[2:] == ["/v1/forecast"]
    # Another forecast of the same issue.
    made.later(minutes=10)
    weather.reply = server.says(forecast(made.now, mm=3.0))
    weather.by_path = {"/meta.json": server.sends(status=304)}
    made.poll()
    assert weather.asked[-1][1]["If-None-Match"] == '"m1"'
    assert made.sight().said_at == issued
    assert len(received_runs(made.db)) == 2


@pytest.mark.parametrize(
    "reply",
    [
        server.sends(b"{}", 500),
        server.sends(b"{}", 403),
        server.page(),
        server.drips("body"),
        server.says({}),
        server.says({"available": "yesterday"}),
        # a day after now: no run is issued after it is read
        server.says({"available": (START + timedelta(days=1)).timestamp()}),
        server.sends(json.dumps({"available": 1}).encode()[:-5], length=-1),
    ],
)
def test_without_its_issue_time_the_forecast_is_as_good(around, reply):
    weather, made = around(meta_sheet())
    weather.reply = server.says(forecast(made.now))
    weather.by_path = {"/meta.json": reply}
    (polled,) = made.poll()
    assert polled.ok
    sight = made.sight()
    assert (sight.said_at, sight.issued, made.state()) == (made.now, False, "current")
    made.run()
    assert "read 12:30" in made.told("work")[0].text


# ---------------------------------------------------------------- days in the address


def test_a_sheet_can_ask_for_days(around, tmp_path):
    sheet = sheet_text(run='max_age = "8h"').replace(
        "[request]\n", '[request]\ndays = 3\nparams = { from = "{from_date}", to = "{to_date}" }\n'
    )
    weather, made = around(sheet)
    weather.reply = server.says(forecast(made.now))
    made.poll()
    assert "from=2027-07-15" in weather.asked[0][0]
    # and three days more
    assert "to=2027-07-18" in weather.asked[0][0]
    show = made.watch.current.show
    days = (START.date() - timedelta(days=365), START.date() - timedelta(days=360))
    read = read_sheet(sheet, "fault-feed.toml")
    asked = Asker(read, show.site, show.feeds[0], str, days).forecast({})
    assert ("from", "2026-07-15") in asked.params
    assert ("to", "2026-07-20") in asked.params
