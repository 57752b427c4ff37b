from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from alert_samples import FACTS, LOST, NOW, STOP, TOWERS, hours

from monitor.alerts import cautions, wording, words
from monitor.alerts.clock import SiteClock, age
from monitor.domain import Wait


def lines(alert, now=NOW):
    return wording.message(alert, now).text.splitlines()


def test_the_questions_are_answered_in_the_settled_order():
    text = wording.message(TOWERS, NOW).text
    # 21:00 UTC is 22:00 on the site's clock; 40 and 90 minutes later are 22:40 and 23:30.
    in_order = [
        "Cover 8 fixtures at Delay towers A+B.",
        "6 moving beam, IP54; 2 distribution, IP44",
        "Start by 22:40 (in 40 min). Done by 23:30 (in 90 min). Site time, BST (UTC+1).",
        "Isolate first at DIST-DTA.",
        "2 people, 50 min.",
        (
            "Why: 29 mm of rain from Fri 01:00 to 11:00. Wind 8.2 m/s from the south-west, "
            "gusts at that height to 21.4 m/s at Fri 05:00. It comes in: open sky."
        ),
        "Can wait: DTA-05, DTB-05 until Fri 03:00.",
        "Forecast: Hourly forecast A, issued 20:50, 70 min old. One forecast says so.",
        (
            "Limit: Do not start on the platform in gusts above 12.5 m/s, or in thunder. "
            "The limit is reached at Fri 00:00: be down by then."
        ),
        (
            "If you cannot: isolate at DIST-DTA, keep off, tell who leads the crew, and answer "
            "alert 17 with: cannot."
        ),
        "Next word: by 22:15 (in 15 min).",
        "Radio: ",
        "Cautions\n- ",
        "Written 22:00 site time, BST (UTC+1).",
        "Weather data by A, CC BY 4.0",
    ]
    places = [text.index(part) for part in in_order]
    assert places == sorted(places)


def test_radio_line_of_a_start():
    assert wording.message(TOWERS, NOW).radio == (
        "COVER 8 at Delay towers A+B. Start by 22:40, done by 23:30. 2 people. "
        "Isolate first at DIST-DTA. 50 min. Rain 29 mm."
    )


def test_subject_leads_with_the_time():
    message = wording.message(TOWERS, NOW)
    assert message.subject == "Start by 22:40: cover 8 fixtures at Delay towers A+B"
    assert message.thread == "alert-17"


@pytest.mark.parametrize(
    ("action", "first"),
    [
        ("cover", "Cover 8 fixtures at Delay towers A+B."),
        ("bring-in", "Bring in 8 fixtures from Delay towers A+B."),
        ("isolate", "Isolate 8 fixtures at Delay towers A+B."),
        ("uncover", "Uncover 8 fixtures at Delay towers A+B."),
        ("inspect", "Inspect 8 fixtures at Delay towers A+B."),
        ("clean", "Clean 8 fixtures at Delay towers A+B."),
    ],
)
def test_each_action_is_one_order(action, first):
    assert lines(replace(TOWERS, action=action))[0] == first


@pytest.mark.parametrize(
    ("stage", "subject"),
    [
        ("notice", "Notice, start by 22:40: cover 8 fixtures at St. Ann. Tower"),
        ("start", "Start by 22:40: cover 8 fixtures at St. Ann. Tower"),
        ("overdue", "Overdue, due 23:30: cover 8 fixtures at St. Ann. Tower"),
        ("stood-down", "No longer needed: cover 8 fixtures at St. Ann. Tower"),
        ("stop", "Stop: do not work at St. Ann. Tower"),
    ],
)
def test_subjects(stage, subject):
    facts = replace(FACTS, position_name="St. Ann. Tower")
    assert wording.message(replace(TOWERS, stage=stage, facts=facts), NOW).subject == subject


def test_a_notice_that_is_late_already_does_not_ask_for_patience():
    late = replace(TOWERS, stage="notice", facts=replace(FACTS, late=True))
    message = wording.message(late, NOW)
    assert message.text.startswith("Notice: cover 8 fixtures at Delay towers A+B.\n")
    assert "Cannot be done in time." in message.radio
    # 23:00, twenty minutes after 22:40
    assert "Late already: start now." in wording.message(late, hours(1)).radio


def test_a_notice_is_not_yet_an_order():
    assert lines(replace(TOWERS, stage="notice"))[0] == (
        "Notice: cover 8 fixtures at Delay towers A+B. Not yet, but plan for it."
    )


