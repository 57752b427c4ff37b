"""Every row of the failure table in which a feed fails: its state, its next try, what is told.

Each begins with a sound forecast of rain and the alert that follows from it. Then the server
fails in one way. Whatever the way, the forecast before still counts, the alert stays open,
and when the forecast is too old the weather is told as lost, and the alert is open still.
"""

from __future__ import annotations

import fault_server as server
import pytest
from fault_stage import as_bytes, feed_of, forecast, hours, staged

from monitor.service.feed_words import last_word


def changed(change):
    """A sound answer but for what `change` does to it."""

    def reply(stage):
        answer = forecast(stage.now)
        result = change(answer)
        return server.says(answer if result is None else result)

    return reply


def raw(change):
    """The same as text."""

    def reply(stage):
        return server.sends(change(as_bytes(forecast(stage.now)).decode()).encode())

    return reply


def always(reply):
    return lambda _stage: reply


def on_body(make):
    return lambda stage: make(as_bytes(forecast(stage.now)))


def reason(text, **more):
    return {"error": True, "reason": text, **more}


def set_list(name, values):
    def change(answer):
        hours(answer)[name] = values(hours(answer)[name])

    return change


def drop(name):
    return lambda answer: hours(answer).pop(name) and None


def unit(name, word):
    return lambda answer: answer["hourly_units"].__setitem__(name, word)


def shifted(answer):
    """Stamps of a day and six hours before: the clock of another zone or another day."""
    times = hours(answer)["time"]
    hours(answer)["time"] = [t.replace("2027-07-15", "2027-07-13") for t in times[:15]]
    for name in hours(answer):
        hours(answer)[name] = hours(answer)[name][:15]


