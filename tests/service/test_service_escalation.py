"""An order that nobody answers: who is told what, when, to the minute; and after a kill."""

from __future__ import annotations

import email
import os
import re
import signal
import subprocess
import sys
import threading
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email import policy

import pytest
from service_site import (
    ENVIRON,
    desk_receiver,
    free_port,
    hook_to,
    mail_server,
    mail_to,
    start_service,
    wait_for,
)
from service_stage import RECORD_FEED, START, record

from monitor.domain import Alert, Facts
from monitor.service import Pace, serve
from monitor.service import cycle as cycle_module
from monitor.service.answering import AnswerSaid, keep_answer
from monitor.service.escalation import standing
from monitor.service.telling import tell
from monitor.store.answers import answers, turns
from monitor.store.chain import verify
from monitor.store.database import immediate
from monitor.store.history import alert_changes
from monitor.store.outbox import deliveries

TEN = {
    1: ("anna", "ben", "carla", "radio desk"),
    2: ("emil", "fay", "stage manager"),
    3: ("gus", "hana", "site office"),
}
"""Three by mail and one by web in the first turn, two and one in each of the others."""
RAIN = {3: 8.0}
"""8 mm in the hour from 14:00 UTC on: an IP20 lamp on the lawn has next to nothing to spare."""


def minutes(n):
    return timedelta(minutes=n)


def contacts_of(port, urls):
    """The ten as `[[contacts]]`."""
    said = []
    for turn, name, crowd in ((1, "crew", 3), (2, "deputies", 2), (3, "production", 2)):
        people = [f"{who}@example.org" for who in TEN[turn][:crowd]]
        said += [mail_to(port, *people, name=name), f"turn = {turn}\n"]
        said += [hook_to(urls[turn], name=TEN[turn][-1]), f"turn = {turn}\n"]
    return "".join(said)


@dataclass
class Evening:
    """A show with ten people and real servers; the clock goes by the minute."""

    made: object
    mailbox: object
    desks: dict
    heard: list
    mails: int = 0
    hooks: dict = None

    def minute(self):
        """One evaluation, everything delivered; what arrived is noted with the minute."""
        self.made.run()
        self.made.deliver()
        now = self.made.now
        for envelope in self.mailbox.mails[self.mails :]:
            mail = email.message_from_bytes(envelope.content, policy=policy.default)
            who = envelope.rcpt_tos[0].partition("@")[0]
            self.heard.append((now, who, mail["Subject"], mail.get_body(("plain",)).get_content()))
        self.mails = len(self.mailbox.mails)
        for who, desk in self.desks.items():
            for _, body in desk.got[self.hooks[who] :]:
                alert = body["data"]
                self.heard.append((now, who, alert.get("stage"), alert["says"]))
            self.hooks[who] = len(desk.got)
        self.made.later(minutes=1)

    def until(self, moment, on_minute=lambda: None):
        while self.made.now <= moment:
            on_minute()
            self.minute()

    def until_told(self):
        """Until the start is called; when that was, and the alert."""
        while not any(c.alert.stage == "start" for c in alert_changes(self.made.db)):
            self.minute()
        return self.order()

    def who_heard(self, moment):
        return sorted(who for at, who, _, _ in self.heard if at == moment)

    def order(self):
        """The first word that asks to start: when, and the alert."""
        change = next(c for c in alert_changes(self.made.db) if c.alert.stage == "start")
        return change.at, change.alert

    def answer(self, kind, **more):
        made = self.made
        alert = self.order()[1]
        show = made.watch.current.show
        tapped_at = more.pop("tapped_at", None)
        said = AnswerSaid(alert.id, kind, **more)
        keep_answer(made.db, said, show, made.now, str, tapped_at=tapped_at)


@pytest.fixture
def evening(stage):
    with ExitStack() as stack:
        mailbox, port = stack.enter_context(mail_server())
        desks = {TEN[turn][-1]: stack.enter_context(desk_receiver(verifies=False)) for turn in TEN}
        urls = {turn: desks[TEN[turn][-1]].url for turn in TEN}
        made = stage(
            feeds=RECORD_FEED,
            contacts=contacts_of(port, urls),
            files={"weather.csv": record(RAIN)},
        )
        made.poll()
        made.run()
        made.deliver()
        found = Evening(made, mailbox, desks, [], len(mailbox.mails))
        found.hooks = {who: len(desk.got) for who, desk in desks.items()}
        made.now = START.replace(hour=12, minute=50)
        yield found