def test_overdue_takes_the_worst_and_keeps_hands_off():
    late = replace(TOWERS, stage="overdue", do_by=NOW - timedelta(minutes=30))
    text = wording.message(late, NOW).text
    assert text.startswith("Overdue: cover 8 fixtures at Delay towers A+B.")
    assert "not logged as done: take them as uncovered and wet" in text
    assert "Do not handle wet gear that is live." in text
    assert "Isolate first at DIST-DTA." in text
    # half an hour before 22:00
    assert "Was to be done by 21:30 (30 min ago)." in text
    assert "Start by" not in text.partition("Radio:")[0]


def test_stop_asks_for_nothing_there():
    message = wording.message(STOP, NOW)
    before_cautions = message.text.partition("Radio:")[0]
    assert message.text.startswith("Stop. Do not work at Delay towers A+B.")
    assert "Isolate at DIST-DTA, only if it is reached without climbing" in before_cautions
    assert "Gust 14 m/s at 9 m, limit 12.5." in before_cautions
    # nine hours after 22:00 on Thursday
    assert "before Fri 07:00, site time BST (UTC+1)" in before_cautions
    for asked in ("Cover", "Start by", "Done by", "people", "50 min"):
        assert asked not in before_cautions
    assert message.radio == (
        # whoever is up hears what to do, and nobody climbs or crosses open ground to isolate
        "STOP. Do not work at Delay towers A+B. Come down; nobody climbs. "
        "Isolate at DIST-DTA, only without climbing. Not before Fri 07:00."
    )


@pytest.mark.parametrize("stage", ["notice", "start", "overdue"])
def test_work_at_a_blocked_place_is_worded_as_a_stop(stage):
    blocked = replace(
        TOWERS,
        stage=stage,
        facts=replace(
            FACTS, blocked_by="thunder", blocked_until=hours(1), access_closes_at=hours(-1)
        ),
    )
    message = wording.message(blocked, NOW)
    assert message.text.startswith("Stop. Do not work at")
    assert message.radio.startswith("STOP. Do not work at")
    assert message.subject.startswith("Stop: ")


@pytest.mark.parametrize(
    "change",
    [
        {"blocked_until": hours(-1), "access_closes_at": None},  # over already
        {"blocked_until": hours(9), "access_closes_at": hours(2)},  # not yet begun
    ],
)
def test_a_limit_at_another_time_does_not_stop_the_work_now(change):
    facts = replace(FACTS, blocked_by="gust 14 m/s", **change)
    assert wording.message(replace(TOWERS, facts=facts), NOW).text.startswith("Cover 8")


def test_end_of_a_stop_releases_nobody():
    ended = replace(STOP, stage="stood-down", reason="gusts stay under 9 m/s from 06:00")
    text = wording.message(ended, NOW).text
    assert text.startswith("The stop at Delay towers A+B ends on this forecast.")
    assert "Because: Gusts stay under 9 m/s from 06:00." in text
    assert cautions.THREE_THINGS in text


def test_stood_down_says_why():
    message = wording.message(
        replace(TOWERS, stage="stood-down", reason="two runs keep the rain north"), NOW
    )
    assert message.subject == "No longer needed: cover 8 fixtures at Delay towers A+B"
    assert "Because: Two runs keep the rain north." in message.text
    assert message.radio == (
        "NO LONGER NEEDED: COVER 8 at Delay towers A+B. Because: Two runs keep the rain north."
    )


def test_lost_weather_is_never_a_dry_forecast():
    message = wording.message(LOST, NOW)
    assert message.text.startswith("Weather lost. There is no usable forecast for Marrowmere.")
    assert "No forecast is not a dry forecast." in message.text
    assert "Alerts raised before this stay in force." in message.text
    assert message.data["action"] is None


def test_undelivered_messages_are_told_by_voice():
    failed = replace(LOST, kind="delivery", stage="start", reason="mail to crew failed: 550")
    message = wording.message(failed, NOW)
    assert message.text.startswith(
        "Messages for Marrowmere are not arriving. Tell the crew by voice."
    )
    assert "Mail to crew failed: 550." in message.text


@pytest.mark.parametrize(
    ("kind", "stage", "first"),
    [
        ("weather", "notice", "The forecast for Marrowmere is in doubt."),
        ("weather", "stood-down", "Weather for Marrowmere is read again."),
        ("delivery", "stood-down", "Messages for Marrowmere arrive again."),
    ],
)
def test_the_monitor_speaks_of_itself(kind, stage, first):
    assert lines(replace(LOST, kind=kind, stage=stage))[0].startswith(first)


