"""What a message says of feeds that are not of one mind, and of how many forecasts say so."""

from __future__ import annotations

from dataclasses import replace

import pytest
from alerts.alert_samples import FACTS, NOW, STOP, TOWERS, hours

from monitor.alerts import words
from monitor.alerts.wording import as_json, message
from monitor.domain import FeedSays


def said_by(*feeds, **changes):
    alert = replace(TOWERS, facts=replace(FACTS, by_feed=tuple(feeds)), **changes)
    return message(alert, NOW).text


def line(text):
    """The paragraph on the feeds, None where there is none."""
    return next((p for p in text.split("\n\n") if p.startswith("Feeds differ")), None)


# 21:00 UTC on Thursday 15 July is 22:00 at the site


def test_two_feeds_apart_are_both_named_in_site_time():
    text = said_by(
        FeedSays("open-meteo", hours(16), hours(72)), FeedSays("met-norway", hours(18), hours(60))
    )
    assert line(text) == "Feeds differ: open-meteo says Fri 14:00, met-norway says Fri 16:00."


def test_a_feed_that_sees_no_need_is_told_with_its_reach():
    text = said_by(
        FeedSays("met-norway", None, hours(14)), FeedSays("open-meteo", hours(1), hours(72))
    )
    assert line(text) == (
        "Feeds differ: met-norway sees no need until Fri 12:00, open-meteo says 23:00."
    )


@pytest.mark.parametrize(("minutes", "told"), [(20, False), (21, True)])
def test_twenty_minutes_are_no_difference(minutes, told):
    text = said_by(FeedSays("a", hours(1), hours(72)), FeedSays("b", hours(1 + minutes / 60), None))
    assert (line(text) is not None) == told


def test_one_feed_alone_and_feeds_that_say_nothing():
    assert line(said_by(FeedSays("a", hours(1), hours(72)))) is None
    assert line(said_by()) is None
    text = said_by(FeedSays("a", hours(1), hours(72)), FeedSays("b", None, None))
    assert line(text) == "Feeds differ: a says 23:00, b does not say."


def test_no_stop_and_no_end_of_a_job_speaks_of_feeds():
    feeds = (FeedSays("a", hours(1), hours(72)), FeedSays("b", None, hours(9)))
    for alert in (STOP, replace(TOWERS, stage="stood-down")):
        with_feeds = replace(alert, facts=replace(alert.facts, by_feed=feeds))
        assert line(message(with_feeds, NOW).text) is None


def test_the_radio_line_leaves_the_feeds_to_the_mail():
    feeds = tuple(FeedSays(f"feed {n}", hours(n), hours(72)) for n in range(5))
    found = message(replace(TOWERS, facts=replace(FACTS, by_feed=feeds)), NOW)
    assert len(found.radio) <= 160
    assert "feed 1" not in found.radio


def test_feeds_in_the_alert_object():
    feeds = (FeedSays("a", hours(1), hours(72), 20), FeedSays("b", None, None))
    found = as_json(replace(TOWERS, facts=replace(FACTS, by_feed=feeds, says_so=14)))
    assert found["by_feed"] == [
        {"feed": "a", "do_by": "2027-07-15T22:00:00Z", "to": "2027-07-18T21:00:00Z", "members": 20},
        {"feed": "b", "do_by": None, "to": None, "members": 1},
    ]
    assert found["says_so"] == 14
    assert as_json(TOWERS)["by_feed"] == []


def test_a_name_cannot_forge_a_line():
    text = said_by(
        FeedSays("a\n\nAll is well", hours(1), hours(72)), FeedSays("b", None, hours(72))
    )
    assert line(text) == "Feeds differ: a All is well says 23:00, b sees no need until Sun 22:00."


@pytest.mark.parametrize(
    ("members", "agreeing", "says"),
    [
        (1, 1, "One forecast says so."),
        (3, 2, "Two of three forecasts say so."),
        (9, 1, "One of nine forecasts says so."),
        (9, 9, "All nine forecasts say so."),
    ],
)
def test_few_forecasts_are_counted_and_get_no_percentage(members, agreeing, says):
    assert words.chance(members, None, agreeing) == says
    alert = replace(TOWERS, members=members, facts=replace(FACTS, says_so=agreeing))
    text = message(alert, NOW).text
    assert says in text
    assert "%" not in text
    assert as_json(alert)["probability"] is None


def test_many_forecasts_get_their_chance():
    assert words.chance(21, 0.6, 5) == "6 in 10 chance (60 %)."


def test_what_was_measured_is_no_forecast_that_says_so():
    spent = replace(
        TOWERS,
        action="inspect",
        start_by=None,
        do_by=None,
        facts=replace(FACTS, sources=("a, read 12:00",), issued_at=None, gauges=("mast",)),
    )
    text = message(spent, NOW).text
    assert (
        "Forecast: a, read 12:00, issue time not given. "
        "The past measured on site by mast, where it was."
    ) in text
    assert "says so" not in text


def test_of_several_feeds_each_says_its_own_time():
    facts = replace(FACTS, sources=("a, read 12:00", "b, issued 11:00"), issued_at=None)
    text = message(replace(TOWERS, facts=facts), NOW).text
    assert "Forecast: a read 12:00; b issued 11:00. " in text
