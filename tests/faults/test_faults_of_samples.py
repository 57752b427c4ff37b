"""Faults inside an answer that can be used all the same, and answers that are old."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import fault_server as server
import numpy as np
import pytest
from fault_stage import ISSUED, START, feed_of, forecast, hours, sheet_text, staged

from monitor.service.evaluated import last_evaluated
from monitor.store.runs import received_runs
from monitor.units import to_epoch

# The 48 stamps are the ends of the hours from 07:00 UTC on the 15th to 07:00 UTC on the 17th:
# stamp n is 08:00 UTC and n hours. Rain falls in the hours that end at 16:00 to 21:00 UTC.
LAST = START.replace(day=17, hour=7, minute=0)


@pytest.fixture
def around(tmp_path):
    """(the server, a stage on it): `run` of the sheet and settings of the feed as wanted."""
    opened = []

    def make(run="", more="", **feed):
        serving = server.fault_server(lambda h: None)
        weather = serving.__enter__()
        opened.append(serving)
        sheets = {"fault-feed": sheet_text(run=run, more=more)}
        staging = staged(tmp_path / "show", feed_of(weather.url, **feed), sheets)
        made = staging.__enter__()
        opened.append(staging)
        weather.clock = made.clock
        return weather, made

    yield make
    for context in reversed(opened):
        context.__exit__(None, None, None)


def rain(made):
    """The newest run's rain by the end of its hour."""
    weather = received_runs(made.db)[-1].weather
    return dict(zip(weather.ends.tolist(), weather.rain_mm[0].tolist(), strict=True))


def polled(made):
    (one,) = made.poll()
    return one


# ---------------------------------------------------------------- what is not known


def test_nulls_at_the_end_shorten_the_horizon(around):
    weather, made = around()
    answer = forecast(made.now)
    hours(answer)["precipitation"][-10:] = [None] * 10
    weather.reply = server.says(answer)
    assert polled(made).ok
    sight = made.sight()
    assert sight.reaches_to == LAST - timedelta(hours=10)
    assert (sight.hole, made.state()) == (None, "current")


def test_a_hole_ends_the_reach_and_is_said(around):
    weather, made = around()
    answer = forecast(made.now)
    # stamps 19 to 21 are 03:00, 04:00 and 05:00 UTC on the 16th: 02:00 to 05:00 is not known
    hours(answer)["precipitation"][19:22] = [None] * 3
    weather.reply = server.says(answer)
    made.poll()
    made.run()
    sight = made.sight()
    begins, ends = START.replace(day=16, hour=2, minute=0), START.replace(day=16, hour=5, minute=0)
    assert (sight.reaches_to, sight.hole) == (begins, (begins, ends))
    assert made.state() == "current"
    # and stands with the feed's name in what is told, in site time
    assert "nothing known Fri 03:00 to 06:00" in made.told("work")[0].text
    # 14.5 hours on the hole is less than two hours away: nothing decides beyond it
    made.later(hours=12, minutes=31)
    made.run()
    assert made.state() == "lost"
    said = [change.reason for change in made.changes("weather")]
    lost = "fault-feed reaches only to 03:00. It says nothing for 03:00 to 06:00."
    assert any(lost in reason for reason in said)
    (then,) = last_evaluated(made.db).feeds
    assert (then.state, then.reaches_to) == ("lost", begins)


def test_a_hole_now_is_lost_whatever_comes_after_it(around):
    weather, made = around()
    answer = forecast(made.now)
    # the hours that end at 12:00 and 13:00 UTC, and it is 11:30
    hours(answer)["precipitation"][4:6] = [None] * 2
    weather.reply = server.says(answer)
    made.poll()
    made.run()
    assert made.state() == "lost"
    assert "It says nothing for 12:00 to 14:00." in made.changes("weather")[-1].reason
    # what is known after it counts: the rain at 15:30 is still told of
    assert made.open("work")


def test_a_variable_that_is_not_needed_may_be_missing_and_is_named(around):
    weather, made = around()
    answer = forecast(made.now)
    del hours(answer)["cloud_cover"]
    weather.reply = server.says(answer)
    assert polled(made).ok
    assert made.state() == "current"
    assert any("cloud" in said for said in received_runs(made.db)[-1].weather.dropped)


def test_a_forecast_of_two_hours_is_no_loss_and_says_how_far_it_goes(around):
    weather, made = around(run='max_age = "30m"\nreaches = "2h"')
    # stamps to 13:00 UTC, 90 minutes on; half of two hours are needed
    short = forecast(made.now, rain_in_h=1)
    short["hourly"] = {name: values[:6] for name, values in hours(short).items()}
    weather.reply = server.says(short)
    made.poll()
    made.run()
    assert made.sight().reaches_to == START.replace(hour=13, minute=0)
    assert made.state() == "current"
    assert "fault-feed, read 12:30 (to 14:00 only)" in made.told("work")[0].text
    made.later(minutes=29)
    assert made.state() == "ageing"
    # before it is too old it is too short, one hour before its end
    made.later(minutes=1, seconds=1)
    assert made.state() == "lost"