@pytest.mark.parametrize(
    ("alert_id", "raised", "over"),
    [
        ("gauge-mast-1", "A gauge is in doubt at Marrowmere. Look at it.", "The gauge measures"),
        (
            "rain-unforeseen-1",
            "It is raining, and no forecast says so, at",
            "The word on rain has changed",
        ),
        ("uplink-1", "The connection is down at Marrowmere.", "The connection works at"),
        ("feed-valley-1", "A weather feed needs mending at", "The weather feed is mended at"),
        ("clock-1", "The monitor's clock is wrong at Marrowmere. Set it.", "The clock is right at"),
        ("folder-1", "The show folder cannot be read at", "The show folder is read again at"),
        ("fault-polling-1", "The monitor has a fault at", "The monitor works again at"),
    ],
)
def test_a_trouble_is_called_what_it_is(alert_id, raised, over):
    told = replace(LOST, id=alert_id, stage="notice")
    assert lines(told)[0].startswith(raised)
    ended = replace(told, stage="stood-down")
    assert lines(ended)[0].startswith(over)
    for alert in (told, ended):
        message = wording.message(alert, NOW)
        assert len(message.radio) <= 160
        assert message.radio.startswith((raised.split(" at")[0], over))


def test_the_alert_object_has_the_settled_fields():
    found = wording.as_json(replace(TOWERS, members=31, probability=0.74))
    settled = {
        "id": "17",
        "kind": "work",
        "stage": "start",
        "action": "cover",
        "position": "delay",
        "fixtures": ["DTA-01", "DTA-02"],
        "count": 8,
        "people": 2,
        "minutes": 50.0,
        "isolate_at": "DIST-DTA",
        "start_by": "2027-07-15T21:40:00Z",
        "do_by": "2027-07-15T22:30:00Z",
        "members": 31,
        "probability": 0.74,
        "at": "2027-07-15T21:00:00Z",
        "reason": "the platform closes before the rain",
    }
    assert {k: found[k] for k in settled} == settled
    assert set(found) - set(settled) == {
        *("schema", "cautions", "radio", "says", "says_so", "by_feed"),
        *("who", "handed_to", "handed_at", "down_by", "late", "late_minutes", "worth", "covers"),
        *("not_covered_because", "spent_live", "logged_done", "answered"),
    }
    assert found["schema"] == "dryspell.alert/1"
    assert json.loads(json.dumps(found, allow_nan=False)) == found


@pytest.mark.parametrize(("members", "expected"), [(9, None), (10, 0.5)])
def test_a_share_of_few_is_not_a_probability(members, expected):
    assert (
        wording.as_json(replace(TOWERS, members=members, probability=0.5))["probability"]
        == expected
    )


@pytest.mark.parametrize(
    ("members", "probability", "says"),
    [
        (0, None, ""),
        (1, 1.0, "One forecast says so."),
        (3, 2 / 3, "Two of three forecasts say so."),
        (3, 1 / 3, "One of three forecasts says so."),
        (3, 1.0, "All three forecasts say so."),
        (3, None, "3 forecasts were read."),
        (31, 0.32, "3 in 10 chance (32 %)."),
        (31, 0.03, "Under 1 in 10 chance (3 %)."),
        (31, 0.98, "Over 9 in 10 chance (98 %)."),
    ],
)
def test_chance_in_words(members, probability, says):
    assert words.chance(members, probability) == says


@pytest.mark.parametrize(
    ("deg", "says"),
    [
        (0, "from the north"),
        (225, "from the south-west"),
        (359, "from the north"),
        (100, "from the east"),
    ],
)
def test_wind_is_named_by_where_it_comes_from(deg, says):
    assert words.from_direction(deg) == says


@pytest.mark.parametrize(
    ("minutes", "says"), [(49.2, "50 min"), (120, "120 min"), (171, "2 h 51 min"), (180, "3 h")]
)
def test_a_job_is_never_made_shorter(minutes, says):
    assert words.duration(minutes) == says


@pytest.mark.parametrize(
    ("mm", "says"), [(29.2, "29 mm"), (4.14, "4.1 mm"), (9.97, "10 mm"), (0.01, "under 0.1 mm")]
)
def test_depths(mm, says):
    assert words.depth(mm) == says


def test_a_doubled_hour_cannot_be_misread():
    # The UK puts its clocks back at 01:00 UTC on the last Sunday of October, 31 October 2027:
    # 00:30 UTC is 01:30 summer time, 01:30 UTC is 01:30 winter time.
    clock = SiteClock.named("Europe/London", datetime(2027, 10, 30, 22, 0, tzinfo=UTC))
    assert clock.at(datetime(2027, 10, 31, 0, 30, tzinfo=UTC)) == "Sun 01:30"
    assert clock.at(datetime(2027, 10, 31, 1, 30, tzinfo=UTC)) == "Sun 01:30 GMT"


