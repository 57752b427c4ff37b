"""Who hands to whom and when, on the site's own clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from briefing_samples import NOON, after, person, show

from monitor.briefing.shifts import (
    last_change_before,
    next_change,
    on_site,
    shift_changes,
    shifts_between,
)

DAY = [person("Ines", "09:00-23:00"), person("Tomas", "09:00-23:00")]
NIGHT = [person("Dario", "23:00-09:00")]


def test_the_day_hands_to_the_night():
    # 23:00 British Summer Time is 22:00 UTC, ten hours after noon UTC
    change = next_change(show(people=DAY + NIGHT), NOON)
    assert (change.at, change.giving, change.taking) == (after(10), ("Ines", "Tomas"), ("Dario",))
    assert change.there_from == change.at
    # and the night hands back at 09:00, 08:00 UTC
    change = next_change(show(people=DAY + NIGHT), after(11.5))
    assert (change.at, change.giving, change.taking) == (after(20), ("Dario",), ("Ines", "Tomas"))


def test_shifts_that_overlap_hand_over_when_one_leaves():
    people = [person("Ines", "09:00-18:00"), person("Suki", "17:30-02:00")]
    change = next_change(show(people=people), NOON)
    assert (change.at, change.giving, change.taking) == (after(5), ("Ines",), ("Suki",))


def test_who_stays_takes_over_where_nobody_comes():
    people = [person("Ines", "09:00-18:00"), person("Odile")]
    change = next_change(show(people=people), NOON)
    assert (change.giving, change.taking) == (("Ines",), ("Odile",))


def test_a_gap_names_who_comes_first_and_when():
    # from 23:00 nobody, until Suki comes at 06:00: 05:00 UTC, 17 hours after noon
    people = [person("Ines", "09:00-23:00"), person("Suki", "06:00-10:00")]
    change = next_change(show(people=people), NOON)
    assert (change.at, change.taking, change.there_from) == (after(10), ("Suki",), after(17))


def test_two_shifts_of_one_person_that_touch_are_one():
    people = [person("Ines", "09:00-14:00", "14:00-23:00"), *NIGHT]
    changes = [change.at for change in shift_changes(show(people=people), NOON)]
    assert min(at for at in changes if at > NOON) == after(10)


def test_quiet_hours_stand_for_shifts_where_nobody_is_named():
    change = next_change(show(), NOON)
    assert (change.at, change.giving, change.taking) == (after(10), (), ())
    assert last_change_before(show(), change.at) == after(-4)
    assert next_change(show(), after(12)).at == after(20)


def test_with_neither_no_change_is_known():
    assert next_change(show(quiet=None), NOON) is None
    assert next_change(show(people=[person("Odile")]), NOON) is None
    assert last_change_before(show(quiet=None), NOON) is None


def test_a_change_just_past_waits_for_its_ticks():
    made = show(people=DAY + NIGHT)
    half_past = after(10.5)
    assert next_change(made, half_past).at == after(10)
    assert next_change(made, half_past, taken_at=after(10.2)).at == after(20)
    # what was ticked the morning before is not this one
    assert next_change(made, half_past, taken_at=after(-4)).at == after(10)
    assert next_change(made, after(11.5)).at == after(20)


def test_a_change_of_the_clocks_moves_no_shift():
    # on 31 October 2027 clocks go back at 02:00: 23:00 is 22:00 UTC before, 09:00 is 09:00 UTC after
    made = show(people=DAY + NIGHT)
    evening = datetime(2027, 10, 30, 20, tzinfo=UTC)
    assert next_change(made, evening).at == datetime(2027, 10, 30, 22, tzinfo=UTC)
    night = evening + timedelta(hours=4)
    assert next_change(made, night).at == datetime(2027, 10, 31, 9, tzinfo=UTC)


def test_who_is_there_and_who_may_be_called():
    people = [*DAY, person("Suki", "23:00-09:00", call_out_minutes=25), *NIGHT]
    found = on_site(show(people=people), NOON)
    assert [(p.name, end) for p, end in found.there] == [("Ines", after(10)), ("Tomas", after(10))]
    assert [p.name for p in found.to_call] == ["Suki"]


def test_the_shifts_of_a_day_in_order():
    spans = shifts_between(show(people=DAY + NIGHT), NOON, after(24))
    assert [(p.name, start) for p, (start, _) in spans] == [
        ("Ines", after(-4)),
        ("Tomas", after(-4)),
        ("Dario", after(10)),
        ("Ines", after(20)),
        ("Tomas", after(20)),
    ]
