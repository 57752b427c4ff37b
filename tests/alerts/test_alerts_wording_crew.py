"""What a message says of the crew: who, how late, what it is worth, what is wet and live.

The site's clock is British Summer Time: 21:00 UTC, the moment of every message, is 22:00 there.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from alert_samples import FACTS, NOW, STOP, TOWERS, hours

from monitor.alerts import fitting, wording
from monitor.alerts.clock import SiteClock
from monitor.domain import Worth


def told(alert=TOWERS, now=NOW, **facts):
    return wording.message(replace(alert, facts=replace(alert.facts, **facts)), now)


def before_cautions(message):
    return message.text.partition("\n\nRadio: ")[0]


# ---------------------------------------------------------------- who


def test_who_does_it_and_who_takes_over():
    message = told(who=("Ines", "Tomas"), handed_to=("Suki", "Dario"), handed_at=hours(1))
    # 22:00 UTC is 23:00 on site
    assert "2 people (Ines and Tomas; from 23:00 Suki and Dario), 50 min." in message.text
    assert message.data["who"] == ["Ines", "Tomas"]
    assert message.data["handed_to"] == ["Suki", "Dario"]
    assert message.data["handed_at"] == "2027-07-15T22:00:00Z"


def test_names_come_on_the_radio_after_what_is_needed():
    line = told(who=("Ines", "Tomas")).radio
    assert line.startswith("COVER 8 at Delay towers A+B. Start by 22:40, done by 23:30. 2 people.")
    assert "Ines and Tomas." in line


def test_nobody_named_leaves_the_number():
    assert "\n2 people, 50 min.\n" in told().text


# ---------------------------------------------------------------- late


def test_how_late_it_is_at_best():
    message = told(late=True, late_minutes=25.0)
    assert "Start by 22:40 (in 40 min): 25 min late at best." in message.text
    assert "At best 25 min late." in message.radio
    gone = told(now=hours(1), late=True, late_minutes=25.0)
    assert (
        "Start at once with what counts most: all of it is done 25 min late at best." in gone.text
    )
    assert message.data["late_minutes"] == 25.0


@pytest.mark.parametrize("minutes", [None, 181.0, 1138.0])
def test_never_by_these_people(minutes):
    ahead = told(late=True, late_minutes=minutes)
    # 40 minutes are left until the start: it is not "late already", nor hours "late at best"
    assert "Start by 22:40 (in 40 min): it cannot all be done in time." in ahead.text
    assert "Late already" not in ahead.radio
    assert "Cannot be done in time." in ahead.radio
    gone = told(now=hours(1), late=True, late_minutes=minutes)
    assert "It cannot all be done in time. Start at once with what counts most." in gone.text
    assert "Late already: start now." in gone.radio
    assert "late at best" not in ahead.text + gone.text
    message = told(late=True)
    assert message.data["late_minutes"] is None


# ---------------------------------------------------------------- worth, covers


@pytest.mark.parametrize(
    ("worth", "says"),
    [
        # 300 x 0.4 = 120, more than 80
        (Worth(80.0, 300.0, 0.4), "Worth: Acting costs 80, at stake 300 x 40 % = 120: worth it."),
        # 300 x 0.25 = 75, less than 80
        (Worth(80.0, 300.0, 0.25), "= 75: not worth it by that alone."),
    ],
)
def test_what_acting_is_worth(worth, says):
    many = replace(TOWERS, members=31, probability=worth.chance)
    assert says in told(many, worth=worth).text
    assert told(many, worth=worth).data["worth"]["at_stake"] == 300.0
    assert told(many, worth=worth).data["worth"]["chance"] == worth.chance


@pytest.mark.parametrize("members", [1, 2, 9])
def test_few_forecasts_give_no_chance_also_where_it_is_weighed(members):
    message = told(replace(TOWERS, members=members), worth=Worth(80.0, 300.0, 0.4))
    assert "Worth: Acting costs 80, at stake 300: worth it." in message.text
    assert "40 %" not in message.text
    assert message.data["worth"] == {"cost": 80.0, "at_stake": 300.0, "chance": None}


def test_what_to_take_from_the_store_and_why_not():
    message = told(covers=(("elastic bag", 6), ("hood", 2)))
    assert "Take from the store: 6 x elastic bag and 2 x hood." in message.text
    assert message.data["covers"][0] == {"cover": "elastic bag", "count": 6}
    inside = replace(TOWERS, action="bring-in")
    because = told(inside, not_covered_because="4 hoods left, 6 wanted")
    assert "Why not under covers: 4 hoods left, 6 wanted." in because.text


# ---------------------------------------------------------------- wet and live

LIVE = replace(
    TOWERS,
    stage="overdue",
    action="isolate",
    people=1,
    minutes=None,
    start_by=None,
    do_by=hours(-0.5),
    members=0,
    reason=(
        "the allowance is spent and nothing says that it is isolated; 8.3 mm of rain fell from "
        "19:10 to 21:30, measured on site; 112 % of the allowance is used"
    ),
    facts=replace(
        FACTS,
        spent_live=True,
        rain_mm=None,
        driven_mm=None,
        wet_from=None,
        wet_to=None,
        wind_mps=None,
        gust_mps=None,
        used=1.12,
    ),
)
NOW_WORDS = "ISOLATE NOW Delay towers A+B at DIST-DTA; keep off"


def test_wet_and_live_is_one_order_in_subject_text_and_radio():
    message = wording.message(LIVE, NOW)
    assert message.subject == NOW_WORDS
    assert message.text.startswith(f"{NOW_WORDS}.\n")
    assert message.radio.startswith(f"{NOW_WORDS}. Was to be done by 21:30. 1 person.")
    said = before_cautions(message)
    assert "nobody touches it, nobody covers it, until its power is cut" in said
    # what fell, and not what is to come
    assert "Why: The allowance is spent" in said
    assert "8.3 mm of rain fell from 19:10 to 21:30, measured on site" in said
    assert "29 mm" not in said
    assert said.count("of the allowance is used") == 1
    assert message.data["spent_live"] is True


def test_the_longest_names_leave_the_order_to_keep_off():
    long = replace(
        LIVE,
        isolate_at="Main distribution of the lower meadow behind the second tent " * 3,
        facts=replace(LIVE.facts, position_name="Delay towers of the old lower meadow " * 6),
    )
    message = wording.message(long, NOW)
    for said in (message.subject, message.radio):
        assert said.startswith("ISOLATE NOW Delay towers")
        assert "; keep off" in said
    assert len(message.radio) <= 160
    assert len(message.subject) < 120
    assert "Was to be done by 21:30. 1 person." in message.radio


def test_what_was_live_is_not_said_to_need_nothing():
    over = replace(LIVE, stage="stood-down", reason="no more rain there in the forecast")
    message = wording.message(over, NOW)
    assert message.subject.startswith("No more water there: ")
    assert "NO LONGER NEEDED" not in message.radio


# ---------------------------------------------------------------- done


def test_what_the_log_ended_is_done():
    done = replace(
        TOWERS,
        stage="stood-down",
        reason="logged covered by Suki at Thu 22:12",
        facts=replace(FACTS, logged_done=True),
    )
    message = wording.message(done, NOW)
    assert message.subject == "Done: cover 8 fixtures at Delay towers A+B"
    assert message.radio == (
        "DONE: COVER 8 at Delay towers A+B. Because: Logged covered by Suki at Thu 22:12."
    )
    assert "Forecast:" not in message.text
    assert "Next word:" not in message.text


# ---------------------------------------------------------------- answers


def test_what_was_answered_is_said_back():
    message = told(answered=("You answered not needed at 21:03",))
    assert "\nYou answered not needed at 21:03.\n" in message.text
    assert message.data["answered"] == ["You answered not needed at 21:03"]


# ---------------------------------------------------------------- no time left


def test_no_time_left_before_the_wind():
    shut = replace(
        TOWERS,
        stage="overdue",
        action="isolate",
        people=1,
        minutes=None,
        start_by=None,
        facts=replace(
            FACTS, blocked_by="gusts up to 14 m/s there, limit 12.5", access_closes_at=hours(0.2)
        ),
    )
    message = wording.message(shut, NOW)
    # twelve minutes after 22:00
    assert message.subject == (
        "No time left before the wind at 22:12: do not start at Delay towers A+B; "
        "isolate at DIST-DTA"
    )
    assert message.text.startswith(f"{message.subject}.\n")
    assert message.radio == (
        "DO NOT START at Delay towers A+B: no time before the wind at 22:12. "
        "ISOLATE it at DIST-DTA, done by 23:30. 1 person."
    )
    thunder = replace(shut, facts=replace(shut.facts, blocked_by="thunder"))
    assert "before the thunder at 22:12" in wording.message(thunder, NOW).radio
    # once it is closed, nobody is told to work there at all
    assert wording.message(shut, hours(0.3)).subject.startswith("Stop: ")


# ---------------------------------------------------------------- stop

THUNDER = replace(
    STOP,
    position=None,
    fixtures=(),
    count=0,
    reason="thunder in this hour's weather",
    facts=replace(
        FACTS, position_name="Marrowmere", blocked_by="thunder", blocked_until=hours(1.5)
    ),
)


def test_thunder_brings_people_down_and_into_a_building():
    message = wording.message(THUNDER, NOW)
    said = before_cautions(message)
    assert "Whoever is up comes down now. Into a building or a hard-top vehicle" in said
    assert "nobody crosses open ground for it" in said
    assert message.radio.startswith(
        "STOP. Do not work at Marrowmere. Come down, into a building or hard-top vehicle. "
        "Isolate its power only if at hand indoors. Not before 23:30."
    )


def test_wind_brings_people_down():
    message = wording.message(STOP, NOW)
    assert "Whoever is up comes down now." in before_cautions(message)
    assert "hard-top" not in before_cautions(message)
    assert "only without climbing" in message.radio


def test_the_condition_on_isolating_outlives_the_longest_names():
    long = replace(
        STOP,
        isolate_at="Main distribution of the lower meadow behind the second tent " * 3,
        facts=replace(STOP.facts, position_name="Delay towers of the old lower meadow " * 6),
    )
    line = wording.message(long, NOW).radio
    assert len(line) <= 160
    assert "Come down" in line
    assert ", only without climbing." in line


# ---------------------------------------------------------------- nothing twice, nothing cut


def test_the_rain_is_not_told_twice():
    reason = "29.2 mm of rain in this spell spends the allowance of the first fixture at 01:00"
    said = before_cautions(wording.message(replace(TOWERS, reason=reason), NOW))
    assert said.count("29") == 1
    assert "Wet from Fri 01:00 to 11:00." in said


def test_nothing_used_is_not_told():
    assert "Share of its allowance" not in told(used=0.0).text


def test_a_closing_long_after_the_work_is_no_matter_of_it():
    assert "be down by then" in told().text
    assert "be down by then" not in told(access_closes_at=hours(40)).text


@pytest.mark.parametrize(
    ("sources", "issued_at", "says"),
    [
        (("a",), None, "Forecast: a, issue time not given."),
        (
            ("a, issued 12:00", "b, issued 12:00", "c, issued 11:00"),
            hours(-2),
            "Forecast: a and b issued 12:00; c issued 11:00 (the oldest 2 h old).",
        ),
        (("a", "b"), hours(-2), "Forecast: a and b, the oldest issued 20:00, 2 h old."),
    ],
)
def test_several_forecasts_are_one_tidy_clause(sources, issued_at, says):
    assert says in told(sources=sources, issued_at=issued_at).text


def test_a_countdown_under_two_hours():
    clock = SiteClock.named("Europe/London", NOW)
    assert clock.near(hours(25 / 60)) == "22:25 (in 25 min)"
    assert clock.near(NOW) == "22:00 (now)"
    assert clock.near(hours(2)) == "Fri 00:00"


@pytest.mark.parametrize(
    ("name", "room", "says"),
    [
        ("Delay tower A", 40, "Delay tower A"),
        ("Delay tower A (hired, behind the bar)", 20, "Delay tower A"),
        # what only adorns is left out before anything is cut
        ("The big old bridge over the little river", 17, "bridge over river"),
        # left and right, upper and lower are no ornament
        ("Upper left ladder of the main stage", 24, "Upper left ladder stage"),
        ("Upper left ladder of the main stage", 20, "Upper left ladder.."),
    ],
)
def test_a_place_is_shortened_by_what_only_adorns_it(name, room, says):
    assert fitting.shorter_place(name, room) == says


@pytest.mark.parametrize(
    ("room", "says"),
    [
        (200, "Nothing has come since 14:10; it could not be read, the line is down."),
        (60, "Nothing has come since 14:10; it could not be read."),
        (45, "Nothing has come since 14:10."),
        (20, ""),
    ],
)
def test_a_reason_ends_with_a_whole_clause(room, says):
    text = "Nothing has come since 14:10; it could not be read, the line is down."
    assert fitting.clauses(text, room) == says


def test_the_object_says_all_of_it_in_json():
    message = told(who=("Ines",), worth=Worth(float("nan"), 300.0, 0.4), late_minutes=float("inf"))
    assert json.loads(json.dumps(dict(message.data), allow_nan=False))["worth"]["cost"] is None
    assert message.data["late_minutes"] is None


def test_a_place_that_is_open_again_by_the_start_is_not_told_to_be_left():
    # closed from 22:20, start by 22:40
    said = told(access_closes_at=hours(20 / 60)).text
    assert "Nobody works there from 22:20 (in 20 min) on; by the start told above" in said
    assert "be down by then" not in said


def test_what_is_dusty_is_left_as_it_is_where_it_cannot_be_cleaned():
    message = told(replace(TOWERS, action="clean", start_by=None, do_by=None))
    assert "If you cannot: leave it as it is, tell who leads the crew" in message.text
    assert "If you cannot: isolate at" in told().text


LONG = "Étage supérieur de la tour d'écho nord-ouest, à côté du grand châtaignier fleuri"


@pytest.mark.parametrize("action", ["cover", "bring-in", "uncover", "inspect", "clean"])
def test_a_long_name_gives_way_to_where_the_power_is_cut(action):
    alert = replace(TOWERS, action=action, isolate_at="Verteiler Nordwest, Feld 3b, zweite Reihe")
    line = told(alert, position_name=LONG).radio
    assert len(line) <= 160
    assert "Isolate first at Verteiler Nordwest, Feld 3b, zweite" in line
    assert "Etage superieur de la tour" in line
    assert "Start by 22:40, done by 23:30. 2 people." in line


def test_a_look_inside_says_isolate_first_though_no_cut_off_is_known():
    line = told(replace(TOWERS, action="inspect", isolate_at=None), position_name=LONG).radio
    assert line.endswith(" Isolate first.") or " Isolate first. " in line