def everybody(*turns_told):
    return sorted(who for turn in turns_told for who in TEN[turn])


def test_ten_people_told_in_turn_to_the_minute(evening):
    evening.until(START.replace(hour=14, minute=30))
    told_at, alert = evening.order()
    # The start is called when 60 minutes are left (start_margin_minutes), at a whole minute.
    assert minutes(59) < alert.start_by - told_at <= minutes(60)
    # A tenth of 59 to 60 minutes is 5.9 to 6: the next are told at the sixth minute. Then
    # 53 to 54 are left, a tenth is 5.3 to 5.4: at the sixth minute after that.
    assert evening.who_heard(told_at) == everybody(1)
    assert evening.who_heard(told_at + minutes(6)) == everybody(2)
    assert evening.who_heard(told_at + minutes(12)) == everybody(3)
    # What is due and not logged done begins with the first again, and all who were told.
    overdue = next(c for c in alert_changes(evening.made.db) if c.alert.stage == "overdue")
    assert overdue.at - alert.do_by < minutes(1)
    assert evening.who_heard(overdue.at) == everybody(1, 2, 3)
    known = {told_at, told_at + minutes(6), told_at + minutes(12), overdue.at}
    assert {at for at, *_ in evening.heard} == known
    assert len(evening.heard) == 4 + 3 + 3 + 10
    assert verify(evening.made.db).ok


def test_who_is_told_next_reads_who_was_told_and_did_not_answer(evening):
    evening.until(START.replace(hour=13, minute=30))
    told_at, alert = evening.order()
    said = {who: text for _, who, _, text in evening.heard}
    at = {n: (told_at + minutes(n) + timedelta(hours=1)).strftime("%H:%M") for n in (0, 6)}
    assert "Told before" not in said["anna"]
    first = f"Told before, and nobody has answered: crew, radio desk at {at[0]}"
    assert f"{first}." in said["fay"]
    assert f"{first}; deputies, stage manager at {at[6]}." in said["hana"]
    assert f"{first}." in said["stage manager"]
    # the same order, with the same cautions
    assert f"Alert {alert.id}." in said["hana"]
    assert "Cautions" in said["hana"]


def test_doing_stops_it_until_it_is_overdue(evening):
    told_at, alert = evening.until_told()
    evening.answer("doing", by="carla")
    evening.until(alert.do_by + minutes(8))
    overdue = next(c for c in alert_changes(evening.made.db) if c.alert.stage == "overdue")
    # an acknowledgement is not a done: from the first again, 3 minutes for each turn
    assert evening.who_heard(overdue.at) == everybody(1)
    assert evening.who_heard(overdue.at + minutes(3)) == everybody(2)
    assert evening.who_heard(overdue.at + minutes(6)) == everybody(3)
    assert {at for at, *_ in evening.heard} == {
        told_at,
        *(overdue.at + minutes(n) for n in (0, 3, 6)),
    }


def test_cannot_goes_to_the_next_at_once(evening):
    told_at, _ = evening.until_told()
    evening.answer("cannot", because="act-on-stage", by="anna")
    answered_at = evening.made.now
    evening.until(answered_at + minutes(3))
    # planned anew, that is told to the first too; the next have it in the same minute
    assert told_at < answered_at
    assert evening.who_heard(answered_at) == everybody(1, 2)
    said = {who: text for at, who, _, text in evening.heard if at == answered_at}
    assert "act on stage" in said["emil"]
    # what is left to do has no start to wait for: 3 minutes
    assert evening.who_heard(answered_at + minutes(3)) == everybody(3)
    assert [t.because for t in turns(evening.made.db)][-2:] == ["cannot", "no-answer"]


def test_a_doing_that_waited_for_a_signal_does_not_pass_on_a_cannot_once_more(evening):
    """The deputies are told of the cannot; a doing of before it must not call production too."""
    first, _ = evening.until_told()
    evening.until(first + minutes(1))
    evening.answer("cannot", because="no-lift", by="ben")
    evening.minute()
    # planned anew, that is told to the first too
    assert evening.who_heard(first + minutes(2)) == everybody(1, 2)
    evening.answer("doing", by="anna", tapped_at=first + minutes(1))
    evening.minute()
    assert evening.who_heard(first + minutes(3)) == []
    (stands,) = standing(evening.made.db, evening.made.watch.current.show, evening.made.now)
    assert (stands.answers[-1].by, stands.is_waiting) == ("ben", True)


