"""One buzz in ten minutes and quiet hours, over a real mail server and a clock of our own."""

from __future__ import annotations

import email
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email import policy

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from service_site import ENVIRON, free_port, mail_server, mail_to, write_show

from monitor.alerts import by_email
from monitor.domain import Alert, Facts
from monitor.service.answering import AnswerSaid, keep_answer
from monitor.service.delivering import deliver_due
from monitor.service.escalation import call_next
from monitor.service.interrupting import Interruptions
from monitor.service.telling import tell
from monitor.service.watched import FolderWatch
from monitor.store.chain import verify
from monitor.store.database import immediate, open_database
from monitor.store.outbox import deliveries, free_leases, lease
from monitor.store.records import from_text, to_text

EVENING = datetime(2027, 7, 15, 19, 0, tzinfo=UTC)
"""20:00 in British Summer Time, on a Thursday."""
MINUTE = timedelta(minutes=1)
SECOND = timedelta(seconds=1)

PLACES = "".join(
    f'\n[[positions]]\nid = "{key}"\nname = "{name}"\nheight_m = 3\naccess = "ground"\n'
    for key, name in (("left", "Ladder left"), ("right", "Ladder right"), ("truss", "Front truss"))
)
QUIET = 'quiet_hours = "23:00-07:00"'


def alert(number, position, stage="start", start_by=None, **more) -> Alert:
    start = None if start_by is None else EVENING + start_by * MINUTE
    base = {
        "id": str(number),
        "kind": "work",
        "stage": stage,
        "action": "cover",
        "position": position,
        "fixtures": (),
        "count": 2,
        "people": 1,
        "minutes": 20.0,
        "isolate_at": None,
        "start_by": start,
        "do_by": None if start is None else start + 30 * MINUTE,
        "members": 1,
        "probability": None,
        "at": EVENING,
        "reason": "rain",
        "facts": Facts(
            site_name="Lower meadow", timezone="Europe/London", position_name=position or ""
        ),
    }
    return Alert(**{**base, **more})


@dataclass
class Night:
    """A show, its outbox, a mailbox and a clock."""

    db: object
    watch: FolderWatch
    mailbox: object
    now: datetime = EVENING
    heard: list = field(default_factory=list)

    @property
    def show(self):
        return self.watch.current.show

    def tell(self, told: Alert) -> None:
        with immediate(self.db):
            tell(self.db, self.show, replace(told, at=self.now), told.reason, self.now)

    def deliver(self) -> None:
        contacts = self.watch.current.contacts
        deliver_due(self.db, self.show, contacts, lambda: self.now, str, lambda: 0.5, lambda: False)
        for mail in self.mailbox.mails[len(self.heard) :]:
            whole = email.message_from_bytes(mail.content, policy=policy.default)
            text = whole.get_body(("plain",)).get_content().replace("\r\n", "\n")
            self.heard.append((self.now, mail.rcpt_tos[0], whole["Subject"], text))

    def until(self, minutes: float) -> None:
        """Deliver whatever comes due, at its moment, until so many after the evening began."""
        end = EVENING + minutes * MINUTE
        self.deliver()
        while (due := self.next_due()) is not None and due <= end:
            self.now = due
            self.deliver()
        self.now = max(self.now, end)

    def next_due(self):
        """When the outbox has something to look at again."""
        (found,) = self.db.execute(
            "SELECT min(max(next_try_at, coalesce(not_before, ''))) FROM outbox"
            " WHERE state = 'queued' AND joined_to IS NULL AND max(next_try_at,"
            " coalesce(not_before, '')) > ?",
            [to_text(self.now)],
        ).fetchone()
        return None if found is None else from_text(found)

    def times(self, whom="ines@crew.example"):
        """Minutes from the start at which somebody was buzzed."""
        return [(at - EVENING) / MINUTE for at, to, _, _ in self.heard if to == whom]

    def texts(self, whom="ines@crew.example"):
        return [text for _, to, _, text in self.heard if to == whom]

    def states(self):
        return {(d.row.message.alert_id, d.row.message.stage): d.state for d in deliveries(self.db)}


@pytest.fixture(scope="module")
def post():
    with mail_server() as (mailbox, port):
        yield mailbox, port


