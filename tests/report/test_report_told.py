"""What was told to whom, what was answered, whose fixtures they are, and what was read of them.

IP20 pieces in a calm: 0.5 mm is their allowance, so 3.9 mm is 7.8 times that.
"""

from __future__ import annotations

from dataclasses import replace

from report.report_samples import (
    Page,
    after,
    alert,
    changes,
    entry,
    fixture,
    mail,
    material,
    read_csv,
    show,
    weather,
)

from monitor.domain import Answered, Contact, Message, Turn
from monitor.report import write_report
from monitor.report.jobs import jobs
from monitor.report.page import page
from monitor.store.outbox import Delivery, OutboxRow

RAIN = [0.0, 0.0, 0.0, 3.9, 0.0]
"""From 15:00Z, 16:00 on site"""
ASKED = (
    alert("notice", at=0.5, do_by=3.0, fixtures=("f1", "f2"), count=2),
    alert("start", at=1.0, do_by=3.0, fixtures=("f1", "f2"), count=2),
)
INSTEAD = alert("start", at=1.5, do_by=3.0, action="isolate", fixtures=("f1", "f2"), count=2)


def made(*told, log=(), rain=RAIN, **more):
    rig = more.pop("rig", None) or show(fixture(), fixture("f2"))
    return material(rig, weather(rain), log, changes=changes(*told), **more)


def cannot(hours=1.25, **more):
    return Answered(after(hours), "pole-1", "cannot", because="act-on-stage", **more)


def row(found):
    (one,) = Page(page(found)).rows("alerts")
    return one


# ---------------------------------------------------------------- asked, and not done


def test_what_was_isolated_instead_is_not_covered():
    # Answered cannot, isolated at 14:00Z, an hour before it had to be covered; then it rained.
    found = made(*ASKED, INSTEAD, log=(entry(2.0, "isolated"),), answered=(cannot(),))
    (job,) = jobs(found)
    assert (job.asked, job.came, job.done_at) == ("cover", "isolated", None)
    assert job.isolated_at == after(2.0)
    said = row(found)
    assert said[0] == "Cover 2 pole-1"
    assert "start: isolate Thu 1 Jul 14:30" in said[2]
    assert said[6].startswith(
        "not covered: cannot (act on stage), isolated Thu 1 Jul 15:00; took 7.80 times the "
        "allowance"
    )
    assert "done in time" not in said[6]
    head = Page(page(found)).said
    assert "With a deadline: 0 done in time, 0 done late, 1 isolated instead, 0 missed." in head


def test_isolated_once_it_was_spent_is_missed_and_says_both():
    # 0.5 of 3.9 mm is reached 60 x 0.5 / 3.9 = 7.7 min after 16:00 on site.
    found = made(*ASKED, log=(entry(3.5, "isolated"),))
    (job,) = jobs(found)
    assert job.came == "missed"
    assert row(found)[6] == (
        "not covered: isolated Thu 1 Jul 16:30; took 7.80 times the allowance; by what fell an "
        "allowance was spent Thu 1 Jul 16:07"
    )


def test_part_covered_and_the_rest_isolated():
    log = (entry(1.5, "covered", fixture="f1"), entry(2.0, "isolated", fixture="f2"))
    found = made(*ASKED, log=log, rain=[0.0] * 5)
    assert jobs(found)[0].came == "isolated"
    assert row(found)[6] == "1 of 2 covered, the rest not: isolated Thu 1 Jul 15:00"


def test_answered_cannot_and_nothing_logged():
    found = made(*ASKED, answered=(cannot(by="Kit"),), rain=[0.0] * 5)
    assert jobs(found)[0].came == "missed"
    assert row(found)[6].startswith("not covered: cannot (act on stage) Cannot be done")


def test_answered_cannot_and_covered_all_the_same_is_done():
    found = made(*ASKED, log=(entry(2.0, "covered"),), answered=(cannot(),))
    assert jobs(found)[0].came == "in-time"
    assert row(found)[6].startswith("done in time, Thu 1 Jul 15:00")


def test_what_was_only_to_be_isolated_is_done_when_it_is():
    told = replace(INSTEAD, stage="start")
    found = made(told, log=(entry(2.0, "isolated"),))
    assert jobs(found)[0].came == "in-time"
    assert row(found)[0] == "Isolate 2 pole-1"


def test_the_table_for_a_spreadsheet_says_it_too(tmp_path):
    write_report(tmp_path, made(*ASKED, INSTEAD, log=(entry(2.0, "isolated"),)))
    rows = read_csv(tmp_path / "alerts.csv")
    assert {one["outcome"] for one in rows} == {"isolated instead"}
    assert {one["done_at"] for one in rows} == {""}
    assert {one["isolated_at"] for one in rows} == {"2027-07-01T15:00:00+01:00"}
    assert {float(one["took"]) for one in rows} == {7.8}


# ---------------------------------------------------------------- told and answered


def turn(hours, *contacts, because="told", stage="start", alert_id="pole-1"):
    return Turn(after(hours), alert_id, stage, "cover", contacts, because)


