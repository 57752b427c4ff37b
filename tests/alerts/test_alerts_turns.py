"""Whose turn it is: waits worked out by hand, and what no order of events may break."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alerts.turns import (
    asking,
    next_due,
    next_turn,
    patience,
    settled_by,
    told_now,
)
from monitor.domain import Alert, Answered, Contact, Facts, Official

NOW = datetime(2027, 7, 16, 20, 0, tzinfo=UTC)
CREW = (
    Contact("crew chief", "email"),
    Contact("desk", "webhook"),
    Contact("deputy", "email", turn=2),
    Contact("production manager", "email", turn=4),
)


def minutes(n):
    return timedelta(minutes=n)


def order(stage="start", start_in=40.0, action="cover", kind="work"):
    return Alert(
        id="wash-1",
        kind=kind,
        stage=stage,
        action=action,
        position="wash",
        fixtures=("WASH",),
        count=6,
        people=1,
        minutes=11.0,
        isolate_at=None,
        start_by=None if start_in is None else NOW + minutes(start_in),
        do_by=None if start_in is None else NOW + minutes(start_in + 11),
        members=1,
        probability=None,
        at=NOW,
        reason="rain",
    )


def said(answer, at=NOW, **more):
    return Answered(at, "wash-1", answer, by="Ines", **more)


def test_a_start_is_told_to_those_planned_for_it_whatever_their_turn():
    planned = {"production manager"}
    first = told_now(order(), CREW, (), (), NOW, planned)
    assert first.contacts == ("crew chief", "desk", "production manager")
    # the rest in their turn
    assert next_turn(order(), CREW, [first], (), "no-answer", NOW).contacts == ("deputy",)
    assert told_now(order("notice", 120), CREW, (), (), NOW, planned).contacts == (
        "crew chief",
        "desk",
    )
    # who does not want it, or is not to be reached, is not called
    assert told_now(order(), CREW[:3], (), (), NOW, planned).contacts == ("crew chief", "desk")


# ---------------------------------------------------------------- how long


@pytest.mark.parametrize(
    ("start_in", "wait"),
    [
        # a tenth of what is left: of 60 minutes 6, of 40 minutes 4, of 100 minutes 10
        (60, 6),
        (40, 4),
        (100, 10),
        # a tenth of 30 minutes is 3; of less, less: then it is 3 all the same
        (30, 3),
        (29, 3),
        (5, 3),
        (0, 3),
        (-20, 3),
        (None, 3),
    ],
)
def test_an_answer_is_awaited_a_tenth_of_the_lead_and_three_minutes_at_least(start_in, wait):
    assert patience(order(start_in=start_in), NOW) == minutes(wait)
    assert patience(order("overdue", start_in=None), NOW) == minutes(3)


def test_what_asks_for_no_answer_has_no_next_turn():
    for stage in ("notice", "stop", "stood-down"):
        assert patience(order(stage), NOW) is None
    for kind in ("stop", "delivery"):
        assert patience(order(kind=kind), NOW) is None
    lost = order(kind="weather", action=None, start_in=None)
    assert patience(lost, NOW) == minutes(30)
    assert patience(replace(lost, stage="notice"), NOW) is None
    warned = replace(lost, facts=Facts(official=Official("weather office", "Thunder")))
    assert patience(warned, NOW) is None


# ---------------------------------------------------------------- who, one after another


def test_first_the_first_then_each_after_its_wait():
    alert = order()
    turns = [told_now(alert, CREW, (), (), NOW)]
    assert turns[0].contacts == ("crew chief", "desk")
    assert turns[0].until == NOW + minutes(4)
    assert next_due(CREW, turns, ()) == (NOW + minutes(4), "no-answer")
    turns.append(next_turn(alert, CREW, turns, (), "no-answer", NOW + minutes(4)))
    # 36 minutes are left: 3.6 of waiting
    assert (turns[1].contacts, turns[1].until) == (("deputy",), NOW + minutes(7.6))
    at, because = next_due(CREW, turns, ())
    turns.append(next_turn(alert, CREW, turns, (), because, at))
    assert turns[2].contacts == ("production manager",)
    assert next_due(CREW, turns, ()) is None
    assert {turn.began for turn in turns} == {NOW}


@pytest.mark.parametrize("answer", ["doing", "done", "not-needed"])
def test_an_answer_ends_the_waiting_for_everybody(answer):
    turns = [told_now(order(), CREW, (), (), NOW)]
    given = [said(answer, NOW + minutes(1))]
    assert next_due(CREW, turns, given) is None
    assert settled_by(turns, given) == given[0]


def test_cannot_goes_on_at_once_and_then_waits_for_the_next():
    alert = order()
    turns = [told_now(alert, CREW, (), (), NOW)]
    given = [said("cannot", NOW + minutes(1), because="act-on-stage")]
    assert next_due(CREW, turns, given) == (NOW + minutes(1), "cannot")
    turns.append(next_turn(alert, CREW, turns, given, "cannot", NOW + minutes(1)))
    # 39 minutes are left: 3.9 of waiting
    assert next_due(CREW, turns, given) == (NOW + minutes(4.9), "no-answer")
    given.append(said("doing", NOW + minutes(2)))
    assert next_due(CREW, turns, given) is None
    # who said that they do it finds that they cannot
    given.append(said("cannot", NOW + minutes(3)))
    assert next_due(CREW, turns, given) == (NOW + minutes(3), "cannot")


def test_nobody_has_it_goes_on_at_once_but_not_while_one_may_still_get_it():
    turns = [told_now(order(), CREW, (), (), NOW)]
    assert next_due(CREW, turns, (), {"crew chief"}) == (NOW + minutes(4), "no-answer")
    assert next_due(CREW, turns, (), {"crew chief", "desk"}) == (NOW, "not-delivered")


def test_an_answer_of_before_the_order_answers_nothing():
    given = [said("doing", NOW - minutes(60))]
    notice = told_now(order("notice", 120), CREW, (), (), NOW - minutes(90))
    turns = [notice, told_now(order(), CREW, [notice], given, NOW)]
    assert next_due(CREW, turns, given) == (NOW + minutes(4), "no-answer")


def test_a_doing_is_no_done_overdue_begins_anew_with_those_who_were_told():
    alert, late = order(), order("overdue", -11)
    turns = [told_now(alert, CREW, (), (), NOW)]
    turns.append(next_turn(alert, CREW, turns, (), "no-answer", NOW + minutes(4)))
    given = [said("doing", NOW + minutes(5))]
    at = NOW + minutes(51)
    turns.append(told_now(late, CREW, turns, given, at))
    assert turns[-1].contacts == ("crew chief", "desk", "deputy")
    assert next_due(CREW, turns, given) == (at + minutes(3), "no-answer")
    assert next_turn(late, CREW, turns, given, "no-answer", at).contacts == ("production manager",)


def test_the_same_order_with_another_time_does_not_wait_anew():
    alert = order()
    turns = [told_now(alert, CREW, (), (), NOW)]
    turns.append(told_now(order(start_in=90), CREW, turns, (), NOW + minutes(3)))
    assert next_due(CREW, turns, ()) == (NOW + minutes(4), "no-answer")
    given = [said("doing", NOW + minutes(1))]
    assert next_due(CREW, turns, given) is None


def test_another_action_is_another_order():
    turns = [told_now(order(), CREW, (), (), NOW)]
    given = [said("doing", NOW + minutes(1))]
    turns.append(told_now(order(action="bring-in"), CREW, turns, given, NOW + minutes(20)))
    # 20 minutes are left
    assert next_due(CREW, turns, given) == (NOW + minutes(23), "no-answer")


def test_an_order_changed_by_a_cannot_goes_to_the_next_turn_too():
    turns = [told_now(order(), CREW, (), (), NOW)]
    given = [said("cannot", NOW + minutes(1), because="no-cover")]
    turn = told_now(order(action="bring-in"), CREW, turns, given, NOW + minutes(1))
    assert turn.contacts == ("crew chief", "desk", "deputy")
    assert turn.because == "cannot"
    # and not to the one after it too
    assert next_due(CREW, [*turns, turn], given) == (NOW + minutes(4.9), "no-answer")


def test_a_cannot_goes_on_though_what_is_left_is_only_announced():
    turns = [told_now(order(), CREW, (), (), NOW)]
    given = [said("cannot", NOW + minutes(1))]
    left = order("notice", None, action="isolate")
    turns.append(told_now(left, CREW, turns, given, NOW + minutes(1)))
    assert turns[1].contacts == ("crew chief", "desk", "deputy")
    assert next_due(CREW, turns, given) == (NOW + minutes(4), "no-answer")
    # told again with another time, it waits on
    turns.append(told_now(left, CREW, turns, given, NOW + minutes(2)))
    assert next_due(CREW, turns, given) == (NOW + minutes(4), "no-answer")


def test_a_cannot_to_a_notice_goes_to_the_next_at_once():
    turns = [told_now(order("notice", 300), CREW, (), (), NOW)]
    assert next_due(CREW, turns, ()) is None
    given = [said("cannot", NOW + minutes(1))]
    assert next_due(CREW, turns, given) == (NOW + minutes(1), "cannot")
    turn = next_turn(order("notice", 300), CREW, turns, given, "cannot", NOW + minutes(1))
    assert turn.contacts == ("deputy",)


def test_a_stop_goes_to_all_and_its_end_to_all_who_had_it():
    turns = [told_now(order(), CREW, (), (), NOW)]
    everybody = tuple(contact.name for contact in CREW)
    turns.append(told_now(order("stop", None, None, "stop"), CREW, turns, (), NOW + minutes(5)))
    assert turns[-1].contacts == everybody
    assert next_due(CREW, turns, ()) is None
    assert told_now(order("stood-down"), CREW, turns, (), NOW).contacts == everybody


def test_who_was_not_told_hears_nothing_of_its_end():
    turns = [told_now(order("notice"), CREW, (), (), NOW)]
    over = told_now(order("stood-down"), CREW, turns, (), NOW)
    assert over.contacts == ("crew chief", "desk")


def test_the_first_turn_is_the_lowest_there_is_for_this_stage():
    assert told_now(order(), CREW[2:], (), (), NOW).contacts == ("deputy",)
    assert told_now(order(), (), (), (), NOW).contacts == ()
    assert next_due((), [told_now(order(), (), (), (), NOW)], ()) is None


def test_who_joins_the_show_meanwhile_is_told_in_turn():
    turns = [told_now(order(), CREW, (), (), NOW)]
    newcomer = (*CREW, Contact("second chief", "email"))
    assert next_turn(order(), newcomer, turns, (), "no-answer", NOW).contacts == ("second chief",)


# ---------------------------------------------------------------- a word that had to wait


def test_a_word_held_back_is_waited_for_from_when_it_is_heard():
    turns = [told_now(order(), CREW, (), (), NOW)]
    # heard 8 minutes later: 4 minutes from then
    assert next_due(CREW, turns, (), (), NOW + minutes(8)) == (NOW + minutes(12), "no-answer")
    # sent within the minute, as always: from when it was told
    heard = NOW + timedelta(seconds=5)
    assert next_due(CREW, turns, (), (), heard) == (NOW + minutes(4), "no-answer")
    # hours later, as one held through the night: nobody waits for that
    assert next_due(CREW, turns, (), (), NOW + minutes(90)) == (NOW + minutes(4), "no-answer")


# ---------------------------------------------------------------- in any order


CONTACTS = st.lists(st.integers(1, 4), max_size=6).map(
    lambda turns: tuple(Contact(f"c{i}", "email", turn=t) for i, t in enumerate(turns))
)
EVENTS = st.lists(
    st.tuples(
        st.sampled_from(["pass", "doing", "cannot", "done", "retold", "overdue", "stop"]),
        st.integers(0, 20),
    ),
    max_size=12,
)


@given(CONTACTS, EVENTS)
def test_whatever_happens_nobody_is_told_twice_of_an_order_and_nobody_is_left_out(contacts, events):
    now, alert = NOW, order()
    turns, given = [told_now(alert, contacts, (), (), now)], []
    for event, later in events:
        now += minutes(later)
        if event in ("doing", "cannot", "done"):
            given.append(said(event, now))
        elif event != "pass":
            stage = {"retold": alert.stage}.get(event, event)
            kind = "stop" if stage == "stop" else "work"
            alert = replace(order(stage, 40, kind=kind), at=now)
            turns.append(told_now(alert, contacts, turns, given, now))
        while (due := next_due(contacts, turns, given)) is not None and due[0] <= now:
            turns.append(next_turn(alert, contacts, turns, given, due[1], now))
    by_next = [t for t in asking(turns) if t.because in ("no-answer", "not-delivered")]
    names = [name for turn in by_next for name in turn.contacts]
    assert len(names) == len(set(names))
    told = {name for turn in asking(turns) for name in turn.contacts}
    rank = {contact.name: contact.turn for contact in contacts}
    if asking(turns) and next_due(contacts, turns, given) is None:
        # somebody sees to it, or everybody has been told
        assert settled_by(turns, given) is not None or told == set(rank)
    # a later turn is never told before an earlier one
    if told and asking(turns):
        left = [rank[name] for name in rank if name not in told]
        first = [rank[name] for name in asking(turns)[-1].contacts]
        assert not left or not first or turns[-1].because == "told" or max(first) <= min(left)