@pytest.mark.parametrize("late", ["cannot", "doing"])
def test_what_was_said_to_an_earlier_order_is_no_answer_to_this_one_for_coming_late(evening, late):
    """ben does it, then it is overdue and asked anew; a word of before that is back in signal."""
    first, _ = evening.until_told()
    evening.until(first + minutes(2))
    if late == "cannot":
        evening.answer("doing", by="ben")
    orders = []
    while not any(c.alert.stage == "overdue" for c in orders):
        evening.minute()
        orders = alert_changes(evening.made.db)
        assert evening.made.now < first + minutes(300)
    evening.answer(late, by="anna", tapped_at=first + minutes(1))
    (stands,) = standing(evening.made.db, evening.made.watch.current.show, evening.made.now)
    assert stands.is_waiting


def test_done_and_the_log_end_it(evening):
    evening.until_told()
    evening.answer("done", by="anna")
    evening.until(START.replace(hour=14, minute=30))
    assert {who for _, who, *_ in evening.heard} <= set(TEN[1])


def test_an_answer_while_it_is_thought_about_is_not_overlooked(evening, monkeypatch):
    told_at, _ = evening.until_told()
    evening.made.now = told_at + minutes(6)
    real, thinking = cycle_module.evaluate, []

    def slow(*args, **kinds):
        found = real(*args, **kinds)
        if not thinking:
            thinking.append(found)
            evening.answer("doing", by="ben")
        return found

    monkeypatch.setattr(cycle_module, "evaluate", slow)
    evening.minute()
    assert thinking
    assert evening.who_heard(told_at + minutes(6)) == []


def test_the_next_moment_is_known_to_the_service(evening):
    told_at, alert = evening.until_told()
    wait = (alert.start_by - told_at) / 10
    assert evening.made.cycle.next_turn_at == told_at + wait
    (stands,) = standing(evening.made.db, evening.made.watch.current.show, evening.made.now)
    assert (stands.is_waiting, stands.next_at) == (True, told_at + wait)
    evening.answer("not-needed")
    evening.minute()
    assert evening.made.cycle.next_turn_at is None


def test_it_goes_on_where_evaluating_fails(evening):
    told_at, alert = evening.until_told()
    made = evening.made
    wait = (alert.start_by - told_at) / 10
    made.now = told_at + wait - timedelta(seconds=1)
    assert made.cycle.call_on(made.db, made.now) == []
    made.now = told_at + wait
    assert len(made.cycle.call_on(made.db, made.now)) == 1
    # told once, and the third turn is due a tenth of what is left after that
    assert made.cycle.call_on(made.db, made.now) == []
    left = alert.start_by - made.now
    assert made.cycle.next_turn_at == made.now + left / 10
    made.deliver()
    fresh = evening.mailbox.mails[evening.mails :]
    assert sorted(mail.rcpt_tos[0].partition("@")[0] for mail in fresh) == ["emil", "fay"]


# ---------------------------------------------------------------- other words


def raise_it(made, **more):
    usual = {
        "id": "x-1",
        "kind": "work",
        "stage": "start",
        "action": "cover",
        "position": "wash",
        "fixtures": ("WASH",),
        "count": 6,
        "people": 1,
        "minutes": 11.0,
        "isolate_at": None,
        "start_by": made.now + minutes(50),
        "do_by": made.now + minutes(61),
        "members": 1,
        "probability": None,
        "at": made.now,
        "reason": "rain",
        "facts": Facts("Lower meadow", "Europe/London", "Lawn wash"),
    }
    alert = Alert(**{**usual, **more})
    with immediate(made.db):
        tell(made.db, made.watch.current.show, alert, "rain", made.now)
    return alert


NOWHERE = dict.fromkeys(TEN, "http://127.0.0.1:9/hook")


def whom(made, since):
    return sorted(
        {d.row.contact for d in deliveries(made.db, since=since) if d.row.message.kind != "watch"}
    )


def test_a_stop_goes_to_everybody_and_a_notice_to_the_first(stage):
    made = stage(contacts=contacts_of(25, NOWHERE))
    raise_it(made, stage="notice")
    assert whom(made, made.now) == ["crew", "radio desk"]
    made.later(minutes=1)
    raise_it(made, kind="stop", stage="stop", action=None, start_by=None, do_by=None)
    assert len(whom(made, made.now)) == 6
    made.later(minutes=1)
    raise_it(made, stage="stood-down")
    assert len(whom(made, made.now)) == 6


