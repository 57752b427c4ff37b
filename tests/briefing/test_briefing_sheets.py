"""What the two sheets say, worked out by hand, and what they say where something is not known."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import time

import numpy as np
import pytest
from briefing_samples import (
    HOOD,
    LAWN,
    NOON,
    WET,
    after,
    entry,
    fixture,
    hours,
    known,
    person,
    position,
    show,
    standing,
    weather,
)

from monitor.alerts import cautions
from monitor.alerts.lifecycle import Source
from monitor.briefing import gear
from monitor.briefing.daily import daily_sheet
from monitor.briefing.handover import handover_sheet
from monitor.briefing.known import Opened, Told
from monitor.briefing.weather_words import forecast, rain
from monitor.briefing.written import as_message, as_page, as_screen, as_text
from monitor.domain import Answered, Declared, Hours
from monitor.store.handovers import Handover

CREW = (
    person("Ines", "09:00-23:00", tickets=("platform",)),
    person("Dario", "23:00-09:00", call_out_minutes=25),
)


def lines(sheet, key):
    return sheet.section(key).said()


def handed(**more):
    return handover_sheet(known(**more))


# ---------------------------------------------------------------- deadlines


def test_a_deadline_by_hand():
    # 2 mm/h, x 1.3 as an hourly forecast is charged: 2.6 mm/h on an upright IP20 in straight
    # rain, allowance 0.5 mm. Of that 0.2 mm fell already (40 %): 0.3 mm are left, which take
    # 0.3 / 2.6 h = 6.9 min of the hour from 18:00. Two lamps: 2 + 2 x 1 = 4 min before that.
    sheet = handed(past=(0.2, 0.0, 0.0), made=show(people=CREW))
    first = sheet.section("deadlines").rows[0]
    assert first[:4] == ("Cover 2, Lawn", "18:02", "18:06", "1 person, 4 min")
    assert first[4] == "Ines"
    assert lines(sheet, "deadlines")[0] == (
        "Cover 2, Lawn: start by 18:02, done by 18:06, 1 person, 4 min, Ines"
    )


def test_where_nobody_may_work_no_start_is_given():
    # thunder in the running hour blocks all work until 14:00, and 30 min more
    storm = hours({0: 1.0})
    sheet = handed(rain=hours({0: 2.0}), thunder=storm)
    (row,) = sheet.section("deadlines").rows
    assert row[1] == "closed to 14:30"
    assert lines(sheet, "deadlines")[0].startswith("Cover 2, Lawn: closed to 14:30, done by ")
    assert "start by" not in sheet.radio
    assert "A stop stands" in lines(sheet, "clears")[1]


def test_no_deadline_is_not_the_same_as_not_known():
    assert "None on this forecast" in lines(handed(rain=hours({})), "deadlines")[0]
    blind = handed(ahead=None, source=Source())
    assert lines(blind, "deadlines") == (
        "The weather ahead is not known at all: there may be more.",
    )
    short = handed(ahead=weather(hours({}, of=6)))
    assert not any("known to" in line for line in lines(short, "deadlines"))
    gap = weather(hours({5: np.nan}))
    assert "known to 18:00 only" in lines(handed(ahead=gap), "deadlines")[0]


# ---------------------------------------------------------------- the gear


def test_covered_says_since_when_by_whom_and_what_it_holds():
    # gust 14 at 19:00 stays under the hood's 18
    (line,) = lines(handed(log=[entry(-1, "covered")]), "covered")
    assert line == "Lawn: 2 under Tarp hood since 12:00, by Ines; holds to a gust of 18 m/s."


def test_a_cover_that_a_gust_will_pass_is_said():
    # 20 m/s in the hour from 19:00 site time
    sheet = handed(gust=hours({6: 20.0}, otherwise=6.0), log=[entry(-1, "covered")])
    assert "and a gust over that comes 19:00" in lines(sheet, "covered")[0]


def test_a_cover_past_its_gust_counts_as_off():
    # the hood stands 18 m/s; 19 came in the hour before noon
    gone = weather((0.0, 0.0, 0.0), start=after(-3), gust=(6.0, 6.0, 19.0), forecast=False)
    line = lines(handed(past=gone, log=[entry(-2, "covered")]), "covered")[0]
    assert "counts as off, look at it" in line


def test_no_cover_is_left_out_and_what_a_gust_takes_comes_first():
    # two lamps at each of eight places, covered one after the other; 16 m/s from 18:00 UTC at
    # 10 m stays under the hood's 18 but for the place at 30 m: over terrain II, z0 0.05 m,
    # 16 x ln(600) / ln(200) = 19.3
    places = [position(f"p{i}", height_m=30.0 if i == 7 else 1.0) for i in range(8)]
    lamps = [fixture(f"f{i}", f"p{i}", count=2) for i in range(8)]
    log = [entry(-2 + i / 60, "covered", f"p{i}") for i in range(8)]
    sheet = handed(
        made=show(*lamps, positions=places), gust=hours({6: 16.0}, otherwise=6.0), log=log
    )
    said = lines(sheet, "covered")
    assert [line.split(":")[0] for line in said] == ["P7", "P0", "P1", "P2", "P3", "And 6 more"]
    assert "and a gust over that comes 19:00" in said[0]
    assert said[-1] == "And 6 more: P4 2; P5 2; P6 2."


def test_covers_on_at_doors_are_for_people_to_decide():
    # doors at 15:00; rain from 14:00 to 17:00 on site keeps the hoods on
    made = show(fixture("f1", count=2), positions=(LAWN,))
    made = replace(made, event=replace(made.event, show_hours=Hours(time(15), time(22))))
    wet = hours(dict.fromkeys((1, 2, 3), 0.1))
    decide = "Lawn: 2 covered at doors (15:00), rain until 17:00: park them or decide."
    seen = known(made, rain=wet, log=[entry(-1, "covered")])
    said = lines(handover_sheet(seen), "covered")
    assert said[0].replace("Thu ", "") == decide
    assert [line.replace("Thu ", "") for line in lines(daily_sheet(seen), "decide")] == [decide]
    assert lines(daily_sheet(known()), "decide") == ("No cover is on.",)
    on = daily_sheet(known(log=[entry(-1, "covered")]))
    assert lines(on, "decide") == ("2 are on, and nothing is to be decided of them.",)


@pytest.mark.parametrize(
    "log",
    [
        [entry(-2, "covered", fixture="f1", count=(1, 2))],
        [entry(-2, "covered", fixture="f1"), entry(-1, "uncovered", fixture="f1", count=(1, 2))],
    ],
)
def test_a_cover_on_part_of_a_row_is_neither_covered_nor_in_the_store(log):
    sheet = handed(log=log)
    assert lines(sheet, "covered") == (
        "Lawn: 1 under Tarp hood on part of a row, which counts as uncovered.",
    )
    # five hoods, one of them out there
    assert lines(sheet, "stock") == ("4 Tarp hood.",)
    assert sheet.subject.startswith("Handover 23:00: 0 covered")


def test_over_the_time_it_may_have_power_is_said_of_the_cover_itself():
    # 90 minutes allowed, two hours on; of power the log says nothing, which is no decision
    bag = replace(HOOD, minutes_on_max=90.0, may_run=True)
    made = show(fixture("f1", may_run_covered=True), positions=(LAWN,), covers=(bag,))
    seen = known(made, log=[entry(-2, "covered")])
    (line,) = lines(handover_sheet(seen), "covered")
    assert line.startswith("Lawn: 1 under Tarp hood since 11:00, by Ines")
    assert line.endswith("; over the 1.5 h it may have power on.")
    assert "nothing is to be decided" in lines(daily_sheet(seen), "decide")[0]


def test_what_is_inspected_for_one_reason_is_one_line():
    made = show(*(fixture(f"f{i}", count=2) for i in range(5)), positions=(LAWN,))
    # 1.1 mm on an allowance of 0.5 mm
    assert lines(daily_sheet(known(made, past=(1.1, 0.0, 0.0))), "inspection") == (
        "f0, f1, f2 and 2 more, Lawn: wash, IP20; used 220 %.",
    )


def test_nothing_logged_is_not_taken_as_nothing():
    sheet = handed()
    assert lines(sheet, "covered") == ("Nothing is logged as covered.",)
    assert lines(sheet, "isolated") == ("Nothing is logged as isolated: take everything as live.",)


def test_isolated_until_it_is_energised():
    log = [
        entry(-2, "isolated"),
        entry(-2, "isolated", "tower", by=None),
        entry(-1, "energised", "tower"),
    ]
    assert lines(handed(log=log), "isolated") == ("Lawn: since 11:00, by Ines.",)
    back = [*log, entry(-0.5, "energised", fixture="f1")]
    assert "take everything as live" in lines(handed(log=back), "isolated")[0]


def test_what_is_on_again_in_an_isolated_place_is_named():
    made = show(fixture("f1"), fixture("f2"), fixture("f3"), positions=(LAWN,))
    log = [entry(-2, "isolated"), entry(-1, "energised", fixture="f2")]
    sheet = handed(made=made, log=log)
    assert lines(sheet, "isolated") == ("Lawn: since 11:00, by Ines; on again: f2.",)
    # cut again on its own, it is a line of its own
    again = handed(made=made, log=[*log, entry(-0.5, "isolated", fixture="f2")])
    assert lines(again, "isolated") == (
        "Lawn: since 11:00, by Ines.",
        "f2, Lawn: since 12:30, by Ines.",
    )


def test_isolated_in_part_is_said_to_be_that():
    sheet = handed(log=[entry(-2, "isolated", count=(1, 2))])
    assert lines(sheet, "isolated") == (
        "Lawn: 1 of 2 only: since 11:00, by Ines, take all as live.",
    )
    assert "0 isolated" in sheet.subject


def test_wet_until_found_dry():
    # 1.1 mm on an allowance of 0.5 mm: used 2.2 times
    sheet = handed(past=(1.1, 0.0, 0.0))
    assert lines(sheet, "wet") == ("Lawn: 2 (f1), used 2.2 times its allowance.",)
    found = handed(past=(1.1, 0.0, 0.0), log=[entry(-0.5, "inspected", fixture="f1", result="dry")])
    assert lines(found, "wet") == ("Nothing is over its allowance or logged as wet.",)
    seen = handed(log=[entry(-0.5, "wet", "tower")])
    assert lines(seen, "wet") == ("Delay tower: 1 (t1), reported wet or found damp.",)


def test_water_inside_is_said_with_what_it_asks():
    water = entry(-0.5, "inspected", fixture="f1", result="water-inside")
    sheet, morning = (
        make(known(past=(1.1, 0.0, 0.0), log=[water])) for make in (handover_sheet, daily_sheet)
    )
    assert lines(sheet, "wet") == (
        "Lawn: 2 (f1), used 2.2 times its allowance, water inside: keep isolated.",
    )
    # the tower's IP65 is not used up by 1.1 mm; what holds water is on the list though nobody
    # works on it any more
    said = lines(morning, "used")
    assert said[0] == "Lawn: used 2.2 times, worst f1, over 2 of 2"
    assert "Water inside, keep isolated: Lawn (f1)." in said


def test_spent_gear_is_not_covered_again_and_that_is_said():
    # 1.1 mm on 0.5 mm is spent, and more rain comes at 18:00: no cover is planned for it
    morning = daily_sheet(known(past=(1.1, 0.0, 0.0)))
    assert lines(morning, "covers") == (
        "Spent, and not covered again: 2 at Lawn. Isolate, dry, inspect.",
        "None wanted on this forecast for what is not spent.",
    )
    on = daily_sheet(known(past=(1.1, 0.0, 0.0), log=[entry(-0.5, "covered")]))
    assert lines(on, "covers") == ("None wanted on this forecast.",)


def test_power_declared_on_names_what_it_does_not_reach():
    log = [
        entry(-2, "isolated", "tower"),
        entry(-1, "inspected", fixture="f1", result="damp"),
    ]
    whole = (Opened(Declared(after(-0.5), "power", "Odile")),)
    said = lines(handed(log=log, declared=whole), "clears")[2]
    assert said == (
        "Power on again: whole site declared open by Odile, 12:30. "
        "Not where isolated: Delay tower. Not found dry: f1."
    )
    lawn = (Opened(Declared(after(-0.5), "power", "Odile", "lawn")),)
    assert lines(handed(log=log, declared=lawn), "clears")[2].endswith("12:30. Not found dry: f1.")
    ended = (Opened(Declared(after(-0.5), "power", "Odile"), after(-0.2), "rain"),)
    assert "isolated" not in lines(handed(log=log, declared=ended), "clears")[2]


def test_what_was_taken_is_not_known_without_weather():
    sheet, morning = handed(past=None), daily_sheet(known(past=None))
    unknown = f"{gear.NO_PAST} Only what people logged is listed."
    assert lines(sheet, "wet") == (unknown, "Nothing is logged as wet.")
    assert lines(morning, "inspection") == (unknown, "Nothing that is logged asks for one.")
    assert "wet not known" in sheet.subject
    assert lines(morning, "used") == (gear.NO_PAST,)
    assert morning.data["used"] is None


def test_used_so_far_per_place():
    # 0.2 mm of 0.5 mm is 40 %; the tower's IP65 has no limit from rain
    morning = daily_sheet(known(past=(0.2, 0.0, 0.0)))
    assert morning.section("used").rows == (("Lawn", "40 %", "f1", ""),)
    assert morning.data["used"] == [{"place": "Lawn", "fixture": "f1", "used": 0.4}]
    over = daily_sheet(known(past=(1.1, 0.0, 0.0)))
    assert over.section("used").rows == (("Lawn", "2.2 times", "f1", "2 of 2"),)


@pytest.mark.parametrize(
    ("used", "said"), [(0.999, "99 %"), (1.0, "1.0 times"), (0.43, "43 %"), (7.99, "7.9 times")]
)
def test_a_share_is_never_rounded_up(used, said):
    assert gear.share(used) == said


def test_an_hour_that_is_not_known_makes_it_at_least():
    morning = daily_sheet(known(past=(0.2, np.nan, 0.0)))
    assert morning.section("used").lines[0] == "At least: for 1 h no rain was known."


def test_covers_left_and_wanted():
    # five hoods; two lamps want one each; then both are on and three are left
    morning = daily_sheet(known())
    assert morning.section("covers").rows == (("Tarp hood", "2", "5", ""),)
    assert lines(handed(log=[entry(-1, "covered")]), "stock") == ("3 Tarp hood.",)
    # a row with seven of its eight hoods on is not covered, and its hoods are not in the store
    ten = (replace(HOOD, in_stock=10),)
    rows_of_eight = show(fixture("f1", count=8), positions=(LAWN,), covers=ten)
    part = [entry(-1, "covered", fixture="f1", count=(7, 8))]
    sheet = handed(made=rows_of_eight, log=part)
    assert lines(sheet, "stock") == ("3 Tarp hood.",)
    assert "Lawn: 7 under Tarp hood on part of a row, which counts as uncovered." in lines(
        sheet, "covered"
    )
    many = show(fixture("f1", count=7), positions=(LAWN,))
    (row,) = daily_sheet(known(many)).section("covers").rows
    assert row[:3] == ("Tarp hood", "7", "5")
    assert row[3] == "2"


# ---------------------------------------------------------------- weather and access


def test_the_forecast_in_a_sentence():
    assert forecast(known()) == (
        "Forecast for the next 24 h: 6.0 mm of rain 18:00 to 21:00, most from 18:00 (2.0 mm/h); "
        "gust to 14 m/s at 19:00 (10 m up); no thunder in it. "
        "From feed A, issued 11:00, 2 h old."
    )


def test_a_forecast_that_ends_early_says_where():
    seen = known(ahead=weather(hours({5: 2.0}, of=10), gust=6.0, thunder=np.nan))
    said = forecast(seen)
    assert "nothing known from 23:00" in said
    assert "of thunder it does not say all" in said
    assert forecast(known(ahead=None, source=Source())) == (
        "Forecast: not known. No forecast is held."
    )


@pytest.mark.parametrize(
    ("coming", "gone", "said"),
    [
        (WET, (0, 0, 0), "dry now; rain again from 18:00."),
        (WET, (0, 0.5, 0), "dry since 12:00; rain again from 18:00."),
        (hours({0: 1.0, 1: 1.0}), (0, 0, 0), "not over, to 15:00 by the forecast."),
        (hours({}), (0.5, 0, 0), "over as far as is known, to Fri 13:00; dry since 11:00."),
        (hours({0: np.nan}), (0, 0, 0), "not known; no forecast tells of this hour."),
    ],
)
def test_whether_the_rain_is_over(coming, gone, said):
    assert rain(known(rain=coming, past=gone)) == said


def test_access_that_closes():
    # 14 m/s from 19:00 to 21:00 against the platform's 12.5 at 9 m; the ground never closes
    (line,) = lines(handed(), "access")
    assert line == (
        "Platform: closes 19:00, to 21:00. Gust to 14 m/s, limit 12.5 m/s. Delay tower."
    )
    calm = lines(handed(gust=6.0), "access")
    assert calm == ("Nothing is closed, and nothing closes in the next 24 h by the forecast.",)


def test_a_gust_that_is_not_known_may_close_more():
    # with neither gust nor wind nothing can be said of the platform
    coming = weather(hours({}), gust=np.nan, wind=np.nan)
    assert "Not every hour's gust is known: more may close." in lines(
        handed(ahead=coming), "access"
    )


@pytest.mark.parametrize(
    ("coming", "silent"),
    [
        (None, "gust and thunder"),
        (weather(hours({}), gust=np.nan, wind=np.nan), "gust"),
        (weather(hours({}), gust=6.0, thunder=np.nan), "thunder"),
        (weather(hours({}, of=10), gust=6.0), "gust and thunder"),
    ],
)
def test_where_not_all_is_known_nothing_is_said_to_stay_open(coming, silent):
    said = lines(handed(ahead=coming), "access")
    assert said == (f"Not every hour's {silent} is known: more may close.",)


def test_a_place_reached_by_daylight_only_closes_at_sunset():
    # sunset at 51.5 N on 1 July is about 20:20 UTC, 21:20 on site (almanac, from memory)
    by_day = position("mast", daylight=True)
    made = show(fixture("m1", "mast"), positions=(by_day,))
    (line,) = lines(handed(made=made), "access")
    found = re.fullmatch(
        r"On the ground: closes (21:\d\d), to Fri (04:\d\d). Dark there. Mast.", line
    )
    assert found
    assert "21:10" <= found[1] <= "21:30"


# ---------------------------------------------------------------- alerts, answers, clears


def test_told_and_no_answer():
    told = (
        Told("a1", "crew chief", "sent", after(-1)),
        Told("a1", "crew chief", "sent", after(-0.5)),
        Told("a1", "desk", "given-up", after(-0.5)),
        Told("other", "nobody", "sent", after(-0.5)),
    )
    sheet = handed(alerts=(standing(),), told=told)
    assert lines(sheet, "unanswered") == (
        "Start: cover 2, Lawn: told crew chief 12:00, last 12:30; not reached desk; no answer.",
    )
    assert lines(sheet, "alerts") == ("No other alert stands.",)
    assert "1 unanswered" in sheet.radio


def test_an_answer_from_before_it_came_up_again_is_none():
    old = Answered(after(-5), "a1", "doing", "lawn", by="Ines")
    assert (
        "nobody is known to be told"
        in lines(handed(alerts=(standing(),), answers=(old,)), "unanswered")[0]
    )
    new = Answered(after(-0.5), "a1", "cannot", "lawn", by="Ines", because="no-lift")
    sheet = handed(alerts=(standing(),), answers=(old, new))
    assert lines(sheet, "alerts") == ("Start: cover 2, Lawn, since 12:00; answered Ines: cannot.",)
    assert "12:30 Ines answered cannot (no lift), Lawn" in lines(sheet, "log")


def test_the_three_things_apart():
    sheet = handed()
    assert lines(sheet, "clears")[1:] == (
        "Work at height: nobody has declared it open.",
        "Power on again: nobody has declared it open.",
    )
    declared = (
        Opened(Declared(after(-2), "height", "Odile")),
        Opened(Declared(after(-1), "height", "Suki", "tower")),
        Opened(Declared(after(-2.5), "power", "Dario"), after(-1.5), "rain"),
    )
    said = lines(handed(declared=declared), "clears")
    assert said[1] == (
        "Work at height: whole site declared open by Odile, 11:00; "
        "Delay tower declared open by Suki, 12:00."
    )
    assert said[2] == (
        "Power on again: whole site declared open by Dario, 10:30, but before the rain of 11:30: "
        "not since."
    )


def test_a_stop_stands_against_a_declaration():
    stop = standing("s1", "stop", kind="stop", where=None, opened=-0.5)
    declared = (Opened(Declared(after(-2), "height", "Odile"), after(-0.5), "stop"),)
    said = lines(handed(alerts=(stop,), declared=declared), "clears")[1]
    assert said.endswith("A stop stands since 12:30: nobody works at height.")


def test_log_of_the_last_shift_latest_first():
    # the shift before began at 09:00, when quiet hours end; 08:00 is before that
    log = [entry(-4.5, "wet"), entry(-2, "capped"), entry(-1, "covered", count=(1, 2))]
    sheet = handed(log=log)
    assert sheet.section("log").title == "Log and answers since 09:00"
    assert lines(sheet, "log") == ("12:00 covered 1 of 2: Lawn, Ines", "11:00 capped: Lawn, Ines")


def test_feeds_that_are_lost():
    sheet = handed(lost=("Lost: feed A is 9 h old", "Gauge roof has not been heard of"))
    assert lines(sheet, "heard") == (
        "Lost: feed A is 9 h old.",
        "Gauge roof has not been heard of.",
    )
    assert lines(handed(sources=0), "heard") == ("No feed is set up.",)


# ---------------------------------------------------------------- who, and the whole


def test_who_hands_to_whom():
    sheet = handed(made=show(people=CREW))
    assert sheet.title == "Handover 23:00, written 13:00, Long meadow"
    assert sheet.lead[0] == (
        "Ines to Dario, 23:00. This is how it stood at 13:00, when it was written: add what "
        "happens until then."
    )
    assert sheet.signs == ("Given by: Ines", "Taken by: Dario")
    assert "The show folder names nobody: names go in below." in handed().lead[0]
    unknown = handed(made=show(quiet=None))
    assert unknown.lead[0].startswith("From whom to whom is not known")
    assert unknown.signs == ("Given by", "Taken by")


def test_the_last_handing_over_is_shown():
    sheet = handed(handed=Handover(after(-4), "Dario", "Ines"))
    assert lines(sheet, "handed") == ("09:00, Dario to Ines: both sides ticked.",)
    assert lines(handed(), "handed") == ("No handing over is recorded yet.",)


def test_who_is_there_and_on_call():
    said = lines(daily_sheet(known(show(people=CREW))), "crew")
    assert said == (
        "On site now: Ines (platform) to 23:00.",
        "Comes: Dario 23:00 to Fri 09:00; Ines (platform) Fri 09:00 to 23:00.",
        "On call when off shift: Dario, there in 25 min.",
    )
    assert "names nobody: 1 party at once" in lines(daily_sheet(known()), "crew")[0]


@pytest.mark.parametrize("make", [handover_sheet, daily_sheet])
def test_no_call_word_in_any_form_and_a_short_radio_line(make):
    long = position("lawn", name="The very long lawn " * 9)
    made = show(fixture("f1", count=2), positions=(long,), people=CREW)
    sheet = make(known(made, alerts=(standing(),), log=[entry(-1, "covered")]))
    assert len(sheet.radio) <= 160
    assert len(sheet.subject) <= 119
    for text in (as_text(sheet), as_page(sheet), sheet.radio):
        words = re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL).lower()
        assert not re.search(r"\bgo\b|\bstand by\b|\ball clear\b", words)


@pytest.mark.parametrize("make", [handover_sheet, daily_sheet])
def test_a_mail_carries_its_cautions_and_its_radio_line(make):
    sheet = make(known())
    message = as_message(sheet, NOON)
    assert message.kind == "watch"
    assert message.text.count(sheet.radio) == 1
    for caution in (cautions.LIGHTNING, cautions.WET_AND_LIVE, cautions.HEIGHT, cautions.ESTIMATE):
        assert caution in message.text
    assert message.data["says"] == message.text
    assert set(message.data["sections"]) == {s.key for s in sheet.sections}
    assert message == as_message(make(known()), NOON)


def test_every_section_says_something():
    for seen in (known(), known(ahead=None, past=None, source=Source(), sources=0)):
        for sheet in (handover_sheet(seen), daily_sheet(seen)):
            assert [s.key for s in sheet.sections if not s.said()] == []


def test_the_screen_is_as_wide_as_a_terminal():
    assert max(len(line) for line in as_screen(handover_sheet(known())).splitlines()) <= 96
