"""Asking the feeds: what is kept of an answer, and that one feed's trouble stays its own."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from service_site import feed_of, payload, weather_server
from service_stage import RECORD_FEED, START, record

from monitor.domain import BadInputError
from monitor.feeds.request import needs_consent
from monitor.feeds.sheet import builtin_sheet
from monitor.service.feeds_seen import Kept, RunsKept, last_word, named
from monitor.service.polling import (
    consent_key,
    forget_next_tries,
    memory_key,
    unanswered,
)
from monitor.service.sky import Sky
from monitor.store.history import recall, remember
from monitor.store.runs import received_runs, run_body
from monitor.units import to_epoch

OPEN = '[[feeds]]\nsheet = "open-meteo"\n'


def test_an_answer_is_kept_with_its_bytes_and_its_next_try(stage):
    with weather_server(payload(START)) as sky:
        made = stage(feeds=feed_of(sky.url))
        (polled,) = made.poll()
        assert (polled.ok, polled.has_new, polled.is_news) == (True, True, True)
        (run,) = received_runs(made.db)
        assert run.weather.source == "local-weather"
        assert run_body(made.db, run.id) == sky.body
        # asked every ten minutes, and not before
        made.later(minutes=9)
        assert made.poll() == []
        made.later(minutes=1)
        (again,) = made.poll()
    assert (again.ok, again.has_new, again.is_news) == (True, False, False)
    assert sky.asked == 2
    (run,) = received_runs(made.db)
    assert run.times_seen == 2
    assert run.last_seen_at == made.now


def test_an_answer_that_cannot_be_used_is_a_failure_and_kept_out(stage):
    broken = json.loads(payload(START))
    broken["hourly_units"]["wind_speed_10m"] = "km/h"
    with weather_server(json.dumps(broken).encode()) as sky:
        made = stage(feeds=feed_of(sky.url))
        (polled,) = made.poll()
        assert not polled.ok
        assert "the answer was not used" in polled.says
        assert received_runs(made.db) == ()
        # tried again after a minute and not after ten
        made.later(minutes=1)
        sky.body = payload(START)
        (polled,) = made.poll()
    assert (polled.ok, polled.has_new, polled.is_news) == (True, True, True)


def test_the_same_bytes_are_read_again_when_the_wind_is_set_differently(stage):
    with weather_server(payload(START)) as sky:
        made = stage(feeds=feed_of(sky.url))
        made.poll()
        show = made.folder / "show.toml"
        show.write_text(show.read_text().replace("base_url", "wind_height_m = 2\nbase_url"))
        made.watch.look()
        assert made.watch.look()
        made.later(minutes=10)
        (polled,) = made.poll()
    assert polled.has_new
    assert [r.weather.wind_height_m for r in received_runs(made.db)] == [10.0, 2.0]


def test_one_feed_that_fails_does_not_hold_up_another(stage):
    feeds = '[[feeds]]\nsheet = "local-weather"\nbase_url = "http://127.0.0.1:9"\n' + RECORD_FEED
    made = stage(feeds=feeds, files={"weather.csv": record({})})
    (made.folder / "sheets" / "local-weather.toml").write_text("not = a sheet")
    first, second = made.poll()
    assert not first.ok
    assert "sheets/local-weather.toml line 1" in first.says
    assert second.ok
    assert not last_word(made.db, "local-weather").ok
    made.later(minutes=1)
    assert [p.source for p in made.poll()] == ["weather.csv"]
    made.later(minutes=4)
    assert len(made.poll()) == 2


def test_a_record_is_read_again_every_minute_and_kept_once(stage):
    made = stage(feeds=RECORD_FEED, files={"weather.csv": record({3: 2.0})})
    assert made.poll()[0].has_new
    made.later(seconds=59)
    assert made.poll() == []
    made.later(seconds=1)
    (polled,) = made.poll()
    assert (polled.ok, polled.has_new) == (True, False)
    (made.folder / "weather.csv").write_text(record({3: 4.0}))
    made.later(minutes=1)
    assert made.poll()[0].has_new
    assert len(received_runs(made.db)) == 2
    (run, _) = received_runs(made.db)
    assert not run.weather.forecast.any()


def test_a_record_gone_or_broken_says_so(stage):
    made = stage(feeds=RECORD_FEED, files={"weather.csv": record({})})
    made.poll()
    (made.folder / "weather.csv").write_text("starts_at,minutes,rain_mm\n2027-07-15T12:00Z,60,x\n")
    made.later(minutes=1)
    (polled,) = made.poll()
    assert not polled.ok
    assert "weather.csv line 2:" in polled.says
    (made.folder / "weather.csv").unlink()
    made.later(minutes=5)
    (polled,) = made.poll()
    assert "weather.csv cannot be read: No such file" in polled.says


def test_terms_of_use_are_asked_once(stage):
    made = stage(feeds=OPEN)
    feeds = made.watch.current.show.feeds
    (problem,) = unanswered(made.db, feeds, made.folder)
    assert "non-commercial" in problem.says
    assert "dryspell feed --sheet open-meteo --accept-licence" in problem.remedy
    # and while the service runs the server is not asked behind the user's back
    (polled,) = made.poll()
    assert not polled.ok
    assert "non-commercial" in polled.says
    remember(made.db, consent_key("open-meteo"), {"says": "other words, of another year"})
    assert unanswered(made.db, feeds, made.folder) == [problem]
    words = needs_consent(builtin_sheet("open-meteo"), feeds[0])
    remember(made.db, consent_key("open-meteo"), {"says": words})
    assert unanswered(made.db, feeds, made.folder) == []
    assert unanswered(None, feeds, made.folder) == [problem]


def test_after_the_clock_was_set_every_feed_is_asked(stage):
    with weather_server(payload(START)) as sky:
        made = stage(feeds=feed_of(sky.url))
        made.poll()
        made.later(hours=-3)
        assert made.poll() == []
        forget_next_tries(made.db, made.watch.current.show.feeds, made.now)
        assert len(made.poll()) == 1
        assert recall(made.db, memory_key("local-weather"))["next_try_at"]


def test_feeds_of_one_sheet_are_told_apart(stage):
    made = stage(feeds=feed_of("http://127.0.0.1:9") + feed_of("http://127.0.0.1:10"))
    names = [name for name, _ in named(made.watch.current.show.feeds)]
    assert names == ["local-weather", "local-weather 2"]


# ---------------------------------------------------------------- runs kept


def test_kept_runs_give_the_same_past_as_all_of_them(stage):
    with weather_server(payload(START)) as sky:
        made = stage(feeds=feed_of(sky.url))
        kept = RunsKept()
        for n in range(12):
            sky.body = payload(START, rain_in_h=-n % 5, mm=1.0 + n)
            made.poll()
            kept.catch_up(made.db)
            made.later(minutes=30)
    whole = RunsKept()
    whole._runs = [Kept(run.weather, None) for run in received_runs(made.db)]
    show = made.watch.current.show
    one, other = Sky(kept).past(show, (), made.now), Sky(whole).past(show, (), made.now)
    assert one.starts.tolist() == other.starts.tolist()
    assert one.rain_mm.tolist() == other.rain_mm.tolist()
    held = sum(len(k.weather.starts) for k in kept._over + kept._runs)
    # 48 steps of the newest run, and a few of each before it instead of 48
    assert held < 48 + 11 * 6
    fresh = RunsKept()
    fresh.catch_up(made.db)
    assert Sky(fresh).past(show, (), made.now).rain_mm.tolist() == one.rain_mm.tolist()
    assert not fresh.catch_up(made.db)


def test_a_record_that_grows_is_kept_by_what_is_added(stage):
    begun = START - timedelta(hours=25)  # its 24 hours, from 27 h before the start, are over
    grows = record({}, 24, begun)
    made = stage(feeds=RECORD_FEED, files={"weather.csv": grows})
    made.poll()
    for hour in range(10):
        stamp = begun.replace(minute=0) + timedelta(hours=22 + hour)
        grows += f"{stamp.strftime('%Y-%m-%dT%H:%MZ')},60,1.5,3,6,220,15,9\n"
        made.later(minutes=60)
        (made.folder / "weather.csv").write_text(grows)
        made.poll()
    runs = received_runs(made.db)
    assert [len(run.weather.starts) for run in runs] == [24] + [1] * 10
    assert run_body(made.db, runs[-1].id).decode() == grows.splitlines(keepends=True)[-1]
    # an empty line says nothing, and is no new run
    (made.folder / "weather.csv").write_text(grows + "\n")
    made.later(minutes=1)
    made.poll()
    assert len(received_runs(made.db)) == 11
    # a line that was mended: the whole is kept again
    (made.folder / "weather.csv").write_text(grows.replace("60,1.5", "60,0.5", 1))
    made.later(minutes=1)
    made.poll()
    assert len(received_runs(made.db)[-1].weather.starts) == 34
    kept, show = RunsKept(), made.watch.current.show
    kept.catch_up(made.db)
    # Load-in is at half past eight; the first of the ten hours begins at eight and was mended
    # to 0.5, so half of that counts, and 9 x 1.5
    assert Sky(kept).past(show, (), made.now).rain_mm.sum() == pytest.approx(13.75)


def test_an_old_copy_does_not_replace_a_newer_forecast(stage):
    with weather_server(payload(START)) as sky:
        made = stage(feeds=feed_of(sky.url))
        made.poll()
    (run,) = received_runs(made.db)

    def issued(minutes, number):
        weather = replace(run.weather, issued_at=START + timedelta(minutes=minutes))
        return replace(run, id=number, weather=weather)

    kept = RunsKept()
    kept.add(issued(30, 1))
    kept.add(issued(10, 2))
    assert kept.newest["local-weather"].id == 1
    # nor does it overwrite what the newer one said of the hours between
    assert len(kept._runs) == 1
    kept.add(issued(40, 3))
    assert kept.newest["local-weather"].id == 3


def test_the_source_names_its_age_and_changes_with_each_run(stage):
    with weather_server(payload(START)) as sky:
        made = stage(feeds=feed_of(sky.url))
        made.poll()
        kept, show = RunsKept(), made.watch.current.show
        kept.catch_up(made.db)
        first = kept.source(show, made.now)
        # 11:30 UTC is 12:30 on site
        assert first.names == ("local-weather, read 12:30",)
        assert first.issued_at is None
        sky.body = payload(START, mm=3.0)
        made.later(minutes=10)
        made.poll()
        kept.catch_up(made.db)
    assert kept.source(show, made.now).run != first.run
    ahead = kept.ahead(show, made.now)
    assert ahead.starts[0] == to_epoch(made.now)


def test_a_feed_taken_out_of_the_show_is_not_ahead_any_more(stage):
    made = stage(feeds=RECORD_FEED, files={"weather.csv": record({})})
    made.poll()
    kept = RunsKept()
    kept.catch_up(made.db)
    show = made.watch.current.show
    assert kept.ahead(show, made.now) is not None
    without = replace(show, feeds=())
    assert kept.ahead(without, made.now) is None
    assert Sky(kept).past(without, (), made.now) is not None


def test_a_folder_that_does_not_read_is_refused_at_the_start(stage):
    with pytest.raises(BadInputError):
        stage(feeds='[[feeds]]\nsheet = "nowhere"\nfile = "x.csv"\n')
