from __future__ import annotations

from dataclasses import replace

import pytest
from report_samples import after, alert, changes, entry, fixture, mail, material, show, weather

from monitor.domain import Contact, Message
from monitor.report.figures import hours, minutes, share
from monitor.report.findings import id_ranges
from monitor.report.jobs import jobs
from monitor.store.outbox import Delivery, OutboxRow


def made(told, log=(), *, hours=6, **more):
    rig = more.pop("rig", show(fixture(), fixture("f2")))
    return material(rig, weather([0.0] * hours), log, changes=told, **more)


def only(told, log=(), **more):
    (job,) = jobs(made(told, log, **more))
    return job


ASKED = changes(alert("start", at=1.0, do_by=3.0, fixtures=("f1", "f2"), count=2))


@pytest.mark.parametrize(
    ("log", "came", "at"),
    [
        ((entry(2.0, "covered"),), "in-time", 2.0),
        ((entry(3.0, "covered"),), "in-time", 3.0),
        ((entry(3.5, "covered"),), "late", 3.5),
        ((entry(2.0, "covered", fixture="f1"), entry(2.5, "brought-in", fixture="f2")),
         "in-time", 2.5),
        # half the work is not the work
        ((entry(2.0, "covered", fixture="f1"),), "missed", None),
        ((entry(2.0, "covered", count=(3, 15)),), "missed", None),
        ((entry(2.0, "covered", count=(15, 15)),), "in-time", 2.0),
        # logged late: it happened before the alert opened, and still held
        ((entry(0.5, "covered"),), "in-time", 0.5),
        ((entry(0.5, "covered"), entry(0.75, "uncovered")), "missed", None),
        # water was not kept off, but nothing was live in it
        ((entry(2.0, "isolated"),), "isolated", None),
        ((entry(3.5, "isolated"),), "missed", None),
        ((entry(2.0, "isolated"), entry(2.5, "energised")), "missed", None),
        ((entry(2.0, "covered", fixture="f1"), entry(2.5, "isolated")), "isolated", None),
        # what was taken off again before it had to be on was not done
        ((entry(2.0, "covered"), entry(2.5, "uncovered")), "missed", None),
        ((entry(2.0, "covered"), entry(4.0, "uncovered")), "in-time", 2.0),
        ((entry(2.0, "covered"), entry(2.2, "uncovered"), entry(2.5, "covered")), "in-time", 2.5),
        ((entry(2.0, "covered", position="elsewhere"),), "missed", None),
        ((), "missed", None),
    ],
)  # fmt: skip
def test_done_is_what_the_log_says(log, came, at):
    job = only(ASKED, log)
    assert job.came == came
    assert job.done_at == (None if at is None else after(at))


def test_a_cover_from_long_ago_answers_no_new_alert():
    told = changes(alert("start", at=5.0, do_by=5.5))
    assert only(told, (entry(0.5, "covered"),)).came == "missed"


def test_what_leaks_under_its_cover_is_done_when_it_is_brought_in():
    told = changes(alert("start", at=1.0, do_by=3.0, action="bring-in"))
    covered = entry(0.0, "covered")
    assert only(told, (covered,)).came == "missed"
    assert only(told, (covered, entry(2.0, "brought-in"))).done_at == after(2.0)
    assert only(told, (entry(2.0, "covered"),)).done_at == after(2.0)


def test_a_position_s_entry_follows_a_fixture_that_was_moved():
    rig = show(
        fixture(),
        positions=(show().positions["pole"], replace(show().positions["pole"], id="tent")),
    )
    told = changes(alert("start", at=1.0, do_by=3.0))
    moved = entry(0.5, "moved", fixture="f1", to="tent")
    assert only(told, (moved, entry(2.0, "covered")), rig=rig).came == "missed"
    log = (moved, entry(2.0, "covered", position="tent"))
    assert only(told, log, rig=rig).came == "in-time"


@pytest.mark.parametrize(
    ("told", "came"),
    [
        (changes(alert("start", at=1.0, do_by=9.0)), "open"),
        (changes(alert("start", at=1.0, do_by=5.0), alert("stood-down", at=2.0)), "not-needed"),
        (changes(alert("start", at=1.0, do_by=2.0), alert("stood-down", at=3.0)), "missed"),
        (changes(alert("start", at=1.0, do_by=2.0), alert("overdue", at=2.0)), "missed"),
        (changes(alert("notice", at=1.0, action="inspect")), "not-done"),
        (changes(alert("stop", at=1.0, kind="stop", action=None, position=None)), None),
    ],
)
def test_what_nobody_did(told, came):
    assert only(told).came == came


