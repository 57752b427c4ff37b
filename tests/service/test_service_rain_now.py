"""Rain that no forecast has: told at once, with an order and a deadline; and what ends it.

Six IP20 pieces in a calm take what falls, and 0.5 mm is their allowance: 0.1 mm is a fifth.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from service_stage import RECORD_FEED, START

from monitor.domain import Reading
from monitor.store.database import immediate
from monitor.store.history import alert_changes
from monitor.store.readings import add_reading

GAUGE = '[[gauges]]\nstation = "mast"\n'
TOLD_WORDS = (" go ", "stand by", "all clear")


def calm(rain=None, hours=36):
    """A record of a calm; `rain` by hours from 11:00Z."""
    first = START.replace(minute=0) - timedelta(hours=2)
    rows = ["starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"]
    rows += [
        f"{first + timedelta(hours=i):%Y-%m-%dT%H:%MZ},60,{(rain or {}).get(i - 2, 0)},0,0,,15,9"
        for i in range(hours)
    ]
    return "\n".join(rows) + "\n"


@pytest.fixture
def made(stage):
    def make(rain=None, gauge=GAUGE):
        found = stage(feeds=RECORD_FEED, contacts=gauge, files={"weather.csv": calm(rain)})
        found.poll()
        found.run()
        return found

    return make


def say(stage, *readings):
    with immediate(stage.db):
        for reading in readings:
            add_reading(stage.db, reading, stage.now)


def at(minutes):
    return START + timedelta(minutes=minutes)


def due(message):
    """Minutes from the start to the deadline."""
    return (datetime.fromisoformat(message.data["do_by"]) - START).total_seconds() / 60


def tips(*pairs):
    return [Reading("mast", at(m), rain_total_mm=mm) for m, mm in pairs]


TENTH = 0.2 / 3
SHOWER = tips(*((10 * n - 30, 1.0 + TENTH * n) for n in range(4)))
"""0.2 mm in the half hour to 11:30Z: 0.4 mm/h. Two fifths are used; the other 0.3 mm fall in
45 minutes, by 12:15Z, which is 13:15 on site."""


def unforeseen(messages):
    return [m for m in messages if m.alert_id.startswith("rain-unforeseen")]


def test_a_shower_that_no_forecast_has_is_an_order_at_once(made):
    stage = made()
    say(stage, *SHOWER)
    told = stage.run()
    (work,) = [m for m in told if m.kind == "work"]
    assert due(work) == pytest.approx(45, abs=0.02)
    assert (work.data["action"], work.data["fixtures"]) == ("cover", ["WASH"])
    assert "One forecast says so" not in work.text
    assert "0.2 mm in 30 min by mast. Taken to go on for an hour at 0.4 mm/h." in work.text
    (site,) = unforeseen(told)
    assert "It is raining on site, 0.2 mm in 30 min by mast; no forecast says so." in site.text
    assert "Bare: 6 at Lawn wash." in site.text
    assert "If it goes on at 0.4 mm/h as in those 30 min, Lawn wash reaches" in site.text
    assert "13:1" in site.text
    assert "Cover Lawn wash first; the message of that place says how." in site.text
    assert len(site.radio) <= 160
    assert not any(word in f" {site.text.lower()} " for word in TOLD_WORDS)


def test_it_is_told_once_and_the_deadline_holds_between_two_words_of_the_gauge(made):
    stage = made()
    say(stage, *SHOWER)
    stage.run()
    # nothing is measured of these ten minutes yet: they are taken to be like those before
    stage.later(minutes=10)
    assert stage.run() == []
    stage.later(minutes=5)
    say(stage, *tips((10, 1.2 + TENTH), (15, 1.3)))
    assert stage.run() == []


def test_a_long_way_from_the_allowance_it_is_no_order_yet(made):
    # with 0.1 mm/h the 0.45 mm that are left last four hours and a half: until 16:00Z
    stage = made()
    readings = [Reading("mast", at(m), rain_mm=0.025, period_s=900.0) for m in (-15, 0)]
    say(stage, *readings)
    told = stage.run()
    assert [m.kind for m in told] == ["weather"]
    assert "17:00" in told[0].text
    assert "Be ready for it: cover Lawn wash first." in told[0].text


def test_a_forecast_that_has_it_too_needs_no_word_of_its_own(made):
    stage = made({0: 3.0, 1: 3.0})
    say(stage, *SHOWER)
    assert unforeseen(stage.run()) == []


def test_nobody_is_sent_up_where_the_access_is_blocked(made):
    stage = made()
    show = stage.watch.current.show
    lawn = replace(show.positions["wash"], access="ladder", access_limit_mps=-1.0)
    folder = replace(
        stage.watch.current.folder, show=replace(show, positions={"wash": lawn}, revision="x")
    )
    stage.watch.current = replace(stage.watch.current, folder=folder)
    say(stage, *SHOWER)
    told = stage.run()
    (site,) = unforeseen(told)
    assert "Nobody works at Lawn wash now: isolate it at Lawn distribution." in site.text
    assert "Cover Lawn wash" not in site.text


# ---------------------------------------------------------------- the crew's word


def test_the_crews_word_alone(made):
    # 2.5 mm/h spend 0.5 mm in 12 minutes: by 11:42Z, 12:42 on site
    stage = made(gauge="")
    say(stage, Reading("crew", at(0), raining=True))
    told = stage.run()
    (work,) = [m for m in told if m.kind == "work"]
    assert due(work) == pytest.approx(12, abs=0.02)
    assert "It rains now by the crew's word, more than any forecast has" in work.text
    (site,) = unforeseen(told)
    assert "It is raining on site by the crew's word; no forecast says so." in site.text
    assert "Lawn wash reaches its allowance first, 12:42" in site.text


def used(stage):
    (row,) = stage.cycle.seen.found.plan.used.values()
    return row


@pytest.mark.parametrize("stopped", [False, True], ids=["said", "said-stopped-said"])
def test_what_fell_by_the_crews_word_is_counted_and_the_deadline_does_not_slide(made, stopped):
    """0.5 mm of 2.5 mm/h are 12 minutes: a twelfth more each minute, and spent by 11:42Z."""
    stage = made(gauge="")
    before = [Reading("crew", at(-2), raining=True), Reading("crew", at(-1), raining=False)]
    minute = 1 if stopped else 0
    say(stage, *(before if stopped else ()), Reading("crew", at(0), raining=True))
    (work,) = [m for m in stage.run() if m.kind == "work"]
    assert due(work) == pytest.approx(12 - minute, abs=0.02)
    for minutes in (3, 6, 9):
        stage.later(minutes=3)
        assert not [m for m in stage.run() if m.kind == "work"]
        assert used(stage) == pytest.approx((minutes + minute) / 12, abs=0.002)
    stage.later(minutes=4)
    (spent,) = [m for m in stage.run() if m.kind == "work"]
    assert (spent.stage, spent.data["action"]) == ("overdue", "isolate")


@pytest.mark.parametrize(
    ("after", "more", "says"),
    [
        (31, (), "Nobody has said since 12:30 that it rains"),
        (20, (Reading("crew", at(10), raining=False),), "The crew said at 12:40 that it has"),
    ],
)
def test_what_ends_it_is_said_and_no_more_than_is_known(made, after, more, says):
    stage = made(gauge="")
    say(stage, Reading("crew", at(0), raining=True))
    stage.run()
    stage.later(minutes=after)
    say(stage, *more)
    (over,) = unforeseen(stage.run())
    assert over.stage == "stood-down"
    assert says in over.text
    assert "agree" not in over.text + over.subject + over.radio


def test_a_gauge_that_is_dry_again_and_one_that_fell_silent(made):
    stage = made()
    say(stage, *SHOWER)
    stage.run()
    stage.later(minutes=40)
    say(stage, *tips((10, 1.2), (20, 1.2), (30, 1.2), (40, 1.2)))
    (over,) = unforeseen(stage.run())
    assert "No rain was measured on site in the last 30 min" in over.text
    say(stage, *tips((41, 2.2)))
    stage.later(minutes=1)
    assert len(unforeseen(stage.run())) == 1
    stage.later(minutes=66)
    (over,) = unforeseen(stage.run())
    assert "The gauges have not been heard of since" in over.text


def test_every_change_is_kept_with_its_reason(made):
    stage = made()
    say(stage, *SHOWER)
    stage.run()
    kept = [c for c in alert_changes(stage.db) if c.alert.id.startswith("rain-unforeseen")]
    assert [(c.alert.kind, c.alert.stage) for c in kept] == [("weather", "notice")]
