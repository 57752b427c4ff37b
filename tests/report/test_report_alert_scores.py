"""From a show to its crossings, worked by hand: calm rain on unprotected and on IP44 gear."""

from __future__ import annotations

from dataclasses import replace

import pytest
from report_samples import (
    NOON,
    Page,
    after,
    alert,
    changes,
    entry,
    fixture,
    mail,
    material,
    position,
    show,
    weather,
)

from monitor.domain import Cover, Message
from monitor.report import write_report
from monitor.report.alert_scores import alert_scores, crossings
from monitor.report.bare import bare_log, with_bare
from monitor.report.jobs import jobs
from monitor.store.outbox import Delivery, OutboxRow

BAG = Cover("bag", "Bag", sealed=True, in_stock=9)


def made(rain, log=(), told=(), *, rig=None, **more):
    """Unprotected gear, 0.5 mm each: calm rain of 1 mm/h spends it in half an hour."""
    rig = rig or show(fixture("f1", "IP20", cover="bag"), covers=(BAG,))
    fell = weather(rain)
    return with_bare(material(rig, fell, log, changes=told, **more), fell, NOON.timestamp())


def judged(*args, **more):
    found = made(*args, **more)
    return alert_scores(found, jobs(found)).rows


def hours(seconds):
    return (seconds - NOON.timestamp()) / 3600.0


def test_what_was_kept_dry_would_have_been_spent_all_the_same():
    # Dry for 2 h, then 1 mm/h. Covered after 1 h: it took nothing, and left bare it would have
    # had its 0.5 mm at 2 h + 0.5 h.
    (found,) = crossings(made([0, 0, 1, 1], (entry(1.0, "covered"),)))
    assert hours(found.at_s) == pytest.approx(2.5)
    assert hours(found.spell_s) == 2.0
    assert found.kept_off
    assert (found.setup_min, found.work_min) == (2.0, 1.0)  # as the sample's position has it


def test_the_alert_that_was_followed_is_a_hit():
    # Told at 0.5 h, spent at 2.5 h: 120 min for 3 min of work.
    told = changes(alert("start", at=0.5, do_by=2.5), alert("stood-down", at=1.0, do_by=2.5))
    (row,) = judged([0, 0, 1, 1], (entry(1.0, "covered"),), told)
    assert (row.verdict, row.alert) == ("hit", "pole-1")
    assert row.given_min == pytest.approx(120.0)
    assert (row.needed_min, row.enough) == (3.0, True)


def test_covered_without_a_word_is_no_miss():
    (row,) = judged([0, 0, 1, 1], (entry(1.0, "covered"),))
    assert row.verdict == "kept-off-before"
    assert row.needed_min is None


def test_left_bare_and_told_nothing_is_a_miss():
    (row,) = judged([0, 0, 1, 1])
    assert (row.verdict, hours(row.at_s), row.needed_min) == ("missed", pytest.approx(2.5), 3.0)


def test_covered_too_late_is_judged_by_when_it_was_bare():
    # Covered at 2.25 h: half of its allowance is gone. It would have been spent at 2.5 h, told at
    # 2.4 h: 6 min for 3.
    told = changes(alert("start", at=2.4, do_by=2.5))
    (row,) = judged([0, 0, 1, 1], (entry(2.25, "covered"),), told)
    assert row.given_min == pytest.approx(6.0)
    assert row.verdict == "hit"


def test_every_wet_spell_is_judged_anew():
    # 1 mm in the third hour, then 7 dry hours, then 1 mm: parted by more than 6 h, two spells.
    # Covered through the first, bare in the second.
    rain = [0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 1, 0]
    log = (entry(1.0, "covered"), entry(4.0, "uncovered"))
    first, second = crossings(made(rain, log))
    assert (hours(first.at_s), first.kept_off) == (pytest.approx(2.5), True)
    assert (hours(second.at_s), second.kept_off) == (pytest.approx(10.5), False)
    # Bare in the first, it is spent then: in the second there was nothing left to lose.
    assert len(crossings(made(rain))) == 1
    # Found dry in between, it counts from nothing again.
    dry = entry(5.0, "inspected", result="dry")
    assert [hours(c.at_s) for c in crossings(made(rain, (dry,)))] == pytest.approx([2.5, 10.5])


def test_what_was_left_counts_and_not_all_of_it():
    # IP44 upright for hire: 25 mm. 15 mm bare in the first hour leave 10; covered, then 20 mm/h:
    # left bare from there they would have lasted half an hour, and 20 mm less than 25 would not.
    rig = show(fixture("f1", "IP44", mount="upright", cover="bag"), covers=(BAG,))
    rain = [15.0, *[0.0] * 7, 20.0]
    (found,) = crossings(made(rain, (entry(2.0, "covered"),), rig=rig))
    assert hours(found.at_s) == pytest.approx(8.5)