@pytest.mark.parametrize(
    ("zone", "says"),
    [
        ("Europe/London", "BST (UTC+1)"),
        ("Asia/Kolkata", "IST (UTC+5:30)"),
        ("America/St_Johns", "NDT (UTC-2:30)"),
        ("Asia/Dubai", "UTC+4"),
        ("UTC", "UTC"),
        ("No/Such_Place", "UTC"),
    ],
)
def test_the_zone_is_named(zone, says):
    assert SiteClock.named(zone, NOW).zone_name == says


def test_days_are_said_when_they_are_not_today():
    clock = SiteClock.named("Europe/London", NOW)
    assert clock.at(hours(1)) == "23:00"
    assert clock.at(hours(2)) == "Fri 00:00"
    # ten days after Thursday the 15th is Sunday the 25th
    assert clock.at(hours(240)) == "Sun 25 Jul 22:00"


@pytest.mark.parametrize(
    ("minutes", "says"),
    [(-5, "0 min old"), (119, "119 min old"), (180, "3 h old"), (2880, "2 days old")],
)
def test_age(minutes, says):
    assert age(NOW - timedelta(minutes=minutes), NOW) == says


def test_a_start_that_is_past_is_at_once():
    text = wording.message(TOWERS, hours(1)).text
    # 23:00, twenty minutes after 22:40
    assert "Start at once: the latest start was 22:40 (20 min ago)." in text


def test_a_job_that_will_be_late_says_so():
    text = wording.message(replace(TOWERS, facts=replace(FACTS, late=True)), hours(1)).text
    assert "It cannot all be done in time. Start at once with what counts most." in text


def test_a_place_without_cut_off_says_whom_to_ask():
    text = wording.message(replace(TOWERS, isolate_at=None), NOW).text
    assert "Isolate first. The show file does not say where: ask" in text


def test_long_lists_that_can_wait_are_cut():
    many = tuple(f"DS-{n:02d}" for n in range(1, 11))
    facts = replace(FACTS, can_wait=(Wait(many, hours(5)),))
    text = wording.message(replace(TOWERS, facts=facts), NOW).text
    assert "DS-06 and 4 more until Fri 03:00." in text


@pytest.mark.parametrize(
    ("access", "says"),
    [
        ("ground", "Do not start there in gusts above 12.5 m/s, or in thunder."),
        ("ladder", "Do not start on a ladder in gusts above 12.5 m/s, or in thunder."),
        ("climb", "Do not start a climb in gusts above 12.5 m/s, or in thunder."),
        ("lowered-truss", "Do not start to lower or raise the truss in gusts above 12.5 m/s"),
        ("none", "Nobody works at this place"),
    ],
)
def test_the_limit_not_to_start_in(access, says):
    assert says in wording.message(replace(TOWERS, facts=replace(FACTS, access=access)), NOW).text


def test_ground_work_has_no_wind_limit_but_thunder():
    facts = replace(FACTS, access="ground", access_limit_mps=None, access_closes_at=None)
    text = wording.message(replace(TOWERS, facts=facts), NOW).text
    assert "Limit: Do not start in thunder." in text
    assert cautions.HEIGHT not in text


def test_an_alerts_own_cautions_come_last_and_once():
    alert = replace(TOWERS, cautions=(cautions.POOLS, cautions.ESTIMATE))
    found = cautions.said_with(alert)
    assert found[-1] == cautions.POOLS
    assert found.count(cautions.ESTIMATE) == 1


def test_links_stand_before_the_radio_line_and_not_on_it():
    links = (("Doing", "https://watch.example/a/17?t=x"), ("Cannot", "https://watch.example/b"))
    message = wording.message(TOWERS, NOW, links)
    plain = wording.message(TOWERS, NOW)
    # who has no link is told the command in its place; either is a paragraph of its own
    typed = "\n\nAnswer with: dryspell answer 17 doing, done, cannot or not-needed\n\nRadio: "
    tapped = "\n\nDoing: https://watch.example/a/17?t=x\nCannot: https://watch.example/b\n\nRadio: "
    assert plain.text.count(typed) == 1
    assert message.text == plain.text.replace(typed, tapped)
    assert message.radio == plain.radio
    assert message.data["links"][0] == {"label": "Doing", "url": "https://watch.example/a/17?t=x"}
    assert "links" not in plain.data
