from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from alert_samples import TOWERS, note
from test_alerts_watch import SHOW

from monitor.alerts import wording
from monitor.alerts.quiet import held_until, on_hand, quiet_next, quiet_now, to_come, wake_at
from monitor.domain import Event, Hours, Person

LONDON = ZoneInfo("Europe/London")
QUIET = replace(
    SHOW,
    event=Event(
        load_in_at=datetime(2027, 7, 15, 12, tzinfo=UTC),
        quiet_hours=Hours(time(23, 30), time(7)),
    ),
)


def at(clock: str, day: int = 16) -> datetime:
    """Site time in July 2027, an hour ahead of UTC."""
    return datetime.combine(datetime(2027, 7, day), time.fromisoformat(clock), LONDON)


NIGHT = at("02:00")
MORNING = at("07:00")

# As in the invented show of the practice notes: days 09 to 23, nights 23 to 09, and one who
# comes within 25 minutes when called.
INES = Person("Ines", shifts=(Hours(time(9), time(23)),))
DARIO = Person("Dario", shifts=(Hours(time(23), time(9)),))
SUKI = Person("Suki", shifts=(Hours(time(9), time(23)),), call_out_minutes=25)
EARLY = Person("Tomas", shifts=(Hours(time(5), time(13)),))


def held(message, *people, now=NIGHT, told_tonight=False, somebody_hears=True, show=QUIET):
    return held_until(
        message, people, show, now, told_tonight=told_tonight, somebody_hears=somebody_hears
    )


def work(stage, start_by=None):
    return wording.message(replace(TOWERS, stage=stage, start_by=start_by), NIGHT)


def test_the_hours():
    assert quiet_now(QUIET, NIGHT) == (at("23:30", 15), MORNING)
    assert quiet_now(QUIET, at("23:30", 15)) == (at("23:30", 15), MORNING)
    assert quiet_now(QUIET, at("23:29", 15)) is None
    assert quiet_now(QUIET, MORNING) is None
    assert quiet_next(QUIET, NIGHT) == (at("23:30"), at("07:00", 17))
    assert quiet_now(SHOW, NIGHT) is None
    assert quiet_next(SHOW, NIGHT) is None


def test_the_night_the_clock_goes_back_is_an_hour_longer():
    # 31 October 2027 at 02:00 summer time: 23:30 BST is 22:30 UTC, 07:00 GMT is 07:00 UTC
    night = quiet_now(QUIET, datetime(2027, 10, 31, 1, 30, tzinfo=UTC))
    assert night == (
        datetime(2027, 10, 30, 22, 30, tzinfo=UTC),
        datetime(2027, 10, 31, 7, tzinfo=UTC),
    )
    assert night[1] - night[0] == timedelta(hours=8.5)


def test_who_is_on_hand():
    assert [on_hand(p, LONDON, NIGHT) for p in (INES, DARIO, SUKI)] == [False, True, True]
    assert [on_hand(p, LONDON, at("12:00")) for p in (INES, DARIO, SUKI)] == [True, False, True]
    assert on_hand(Person("Always"), LONDON, NIGHT)


def test_when_to_wake():
    start_by = at("03:00")
    # on site: 20 minutes to dress and walk; called: 25 more to come
    assert wake_at(DARIO, start_by, LONDON) == at("02:40")
    assert wake_at(SUKI, start_by, LONDON) == at("02:15")
    assert to_come(SUKI, start_by, LONDON) == timedelta(minutes=25)
    assert to_come(SUKI, at("10:00"), LONDON) == timedelta(0)


def test_a_stop_wakes_everybody():
    for stop in (work("stop"), note(kind="stop", stage="stop")):
        for people in ((), (INES,), (SUKI,)):
            assert held(stop, *people) is None


@pytest.mark.parametrize("stage", ["start", "overdue"])
def test_an_order_wakes_those_on_shift_or_on_call_and_nobody_in_particular(stage):
    order = work(stage, at("03:00"))
    for people in ((), (DARIO,), (SUKI,), (INES, SUKI)):
        assert held(order, *people) is None
    assert held(order, INES) == MORNING
    # the shift that begins before the quiet hours end
    assert held(order, EARLY) == at("05:00")


def test_weather_lost_is_told_to_the_same():
    lost = note(kind="weather", stage="start")
    assert held(lost, DARIO) is None
    assert held(lost) is None
    assert held(lost, INES) == MORNING


def test_where_nobody_would_hear_all_are_woken():
    assert held(work("start", at("03:00")), INES, somebody_hears=False) is None


def test_notices_wait_until_the_end_or_until_it_is_time_to_wake():
    assert held(work("notice", at("12:00")), DARIO) == MORNING
    assert held(note(kind="weather", stage="notice"), DARIO) == MORNING
    assert held(work("notice"), DARIO) == MORNING
    # start by 06:00: 20 minutes before for who is there, 45 for who is called
    assert held(work("notice", at("06:00")), DARIO) == at("05:40")
    assert held(work("notice", at("06:00")), SUKI) == at("05:15")
    assert held(work("notice", at("06:00")), DARIO, SUKI) == at("05:15")
    assert held(work("notice", at("06:00"))) == at("05:40")
    assert held(work("notice", at("06:00")), INES) == MORNING
    assert held(work("notice", at("02:20")), DARIO) is None


def test_what_is_no_longer_needed_is_told_to_who_was_woken_for_it():
    assert held(work("stood-down"), SUKI) == MORNING
    assert held(work("stood-down"), SUKI, told_tonight=True) is None
    assert held(note(kind="stop", stage="stood-down"), told_tonight=True) is None


def test_sheets_and_a_turn_that_is_told_because_nobody_acted_are_not_held():
    assert held(note(kind="watch", stage=None), INES) is None
    turn = work("start", at("03:00"))
    assert held(replace(turn, data={**turn.data, "turn_because": "no-answer"}), INES) is None


def test_outside_quiet_hours_nothing_is_held():
    for message in (work("notice", at("12:00")), note(kind="weather", stage="notice")):
        assert held(message, INES, now=MORNING) is None
        assert held(message, INES, show=SHOW) is None