# ---------------------------------------------------------------- single values


def test_one_impossible_value_is_not_known_and_its_neighbours_are(around):
    weather, made = around()
    answer = forecast(made.now)
    hours(answer)["precipitation"][29:31] = [900.0, 120.0]
    weather.reply = server.says(answer)
    assert polled(made).ok
    ends = [to_epoch(START.replace(day=16, hour=h, minute=0)) for h in (13, 14)]
    found = rain(made)
    assert np.isnan(found[ends[0]])
    # 120 mm in an hour does occur, so it is kept as it is
    assert found[ends[1]] == 120.0
    assert any("900" in said for said in received_runs(made.db)[-1].weather.dropped)


def test_a_little_below_nothing_is_nothing(around):
    weather, made = around()
    answer = forecast(made.now)
    hours(answer)["precipitation"][29] = -0.04
    weather.reply = server.says(answer)
    assert polled(made).ok
    assert rain(made)[to_epoch(START.replace(day=16, hour=13, minute=0))] == 0.0


@pytest.mark.parametrize(("other", "expected"), [(8.0, 8.0), (3.0, np.nan)])
def test_a_stamp_twice_counts_once_where_it_says_the_same(around, other, expected):
    weather, made = around()
    answer = forecast(made.now)
    lists = hours(answer)
    # stamp 8 is 16:00 UTC, of the first hour of rain; a copy of it is put behind
    for values in lists.values():
        values.append(values[8])
    lists["precipitation"][-1] = other
    weather.reply = server.says(answer)
    assert polled(made).ok
    assert hours(forecast(made.now))["precipitation"][8] == 8.0
    found = rain(made)
    assert len(found) == 48
    assert found[to_epoch(START.replace(hour=16, minute=0))] == pytest.approx(expected, nan_ok=True)


# ---------------------------------------------------------------- warnings, once a day


@pytest.mark.parametrize(
    ("status", "headers", "words"),
    [
        (203, {}, "marks this service as out of date (203)"),
        (200, {"Deprecation": "@1798761600"}, "will end this service"),
        (200, {"Sunset": "Fri, 31 Dec 2027 00:00:00 GMT"}, "end this service on 2027-12-31"),
    ],
)
def test_a_service_that_ends_is_told_once_a_day(around, status, headers, words):
    weather, made = around()
    said = []
    for n in range(30):
        # one answer after the other, each a little different
        weather.reply = server.says(forecast(made.now, mm=1.0 + n), status, **headers)
        one = polled(made)
        assert one.ok
        said.append((one.is_news, words in one.says))
        made.later(hours=1)
    # at the start, and again a day later
    assert [n for n, (news, told) in enumerate(said) if news and told] == [0, 24]
    assert [n for n, (news, _) in enumerate(said) if news] == [0, 24]
    # and every morning's message has it
    made.run()
    assert words in made.told("watch")[0].text


def test_an_answer_for_another_place_is_told_once_a_day(around):
    place = '[place]\nlat = "latitude"\nlon = "longitude"\nelevation = "elevation"\n'
    weather, made = around(more=place)
    said = []
    for n in range(3):
        # the site is at 52 N; one degree of latitude is 111 km
        answer = forecast(made.now, mm=1.0 + n)
        answer |= {"latitude": 51.0, "longitude": -2.0, "elevation": 400}
        weather.reply = server.says(answer)
        said.append(polled(made))
        made.later(minutes=10)
    assert all(one.ok for one in said)
    assert "the forecast is for a point 111 km from the site." in said[0].says
    # the site lies at 40 m
    assert "a height 360 m above the site." in said[0].says
    assert "km from the site" not in said[1].says + said[2].says
    made.run()
    assert "111 km from the site" in made.told("watch")[0].text


# ---------------------------------------------------------------- old answers


def test_a_stale_run_ages_and_is_lost_by_its_issue_time(around):
    weather, made = around(run=ISSUED)
    issued = made.now - timedelta(hours=3)
    weather.reply = server.says(forecast(made.now, issued))
    states = []
    for _ in range(3):
        made.poll()
        made.run()
        states.append(made.state())
        # answered every time, with other values under the same issue time
        made.later(hours=3)
        weather.reply = server.says(forecast(made.now, issued, rain_in_h=1, mm=7.0))
    # 3, 6 and 9 hours old, with 8 as the most: half of that is 4
    assert states == ["current", "ageing", "lost"]
    lost = made.changes("weather")[-1]
    assert lost.stage == "start"
    assert "fault-feed is 9 h old: too old to rely on." in lost.reason
    (work, *_) = made.open("work")
    text = made.told("work")[-1].text
    assert "fault-feed" in text
    assert work.stage != "stood-down"
    # A dry run every ten minutes under the same old issue time stands nothing down.
    for n in range(6):
        made.later(minutes=10)
        weather.reply = server.says(forecast(made.now, issued, mm=0.0, hours=48 - n))
        made.poll()
        made.run()
    assert made.state() == "lost"
    assert work.id in [a.id for a in made.open("work")]
    # With a new issue time the same dry weather ends it, after two runs and 30 minutes.
    for n in range(5):
        made.later(minutes=20)
        weather.reply = server.says(forecast(made.now, made.now, mm=0.0, hours=48 - n))
        made.poll()
        made.run()
    assert made.open("weather") == []