# name, the reply, what kind of failure, its short name, minutes to the next try, words in the word
ROWS = [
    ("drip-status", always(server.drips("status")), "passing", "deadline", 1, "0.5 s"),
    ("drip-headers", always(server.drips("headers")), "passing", "deadline", 1, "0.5 s"),
    ("drip-body", always(server.drips("body")), "passing", "deadline", 1, "0.5 s"),
    ("silent", always(server.silent), "passing", "deadline", 1, "0.5 s"),
    (
        "429-an-hour",
        always(server.sends(b"{}", 429, Retry_After="3600")),
        "throttled",
        "status-429",
        60,
        "fewer requests",
    ),
    # 12:30:00 on the site is 11:30 UTC, and the fault comes at 11:40: 20 minutes to the hour
    (
        "429-hourly",
        always(server.says(reason("Hourly API request limit exceeded."), 429)),
        "throttled",
        "status-429",
        20,
        "Hourly",
    ),
    ("500", always(server.sends(b"{}", 500)), "passing", "status-500", 1, "out of order (500)"),
    (
        "503-html",
        always(server.sends(b"<h1>Forecast Grid Expired", 503, Content_Type="text/html")),
        "passing",
        "status-503",
        1,
        "out of order (503)",
    ),
    ("401", always(server.sends(b"{}", 401)), "config-fault", "status-401", 60, "key, plan"),
    (
        "403",
        always(server.sends(b"<h1>Forbidden", 403, Content_Type="text/html")),
        "config-fault",
        "status-403",
        60,
        "User-Agent",
    ),
    (
        "400",
        always(server.says(reason("latitude is no number"), 400)),
        "config-fault",
        "status-400",
        60,
        "latitude is no number",
    ),
    ("404", always(server.sends(b"{}", 404)), "config-fault", "status-404", 60, "changed or ended"),
    ("410", always(server.sends(b"{}", 410)), "config-fault", "status-410", 60, "changed or ended"),
    ("422", always(server.sends(b"{}", 422)), "config-fault", "status-422", 60, "(422)"),
    ("web-page", always(server.page()), "passing", "web-page", 1, "sign-in page"),
    ("gzip-bomb", always(server.bomb()), "passing", "too-big", 1, "larger than"),
    ("cut-length", on_body(server.cut_with_length), "passing", "cut", 1, "broke off"),
    ("cut-chunks", on_body(server.cut_in_chunks), "passing", "cut", 1, "broke off"),
    ("cut-closed", on_body(server.cut_and_closed), "passing", "not-json", 1, "breaks off"),
    ("nothing", always(server.sends(b"")), "passing", "not-json", 1, "cannot be read"),
    (
        "error-in-200",
        always(server.says(reason("model is away"))),
        "passing",
        "error-answer",
        1,
        "model is away",
    ),
    ("empty-object", always(server.says({})), "passing", "rejected", 1, "not used"),
    (
        "empty-lists",
        changed(lambda a: hours(a).update({k: [] for k in hours(a)})),
        "passing",
        "rejected",
        1,
        "hourly.time",
    ),
    (
        "all-null",
        changed(set_list("precipitation", lambda v: [None] * len(v))),
        "passing",
        "rejected",
        1,
        "precip",
    ),
    ("no-rain-list", changed(drop("precipitation")), "passing", "rejected", 1, "precip"),
    ("no-wind-list", changed(drop("wind_speed_10m")), "passing", "rejected", 1, "wind"),
    ("NaN", raw(lambda t: t.replace("0.0", "NaN")), "passing", "not-json", 1, "NaN"),
    ("infinite", raw(lambda t: t.replace("8.0", "1e999")), "passing", "not-json", 1, "1e999"),
    (
        "key-twice",
        raw(lambda t: t.replace('"hourly":', '"hourly": {}, "hourly":')),
        "passing",
        "not-json",
        1,
        "stands twice",
    ),
    # six of 48 hours are 12 %: more than is put down to single samples
    (
        "900-mm-h",
        changed(set_list("precipitation", lambda v: [900.0 if x else x for x in v])),
        "passing",
        "rejected",
        1,
        "900 mm",
    ),
    (
        "numbers-in-quotes",
        changed(set_list("precipitation", lambda v: [str(x) for x in v])),
        "passing",
        "rejected",
        1,
        "is no number",
    ),
    ("wrong-unit", changed(unit("wind_speed_10m", "km/h")), "passing", "rejected", 1, "km/h"),
    (
        "wrong-zone",
        changed(lambda a: a.update(utc_offset_seconds=3600)),
        "passing",
        "rejected",
        1,
        "3600 s from UTC",
    ),
    ("another-day", changed(shifted), "passing", "rejected", 1, "first stamp"),
    (
        "lengths-differ",
        changed(set_list("precipitation", lambda v: v[:-1])),
        "passing",
        "rejected",
        1,
        "length",
    ),
]


def still_open_and_then_lost(made):
    """From the fault on: what the table says of states and alerts, whatever the fault was."""
    (work,) = made.open("work")
    assert made.state() == "ageing"
    # Before the eight hours are over the message carries the age; after them it is lost.
    made.later(hours=7, minutes=40)
    made.run()
    assert made.state() == "ageing"
    assert not made.told("weather") or made.told("weather")[0].stage == "notice"
    made.later(minutes=11)
    made.run()
    assert made.state() == "lost"
    lost = [a for a in made.changes("weather") if a.stage == "start"]
    assert len(lost) == 1
    text = made.told("weather")[-1].text
    assert "No forecast is not a dry forecast." in text
    assert "Decide by eye and by official warnings." in text
    # read at 12:30 site time, 48 hourly stamps from 09:00 to 10:00 UTC on the 17th hold
    assert "Still held, and reckoned with: fault-feed, read 12:30, 8 h old, to Sat 08:00." in text
    assert work.id in [a.id for a in made.open("work")]
    # An hour later again, with the same id; six more hours and it is open still.
    made.later(minutes=60)
    made.run()
    assert [a.stage for a in made.changes("weather") if a.id == lost[0].id] == ["start", "start"]
    made.later(hours=6)
    made.run()
    assert work.id in [a.id for a in made.open("work")]
    assert all(a.stage != "stood-down" for a in made.changes("work"))


