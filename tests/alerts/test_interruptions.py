from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from alert_samples import MAILBOX, NOW, STOP, TOWERS, hours, note
from test_alerts_watch import SHOW

from monitor.alerts import wording
from monitor.alerts.clock import SiteClock
from monitor.alerts.interruptions import (
    Buzz,
    goes_at_once,
    joined,
    listeners,
    opens_at,
    radio_with,
    told_late,
    urgency,
)
from monitor.domain import Contact, Crew, Person

MINUTE = timedelta(minutes=1)
GAP = 10 * MINUTE
CLOCK = SiteClock(SHOW.site.timezone, NOW)
NAMES = {"delay": "Delay towers A+B", "ladder": "Ladder side left"}


def told(**changes):
    return wording.message(replace(TOWERS, **changes), NOW)


def got(minutes_ago, thread="alert-9", queued=NOW - timedelta(hours=1), stage="start"):
    at = None if minutes_ago is None else NOW - minutes_ago * MINUTE
    return Buzz(thread, stage, queued, at)


# ---------------------------------------------------------------- when


def test_one_in_ten_minutes():
    message = told(start_by=hours(3))
    assert opens_at(message, NOW, [], GAP, NOW) is None
    assert opens_at(message, NOW, [got(10)], GAP, NOW) is None
    assert opens_at(message, NOW, [got(9)], GAP, NOW) == NOW + MINUTE
    # the latest counts
    assert opens_at(message, NOW, [got(9), got(2)], GAP, NOW) == NOW + 8 * MINUTE


@pytest.mark.parametrize(
    "changes",
    [
        {"kind": "stop", "stage": "stop"},
        {"stage": "stop"},
        {"stage": "overdue"},
        {"stage": "start", "action": "isolate"},
    ],
)
def test_what_is_never_held(changes):
    message = told(start_by=hours(3), **changes)
    assert goes_at_once(message)
    assert opens_at(message, NOW, [got(1)], GAP, NOW) is None


@pytest.mark.parametrize("stage", ["notice", "stood-down"])
def test_an_order_to_isolate_later_or_no_more_can_wait(stage):
    assert not goes_at_once(told(stage=stage, action="isolate", start_by=hours(3)))


def test_power_to_be_cut_within_the_hour_is_told_at_once():
    cut = {"stage": "notice", "action": "isolate", "start_by": None}
    assert goes_at_once(told(**cut, do_by=hours(1)))
    assert not goes_at_once(told(**cut, do_by=hours(1) + MINUTE))
    assert not goes_at_once(told(**cut, do_by=None))
    assert not goes_at_once(told(**{**cut, "action": "cover"}, do_by=hours(1)))


@pytest.mark.parametrize("stage", ["notice", "start", "stood-down"])
def test_what_others_did_not_act_on_is_never_held(stage):
    message = told(stage=stage, start_by=hours(3))
    assert opens_at(message, NOW, [got(1)], GAP, NOW) is not None
    called = replace(message, data={**message.data, "turn_because": "cannot"})
    assert goes_at_once(called)
    assert opens_at(called, NOW, [got(1)], GAP, NOW) is None


def test_what_waited_tells_its_times_without_a_countdown():
    message = told(start_by=hours(0.5), do_by=hours(1))
    assert "Start by 22:30 (in 30 min). Done by 23:00 (in 60 min)." in message.text
    assert told_late(message, NOW + 2 * MINUTE) == message
    late = told_late(message, NOW + 3 * MINUTE)
    assert "Start by 22:30. Done by 23:00." in late.text
    assert "Start by 22:30. Done by 23:00." in late.data["says"]
    assert " min)" not in late.text.partition("\nRadio:")[0]
    assert "Written 22:00 site time" in late.text


def test_the_line_of_another_has_the_end_its_own_mail_has():
    facts = replace(TOWERS.facts, access_closes_at=hours(0.75))
    other = told(position="ladder", start_by=hours(0.5), do_by=hours(1), facts=facts)
    # 22:45 by the wind, 23:00 by the water
    assert "Done by 22:45" in other.text
    text = joined(told(), [other], NAMES, CLOCK).text
    assert "- Ladder side left: start by 22:30, down and done by 22:45" in text
    assert "23:00" not in text.partition("Then\n")[2].partition("\n\n")[0]


def test_a_start_waits_no_longer_than_five_minutes_before_its_time():
    # told 1 minute ago, so the ten minutes end in 9; start by in 12, 13 and 14 minutes
    for lead, expected in ((12, 7), (13, 8), (14, 9), (15, 9)):
        message = told(start_by=NOW + lead * MINUTE)
        assert opens_at(message, NOW, [got(1)], GAP, NOW) == NOW + expected * MINUTE
    assert opens_at(told(start_by=NOW + 5 * MINUTE), NOW, [got(1)], GAP, NOW) is None
    assert opens_at(told(start_by=NOW - MINUTE), NOW, [got(1)], GAP, NOW) is None
    # what is no longer needed has no time to keep
    over = told(start_by=NOW + 5 * MINUTE, stage="stood-down")
    assert opens_at(over, NOW, [got(1)], GAP, NOW) == NOW + 9 * MINUTE


def test_the_same_word_by_another_contact_is_no_further_buzz():
    message = told(start_by=hours(3))
    same = got(1, message.thread, NOW, message.stage)
    assert opens_at(message, NOW, [same], GAP, NOW) is None
    # an earlier word on the same alert is one
    assert opens_at(message, NOW, [got(1, message.thread)], GAP, NOW) == NOW + 9 * MINUTE
    # another change of the same alert in the same moment is another word
    other = got(1, message.thread, NOW, "overdue")
    assert opens_at(message, NOW, [other], GAP, NOW) == NOW + 9 * MINUTE


