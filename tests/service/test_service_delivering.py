"""Delivery: a contact that cannot be reached is told of through the others, in one piece."""

from __future__ import annotations

import pytest
from service_site import desk_receiver, hook_to, mail_server, mail_to
from service_stage import RECORD_FEED, record

from monitor.domain import UnableError
from monitor.service import telling
from monitor.service.failing import failing_contacts
from monitor.store.history import alert_changes
from monitor.store.outbox import deliveries


def work_stage(stage, contacts, rain=None):
    made = stage(
        feeds=RECORD_FEED,
        contacts=contacts,
        files={"weather.csv": record({3: 8.0} if rain is None else rain)},
    )
    made.poll()
    made.run()
    return made


def of_kind(made, kind):
    return [d for d in deliveries(made.db) if d.row.message.kind == kind]


def test_a_receiver_that_wants_no_more_is_told_of_by_mail(stage):
    with desk_receiver(verifies=False) as desk, mail_server() as (mailbox, port):
        desk.status = 410
        made = work_stage(stage, mail_to(port, "a@example.org") + hook_to(desk.url))
        made.deliver()
        assert failing_contacts(made.db) == ("desk",)
        (told,) = of_kind(made, "delivery")
        assert (told.row.contact, told.state) == ("crew chief", "sent")
        assert "to desk was given up" in told.row.message.text
        assert len(mailbox.mails) == 3  # on watch, the work, and this
        # the next one to the desk arrives: the others hear of that too
        desk.status = 204
        made.later(hours=20)
        (made.folder / "weather.csv").write_text(record({}, start=made.now))
        made.poll()
        made.run()
        made.deliver()
    assert failing_contacts(made.db) == ()
    assert [d.row.message.stage for d in of_kind(made, "delivery")][-1] == "stood-down"


def test_a_message_given_up_and_the_alert_about_it_stand_or_fall_together(stage, monkeypatch):
    with desk_receiver() as desk, mail_server() as (_, port):
        desk.status = 410
        made = work_stage(stage, hook_to(desk.url) + mail_to(port, "a@example.org"), rain={})
        real = telling.record_change

        def breaking(*args, **kinds):
            raise UnableError("The disk is full.", "Free some space.")

        monkeypatch.setattr(telling, "record_change", breaking)
        with pytest.raises(UnableError):
            made.deliver()
        # neither is recorded; the row is only leased, and comes due again
        assert [d.state for d in of_kind(made, "watch")] == ["queued", "queued"]
        assert alert_changes(made.db) == ()
        monkeypatch.setattr(telling, "record_change", real)
        made.later(minutes=2)
        made.deliver()
    states = {d.row.contact: d.state for d in of_kind(made, "watch")}
    assert states == {"desk": "given-up", "crew chief": "sent"}
    assert [c.alert.kind for c in alert_changes(made.db)] == ["delivery"]


def test_a_dead_server_is_told_of_at_the_third_try_and_given_up_aloud(stage):
    with mail_server() as (mailbox, port), desk_receiver() as desk:
        dead = mail_to(9, "b@example.org", name="night crew")
        made = work_stage(stage, dead + mail_to(port, "a@example.org"), rain={})
        for minutes, alerts in ((0, 0), (2, 0), (3, 1), (8, 1)):
            made.later(minutes=minutes)
            made.deliver()
            assert len(of_kind(made, "delivery")) == alerts
        assert "has failed 3 times and is tried again" in mailbox.mails[-1].content.decode()
        made.later(hours=6)
        made.deliver()
        assert desk.got == []
    row = next(d for d in of_kind(made, "watch") if d.row.contact == "night crew")
    assert row.state == "given-up"
    said = [d.row.message.text for d in of_kind(made, "delivery")]
    assert len(said) == 2
    assert "was given up" in said[-1]


def test_a_contact_taken_out_of_the_folder_ends_its_trouble(stage):
    with desk_receiver() as desk, mail_server() as (_, port):
        desk.status = 410
        made = work_stage(stage, mail_to(port, "a@example.org") + hook_to(desk.url), rain={})
        made.deliver()
        show = made.folder / "show.toml"
        text = show.read_text()
        show.write_text(text.replace(hook_to(desk.url), ""))
        made.watch.look()
        assert made.watch.look()
        made.later(minutes=1)
        made.run()
    assert failing_contacts(made.db) == ()
    last = of_kind(made, "delivery")[-1].row.message
    assert last.stage == "stood-down"
    assert "has the contact desk no more" in last.text


def test_a_message_to_a_contact_that_is_gone_is_told_of_once(stage):
    with mail_server() as (_, port):
        gone = mail_to(9, "b@example.org", name="night crew")
        made = work_stage(stage, mail_to(port, "a@example.org") + gone, rain={})
        show = made.folder / "show.toml"
        show.write_text(show.read_text().replace(gone, ""))
        made.watch.look()
        assert made.watch.look()
        made.deliver()
    assert failing_contacts(made.db) == ()
    assert len(of_kind(made, "delivery")) == 1
