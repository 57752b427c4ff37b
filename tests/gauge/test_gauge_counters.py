"""Counters to rain: sequences worked by hand. Minutes after noon; mm."""

from __future__ import annotations

from dataclasses import replace

import pytest
from gauge_samples import LONDON, MAST, at, count, counts, rain

from monitor.domain import Gauge, Reading
from monitor.feeds.gauge import measured


def told(readings):
    return " | ".join(measured(readings, MAST, LONDON).dropped)


def test_rain_is_what_the_counter_grew_by():
    # 10.0 -> 11.2 -> 11.2 -> 13.0: 1.2, 0, 1.8; the first reading is only where it begins
    assert rain(counts((0, 10.0), (5, 11.2), (10, 11.2), (15, 13.0))) == [
        (0, 5, 1.2),
        (5, 10, 0.0),
        (10, 15, 1.8),
    ]


def test_one_reading_is_where_counting_begins():
    assert rain(counts((0, 812.4))) == []


def test_hundredths_leave_no_crumbs():
    # 0.1 + 0.2 is not 0.3 in binary: the growth from 0.1 to 0.3 is 0.2 to the micrometre
    weather = measured(counts((0, 0.1), (5, 0.3), (10, 0.7)), MAST, LONDON)
    assert weather.rain_mm[0].tolist() == [0.2, 0.4]


def test_a_reset_takes_what_stands_after_it():
    # 12.4, then 0.8: it began anew, and 0.8 fell since
    readings = counts((0, 12.0), (5, 12.4), (10, 0.8), (15, 1.4))
    assert rain(readings) == [(0, 5, 0.4), (5, 10, 0.8), (10, 15, 0.6)]
    assert "2027-07-15T12:10Z: the counter began anew; 0.8 mm fell since" in told(readings)


def test_a_reset_to_nothing_is_dry():
    assert rain(counts((0, 12.4), (5, 0.0), (10, 0.0))) == [(0, 5, 0.0), (5, 10, 0.0)]


def test_a_counter_that_wavers_has_not_begun_anew():
    # 0.04 down and up again is noise of the sensor; from 5.00 to 5.40 fell 0.4
    assert rain(counts((0, 5.0), (5, 4.96), (10, 5.0), (15, 5.4))) == [
        (0, 5, 0.0),
        (5, 10, 0.0),
        (10, 15, 0.4),
    ]


def test_a_gap_is_one_step_with_all_its_rain():
    # two hours unheard: 6.0 mm fell in them, nobody knows when
    assert rain(counts((0, 1.0), (5, 1.4), (125, 7.4), (130, 7.4))) == [
        (0, 5, 0.4),
        (5, 125, 6.0),
        (125, 130, 0.0),
    ]


def test_an_hour_unheard_and_no_growth_says_nothing():
    # A gauge without power counts nothing. 61 minutes: longer than an hour
    readings = counts((0, 3.0), (61, 3.0), (66, 3.6))
    assert rain(readings) == [(61, 66, 0.6)]
    assert "says nothing" in told(readings)
    assert rain(counts((0, 3.0), (60, 3.0))) == [(0, 60, 0.0)]
    # what it did grow by fell
    assert rain(counts((0, 3.0), (1441, 4.0))) == [(0, 1441, 1.0)]


def test_a_station_of_few_words_is_given_three_of_its_own_intervals():
    hourly = replace(MAST, every_minutes=60.0)
    assert rain(counts((0, 3.0), (180, 3.0)), hourly) == [(0, 180, 0.0)]
    assert rain(counts((0, 3.0), (181, 3.0)), hourly) == []


# ---------------------------------------------------------------- jumps


def test_a_jump_is_kept_aside_until_the_next_reading():
    # 30 mm in 5 min are 360 mm/h
    readings = counts((0, 10.0), (5, 40.0))
    assert rain(readings) == []
    assert "kept aside until the next reading" in told(readings)


def test_a_jump_that_the_next_reading_stands_on_was_so():
    readings = counts((0, 10.0), (5, 40.0), (10, 41.0))
    assert rain(readings) == [(0, 5, 30.0), (5, 10, 1.0)]
    assert "30 mm at once, borne out by the next reading" in told(readings)


def test_a_jump_that_stands_alone_is_left_out():
    # back at 10.4: the 40.0 was a fault of the line, and 0.4 fell in the ten minutes
    readings = counts((0, 10.0), (5, 40.0), (10, 10.4))
    assert rain(readings) == [(0, 10, 0.4)]
    assert "40 mm stood alone and was left out" in told(readings)