@pytest.mark.parametrize(
    ("name", "reply", "kind", "fault", "minutes", "words"),
    ROWS,
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_row(tmp_path, name, reply, kind, fault, minutes, words):
    with (
        server.fault_server(lambda h: None) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        weather.reply = server.says(forecast(made.now))
        made.poll()
        made.run()
        assert made.state() == "current"
        made.later(minutes=10)
        weather.reply = reply(made)
        asked = len(weather.asked)
        (polled,) = made.poll()
        made.run()
        sight = made.sight()
        assert (polled.ok, sight.kind, sight.fault) == (False, kind, fault)
        assert words in polled.says
        assert made.wait_minutes() == pytest.approx(minutes)
        # A body that broke off is asked for once more at once; nothing else is.
        assert len(weather.asked) - asked == (2 if fault in ("cut", "not-json") else 1)
        # How a body began that is no forecast is kept for whoever looks into it.
        if name in ("web-page", "503-html", "403"):
            assert last_word(made.db, "fault-feed").began.startswith("<")
        # What only a person can mend is told at once, and that alone.
        told = [a.id for a in made.changes("weather")]
        assert [i.startswith("feed-fault-feed") for i in told] == [True] * (kind == "config-fault")
        still_open_and_then_lost(made)


def test_a_closed_port(tmp_path):
    with (
        server.fault_server(lambda h: None) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        weather.reply = server.says(forecast(made.now))
        made.poll()
        made.run()
        weather.shutdown()
        weather.server_close()
        made.later(minutes=10)
        made.poll()
        made.run()
        sight = made.sight()
        assert (sight.kind, sight.fault, made.wait_minutes()) == ("passing", "refused", 1)
        # A server on this machine tells nothing of the site's connection.
        assert made.changes("weather") == []
        still_open_and_then_lost(made)


def test_a_certificate_that_nobody_vouches_for(tmp_path):
    with (
        server.fault_server(server.says({}), tls_in=tmp_path) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        (polled,) = made.poll()
        assert made.sight().fault == "certificate"
        assert weather.asked == []
        assert made.wait_minutes() == 1
        # It never gave a forecast: lost from the first.
        assert made.state() == "lost"
        made.run()
        (lost,) = made.changes("weather")
        assert lost.stage == "start"
        assert "has given no forecast yet" in lost.reason
        assert "No forecast of what is to come is held at all." in made.told("weather")[0].text
    assert not polled.ok


def test_waits_grow_and_the_first_good_answer_ends_them(tmp_path):
    with (
        server.fault_server(server.sends(b"{}", 500)) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        waits = []
        for _ in range(6):
            made.poll()
            waits.append(made.wait_minutes())
            made.later(minutes=waits[-1])
        assert waits == [1, 2, 5, 10, 10, 10]
        made.run()
        assert made.open("weather")[0].stage == "start"
        weather.reply = server.says(forecast(made.now))
        made.poll()
        made.run()
        assert made.wait_minutes() == 10
        assert made.open("weather") == []
        assert made.told("weather")[-1].stage == "stood-down"


def test_a_limit_for_the_day_is_told_and_the_poll_is_wider_for_a_day(tmp_path):
    with (
        server.fault_server(lambda h: None) as weather,
        staged(tmp_path / "show", feed_of(weather.url)) as made,
    ):
        weather.clock = made.clock
        weather.reply = server.says(forecast(made.now))
        made.poll()
        made.later(minutes=10)
        weather.reply = server.says(reason("Daily API request limit exceeded."), 429)
        made.poll()
        made.run()
        # from 11:40 UTC to the end of the day
        assert made.wait_minutes() == 12 * 60 + 20
        (alert,) = made.changes("weather")
        assert alert.stage == "notice"
        assert "was asked too often" in alert.reason
        assert "The limit is for the whole day (UTC)." in alert.reason
        # 00:00 UTC is 01:00 on the site
        assert "It is asked again at Fri 01:00." in made.told("weather")[0].text
        assert made.poll() == []
        made.later(minutes=made.wait_minutes())
        weather.reply = server.says(forecast(made.now))
        made.poll()
        assert made.wait_minutes() == 20
        # a day after the refusal the poll is what it was
        made.later(hours=13)
        weather.reply = server.says(forecast(made.now, mm=3.0))
        made.poll()
        assert made.wait_minutes() == 10