@pytest.fixture
def night_of(tmp_path, post):
    mailbox, port = post
    opened = []

    def make(contacts=None, people="", event=""):
        del mailbox.mails[:]
        path = tmp_path / f"show-{len(opened)}"
        crew = mail_to(port, "ines@crew.example", more="")
        folder = write_show(path, contacts=(contacts or crew) + PLACES + people, load_in=EVENING)
        file = folder / "show.toml"
        text = file.read_text("utf-8").replace("[event]", f"[event]\n{event}")
        file.write_text(text, "utf-8")
        db = open_database(folder / "dryspell.db")
        opened.append(db)
        return Night(db, FolderWatch(folder, ENVIRON), mailbox)

    yield make
    for db in opened:
        db.conn.close()


# ---------------------------------------------------------------- one in ten minutes


def test_changes_of_one_evaluation_come_as_one(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.tell(alert(2, "right", start_by=40))
    night.tell(alert(3, "left", "notice", start_by=90))
    night.deliver()
    ((_, _, subject, text),) = night.heard
    # the most urgent by its start-by, 19:40 UTC, in full
    assert subject == "Start by 20:40: cover 2 fixtures at right"
    assert (
        "\n\nThen\n"
        "- Ladder left: start by 20:55, done by 21:25 (alert 1), 1 person\n"
        "- Ladder left: start by 21:30, done by 22:00 (alert 3), 1 person\n\nRadio: "
    ) in text
    assert text.count("Alert ") == 1  # one alert, one action
    assert set(night.states().values()) == {"sent"}
    carrier = next(d.row.id for d in deliveries(night.db) if d.row.message.alert_id == "2")
    details = {d.row.message.alert_id: d.detail for d in deliveries(night.db)}
    assert details["1"] == details["3"] == f"told with message {carrier}"
    assert verify(night.db).ok


def test_the_next_word_waits_ten_minutes_and_takes_the_others_along(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.until(2)
    night.tell(alert(2, "right", start_by=60))
    night.until(4)
    night.tell(alert(3, "truss", "notice", start_by=100))
    night.until(30)
    assert night.times() == [0, 10]
    assert "Front truss: start by 21:40" in night.texts()[1]


def test_a_newer_word_takes_the_place_of_one_that_waits(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.until(1)
    night.tell(alert(2, "right", start_by=60))
    night.until(5)
    night.tell(alert(2, "right", "stood-down", start_by=60))
    night.until(30)
    assert night.times() == [0, 10]
    assert night.heard[1][2] == "No longer needed: cover 2 fixtures at right"
    assert night.states()["2", "start"] == "cancelled"


@pytest.mark.parametrize(
    "changes",
    [
        {"kind": "stop", "stage": "stop", "action": None, "position": None},
        {"stage": "overdue"},
        {"action": "isolate", "isolate_at": "DIST"},
    ],
)
def test_safety_waits_for_nothing(night_of, changes):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.until(1)
    night.tell(replace(alert(2, "right", start_by=60), **changes))
    night.until(2)
    assert night.times() == [0, 1]
    # and after it the ten minutes begin anew for the rest
    night.tell(alert(3, "truss", start_by=60))
    night.until(20)
    assert night.times() == [0, 1, 11]


def test_a_start_is_not_held_past_five_minutes_before_its_time(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.until(1)
    night.tell(alert(2, "right", start_by=12))
    night.until(20)
    assert night.times() == [0, 7]


def test_two_contacts_of_one_person_count_as_one(night_of, post):
    port = post[1]
    mail = mail_to(port, "ines@crew.example", name="ines", more="")
    other = mail_to(port, "ines@home.example", "suki@crew.example", name="home", more="")
    chief = '\n[[people]]\nname = "Ines"\ncontact = "ines"\n'
    # the mailbox of the first stands in a third as well
    third = mail_to(port, "Ines@crew.example", name="all", more='stages = ["start"]')
    night = night_of(mail + other + third, chief)
    night.tell(alert(1, "left", start_by=55))
    night.until(3)
    night.tell(alert(2, "right", start_by=60))
    night.until(20)
    # the second word comes at 3: every copy of one word at once, the next word ten minutes later
    for whom in ("ines@crew.example", "Ines@crew.example", "suki@crew.example"):
        assert night.times(whom) == [0, 10]


def test_each_by_itself_where_no_gap_is_wanted(night_of, post):
    night = night_of(mail_to(post[1], "ines@crew.example", more="gap_minutes = 0"))
    for number, place in enumerate(("left", "right", "truss")):
        night.tell(alert(number, place, start_by=60))
    night.deliver()
    assert [text.count("Then\n") for text in night.texts()] == [0, 0, 0]


# ---------------------------------------------------------------- killed


def test_killed_while_sending_the_same_mail_is_sent_again(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.tell(alert(2, "right", start_by=40))
    rules = Interruptions(night.db, night.show)
    row = lease(night.db, night.now, 90, lambda r: rules.choose(r, night.now))
    # the mail was taken by the server, and nothing of it noted: the machine went off
    contact = night.watch.current.contacts[row.contact]
    message = rules.words(row, night.now)
    by_email.send(message, contact, row.recipient, row.id, secret=None, now=night.now)
    free_leases(night.db, night.now)
    night.now += MINUTE
    night.deliver()
    first, second = (email.message_from_bytes(m.content) for m in night.mailbox.mails)
    assert first["Message-ID"] == second["Message-ID"]
    assert first.as_bytes() == second.as_bytes()
    assert set(night.states().values()) == {"sent"}


def test_what_is_held_is_still_held_after_a_start(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.until(1)
    night.tell(alert(2, "right", start_by=60))
    night.until(3)
    free_leases(night.db, night.now)
    night.until(20)
    assert night.times() == [0, 10]


# ---------------------------------------------------------------- quiet hours


def crew_of(port, **shifts):
    """Each with a mailbox of their own; the shifts of each, and how fast they come."""
    contacts, people = "", ""
    for name, (shift, call_out) in shifts.items():
        contacts += mail_to(port, f"{name}@crew.example", name=name, more="")
        people += f'\n[[people]]\nname = "{name}"\ncontact = "{name}"\n'
        people += f'shifts = ["{shift}"]\n' if shift else ""
        people += f"call_out_minutes = {call_out}\n" if call_out else ""
    return contacts + mail_to(port, "desk@site.example", name="site desk", more=""), people


def crew_at_night(night_of, post):
    # days 09 to 23, nights 23 to 09; suki comes within 25 minutes
    contacts, people = crew_of(
        post[1], ines=("09:00-23:00", 0), dario=("23:00-09:00", 0), suki=("09:00-23:00", 25)
    )
    night = night_of(contacts, people, QUIET)
    night.now = EVENING + 180 * MINUTE  # 23:00 on site
    return night


def names(night, since=0):
    return sorted(
        to.partition("@")[0] for at, to, _, _ in night.heard if at >= EVENING + since * MINUTE
    )


def test_who_is_woken_for_what(night_of, post):
    night = crew_at_night(night_of, post)
    night.tell(alert(1, "left", "notice", start_by=900))
    night.until(200)
    assert night.heard == []
    night.tell(alert(2, "right", start_by=260))
    night.until(220)
    assert names(night) == ["dario", "desk", "suki"]
    night.tell(alert(3, None, "stop", kind="stop", action=None))
    night.until(230)
    assert names(night, 220) == ["dario", "desk", "ines", "suki"]
    # who was woken is told that it is over; who was not sleeps on
    night.tell(alert(2, "right", "stood-down", start_by=260))
    night.until(250)
    assert names(night, 230) == ["dario", "desk", "suki"]
    # 07:00 on site is 660 minutes after 20:00
    night.until(659)
    assert names(night, 250) == []
    night.until(661)
    assert names(night, 250) == ["dario", "desk", "ines", "suki"]
    told = [text for at, to, _, text in night.heard if to.startswith("ines")][-1]
    assert told.startswith("Notice: cover 2 fixtures at left.")
    assert "- Ladder right: no longer needed (alert 2)" in told
    assert set(night.states().values()) <= {"sent", "cancelled"}


def test_who_is_called_is_woken_in_time_for_a_start_that_was_only_announced(night_of, post):
    night = crew_at_night(night_of, post)
    night.tell(alert(1, "left", "notice", start_by=300))
    night.until(400)
    # start by at 300: 25 minutes to come and 20 to dress and walk for suki; 20 for dario, who is
    # there; the desk is nobody's in particular: 20 for a crew to come, and 20
    assert night.times("suki@crew.example") == [255]
    assert night.times("dario@crew.example") == [280]
    assert night.times("desk@site.example") == [260]
    assert night.times() == []


def test_where_nobody_is_on_shift_or_on_call_all_are_woken(night_of, post):
    port = post[1]
    contacts = mail_to(port, "ines@crew.example", name="ines", more="")
    people = '\n[[people]]\nname = "ines"\ncontact = "ines"\nshifts = ["09:00-23:00"]\n'
    night = night_of(contacts, people, QUIET)
    night.now = EVENING + 200 * MINUTE
    night.tell(alert(1, "left", start_by=260))
    night.until(201)
    assert night.times() == [200]


def night_with_bob(night_of, port, bobs_port, **bob):
    """Ines sleeps from 23:00; Bob is there all night, at a mailbox of his own."""
    contacts = mail_to(port, "ines@crew.example", name="ines", more="")
    contacts += mail_to(bobs_port, "bob@crew.example", name="bob", more=bob.get("more", ""))
    people = "".join(
        f'\n[[people]]\nname = "{name}"\ncontact = "{name}"\nshifts = ["{shift}"]\n'
        for name, shift in (("ines", "09:00-23:00"), ("bob", "23:00-09:00"))
    )
    night = night_of(contacts, people, QUIET)
    night.now = EVENING + 200 * MINUTE
    return night


def test_nobody_sleeps_on_for_one_who_does_not_want_the_word(night_of, post):
    night = night_with_bob(night_of, post[1], post[1], more='stages = ["notice"]')
    night.tell(alert(1, "left", start_by=260))
    night.until(300)
    assert night.times() == [200]


def test_who_slept_on_is_woken_when_the_other_is_not_reached(night_of, post):
    night = night_with_bob(night_of, post[1], free_port())
    night.tell(alert(1, "left", start_by=260))
    night.until(230)
    # Bob's mail fails at 200, 201 and 203: from the third time on he counts as not reached
    assert night.times() == [203]
    assert night.heard[0][2] == "Start by Fri 00:20: cover 2 fixtures at left"


def test_what_is_told_shortly_before_the_night_does_not_run_out_in_it(night_of, post):
    contacts, people = crew_of(post[1], ines=("09:00-23:00", 0), dario=("23:00-09:00", 0))
    night = night_of(contacts, people, QUIET)
    night.now = EVENING + 175 * MINUTE
    night.tell(alert(1, "left", start_by=260))
    night.until(178)
    # at 22:58 nothing buzzes again before 23:05, and then not before 07:00: over six hours on
    night.tell(alert(7, None, "notice", kind="weather", action=None))
    night.until(700)
    assert night.states() == {("1", "start"): "sent", ("7", "notice"): "sent"}
    assert night.times() == [175, 660]


def test_what_is_told_with_another_holds_up_no_copy_of_it(night_of, post):
    named = [mail_to(post[1], "ines@crew.example", name=f"way {n}", more="") for n in (1, 2, 3)]
    night = night_of("".join(named))
    night.tell(alert(1, "left", start_by=55))
    night.tell(alert(2, "right", start_by=40))
    night.until(60)
    assert night.times() == [0, 0, 0]
    assert all("- Ladder left: start by 20:55" in text for text in night.texts())


# ---------------------------------------------------------------- any storm

STAGES = ("notice", "start", "overdue", "stop", "stood-down")
event = st.tuples(
    st.integers(0, 12),  # minutes after the one before
    st.integers(1, 5),  # alert
    st.sampled_from(STAGES),
    st.integers(-5, 60),  # start by, from then
    st.sampled_from(("cover", "isolate")),
    st.booleans(),  # killed while sending, right after it
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(event, min_size=1, max_size=12))
def test_in_any_storm_no_row_of_buzzes_and_nothing_is_lost(night_of, post, storm):
    contacts = mail_to(post[1], "ines@crew.example", more="") + mail_to(
        post[1], "INES@crew.example", "suki@crew.example", name="all", more=""
    )
    night = night_of(contacts)
    minute = 0
    for wait, number, stage, lead, action, killed in storm:
        minute += wait
        night.until(minute)
        place = ("left", "right", "truss")[number % 3]
        night.tell(alert(number, place, stage, minute + lead, action=action))
        if killed:
            rules = Interruptions(night.db, night.show)
            lease(night.db, night.now, 90, lambda r, rules=rules: rules.choose(r, night.now))
            free_leases(night.db, night.now)
    night.until(minute + 75)

    rows = deliveries(night.db)
    newest = {}
    for d in rows:
        newest[d.row.contact, d.row.recipient, d.row.message.thread] = d.row.number
    for d in rows:
        assert d.state in ("sent", "cancelled")
        if d.state == "cancelled":
            where = (d.row.contact, d.row.recipient, d.row.message.thread)
            assert newest[where] > d.row.number

    # What stands in the mails is all that was sent: in full, or as a line under another.
    for d in rows:
        if d.state == "sent":
            mine = night.texts(d.row.recipient)
            line = f"(alert {d.row.message.alert_id})"
            number = f"Alert {d.row.message.alert_id}."
            assert any(number in t or line in t for t in mine)

    buzzes = [d for d in rows if d.state == "sent" and not d.detail.startswith("told with")]
    for whom in ("ines", "suki"):
        own = [d for d in buzzes if d.row.recipient.lower().startswith(whom)]
        for d in own:
            message = d.row.message
            if message.stage in ("stop", "overdue") or (
                message.stage == "start" and message.data["action"] == "isolate"
            ):
                continue
            start = datetime.fromisoformat(message.data["start_by"])
            if message.stage != "stood-down" and d.settled_at >= start - 5 * MINUTE:
                continue
            copies = (message.thread, d.row.queued_at)
            lately = [
                o
                for o in own
                if (o.row.message.thread, o.row.queued_at) != copies
                and timedelta(0) <= d.settled_at - o.settled_at < 10 * MINUTE
                and not (o.settled_at == d.settled_at and o.row.number > d.row.number)
            ]
            # at one moment, what could not wait may follow what went before it
            assert lately == [] or all(o.settled_at == d.settled_at for o in lately)


# ---------------------------------------------------------------- what is held, and what is not


def test_power_to_be_cut_soon_comes_at_once_and_what_waited_tells_no_countdown(night_of):
    night = night_of()
    night.tell(alert(1, "left", start_by=55))
    night.until(1)
    # due in 16 minutes, with no start planned for it: somebody answered that it cannot be done
    cut = alert(2, "right", "notice", action="isolate", do_by=EVENING + 17 * MINUTE)
    night.tell(cut)
    night.tell(alert(3, "truss", start_by=60))
    night.until(20)
    assert night.times() == [0, 1, 11]
    first, power, held = night.texts()
    # 20:00 on the site's clock; told in the minute it was written
    assert "Start by 20:55 (in 55 min)." in first
    assert "Done by 20:17 (in 16 min)." in power
    # written 20:01 and sent 20:11: "in 59 min" would be told ten minutes too late
    assert "Start by 21:00." in held
    assert "(in " not in held.partition("\nRadio:")[0]


def test_the_word_to_the_next_turn_is_never_held(night_of, post):
    port = post[1]
    chief = mail_to(port, "ines@crew.example", name="ines", more="")
    deputy = mail_to(port, "suki@crew.example", name="suki", more="turn = 2")
    night = night_of(chief + deputy)
    # a stop goes to both: Suki has been buzzed
    night.tell(alert(9, "left", "stop", kind="stop", action=None))
    night.deliver()
    night.now += MINUTE
    told = alert(2, "right", start_by=60)
    night.tell(told)
    night.deliver()
    keep_answer(night.db, AnswerSaid("2", "cannot", by="Ines"), night.show, night.now, str)
    with immediate(night.db):
        call_next(night.db, night.show, night.now)
    night.deliver()
    assert night.times("suki@crew.example") == [0, 1]
    # Ines was buzzed a minute before: hers is held, and she is not said to have been told
    said = night.texts("suki@crew.example")[-1]
    assert "Ines answered cannot at 20:01" in said
    assert "Told before" not in said
    assert night.times() == [0]


def test_a_start_reaches_those_planned_for_it_in_that_moment(night_of, post):
    port = post[1]
    chief = mail_to(port, "ines@crew.example", name="ines", more="")
    bex = mail_to(port, "bex@crew.example", name="bex", more="turn = 3")
    tilda = mail_to(port, "tilda@crew.example", name="tilda", more="turn = 2")
    people = "".join(
        f'\n[[people]]\nname = "{name.title()}"\ncontact = "{name}"\n' for name in ("bex", "tilda")
    )
    night = night_of(chief + bex + tilda, people)
    start = alert(1, "left", start_by=55)
    night.tell(replace(start, facts=replace(start.facts, who=("Bex",))))
    night.deliver()
    assert sorted(to for _, to, *_ in night.heard) == ["bex@crew.example", "ines@crew.example"]