def delivery(state, queued, settled, contact):
    message = Message("pole-1", "work", "start", "s", "t", "r", {}, "thread", after(queued))
    line = OutboxRow(f"{contact}{queued}", 1, message, contact, "a@b", after(queued), after(9), 1)
    return Delivery(line, state, None if settled is None else after(settled), "")


def test_who_was_told_and_who_answered():
    rig = show(fixture(), contacts=[mail("Ines"), mail("Moss"), mail("Bex")])
    found = made(
        alert("start", at=1.0, do_by=3.0),
        rig=rig,
        rehearsed=False,
        turns=(
            turn(1.0, "Ines", "Moss", "Post"),
            turn(1.1, "Bex", because="no-answer"),
            turn(1.2, alert_id="pole-1"),
            turn(1.3, "Ines", alert_id="other-2"),
        ),
        deliveries=(
            delivery("sent", 1.0, 1.001, "Ines"),
            delivery("sent", 1.0, 1.05, "Moss"),
            delivery("given-up", 1.0, 1.5, "Post"),
            delivery("queued", 1.1, None, "Bex"),
        ),
        answered=(Answered(after(1.25), "pole-1", "doing", by="Moss"),),
    )
    (one,) = Page(page(found)).rows("heard")
    # 12:00Z is 13:00 on site; a tenth of an hour is 6 minutes, 0.05 of it 3
    assert one[0] == "Cover 1 pole-1"
    assert one[2] == (
        "Thu 1 Jul 14:00 Ines, Moss (sent Thu 1 Jul 14:03) and Post (given up): start "
        "Thu 1 Jul 14:06 Bex (waiting): start, nobody had answered"
    )
    assert one[3] == "Doing it, Moss, Thu 1 Jul 14:15"


def test_an_alert_that_came_back_has_its_own_row():
    told = (
        alert("start", at=0.5, do_by=1.0),
        alert("stood-down", at=0.8),
        alert("start", at=2.0, do_by=3.0),
    )
    found = made(*told, turns=(turn(0.5, "Ines"), turn(2.0, "Bex")))
    first, second = Page(page(found)).rows("heard")
    assert (first[2], first[3]) == ("Thu 1 Jul 13:30 Ines: start", "nobody")
    assert second[2] == "Thu 1 Jul 15:00 Bex: start"


def test_names_of_contacts_are_escaped():
    found = made(alert("start", at=1.0, do_by=3.0), turns=(turn(1.0, "<b>Ines</b>"),))
    html = page(found)
    assert "<b>Ines</b>" not in html
    assert "<b>Ines</b>: start" in Page(html).rows("heard")[0][2]


def test_nobody_told_has_no_table():
    assert "Told and answered" not in page(made(*ASKED))


# ---------------------------------------------------------------- readings and owners


def test_the_readings_of_an_inspection_stand_in_the_log():
    log = (
        entry(1.0, "inspected", result="dry", fixture="f1", earth_ohm=0.08, insulation_mohm=250.0),
        entry(1.0, "inspected", result="dry", fixture="f2", earth_ohm=0.12),
        entry(2.0, "covered"),
    )
    rows = Page(page(made(log=log))).rows("log")
    # readings that differ are not drawn together
    assert [one[2:6] for one in rows] == [
        ["f1", "dry", "0.08", "250"],
        ["f2", "dry", "0.12", ""],
        ["pole", "", "", ""],
    ]


def test_without_readings_the_log_has_no_columns_for_them():
    rows = Page(page(made(log=(entry(2.0, "covered"),)))).rows("log")
    assert rows == [["Thu 1 Jul 15:00", "covered", "pole", "", "", ""]]


def test_each_owner_finds_their_own():
    # IP20 is spent 3.9 / 0.5 = 7.8 times; IP44 on hire stands 25 mm: 3.9 / 25 = 0.156
    rig = show(
        fixture("a", owner="Lantern Hire", count=2),
        fixture("b", owner="Field <Light>"),
        fixture("c", "IP44", owner="Lantern Hire"),
        fixture("d", "IP44"),
    )
    found = Page(page(made(rig=rig)))
    rows = found.rows("owners")
    assert [one[:2] for one in rows] == [
        ["Field <Light>", "1"],
        ["Lantern Hire", "3"],
        ["owner not said", "1"],
    ]
    assert rows[1][2] == "2 over their allowance at some time 1 within half of it"
    assert rows[1][3] == "7.80, a"
    assert rows[1][4].startswith("Dry and inspect (2): a")
    assert rows[2][3] == "0.15, d"
    cells = [one[0] for one in found.rows("fixtures") if len(one) > 1]
    # the same exposure of two owners is one line that names both
    assert any("Owner: Lantern Hire 2, Field <Light> 1" in cell for cell in cells)


def test_no_owner_named_no_table():
    found = page(made())
    assert "Owner by owner" not in found
    assert "Owner:" not in found


def test_a_folder_is_told_too():
    rig = show(fixture(), contacts=[Contact("book", "folder", path="m")])
    found = made(alert("start", at=1.0, do_by=3.0), rig=rig, turns=(turn(1.0, "book"),))
    assert Page(page(found)).rows("heard")[0][2] == "Thu 1 Jul 14:00 book: start"
