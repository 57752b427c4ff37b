"""The crew's schedule: against every way to lay small cases, and evenings worked by hand."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from planning.every_way import SLOT, latest_starts, most_saved, random_case

from monitor.planning.hands import Hand, Late, Leg, Schedule, Task
from monitor.planning.schedule import latest
from monitor.planning.schedule_check import check
from monitor.planning.workable import Span

HOUR, MINUTE = 3600.0, 60.0
CASES = 500


def at(clock):
    """Seconds of a time of the first evening, UTC; hours run on past 24."""
    hours, minutes = clock.split(":")
    return int(hours) * HOUR + int(minutes) * MINUTE


def task(key, minutes, people=1, do_by="24:00", *, tickets=(), shut=(), value=1.0, alone=False):
    return Task(
        key=key,
        minutes=float(minutes),
        people=people,
        tickets=frozenset(tickets),
        blocked=tuple(Span(at(a), at(b), "gust") for a, b in shut),
        do_by_s=at(do_by),
        value=value,
        alone_ok=alone,
    )


def hand(name, *shifts, tickets=()):
    return Hand(name, frozenset(tickets), tuple((at(a), at(b)) for a, b in shifts))


def starts(schedule):
    return {turn.key: turn.start_s for turn in schedule.turns}


def turn(schedule, key):
    return next(turn for turn in schedule.turns if turn.key == key)


def saved(schedule, tasks):
    """(value in time, minus tasks never done, minus lateness in slots), as every_way counts."""
    late = {entry.key: entry.by_s for entry in schedule.late}
    return (
        sum(t.value for t in tasks if t.key not in late),
        -sum(math.isinf(by_s) for by_s in late.values()),
        -sum(by_s for by_s in late.values() if math.isfinite(by_s)) / SLOT,
    )


# ---------------------------------------------------------------- against every way


def test_500_small_cases_are_as_good_as_the_best_of_every_way():
    met = Counter()
    for seed in range(CASES):
        rng = np.random.default_rng(seed)
        tasks, hands = random_case(rng, int(rng.integers(2, 6)), hopeful=seed % 3 > 0)
        schedule = latest(tasks, hands, 0.0)
        assert check(schedule, tasks, hands, 0.0) == (), seed
        assert schedule.exact, seed
        best = latest_starts(tasks, hands)
        assert schedule.feasible == (best is not None), seed
        if best is not None:
            found = sorted(t.start_s / SLOT for t in schedule.turns)
            assert found == pytest.approx(best, abs=1e-6), seed
        else:
            assert saved(schedule, tasks) == pytest.approx(most_saved(tasks, hands)), seed
        met["in time" if best is not None else "late"] += 1
        met["handed over"] += any(t.handed_over for t in schedule.turns)
        met["done, but late"] += any(math.isfinite(entry.by_s) for entry in schedule.late)
    # the cases are worth something only if they are of all sorts
    assert min(met["in time"], met["late"]) > 100
    assert min(met["handed over"], met["done, but late"]) > 15


def test_anonymous_parties_are_as_people_who_are_always_there_and_hold_everything():
    for seed in range(100):
        rng = np.random.default_rng(seed)
        tasks, _ = random_case(rng, 4, hopeful=True)
        number = int(rng.integers(1, 4))
        always = ((-HOUR, 100 * HOUR),)
        hands = [Hand(f"party {n + 1}", frozenset(), always) for n in range(number)]
        plain = [replace(t, people=1, tickets=frozenset(), alone_ok=True) for t in tasks]
        schedule = latest(tasks, number, 0.0)
        assert check(schedule, tasks, number, 0.0) == ()
        assert schedule == latest(plain, hands, 0.0)


# ---------------------------------------------------------------- the first evening by hand
#
# Day shift 08Z to 22Z: Ines (ladder), Tomas (rigger), Suki (platform). Night from 22Z: Dario, and
# Suki, who was called and stays. Ladders close at 21Z, the platform at 23Z, the rain comes at 24Z;
# the truss comes down on its hoists whatever the wind, but only with the rigger, who leaves at 22Z.
# Minutes with set-up: ladders 4 + 40, truss 10 + 32, each tower 12 + 25, bar 15.

LADDERS = task("ladders", 44, 2, tickets=["ladder"], shut=[("21:00", "35:00")], value=400.0)
TRUSS = task("truss", 42, 3, tickets=["rigger"], value=700.0)
TOWER_A = task("tower A", 37, 2, tickets=["platform"], shut=[("23:00", "35:00")], value=300.0)
TOWER_B = replace(TOWER_A, key="tower B", value=250.0)
BAR = task("bar", 15, 1, alone=True, value=100.0)
EVENING = (BAR, TOWER_A, TOWER_B, TRUSS, LADDERS)
INES = hand("Ines", ("08:00", "22:00"), tickets=["ladder"])
TOMAS = hand("Tomas", ("08:00", "22:00"), tickets=["rigger"])
SUKI = hand("Suki", ("08:00", "22:00"), ("22:00", "32:00"), tickets=["platform"])
DARIO = hand("Dario", ("22:00", "32:00"))


def test_first_evening_the_ladders_come_first_and_a_tower_straddles_the_shift_change():
    # ladders alone: 21:00 - 44 = 20:16, and nothing else wants to start before that.
    # Truss (all three of the day), A and B all want Suki, the last of them ends by 23:00: two
    # towers from 21:46. The truss ends by 22:00: before both towers, 21:46 - 42 = 21:04; after
    # one of them that tower would start at 21:18 - 37 = 20:41, earlier. Bar: 24:00 - 15.
    crew = (INES, TOMAS, SUKI, DARIO)
    schedule = latest(EVENING, crew, at("18:50"))
    assert check(schedule, EVENING, crew, at("18:50")) == ()
    assert schedule.feasible
    assert schedule.exact
    assert schedule.first_start_s == at("20:16")
    assert [t.key for t in schedule.turns][:2] == ["ladders", "truss"]
    assert [t.start_s for t in schedule.turns] == [
        at(clock) for clock in ("20:16", "21:04", "21:46", "22:23", "23:45")
    ]
    straddles = schedule.turns[2]
    assert straddles.key in {"tower A", "tower B"}
    assert straddles.handed_over
    before, after = straddles.legs
    assert "Suki" in before.who
    assert set(after.who) == {"Suki", "Dario"}
    assert (before.end_s, after.start_s) == (at("22:00"), at("22:00"))
    assert not any(t.handed_over for t in schedule.turns if t is not straddles)


def test_one_person_fewer_tonight_everything_is_brought_forward():
    # Without Dario, Suki is alone after 22:00: no tower then, only the bar, which may be done
    # alone. Three people, and every other task wants two or three: one after another, 44 + 42 +
    # 37 + 37 = 160 min by 22:00, from 19:20 without a gap. The next start is latest if the
    # longest goes first: ladders 19:20 to 20:04 (before 21:00), then truss to 20:46, A, B.
    crew = (INES, TOMAS, SUKI)
    schedule = latest(EVENING, crew, at("18:50"))
    assert check(schedule, EVENING, crew, at("18:50")) == ()
    assert schedule.feasible
    assert schedule.exact
    assert [t.start_s for t in schedule.turns] == [
        at(clock) for clock in ("19:20", "20:04", "20:46", "21:23", "23:45")
    ]
    assert [t.key for t in schedule.turns][:2] == ["ladders", "truss"]
    assert turn(schedule, "bar").who == ("Suki",)


def test_one_person_fewer_and_ten_minutes_too_late_the_cheaper_tower_is_given_up():
    # at 19:30 there are 150 of the 160 minutes. Without one tower 44 + 42 + 37 = 123 min, from
    # 19:57; B is worth least. Nobody could do it later: alone tonight, off shift from 08:00.
    crew = (INES, TOMAS, SUKI)
    schedule = latest(EVENING, crew, at("19:30"))
    assert check(schedule, EVENING, crew, at("19:30")) == ()
    assert schedule.exact
    assert not schedule.feasible
    assert schedule.late == (Late("tower B", math.inf),)
    assert starts(schedule) == {
        "ladders": at("19:57"),
        "truss": at("20:41"),
        "tower A": at("21:23"),
        "bar": at("23:45"),
    }


def test_nobody_with_a_platform_ticket_leaves_the_towers_and_keeps_the_rest():
    # ladders by 21:00, truss by 22:00 with Tomas: 20:16 and 21:18; towers never
    crew = (INES, TOMAS, replace(SUKI, tickets=frozenset()), DARIO)
    schedule = latest(EVENING, crew, at("18:50"))
    assert check(schedule, EVENING, crew, at("18:50")) == ()
    assert schedule.exact
    assert {entry.key: entry.by_s for entry in schedule.late} == {
        "tower A": math.inf,
        "tower B": math.inf,
    }
    assert starts(schedule) == {"ladders": at("20:16"), "truss": at("21:18"), "bar": at("23:45")}


# ---------------------------------------------------------------- one rule at a time


def test_nothing_to_do():
    assert latest((), 2, 0.0) == Schedule((), (), exact=True)
    assert latest((), 2, 0.0).first_start_s is None


def test_a_party_that_waits_does_nothing_else():
    # open until 0:10 and from 1:00: 20 minutes by 1:10 start at 0:00. 30 minutes elsewhere by
    # 1:10 would fit while it waits, but want a second party: then 0:40.
    tasks = (
        task("wall", 20, do_by="1:10", shut=[("0:10", "1:00")]),
        task("tent", 30, do_by="1:10"),
    )
    assert starts(latest(tasks, 2, 0.0)) == {"wall": 0.0, "tent": at("0:40")}
    alone = latest(tasks, 1, 0.0)
    assert not alone.feasible
    assert check(alone, tasks, 1, 0.0) == ()


def test_work_rests_while_nobody_could_do_it_and_goes_on_with_the_next_shift():
    # 60 minutes by 8:30, people until 0:00 and from 8:00: half an hour on either side
    crew = (hand("Ines", ("18:00", "24:00")), hand("Tomas", ("32:00", "40:00")))
    tasks = (task("bar", 60, do_by="32:30", alone=True),)
    schedule = latest(tasks, crew, at("18:00"))
    assert check(schedule, tasks, crew, at("18:00")) == ()
    assert schedule.turns[0].legs == (
        Leg(("Ines",), at("23:30"), at("24:00")),
        Leg(("Tomas",), at("32:00"), at("32:30")),
    )
    assert schedule.turns[0].handed_over


def test_who_stays_may_hand_over_at_the_shift_change_to_be_free_for_what_only_they_can_do():
    # truss 0:30 to 1:30 with Tomas and one more, tower 1:00 to 1:30 with Suki: she leaves the
    # truss to Dario when he comes at 1:00, though she is there all the time
    crew = (
        hand("Suki", ("0:00", "3:00"), tickets=["platform"]),
        hand("Tomas", ("0:00", "3:00"), tickets=["rigger"]),
        hand("Dario", ("1:00", "3:00")),
    )
    tasks = (
        task("truss", 60, 2, "1:30", tickets=["rigger"]),
        task("tower", 30, 1, "1:30", tickets=["platform"]),
    )
    schedule = latest(tasks, crew, 0.0)
    assert check(schedule, tasks, crew, 0.0) == ()
    assert starts(schedule) == {"truss": at("0:30"), "tower": at("1:00")}
    assert [set(leg.who) for leg in turn(schedule, "truss").legs] == [
        {"Suki", "Tomas"},
        {"Tomas", "Dario"},
    ]


def test_nobody_is_the_only_one_on_site_unless_the_task_allows_it():
    # Tomas leaves at 2:00; a task for one by 3:00 ends at 2:00 while Ines still has company
    crew = (hand("Ines", ("0:00", "3:00")), hand("Tomas", ("0:00", "2:00")))
    assert latest([task("x", 30, do_by="3:00")], crew, 0.0).first_start_s == at("1:30")
    assert latest([task("x", 30, do_by="3:00", alone=True)], crew, 0.0).first_start_s == at("2:30")


def test_tickets_may_be_held_by_different_people_of_the_party():
    crew = (
        hand("Ines", ("0:00", "2:00"), tickets=["ladder"]),
        hand("Suki", ("0:00", "2:00"), tickets=["platform"]),
        hand("Dario", ("0:00", "2:00")),
    )
    both = latest([task("x", 30, 2, "2:00", tickets=["ladder", "platform"])], crew, 0.0)
    assert set(both.turns[0].who) == {"Ines", "Suki"}
    assert latest([task("x", 30, 1, "2:00", tickets=["ladder", "platform"])], crew, 0.0).late == (
        Late("x", math.inf),
    )


def test_who_is_called_out_works_from_when_they_are_there():
    # 30 minutes, there from 0:25: done at 0:55 at the soonest
    crew = (hand("Suki", ("0:25", "8:00")),)
    early = latest([task("x", 30, do_by="0:55", alone=True)], crew, 0.0)
    assert early.feasible
    assert early.first_start_s == at("0:25")
    late = latest([task("x", 30, do_by="0:50", alone=True)], crew, 0.0)
    assert late.late == (Late("x", at("0:05")),)
    assert late.first_start_s == at("0:25")


def test_what_cannot_all_be_done_saves_the_dearer_and_ends_the_other_soonest():
    # one party, both due at 0:30: the dearer first, the other 0:30 to 1:00, half an hour late.
    # A third due at 5:00 is not brought forward for it: 4:30.
    tasks = (
        task("cheap", 30, do_by="0:30", value=1.0),
        task("dear", 30, do_by="0:30", value=2.0),
        task("later", 30, do_by="5:00", value=1.0),
    )
    schedule = latest(tasks, 1, 0.0)
    assert schedule.exact
    assert schedule.late == (Late("cheap", at("0:30")),)
    assert starts(schedule) == {"dear": 0.0, "cheap": at("0:30"), "later": at("4:30")}


def test_nothing_starts_before_it_is_ready():
    waits = replace(task("x", 30, do_by="1:00"), ready_s=at("0:40"))
    schedule = latest([waits], 1, 0.0)
    assert schedule.late == (Late("x", at("0:10")),)
    assert schedule.first_start_s == at("0:40")


def test_evenings_days_apart_are_each_searched_to_the_end():
    # 24 tasks are too many for one search; six to an evening, each evening alone is not
    tasks = [
        task(f"{day} {n}", 20 + n, do_by=f"{24 * day + 22}:00", alone=True)
        for day in range(1, 5)
        for n in range(6)
    ]
    schedule = latest(tasks, 2, 0.0)
    assert schedule.exact
    assert check(schedule, tasks, 2, 0.0) == ()


def test_real_times_in_seconds_since_1970_lose_nothing_but_a_rounding():
    epoch = 1815609600.0  # 2027-07-15T00:00Z: 21,014 days of 86,400 s
    late = [replace(t, do_by_s=t.do_by_s + epoch) for t in EVENING]
    moved = [
        replace(t, blocked=tuple(Span(s.start_s + epoch, s.end_s + epoch, s.by) for s in t.blocked))
        for t in late
    ]
    crew = [
        replace(h, there=tuple((a + epoch, b + epoch) for a, b in h.there))
        for h in (INES, TOMAS, SUKI, DARIO)
    ]
    schedule = latest(moved, crew, at("18:50") + epoch)
    assert check(schedule, moved, crew, at("18:50") + epoch) == ()
    assert [t.start_s - epoch for t in schedule.turns] == pytest.approx(
        [at(clock) for clock in ("20:16", "21:04", "21:46", "22:23", "23:45")], abs=1e-3
    )


# ---------------------------------------------------------------- the check finds what is wrong

PAIR = (
    hand("Ines", ("0:00", "4:00"), tickets=["ladder"]),
    hand("Tomas", ("0:00", "4:00")),
    hand("Dario", ("3:00", "8:00")),
)
WORK = (
    task("wall", 60, 1, "3:00", tickets=["ladder"], shut=[("2:00", "2:30")]),
    task("tent", 60, 1, "3:00"),
)


def good():
    return latest(WORK, PAIR, 0.0)


def changed(key, **fields):
    """The good schedule with one turn in one leg of its own making."""
    schedule = good()
    old = turn(schedule, key)
    start, end = fields.get("start", old.start_s), fields.get("end", old.end_s)
    legs = fields.get("legs") or (Leg(fields.get("who", old.who), start, end),)
    new = replace(old, start_s=start, end_s=end, legs=legs)
    return replace(schedule, turns=tuple(new if t is old else t for t in schedule.turns))


def test_the_good_schedule_is_as_worked_by_hand():
    # wall: 30 min after 2:30, 30 before 2:00; tent: 2:00 to 3:00
    assert starts(good()) == {"wall": at("1:30"), "tent": at("2:00")}
    assert turn(good(), "wall").who == ("Ines",)
    assert check(good(), WORK, PAIR, 0.0) == ()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: changed("tent", who=("Ines",)), "at once"),
        (lambda: changed("wall", who=("Tomas",)), "without ['ladder']"),
        (lambda: changed("tent", who=("Dario",)), "not there"),
        (lambda: changed("tent", who=("Tomas", "Dario")), "wants 1"),
        (lambda: changed("wall", start=at("1:45")), "is worked for"),
        (lambda: changed("tent", start=at("2:10"), end=at("3:10")), "said to be late by 0.0"),
        (lambda: changed("tent", start=-600.0), "before it can"),
        (lambda: replace(good(), turns=good().turns[:1]), "asked"),
        (lambda: replace(good(), late=(Late("tent", 60.0),)), "said to be late by 60.0"),
        (
            lambda: changed(
                "tent",
                legs=(
                    Leg(("Tomas",), at("2:00"), at("2:15")),
                    Leg(("Ines",), at("2:15"), at("3:00")),
                ),
            ),
            "while nobody comes or goes",
        ),
        (
            lambda: changed(
                "tent",
                start=at("2:00"),
                end=at("4:15"),
                legs=(
                    Leg(("Tomas",), at("2:00"), at("2:45")),
                    Leg(("Tomas",), at("3:00"), at("3:15")),
                ),
            ),
            "left though there are people",
        ),
        (
            lambda: changed("tent", start=at("4:00"), end=at("5:00"), who=("Dario",)),
            "alone on site",
        ),
        (
            lambda: changed(
                "tent", end=at("3:30"), legs=(Leg(("Tomas",), at("2:00"), at("3:00")),)
            ),
            "not held from start to end",
        ),
    ],
)
def test_the_check_finds(wrong, says):
    assert any(says in fault for fault in check(wrong(), WORK, PAIR, 0.0))