def test_false_and_called_off():
    # Two orders for rain that did not come; 20 h of record, due at 2 h, stood down at 3 h.
    told = changes(alert("start", at=0.5, do_by=2.0), alert("stood-down", at=3.0, do_by=2.0))
    (row,) = judged([0.0] * 20, told=told)
    assert (row.verdict, row.position) == ("false", "pole")
    # Only a notice: called off before anybody had to move.
    told = changes(alert("notice", at=0.5, do_by=2.0), alert("stood-down", at=3.0, do_by=2.0))
    assert judged([0.0] * 20, told=told) == ()
    # 3 h + 6 h are not over when the record ends after 8: not judged yet.
    told = changes(alert("start", at=0.5, do_by=2.0), alert("stood-down", at=3.0, do_by=2.0))
    assert judged([0.0] * 8, told=told)[0].verdict == "open"


def test_told_is_when_a_person_s_message_left():
    # Raised at 0.5 h, delivered at 1.5 h: an hour given, not two.
    told = changes(alert("start", at=0.5, do_by=2.5))
    message = Message("pole-1", "work", "start", "s", "t", "r", {}, "x", after(0.5))
    row = OutboxRow("k", 1, message, "crew", "a@example.org", after(0.5), after(3), 1)
    rig = show(fixture("f1", "IP20"), contacts=[mail()])
    sent = (Delivery(row, "sent", after(1.5), ""),)
    (found,) = judged([0, 0, 1, 1], told=told, rig=rig, deliveries=sent, rehearsed=False)
    assert found.given_min == pytest.approx(60.0)
    lost = (Delivery(row, "given-up", after(1.5), "refused"),)
    (found,) = judged([0, 0, 1, 1], told=told, rig=rig, deliveries=lost, rehearsed=False)
    assert found.verdict == "missed"


def test_the_bare_log_leaves_out_what_kept_water_off_and_no_load_out():
    order = (after(1), after(4), frozenset({"f1"}), "pole")
    log = (
        entry(0.5, "covered"),
        entry(2.0, "brought-in", fixture="f1"),
        entry(3.0, "inspected", result="dry"),
        entry(6.0, "brought-in"),
    )
    kept = bare_log(log, [order])
    assert [(e.at, e.entry) for e in kept] == [
        (after(0.5), "uncovered"),
        (after(2), "uncovered"),
        (after(6), "brought-in"),
    ]


def test_brought_in_at_load_out_ends_it():
    # Brought in at 1 h with no order: what falls at 2 h falls on nothing.
    assert crossings(made([0, 0, 1, 1], (entry(1.0, "brought-in"),))) == ()
    # Brought in because an alert asked: left out, it would have been spent.
    told = changes(alert("start", at=0.5, do_by=2.5, action="bring-in"))
    (row,) = judged([0, 0, 1, 1], (entry(1.0, "brought-in"),), told)
    assert (row.verdict, row.given_min) == ("hit", pytest.approx(120.0))


def test_the_page_has_a_line_for_each_and_says_what_fell(tmp_path):
    rig = show(
        fixture("f1", "IP20", cover="bag"),
        fixture("f2", "IP20", position="tent"),
        positions=(position(name="Pole, east"), position("tent", name="Tent")),
        covers=(BAG,),
    )
    order = alert("start", at=0.5, do_by=2.5)
    facts = replace(
        order.facts, rain_mm=3.0, wet_from=after(2), wet_to=after(4), issued_at=after(0.25),
        sources=("forecast A",),
    )  # fmt: skip
    told = changes(replace(order, facts=facts))
    write_report(tmp_path, made([0, 0, 1, 1], (entry(1.0, "covered"),), told, rig=rig))
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    hit, missed = page.rows("judged")
    assert hit[0] == "Pole, east (1) f1"
    # forecast 3 mm for 14:00Z to 16:00Z; 1 + 1 mm fell. Site time is an hour ahead.
    assert hit[1] == "3.0 mm Thu 1 Jul 15:00 to 17:00 issued Thu 1 Jul 13:15 fell: 2.0 mm"
    assert hit[2] == "Thu 1 Jul 13:30 pole-1"
    assert hit[3] == "Thu 1 Jul 15:30"
    assert hit[4] == "2 h 3 min"
    assert hit[5] == "done in time, Thu 1 Jul 14:00"
    assert hit[6] == "right, in time"
    assert (missed[0], missed[6]) == ("Tent (1) f2", "missed")
    assert "2 times gear took more than its share, or would have left bare" in page.said
    assert (
        "Told before: 1, of them too late for the work: 0. Missed: 1. False orders: 0." in page.said
    )
    assert "Too few to say how good the alerts are in general." in page.said
