"""Alerts about the monitor itself: raised once, told again hourly, ended aloud."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.alerts import wording
from monitor.alerts.losses import (
    Attempt,
    FeedSight,
    Found,
    after_attempt,
    feed_state,
    follow,
    weather_found,
)
from monitor.alerts.show_times import in_show_hours, last_morning, next_morning
from monitor.domain import Hours
from monitor.show import read_show

SMALL = Path(__file__).parent.parent / "samples" / "show" / "small"
# 15 July 2027, 20:00 UTC is 21:00 British Summer Time.
NOW = datetime(2027, 7, 15, 20, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
SHOW = read_show(SMALL, {"MAIL_PASSWORD": "correct-horse-battery"}).show
SHOW = replace(
    SHOW,
    site=replace(SHOW.site, timezone=ZoneInfo("Europe/London")),
    event=replace(SHOW.event, show_hours=Hours(time(14), time(23)), quiet_hours=None),
)


def at(hours: float) -> datetime:
    return NOW + hours * HOUR


def sight(**more) -> FeedSight:
    usual = {
        "source": "feed-a",
        "asked": True,
        "failing": None,
        "said_at": at(-1),
        "reaches_to": at(48),
        "max_age_s": 8 * 3600.0,
    }
    return FeedSight(**{**usual, **more})


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({}, "current"),
        ({"failing": "the host is out of order (503)."}, "ageing"),
        ({"said_at": at(-7.9), "failing": "x"}, "ageing"),
        ({"said_at": at(-8.1)}, "lost"),
        ({"said_at": at(-200), "max_age_s": None}, "current"),
        # two hours are the least that a decision needs
        ({"reaches_to": at(2.1)}, "current"),
        ({"reaches_to": at(1.9)}, "lost"),
        # a forecast of two hours in all is enough for one hour
        ({"reaches_to": at(1.1), "least_ahead_s": 3600.0}, "current"),
        ({"reaches_to": at(0.9), "least_ahead_s": 3600.0}, "lost"),
        # past half of its age, and past it
        ({"said_at": at(-4)}, "current"),
        ({"said_at": at(-4.1)}, "ageing"),
        # two usual intervals of an hour and twenty minutes
        ({"said_at": at(-2.3), "usual_s": 3600.0}, "current"),
        ({"said_at": at(-2.4), "usual_s": 3600.0}, "ageing"),
        ({"same_seen": 2, "same_limit": 3}, "current"),
        ({"same_seen": 3, "same_limit": 3}, "ageing"),
        ({"same_seen": 6, "same_limit": 3}, "lost"),
        ({"same_seen": 99}, "current"),
        ({"said_at": None, "reaches_to": None}, "lost"),
        ({"said_at": None, "reaches_to": None, "asked": False}, "unread"),
    ],
)
def test_states_of_a_feed(changes, state):
    assert feed_state(sight(**changes), NOW) == state


def test_weather_is_lost_when_nothing_is_left_and_in_doubt_when_something_is():
    gone = sight(source="feed-b", said_at=at(-9), failing="no answer in time.")
    assert weather_found([sight()], SHOW, NOW) is None
    both = weather_found([gone, sight()], SHOW, NOW)
    assert both is not None
    assert both.stage == "notice"
    assert "feed-b is 9 h old: too old to rely on. no answer in time." in both.reason
    # what is held of it is said, as far as it reaches: 48 h on
    held = "Still held, and reckoned with: feed-b, read 12:00, 9 h old, to Sat 21:00"
    assert both.extra == ("Still read: feed-a to Sat 21:00", held)
    alone = weather_found([gone], SHOW, NOW)
    assert alone is not None
    assert alone.stage == "start"


def step(trouble, found, now):
    return follow("weather", "weather", trouble, found, SHOW, now, over="it is read again")


def test_told_once_then_hourly_in_show_hours_then_ended_aloud():
    found = Found("start", "feed-a gives nothing.")
    alert, trouble = step(None, found, NOW)
    assert (alert.stage, alert.kind) == ("start", "weather")
    assert step(trouble, found, at(0.99))[0] is None
    # 22:00 site time is in the show's hours, 23:00 and 23:30 are not
    again, trouble = step(trouble, found, at(1))
    assert again.id == alert.id
    assert step(trouble, found, at(2))[0] is None
    assert step(trouble, found, at(2.5))[0] is None
    # 14:00 the next day
    again, trouble = step(trouble, found, at(17))
    assert again is not None
    over, trouble = step(trouble, None, at(17.1))
    assert (over.stage, over.reason, over.id) == ("stood-down", "it is read again", alert.id)
    assert trouble is None
    assert step(None, None, at(18)) == (None, None)
    new, _ = step(None, found, at(19))
    assert new.id != alert.id


def test_a_worse_stage_is_told_at_once():
    _, trouble = step(None, Found("notice", "one of two"), NOW)
    worse, trouble = step(trouble, Found("start", "both"), at(0.1))
    assert worse.stage == "start"
    better, _ = step(trouble, Found("notice", "one of two"), at(0.2))
    assert better.stage == "notice"


def test_a_clock_that_was_put_back_does_not_keep_it_quiet():
    found = Found("start", "feed-a gives nothing.")
    _, trouble = step(None, found, at(10))
    assert step(trouble, found, at(8.5))[0] is not None


def test_the_message_says_what_silence_means_and_no_forbidden_word():
    alert, _ = step(None, Found("start", "feed-a gives nothing."), NOW)
    said = wording.message(alert, NOW)
    assert said.subject.startswith("Weather lost. There is no usable forecast for")
    assert "No forecast is not a dry forecast." in said.text
    assert "Alerts raised before this stay in force." in said.text
    assert "Next word: by 22:00" in said.text
    assert not re.search(r"\b(go|stand by|all clear)\b", said.text, re.IGNORECASE)


# ---------------------------------------------------------------- deliveries


def tried(result, contact="desk", recipient="desk", attempt=1, detail="the host answered 500"):
    return Attempt(contact, recipient, "Cover 8 fixtures", result, attempt, detail)


def test_the_third_failed_attempt_is_told_and_a_delivery_ends_it():
    assert after_attempt((), tried("retry", attempt=2), SHOW, NOW) == (None, ())
    alert, failing = after_attempt((), tried("retry", attempt=3), SHOW, NOW)
    assert (alert.kind, alert.stage) == ("delivery", "start")
    assert 'The message "Cover 8 fixtures" to desk has failed 3 times' in alert.reason
    assert failing[0].recipients == ("desk",)
    # told already; again within the hour it is only remembered
    assert after_attempt(failing, tried("given-up"), SHOW, at(0.5))[0] is None
    assert after_attempt(failing, tried("given-up"), SHOW, at(1))[0] is not None
    over, left = after_attempt(failing, tried("sent"), SHOW, at(0.5))
    assert (over.stage, over.id, left) == ("stood-down", alert.id, ())


def test_a_message_given_up_is_told_at_once():
    alert, _ = after_attempt((), tried("given-up"), SHOW, NOW)
    assert "was given up: the host answered 500" in alert.reason
    assert "are not arriving" in wording.message(alert, NOW).subject


def test_each_recipient_that_failed_must_be_reached_again():
    first = tried("given-up", "crew", "a@x.example")
    _, failing = after_attempt((), first, SHOW, NOW)
    quiet, failing = after_attempt(failing, replace(first, recipient="b@x.example"), SHOW, NOW)
    assert quiet is None
    # one who never failed proves nothing about those who did
    third = replace(first, recipient="c@x.example", result="sent")
    assert after_attempt(failing, third, SHOW, NOW) == (None, failing)
    none_yet, failing = after_attempt(failing, replace(first, result="sent"), SHOW, NOW)
    assert none_yet is None
    last = replace(first, recipient="b@x.example", result="sent")
    over, failing = after_attempt(failing, last, SHOW, NOW)
    assert over.stage == "stood-down"
    assert failing == ()


def test_contacts_fail_apart():
    _, failing = after_attempt((), tried("given-up"), SHOW, NOW)
    alert, failing = after_attempt(failing, tried("given-up", "mail", "a@x.example"), SHOW, NOW)
    assert alert is not None
    assert [f.contact for f in failing] == ["desk", "mail"]
    assert after_attempt(failing, tried("cancelled"), SHOW, NOW) == (None, failing)


# ---------------------------------------------------------------- times


def test_show_hours_over_midnight_and_none_given():
    night = replace(SHOW, event=replace(SHOW.event, show_hours=Hours(time(20), time(2))))
    # site time is UTC + 1
    assert in_show_hours(night, datetime(2027, 7, 15, 19, 0, tzinfo=UTC))
    assert in_show_hours(night, datetime(2027, 7, 16, 0, 59, tzinfo=UTC))
    assert not in_show_hours(night, datetime(2027, 7, 16, 1, 0, tzinfo=UTC))
    always = replace(SHOW, event=replace(SHOW.event, show_hours=None))
    assert in_show_hours(always, NOW)


def test_the_morning_is_eight_or_the_end_of_the_quiet_hours_in_site_time():
    assert last_morning(SHOW, NOW) == datetime(2027, 7, 15, 7, 0, tzinfo=UTC)
    assert next_morning(SHOW, NOW) == datetime(2027, 7, 16, 7, 0, tzinfo=UTC)
    quiet = replace(SHOW, event=replace(SHOW.event, quiet_hours=Hours(time(0), time(6, 30))))
    assert next_morning(quiet, NOW) == datetime(2027, 7, 16, 5, 30, tzinfo=UTC)
    # the clocks change on 31 October 2027 at 01:00 UTC; 08:00 is 07:00 UTC before, 08:00 after
    before = datetime(2027, 10, 30, 12, 0, tzinfo=UTC)
    assert last_morning(SHOW, before) == datetime(2027, 10, 30, 7, 0, tzinfo=UTC)
    assert next_morning(SHOW, before) == datetime(2027, 10, 31, 8, 0, tzinfo=UTC)
    exactly = datetime(2027, 7, 15, 7, 0, tzinfo=UTC)
    assert last_morning(SHOW, exactly) == exactly
    assert next_morning(SHOW, exactly) == exactly + 24 * HOUR