def test_a_feed_whose_next_issue_is_overdue_is_ageing(around):
    weather, made = around(run='issued = "issued"\nmax_age = "48h"')
    for n in range(4):
        weather.reply = server.says(forecast(made.now, made.now, mm=1.0 + n))
        made.poll()
        made.later(hours=1)
    assert made.state() == "current"
    # issued every hour: two of them and twenty minutes after the last it is overdue
    made.later(minutes=80)
    assert made.state() == "current"
    made.later(minutes=1)
    assert made.state() == "ageing"


def test_a_run_that_goes_backwards_is_said_and_the_newer_one_kept(around):
    weather, made = around(run=ISSUED)
    new, old = made.now - timedelta(minutes=30), made.now - timedelta(hours=2)
    newer, older = forecast(made.now, new), forecast(made.now, old, mm=0.0)
    weather.reply = server.says(newer)
    made.poll()
    made.run()
    run = made.cycle.sky.runs.source(made.watch.current.show, made.now).run
    for answer, said in ((older, True), (newer, False)):
        made.later(minutes=10)
        weather.reply = server.says(answer)
        one = polled(made)
        made.run()
        assert one.ok
        # issued 10:30 and 12:00 in site time
        wanted = "It sent an older run, issued 10:30, than before (12:00): the newer one is kept."
        assert (wanted in one.says, one.is_news) == (said, said)
        assert made.sight().said_at == new
        # Neither the old copy nor the newest again is another forecast.
        assert made.cycle.sky.runs.source(made.watch.current.show, made.now).run == run
    # What was received is kept, though.
    assert len(received_runs(made.db)) == 3
    assert made.open("work")


def test_the_same_answer_again_and_again_without_an_issue_time(around):
    weather, made = around(run='max_age = "8h"\nsame_polls = 3')
    weather.reply = server.says(forecast(made.now))
    states = []
    for _ in range(8):
        made.poll()
        made.run()
        states.append(made.state())
        made.later(minutes=10)
    # three times again says stuck, six times lost
    assert states == ["current"] * 3 + ["ageing"] * 3 + ["lost"] * 2
    said = made.changes("weather")[-1].reason
    assert "fault-feed has sent the very same forecast 7 times: it is stuck." in said
    assert made.open("work")
    weather.reply = server.says(forecast(made.now, mm=5.0))
    made.poll()
    made.run()
    assert made.state() == "current"


def test_without_a_count_the_age_says_that_a_server_is_stuck(around):
    weather, made = around(run='max_age = "2h"')
    weather.reply = server.says(forecast(made.now))
    states = {}
    for n in range(13):
        made.poll()
        states[n * 10] = made.state()
        made.later(minutes=10)
    # minutes since it was first read: half of two hours, and two hours
    assert {m for m, s in states.items() if s == "current"} == set(range(0, 61, 10))
    assert {m for m, s in states.items() if s == "ageing"} == set(range(70, 121, 10))
    assert made.state() == "lost"


def test_an_old_copy_from_a_cache_is_asked_past_once(around):
    weather, made = around()
    body = json.dumps(forecast(made.now)).encode()
    weather.reply = server.sends(body)
    made.poll()
    made.later(minutes=10)
    fresh = json.dumps(forecast(made.now, mm=2.0)).encode()

    def cached(handler):
        usual = handler.headers["Accept"] == "application/json"
        reply = server.sends(body, Age="3000") if usual else server.sends(fresh)
        reply(handler)

    weather.reply = cached
    one = polled(made)
    assert (one.ok, one.has_new) == (True, True)
    assert len(weather.asked) == 3
    assert received_runs(made.db)[-1].weather.rain_mm.max() == 2.0


def test_ageing_stands_in_the_message_with_its_age(around):
    weather, made = around()
    weather.reply = server.says(forecast(made.now, rain_in_h=8))
    made.poll()
    made.run()
    first = made.told("work")[0].text
    assert "Forecast: fault-feed, read 12:30, issue time not given." in first
    weather.reply = server.sends(b"", 500)
    made.later(hours=5)
    made.poll()
    made.run()
    # the start is called 1 h before the rain; until then the record says what it is
    made.later(hours=2, minutes=15)
    made.run()
    text = made.told("work")[-1].text
    assert "fault-feed, read 12:30 (7 h old, nothing newer has come)" in text
    assert datetime.fromisoformat(made.told("work")[-1].data["at"]) == made.now