def test_just_under_the_mark_is_believed_at_once():
    # 300 mm/h in 5 min are 25 mm
    assert rain(counts((0, 10.0), (5, 35.0))) == [(0, 5, 25.0)]
    assert rain(counts((0, 10.0), (5, 35.1))) == []


def test_a_jump_no_rain_makes_is_another_counter():
    # 720 mm in 5 min, and it stays there: a new gateway; what fell meanwhile is not known.
    # The most that can be in 5 min is 500 x sqrt(1/12) = 144 mm.
    readings = counts((0, 120.0), (5, 840.0), (10, 840.6))
    assert rain(readings) == [(0, 5, None), (5, 10, 0.6)]
    assert "counting begins there" in told(readings)


def test_a_fall_to_a_high_level_and_back_is_a_fault_of_the_line():
    # 500 -> 400 would be a reset and 400 mm since: aside; 500.6 is the old level again
    assert rain(counts((0, 500.0), (5, 400.0), (10, 500.6))) == [(0, 10, 0.6)]


def test_a_fall_to_a_high_level_that_stays_is_another_counter():
    assert rain(counts((0, 500.0), (5, 400.0), (10, 400.6))) == [(0, 5, None), (5, 10, 0.6)]


def test_a_zero_in_the_middle_brings_no_rain():
    # 500 -> 0: a reset without rain; 500.2 then is 500.2 mm at once, aside; 500.8 bears it out,
    # but it is more than ever fell, so counting begins there
    readings = counts((0, 500.0), (5, 0.0), (10, 500.2), (15, 500.8))
    assert rain(readings) == [(0, 5, 0.0), (5, 10, None), (10, 15, 0.6)]


def test_tips_within_seconds_are_no_cloudburst():
    # 0.5 mm in 1 s would be 1800 mm/h; over a minute at least it is 30 mm/h
    assert rain(counts((0, 1.0), (1 / 60, 1.5))) == [(0, 0.017, 0.5)]


# ---------------------------------------------------------------- counters that reset by the calendar


def daily(*pairs):
    return counts(*pairs, resets="daily")


# 15 July in London is UTC + 1 h: midnight there is 23:00Z, 660 minutes after noon.


def test_a_daily_counter_at_midnight():
    assert rain(daily((650, 12.0), (655, 12.4), (660, 0.0), (665, 0.6))) == [
        (650, 655, 0.4),
        (655, 660, 0.0),
        (660, 665, 0.6),
    ]


def test_a_daily_counter_that_stands_higher_next_morning_began_anew_too():
    # 2.0 before midnight, 3.0 at 08:00: all 3.0 are of the new day, not only the difference
    readings = daily((650, 2.0), (660 + 480, 3.0))
    assert rain(readings) == [(650, 1140, 3.0)]
    assert "began anew in the gap" in told(readings)


def test_a_counter_that_never_resets_has_no_midnight():
    assert rain(counts((650, 2.0), (1140, 3.0))) == [(650, 1140, 1.0)]


def test_a_station_without_summer_time_resets_an_hour_late():
    # 23:58 and 00:03 site time, still counting on: 0.4, not 12.8 in five minutes
    assert rain(daily((658, 12.4), (663, 12.8))) == [(658, 663, 0.4)]


def test_monthly_and_yearly_counters():
    # 15 to 16 July: the same month and year, so only the growth counts
    for resets in ("monthly", "yearly"):
        assert rain(counts((650, 2.0), (1140, 3.0), resets=resets)) == [(650, 1140, 1.0)]
    # 20 days on, in August: a new month, the same year
    over = 20 * 1440
    assert rain(counts((0, 2.0), (over, 3.0), resets="monthly")) == [(0, over, 3.0)]
    assert rain(counts((0, 2.0), (over, 3.0), resets="yearly")) == [(0, over, 1.0)]


def test_counters_that_reset_differently_are_not_differenced():
    # total 812.0 -> daily 4.2 -> total 812.6: no reset to 4.2 between them
    readings = [count(0, 812.0), count(5, 4.2, resets="daily"), count(10, 812.6)]
    assert rain(readings) == [(0, 10, 0.6)]


# ---------------------------------------------------------------- amounts with their period


def amount(minutes, mm, seconds):
    return Reading("mast", at(minutes), rain_mm=mm, period_s=seconds)


def test_amounts_are_steps():
    assert rain([amount(5, 0.4, 300), amount(10, 0.0, 300), amount(20, 0.8, 300)]) == [
        (0, 5, 0.4),
        (5, 10, 0.0),
        (15, 20, 0.8),
    ]