def test_an_inspection_that_tested_nothing_ends_nothing():
    told = changes(alert("notice", at=1.0, action="inspect"))
    assert only(told, (entry(2.0, "inspected", result="not-tested"),)).came == "not-done"
    assert only(told, (entry(2.0, "inspected", result="damp"),)).came == "done"
    # one from before the alert is what the alert found wanting
    assert only(told, (entry(0.5, "inspected", result="dry"),)).came == "not-done"


def test_the_deadline_that_held_when_the_work_was_done_counts():
    told = changes(
        alert("start", at=1.0, do_by=4.0),
        alert("start", at=2.0, do_by=2.5),
        alert("start", at=3.2, do_by=5.0),
    )
    assert only(told, (entry(3.0, "covered"),)).came == "late"
    assert only(told, (entry(1.5, "covered"),)).do_by == after(4.0)


def test_an_alert_that_comes_back_is_another_job():
    told = changes(
        alert("start", at=0.0, do_by=1.0),
        alert("stood-down", at=0.5),
        alert("notice", at=2.0, do_by=4.0),
    )
    first, second = jobs(made(told))
    assert (first.came, second.came) == ("not-needed", "missed")
    assert second.told[0].at == after(2.0)


# ------------------------------------------------------------ told


def delivery(
    state="sent", *, at=1.0, settled=1.05, contact="crew", stage="start", alert_id="pole-1"
):
    message = Message(alert_id, "work", stage, "s", "t", "r", {}, "thread", after(at))
    row = OutboxRow("id", 1, message, contact, "b@example.org", after(at), after(at + 6), 1)
    return Delivery(row, state, None if state == "queued" else after(settled), "")


def told_of(*deliveries, contacts=None, **more):
    rig = show(fixture(), contacts=contacts or [mail(), Contact("book", "folder", path="m")])
    job = only(
        changes(alert("start", at=1.0, do_by=3.0)),
        rig=rig,
        rehearsed=False,
        deliveries=deliveries,
        **more,
    )
    return job.told[0], job


def test_told_is_when_the_first_person_s_message_left():
    told, job = told_of(
        delivery(settled=1.2),
        delivery(settled=1.1),
        delivery("given-up", settled=1.0),
        delivery(contact="book", settled=1.0),
    )
    assert (told.told_at, told.state) == (after(1.1), "2 sent, 1 given up")
    # do by 15:00Z, told at 13:06Z
    assert job.lead_min == pytest.approx(114.0)


@pytest.mark.parametrize(
    ("found", "state"),
    [
        ([delivery(contact="book")], "folder only"),
        ([delivery("queued")], "waiting"),
        ([delivery("given-up")], "given up"),
        ([delivery("cancelled")], "overtaken by later word"),
        ([delivery(stage="notice")], "no message"),
        ([delivery(alert_id="other")], "no message"),
        ([delivery(at=2.0)], "no message"),
    ],
)
def test_who_was_not_told(found, state):
    told, job = told_of(*found)
    assert (told.told_at, told.state) == (None, state)
    assert job.lead_min is None


def test_a_folder_is_no_person():
    told, _ = told_of(delivery(contact="messages"), told_nobody=True)
    assert (told.told_at, told.state) == (None, "folder only")


def test_nothing_kept_is_not_told():
    told, _ = told_of()
    assert (told.told_at, told.state) == (None, "no message kept")


# ------------------------------------------------------------ words and figures


def test_ids_are_drawn_together_without_loss():
    assert id_ranges(["a1", "a2", "a3", "b", "c9", "c10"]) == (["a1 to a3", "b", "c9", "c10"], 0)
    assert id_ranges(["c8", "c9", "c10"]) == (["c8 to c10"], 0)
    assert id_ranges(["c08", "c09", "c10"]) == (["c08 to c10"], 0)
    assert id_ranges(["a1", "a3", "a2"]) == (["a1", "a3", "a2"], 0)
    assert id_ranges(["x1", "y1", "z1"], most=2) == (["x1", "y1"], 1)
    assert id_ranges([]) == ([], 0)


@pytest.mark.parametrize(
    ("used", "said"),
    [(0.0, "–"), (0.004, "<0.01"), (0.43, "0.43"), (0.9999, "0.99"), (1.0, "1.00"), (84.56, "84.5"),
     (265.9, "265")],
)  # fmt: skip
def test_used_is_never_rounded_up_to_a_mark(used, said):
    assert share(used) == said


def test_short_times_do_not_vanish():
    assert (hours(0.0), hours(0.01), hours(6.54)) == ("–", "<0.1", "6.5")
    assert (minutes(55.0), minutes(125.0), minutes(-20.0), minutes(None)) == (
        "55 min",
        "2 h 5 min",
        "20 min too late",
        "–",
    )