def test_lost_weather_goes_on_after_half_an_hour(stage):
    # a show with no feed has lost its weather from the first moment
    made = stage(contacts=contacts_of(25, NOWHERE))
    first = made.now
    told = {}
    for n in range(65):
        made.now = first + minutes(n)
        made.run()
        fresh = [name for name in whom(made, made.now) if name not in told]
        told |= dict.fromkeys(fresh, n)
    assert told == {
        "crew": 0,
        "radio desk": 0,
        "deputies": 30,
        "stage manager": 30,
        "production": 60,
        "site office": 60,
    }


def test_what_reaches_nobody_goes_on_at_once(stage):
    with ExitStack() as stack:
        mailbox, port = stack.enter_context(mail_server())
        gone = stack.enter_context(desk_receiver(verifies=False))
        gone.status = 410
        made = stage(
            feeds=RECORD_FEED,
            files={"weather.csv": record({})},
            contacts=hook_to(gone.url, "chief")
            + mail_to(port, "emil@example.org", name="deputy")
            + "turn = 2\n",
        )
        made.poll()
        raise_it(made)
        made.deliver()
        assert mailbox.mails == [] or all(b"x-1" not in m.content for m in mailbox.mails)
        made.later(seconds=5)
        with immediate(made.db):
            (said,), _ = cycle_module.call_next(made.db, made.watch.current.show, made.now)
        assert "did not reach" in said.text
        assert turns(made.db, "x-1")[-1].because == "not-delivered"
        assert turns(made.db, "x-1")[-1].contacts == ("deputy",)


def test_of_a_folder_alone_nobody_is_asked_and_nothing_breaks(stage):
    made = stage()
    raise_it(made)
    made.deliver()
    made.later(minutes=30)
    with immediate(made.db):
        assert cycle_module.call_next(made.db, made.watch.current.show, made.now) == ((), None)


# ---------------------------------------------------------------- quiet hours and last buzzes


def test_a_word_held_for_the_last_buzz_is_waited_for_from_then(stage):
    with mail_server() as (_, port):
        two = mail_to(port, "anna@example.org", name="chief", more="gap_minutes = 10")
        two += mail_to(port, "emil@example.org", name="deputy") + "turn = 2\n"
        made = stage(contacts=two)
        raise_it(made, id="y-1", stage="notice")
        made.deliver()
        made.later(minutes=2)
        told_at = made.now
        raise_it(made, id="x-1")
        made.deliver()
        (stands,) = (
            s for s in standing(made.db, made.watch.current.show, made.now) if s.alert.id == "x-1"
        )
        # held until ten minutes after the notice, then a tenth of the 50 minutes of before
        assert stands.next_at == told_at - minutes(2) + minutes(10) + minutes(5)
        made.now = told_at + minutes(8)
        made.deliver()
        (stands,) = (
            s for s in standing(made.db, made.watch.current.show, made.now) if s.alert.id == "x-1"
        )
        assert stands.next_at == told_at + minutes(13)


def test_whose_turn_it_is_is_woken(stage):
    quiet = 'quiet_hours = "00:00-23:59"'
    with mail_server() as (mailbox, port):
        made = stage(
            contacts=mail_to(port, "anna@example.org", name="chief")
            + mail_to(port, "emil@example.org", name="deputy")
            + "turn = 2\n"
            + '[[people]]\nname = "Emil"\ncontact = "deputy"\nshifts = ["02:00-03:00"]\n'
            + '[[people]]\nname = "Anna"\ncontact = "chief"\n'
        )
        show = made.folder / "show.toml"
        text = show.read_text()
        show.write_text(re.sub(r"(load_in_at = .*)", rf"\1\n{quiet}", text))
        made.watch.look()
        assert made.watch.look()
        assert made.watch.current.show.event.quiet_hours is not None
        raise_it(made)
        made.deliver()
        assert [m.rcpt_tos for m in mailbox.mails] == [["anna@example.org"]]
        made.later(minutes=5)
        with immediate(made.db):
            cycle_module.call_next(made.db, made.watch.current.show, made.now)
        made.deliver()
        assert [m.rcpt_tos for m in mailbox.mails] == [["anna@example.org"], ["emil@example.org"]]


# ---------------------------------------------------------------- as it runs