def test_what_is_under_way_is_waited_for_and_not_for_ten_minutes():
    held = opens_at(told(start_by=hours(3)), NOW, [got(None)], GAP, NOW)
    assert NOW < held < NOW + MINUTE


def test_sheets_and_contacts_without_a_gap_buzz_when_they_come():
    for kind in ("watch", "test"):
        assert opens_at(note(kind=kind, stage=None), NOW, [got(1)], GAP, NOW) is None
    assert opens_at(told(start_by=hours(3)), NOW, [got(1)], timedelta(0), NOW) is None


def test_the_most_urgent_first():
    soon, later = told(start_by=hours(1)), told(start_by=hours(2))
    ahead = told(start_by=hours(2), stage="notice")
    lost = note(kind="weather", stage="start")
    over = told(start_by=hours(0.5), stage="stood-down")
    assert sorted([over, lost, ahead, later, soon], key=urgency) == [soon, later, ahead, lost, over]


# ---------------------------------------------------------------- who


def of(*contacts, people=()):
    return listeners(replace(SHOW, contacts=contacts, crew=Crew(people=people)))


def test_a_mailbox_is_one_person_wherever_it_stands():
    crew = replace(MAILBOX, to=("ines@crew.example", "suki@crew.example"))
    chief = replace(MAILBOX, name="chief", to=("Ines@crew.example",))
    who = of(crew, chief)
    assert who["crew", "ines@crew.example"].id == who["chief", "Ines@crew.example"].id
    assert who["crew", "suki@crew.example"].id != who["crew", "ines@crew.example"].id


def test_contacts_of_one_person_are_one():
    phone = Contact(name="suki-phone", kind="apprise", to=("env:SUKI", "env:SUKI_CHAT"))
    crew = replace(MAILBOX, to=("suki@crew.example",))
    desk = Contact(name="desk", kind="webhook", url="https://x.example/")
    suki = Person("Suki", contact="suki-phone")
    who = of(phone, crew, desk, people=(suki,))
    assert who["suki-phone", "env:SUKI"].id == who["suki-phone", "env:SUKI_CHAT"].id
    assert who["suki-phone", "env:SUKI"].people == (suki,)
    assert who["crew", "suki@crew.example"].people == ()
    # a receiver that is nobody's is a machine
    assert ("desk", "desk") not in who
    own = replace(suki, contact="desk")
    assert of(desk, people=(own,))["desk", "desk"].people == (own,)


def test_a_contact_that_several_share_makes_no_one_of_them():
    crew = replace(MAILBOX, to=("a@crew.example", "b@crew.example"))
    people = (Person("A", contact="crew"), Person("B", contact="crew"))
    who = of(crew, people=people)
    assert who["crew", "a@crew.example"].id != who["crew", "b@crew.example"].id
    assert who["crew", "a@crew.example"].people == people


def test_a_folder_is_nobody():
    assert of(Contact(name="messages", kind="folder", path="x")) == {}


# ---------------------------------------------------------------- told together


LADDER = replace(TOWERS, id="18", position="ladder", start_by=hours(1), do_by=hours(2), people=1)


def test_the_others_stand_under_the_first_by_place_and_time():
    first, other = told(), wording.message(LADDER, NOW)
    over = wording.message(replace(LADDER, id="19", stage="stood-down"), NOW)
    lost = note(kind="weather", stage="start", subject="Weather lost. No usable forecast")
    said = joined(first, [other, over, lost], NAMES, CLOCK)
    # 21:00 UTC is 22:00 on the site's clock: an hour on is 23:00, two are midnight
    under = (
        "\n\nThen\n"
        "- Ladder side left: start by 23:00, done by Fri 00:00 (alert 18), 1 person\n"
        "- Ladder side left: no longer needed (alert 19)\n"
        "- Weather lost. No usable forecast\n\n"
        "Radio: "
    )
    assert under in said.text
    assert said.text.startswith(first.text.partition("\n\nRadio: ")[0])
    assert said.text.count("Cautions\n") == 1
    assert said.data["id"] == "17"
    assert [one.get("id") for one in said.data["then"]] == ["18", "19", "17"]
    assert said.data["says"] == said.text
    assert said.subject == first.subject


def test_the_radio_line_takes_what_has_room():
    first, other = told(), wording.message(LADDER, NOW)
    short = replace(first, radio="COVER 8 at Delay towers A+B. Start by 22:40, done by 23:30.")
    line, count = radio_with(short, [other, other, other], NAMES, CLOCK)
    added = " Then Ladder side left: start by 23:00, done by Fri 00:00."
    # 59 + 58 = 117 characters with one of them, and 175 with two
    assert (len(short.radio), len(added)) == (59, 58)
    assert (line, count) == (short.radio + added, 1)
    assert (
        f"Radio: {line}\n"
        in joined(
            replace(short, text=short.text.replace(first.radio, short.radio)), [other], NAMES, CLOCK
        ).text
    )


def test_one_alone_is_left_as_it_is():
    message = wording.message(STOP, NOW)
    assert joined(message, [], NAMES, CLOCK) is message


def test_an_address_for_the_answer_goes_along():
    other = wording.message(LADDER, NOW, [("Answer here", "https://x.example/answer/1-abc")])
    said = joined(told(), [other], NAMES, CLOCK)
    assert "1 person. Answer it here: https://x.example/answer/1-abc\n" in said.text
