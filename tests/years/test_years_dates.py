from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from exposure.rigs import after, entry, fixture, hours
from past_samples import NOW, event_show

from monitor.domain import BadInputError, Event, Washdown
from monitor.past_years import latest_with_weather, spans


def utc(*when):
    return datetime(*when, tzinfo=UTC)


def test_the_latest_years_that_are_over():
    found = spans(event_show([fixture("IP20")]), NOW, 3)
    # The event of 2027 is its own; 2026 is over, whatever month it is now.
    assert [s.year for s in found] == [2026, 2025, 2024]
    assert found[1].start == utc(2025, 7, 1, 12)
    assert found[1].end == utc(2025, 7, 2, 12)


def test_years_that_are_still_to_come_are_passed_over():
    # In March 2025 the first of July 2025 has not been: 2024 is the latest.
    found = spans(event_show([fixture("IP20")]), utc(2025, 3, 1), 2)
    assert [s.year for s in found] == [2024, 2023]


def test_the_29th_of_february_becomes_the_28th_and_that_is_said():
    described = event_show([fixture("IP20")], load_in=utc(2028, 2, 29, 9), lasts_h=48)
    found = spans(described, utc(2028, 2, 1), 4)
    assert [(s.start, bool(s.note)) for s in found] == [
        (utc(2027, 2, 28, 9), True),
        (utc(2026, 2, 28, 9), True),
        (utc(2025, 2, 28, 9), True),
        (utc(2024, 2, 29, 9), False),
    ]
    assert "no 29 February" in found[0].note
    assert all((s.end - s.start).total_seconds() == 48 * 3600 for s in found)


def test_an_event_over_new_year():
    described = event_show([fixture("IP20")], load_in=utc(2027, 12, 30, 18), lasts_h=72)
    (span,) = spans(described, utc(2027, 6, 1), 1)
    assert (span.start, span.end) == (utc(2026, 12, 30, 18), utc(2027, 1, 2, 18))


def test_the_sites_clock_holds_whatever_the_clocks_do():
    # In 2027 the clocks of London go forward on 28 March, in 2026 on 29 March. From Saturday
    # 27 March 2027 12:00 (UTC+0) to Monday 29 March 12:00 (UTC+1), 47 h. A year earlier both
    # ends keep 12:00 on the clock: 27 March 12:00 UTC+0 to 29 March 12:00 UTC+1, 47 h too.
    # In 2025 the change is on 30 March: 48 h.
    described = event_show([fixture("IP20")], zone="Europe/London")
    event = Event(utc(2027, 3, 27, 12), utc(2027, 3, 29, 11))
    found = spans(replace(described, event=event), NOW, 3)
    # That of 2027 is over in June, but it is the event's own year.
    assert [s.year for s in found] == [2026, 2025, 2024]
    assert (found[0].start, found[0].end) == (utc(2026, 3, 27, 12), utc(2026, 3, 29, 11))
    assert (found[1].start, found[1].end) == (utc(2025, 3, 27, 12), utc(2025, 3, 29, 12))


def test_the_log_keeps_its_distance_from_load_in():
    described = event_show([fixture("IP20")], zone="Europe/London")
    # Put out 26 h after load-in, 14:00 UTC on 2 July.
    (span,) = spans(described, NOW, 1)
    (moved,) = span.log([entry(26.0, "put-out")], described)
    assert moved.at == utc(2026, 7, 2, 14)


def test_load_in_ends_as_long_after_it_begins():
    described = event_show([fixture("IP20")], zone="Europe/London")
    described = replace(described, event=replace(described.event, load_in_ends_at=after(6.0)))
    (span,) = spans(described, NOW, 1)
    begins = span.of(described).event.load_in_at
    assert span.of(described).event.load_in_ends_at == begins + timedelta(hours=6)


def test_a_hose_down_comes_as_long_after_load_in():
    described = event_show([fixture("IP20")], zone="Europe/London")
    once = Washdown("low", ("pole",), 750.0, start=after(30.0), end=after(31.0))
    daily = Washdown("sprinkler", ("pole",), 15.0, every_day=())
    (span,) = spans(replace(described, washdowns=(once, daily)), NOW, 1)
    moved = span.of(replace(described, washdowns=(once, daily)))
    begins = moved.event.load_in_at
    assert moved.washdowns == (
        replace(once, start=begins + timedelta(hours=30), end=begins + timedelta(hours=31)),
        daily,
    )


def test_a_show_without_load_out_has_no_dates():
    described = event_show([fixture("IP20")])
    endless = replace(described, event=replace(described.event, load_out_at=None))
    with pytest.raises(BadInputError) as fault:
        spans(endless, NOW, 3)
    assert fault.value.problems[0].key == "event.load_out_at"


def test_records_that_end_before_the_latest_years():
    # A record of 1 to 4 July 2020 and of 1 to 4 July 2018: 2020 is the latest of which it knows,
    # 2019 lies between and stays, 2018 is the last it reaches.
    described = event_show([fixture("IP20")])
    one, other = (hours([0.0] * 72, start=utc(year, 7, 1)) for year in (2018, 2020))
    both = replace(one, starts=np.r_[one.starts, other.starts], ends=np.r_[one.ends, other.ends])
    found = latest_with_weather(described, NOW, 9, both)
    assert [s.year for s in found] == [2020, 2019, 2018]
    assert [s.year for s in latest_with_weather(described, NOW, 2, both)] == [2020, 2019]


@pytest.mark.parametrize("record", [hours([0.0] * 48, start=utc(2020, 3, 1)), hours([])])
def test_records_that_know_nothing_of_the_dates(record):
    with pytest.raises(BadInputError) as fault:
        latest_with_weather(event_show([fixture("IP20")]), NOW, 5, record)
    assert fault.value.problems[0].code == "no-past-weather"


def test_a_record_of_the_events_own_year_is_not_past():
    record = hours([0.0] * 48, start=utc(2027, 7, 1))
    with pytest.raises(BadInputError):
        latest_with_weather(event_show([fixture("IP20")]), utc(2028, 1, 1), 5, record)