def test_it_is_told_when_the_wait_runs_out_not_at_the_next_minute(stage):
    """The service looks at the moment itself, though nothing came in and no minute is over."""
    with mail_server() as (mailbox, port):
        two = mail_to(port, "anna@example.org", name="chief")
        two += mail_to(port, "emil@example.org", name="deputy") + "turn = 2\n"
        first = datetime.now(UTC).replace(second=0, microsecond=0) - minutes(8)
        made = stage(
            feeds=RECORD_FEED,
            contacts=two,
            files={"weather.csv": steps_of(first + minutes(60), first)},
            load_in=first - timedelta(hours=3),
        )
        made.poll()
        made.now = first
        made.run()
        (order,) = (c.alert for c in alert_changes(made.db) if c.alert.stage == "start")
        # the service's clock is set so that the wait runs out in three seconds
        wait = (order.start_by - first) / 10
        lag = datetime.now(UTC) + timedelta(seconds=3) - (first + wait)
        assert made.cycle.next_turn_at == first + wait
        pace = Pace(poll_s=0.05, look_s=0.1, evaluate_s=3600, deliver_s=0.05, clock_s=0.1)
        stop, lines = threading.Event(), []
        thread = threading.Thread(
            target=serve,
            args=(made.folder, ENVIRON),
            kwargs={
                "clock": lambda: datetime.now(UTC) - lag,
                "say": lines.append,
                "pace": pace,
                "stop": stop,
            },
        )
        thread.start()
        try:
            wait_for(lambda: len(turns(made.db, order.id)) == 2)
            wait_for(
                lambda: any(
                    m.rcpt_tos == ["emil@example.org"] and b"Told" in m.content
                    for m in mailbox.mails
                )
            )
        finally:
            stop.set()
            thread.join(20)
        second = turns(made.db, order.id)[1]
        assert second.contacts == ("deputy",)
        assert timedelta(0) <= second.at - (first + wait) < timedelta(seconds=2)


def test_the_state_says_who_was_told_and_has_not_answered(evening):
    _, alert = evening.until_told()
    (stands,) = standing(evening.made.db, evening.made.watch.current.show, evening.made.now)
    assert [turn.contacts for turn in stands.turns if turn.began] == [("crew", "radio desk")]
    assert stands.stored.alert.id == alert.id
    assert stands.is_waiting
    evening.answer("doing", by="ben")
    (stands,) = standing(evening.made.db, evening.made.watch.current.show, evening.made.now)
    assert (stands.is_waiting, stands.next_at) == (False, None)
    assert [a.by for a in stands.answers] == ["ben"]
    assert stands.answers[0].family == "protect"


# ---------------------------------------------------------------- killed


def steps_of(rain_from, start):
    """A record in steps of 20 minutes from three hours before `start`: 8 mm in one of them."""
    rows = ["starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"]
    at = start - timedelta(hours=3)
    while at < start + timedelta(hours=30):
        mm = 8.0 if rain_from <= at < rain_from + minutes(60) else 0.0
        rows.append(f"{at.strftime('%Y-%m-%dT%H:%MZ')},20,{mm},3,6,220,15,9")
        at += minutes(20)
    return "\n".join(rows) + "\n"