def test_the_sum_of_the_last_hour_sent_every_twenty_minutes_is_not_added_up():
    readings = [amount(m, mm, 3600) for m, mm in ((60, 3.0), (80, 5.0), (100, 6.0), (120, 4.0))]
    assert rain(readings) == [(0, 60, 3.0), (60, 120, 4.0)]
    assert "2 amounts were left out" in told(readings)


def test_an_unsteady_clock_loses_no_rain():
    # the second comes 20 s early: it begins where the first ends, with all its rain
    assert rain([amount(5, 0.6, 300), amount(10 - 1 / 3, 0.8, 300)]) == [
        (0, 5, 0.6),
        (5, 9.667, 0.8),
    ]


def test_short_periods_come_before_long_ones():
    readings = [amount(62, 9.0, 3600), *(amount(m, 0.4, 300) for m in range(35, 65, 5))]
    assert rain(readings) == [(m - 5, m, 0.4) for m in range(35, 65, 5)]


def test_a_long_period_gives_way_to_a_short_one_that_came_later():
    # the hour to 12:20 and the five minutes from 12:18: the hour is cut, with all its rain
    assert rain([amount(20, 6.0, 3600), amount(23, 0.5, 300)]) == [(-40, 18, 6.0), (18, 23, 0.5)]


def test_a_counter_comes_before_amounts():
    readings = [count(0, 1.0), count(10, 2.0), amount(10, 5.0, 300), amount(20, 0.5, 300)]
    assert rain(readings) == [(0, 10, 1.0), (15, 20, 0.5)]


# ---------------------------------------------------------------- a lone tip


def test_a_lone_tip_is_neither_rain_nor_dry():
    # 0.2 mm and nothing else for three hours on either side
    readings = counts(*((m, 5.0 if m <= 200 else 5.2) for m in range(0, 425, 5)))
    steps = rain(readings)
    assert (200, 205, None) in steps
    assert {mm for *_, mm in steps} == {0.0, None}


def test_the_next_tip_makes_both_count():
    # tips 55 minutes apart
    readings = counts((0, 5.0), (5, 5.2), (55, 5.2), (60, 5.4))
    assert [mm for *_, mm in rain(readings)] == [0.2, 0.0, 0.2]


def tips_apart(minutes, mm):
    """Of two tips; the first ends at minute 5, the second begins so much later."""
    later = 5 + minutes
    between = ((minute, 5 + mm) for minute in range(35, later, 30))
    ends = ((later, 5 + mm), (later + 5, 5 + 2 * mm))
    steps = [mm for *_, mm in rain(counts((0, 5.0), (5, 5 + mm), *between, *ends))]
    assert set(steps[1:-1]) == {0.0}
    return [steps[0], 0.0, steps[-1]]


def test_tips_are_alone_where_the_rain_between_them_is_no_drizzle():
    # 0.2 mm fills in 4 h at 0.05 mm/h, 0.254 mm in 304.8 min, 0.3 mm in 6 h
    for minutes, mm in ((240, 0.2), (305, 0.254), (360, 0.3)):
        assert tips_apart(minutes, mm) == [None, 0.0, None]
        assert tips_apart(minutes - 1, mm) == [pytest.approx(mm), 0.0, pytest.approx(mm)]


def test_the_smallest_tips_keep_each_other_company_for_three_hours():
    # 0.1 mm would fill in 2 h at that rate
    assert tips_apart(180, 0.1) == [None, 0.0, None]
    assert tips_apart(179, 0.1) == [pytest.approx(0.1), 0.0, pytest.approx(0.1)]


def test_a_day_of_drizzle_is_measured():
    # a tip of 0.2 mm every 186 minutes, 0.065 mm/h: 7 in 24 h are 1.4 mm
    readings = counts(*((m, 5.0 + 0.2 * (m // 186)) for m in range(0, 1441, 5)))
    assert sum(mm for *_, mm in rain(readings)) == pytest.approx(1.4)


def test_more_than_a_tip_counts_at_once():
    assert rain(counts((0, 5.0), (5, 5.4))) == [(0, 5, 0.4)]
    assert rain(counts((0, 5.0), (5, 5.3))) == [(0, 5, None)]


def test_a_gauge_heard_every_two_hours():
    assert rain(counts((0, 5.0), (120, 7.0)), Gauge("mast", every_minutes=120)) == [(0, 120, 2.0)]