@pytest.mark.crash
@pytest.mark.slow
def test_a_killed_service_takes_it_up_where_it_stood(stage):
    """`dryspell run` killed with kill -9: the turns told before are not told again, the next is."""
    begin = datetime.now(UTC).replace(second=0, microsecond=0) - minutes(12)
    with ExitStack() as stack:
        mailbox, port = stack.enter_context(mail_server())
        # the first turns are told by a clock of minutes ago, which a signature would give away
        desks = {turn: stack.enter_context(desk_receiver(verifies=False)) for turn in TEN}
        made = stage(
            feeds=RECORD_FEED,
            contacts=contacts_of(port, {turn: desk.url for turn, desk in desks.items()})
            + f'[page]\nlisten = "127.0.0.1:{free_port()}"\n',
            files={"weather.csv": steps_of(begin + minutes(60), begin)},
            load_in=begin - timedelta(hours=3),
        )
        # As it went until the machine lost power, by a clock that stood at these minutes.
        made.now = begin
        made.poll()
        made.run()
        made.deliver()
        (order,) = (c.alert for c in alert_changes(made.db) if c.alert.stage == "start")
        wait = (order.start_by - begin) / 10
        assert minutes(3) <= wait < minutes(6)
        made.now = begin + wait
        made.run()
        made.deliver()
        assert [t.contacts for t in turns(made.db, order.id)] == [
            ("crew", "radio desk"),
            ("deputies", "stage manager"),
        ]
        second = turns(made.db, order.id)[-1]
        due = max(minutes(3), (order.start_by - made.now) / 10)
        assert second.until == made.now + due
        assert second.until < datetime.now(UTC)

        def told():
            return [t.contacts for t in turns(made.db, order.id) if t.began == begin]

        command = "from monitor.cli import main; main()"
        process = subprocess.Popen(
            [sys.executable, "-c", command, "run", "--show", str(made.folder)],
            env={**os.environ, **ENVIRON},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_for(lambda: len(told()) == 3)
        process.send_signal(signal.SIGKILL)
        process.wait(20)
        again = start_service(made.folder)
        try:
            wait_for(lambda: all(d.state != "queued" for d in deliveries(made.db)))
        finally:
            again.terminate()
            again.communicate(timeout=20)
        assert told() == [
            ("crew", "radio desk"),
            ("deputies", "stage manager"),
            ("production", "site office"),
        ]
        assert verify(made.db).ok
        rows = [
            d.row.id
            for d in deliveries(made.db)
            if d.row.message.alert_id == order.id and d.row.message.stage == "start"
        ]
        assert len(rows) == len(set(rows)) == 10
        heard = {m.rcpt_tos[0].partition("@")[0] for m in mailbox.mails}
        assert heard == {who for turn in TEN for who in TEN[turn][:-1]}
        assert answers(made.db) == ()


# ---------------------------------------------------------------- hostile clocks, older records


def deputies(port, more=""):
    """A chief in the first turn, a deputy in the second."""
    return (
        mail_to(port, "anna@example.org", name="chief")
        + mail_to(port, "emil@example.org", name="deputy")
        + "turn = 2\n"
        + more
    )


def test_a_clock_put_back_makes_nobody_wait_for_the_old_time(stage):
    made = stage(contacts=deputies(25))
    raise_it(made)
    made.later(hours=-1)
    with immediate(made.db):
        cycle_module.call_next(made.db, made.watch.current.show, made.now)
    assert turns(made.db, "x-1")[-1].contacts == ("deputy",)
    assert turns(made.db, "x-1")[-1].at == made.now


def test_a_cannot_is_passed_on_at_once_though_the_clock_was_put_back(stage):
    made = stage(contacts=deputies(25))
    raise_it(made)
    keep_answer(made.db, AnswerSaid("x-1", "cannot"), made.watch.current.show, made.now, str)
    made.later(minutes=-2)
    with immediate(made.db):
        cycle_module.call_next(made.db, made.watch.current.show, made.now)
    assert turns(made.db, "x-1")[-1].because == "cannot"


def test_a_change_that_follows_a_cannot_wakes_whose_turn_it_is(stage):
    with mail_server() as (mailbox, port):
        sleeper = '[[people]]\nname = "Emil"\ncontact = "deputy"\nshifts = ["02:00-03:00"]\n'
        made = stage(contacts=deputies(port, sleeper))
        file = made.folder / "show.toml"
        text = file.read_text()
        quiet = 'quiet_hours = "00:00-23:59"'
        file.write_text(re.sub(r"(load_in_at = .*)", rf"\1\n{quiet}", text))
        made.watch.look()
        assert made.watch.look()
        raise_it(made)
        made.deliver()
        keep_answer(made.db, AnswerSaid("x-1", "cannot"), made.watch.current.show, made.now, str)
        made.later(minutes=1)
        # the plan answers before the next turn is called: the same order at another time
        raise_it(made, reason="later", start_by=made.now + minutes(70))
        made.deliver()
        assert [m.rcpt_tos for m in mailbox.mails][1:] in (
            [["anna@example.org"], ["emil@example.org"]],
            [["emil@example.org"], ["anna@example.org"]],
        )


def test_who_was_told_before_turns_were_kept_is_told_what_follows(stage, monkeypatch):
    made = stage(contacts=deputies(25))
    with monkeypatch.context() as of_before:
        # no turns then: everybody was told of everything, and none of it was noted
        of_before.setattr("monitor.service.turns.record_turn", lambda *_: 0)
        raise_it(made, kind="stop", stage="stop", action=None, start_by=None, do_by=None)
    assert turns(made.db, "x-1") == ()
    made.later(minutes=1)
    raise_it(made, stage="stood-down")
    assert whom(made, made.now) == ["chief", "deputy"]
