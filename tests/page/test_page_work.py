"""Cards and banners from alerts of our own; the moment is Thursday 20:40Z, 21:40 on site."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from page_site import THURSDAY

from monitor.domain import Answered
from monitor.page.banners import banners
from monitor.page.clears import clears
from monitor.page.work import ahead, apart, cards, in_turn, orders_at
from monitor.planning.rain_over import Spell
from monitor.planning.workable import Span
from monitor.service.declared import DeclaredSaid, declarations, keep_declared
from monitor.service.escalation import standing
from monitor.store.answers import record_answer
from monitor.store.database import immediate


def after(**gap):
    return THURSDAY + timedelta(**gap)


def stands(stage):
    with stage.db() as db:
        return standing(db, stage.watch.current.show, stage.now)


def found(stage, plan=None):
    return cards(stands(stage), plan, stage.watch.current.show, stage.now)


def test_late_first_then_by_start_by_then_what_has_no_time(stage):
    stage.tell("inspect", "bar-canopy", "inspect", stage="notice", minutes=None)
    stage.tell("soon", "tower-a", "cover", start_by=after(minutes=20), do_by=after(minutes=60))
    stage.tell("sooner", "tower-b", "cover", start_by=after(minutes=5), do_by=after(minutes=90))
    stage.tell("late", "stage-lip", "cover", stage="overdue", do_by=after(minutes=-5))
    stage.tell(
        "ahead", "avenue", "cover", stage="notice", start_by=after(hours=5), do_by=after(hours=6)
    )
    shown = found(stage)
    assert [card.id for card in shown] == ["late", "sooner", "soon", "ahead", "inspect"]
    assert [card.press for card in shown] == ["now", "start", "start", "plan", "any-time"]
    near, far = apart(shown, stage.now)
    assert [card.id for card in near] == ["late", "sooner", "soon"]
    assert [card.id for card in far] == ["ahead", "inspect"]


def test_the_clock_counts_to_the_start_and_then_to_the_end(stage):
    stage.tell("one", "tower-a", "cover", start_by=after(minutes=20), do_by=after(minutes=60))
    stage.tell("two", "tower-b", "cover", start_by=after(minutes=-1), do_by=after(minutes=30))
    by_id = {card.id: card for card in found(stage)}
    assert (by_id["one"].counts_to, by_id["one"].counts_what) == (after(minutes=20), "start")
    assert (by_id["two"].counts_to, by_id["two"].counts_what) == (after(minutes=30), "done")


def test_hands_are_off_when_the_access_closes(stage):
    """Wind closes it before the water is due: that is when people have to be down."""
    closes = after(minutes=50)
    stage.tell(
        "one",
        "tower-a",
        "cover",
        start_by=after(minutes=20),
        do_by=after(hours=5),
        access_closes_at=closes,
    )
    card = found(stage)[0]
    assert (card.done_by, card.closes_at) == (closes, closes)


def test_a_thunder_stop_holds_everything_up(stage):
    stage.tell("site-1", None, None, kind="stop", stage="stop", blocked_by="thunder")
    stage.tell("one", "tower-a", "cover", start_by=after(minutes=20), do_by=after(minutes=60))
    assert [(card.id, card.held) for card in found(stage)] == [("one", "")]


def test_a_stop_at_one_place_holds_up_no_other(stage):
    stage.tell(
        "wind-1",
        "tower-b",
        "cover",
        stage="stop",
        blocked_by="gust 14 m/s at 9 m, limit 12.5",
        blocked_until=after(hours=4),
    )
    stage.tell("one", "stage-lip", "cover", start_by=after(minutes=20), do_by=after(minutes=60))
    assert [(card.id, card.held) for card in found(stage)] == [("one", None)]
    (banner,) = banners(stands(stage), stage.watch.current.show, stage.now, stage.now)
    assert banner.what == "closed"
    assert [one.places for one in banner.closed] == [("Delay tower B",)]
    assert banner.closed[0].until == after(hours=4)


def test_a_stop_at_one_place_holds_up_what_has_to_be_reached_there(stage):
    """Also before the first plan: the page never says both stop and begin of a place."""
    until = after(hours=4)
    stage.tell("wind-1", "tower-b", "cover", stage="stop", blocked_until=until)
    stage.tell("one", "tower-b", "cover", stage="notice", start_by=after(minutes=20))
    stage.tell("two", "tower-b", "isolate", stage="overdue", do_by=after(minutes=-5))
    held = {card.id: (card.held, card.held_until) for card in found(stage)}
    assert held["one"] == ("closed", until)
    assert held["two"][0] is None


def test_an_inspection_is_not_done_by_one_tap(stage):
    stage.tell("one", "bar-canopy", "inspect", stage="notice")
    stage.tell("two", "bar-canopy", "cover")
    assert {card.id: card.can_be_done for card in found(stage)} == {"one": False, "two": True}


def test_the_last_answer_stands_on_the_card(stage):
    stage.tell("one", "tower-a", "cover")
    with stage.db() as db, immediate(db):
        record_answer(db, Answered(after(minutes=-3), "one", "doing", by="Ines"))
        record_answer(
            db, Answered(after(minutes=-1), "one", "cannot", because="no-lift", by="Suki")
        )
    answered = found(stage)[0].answered
    assert (answered.by, answered.answer, answered.because) == ("Suki", "cannot", "no-lift")


def test_an_answer_stands_by_what_it_was_asked_and_by_nothing_else(stage):
    """Sam cannot cover; then the order is to isolate: that he cannot was never said of it."""
    stage.tell("one", "tower-a", "isolate", stage="overdue")
    cannot = Answered(after(minutes=-6), "one", "cannot", by="Sam", action="cover")
    done = Answered(after(minutes=-2), "one", "done", by="Ines", action="isolate")
    with stage.db() as db, immediate(db):
        record_answer(db, cannot)
    card = found(stage)[0]
    assert (card.answered, card.answered_other) == (None, cannot)
    with stage.db() as db, immediate(db):
        record_answer(db, done)
    card = found(stage)[0]
    assert (card.answered, card.answered_other) == (done, None)
    # The order is to cover again: done was to isolate, and his word on covering still stands.
    stage.now = after(minutes=1)
    stage.tell("one", "tower-a", "cover")
    card = found(stage)[0]
    assert (card.answered, card.answered_other) == (cannot, done)


def test_what_comes_later_stands_by_its_time_told_or_not(stage):
    """Tower A is told of for half past one at night; what nobody was told of stands around it."""
    seen = stage.evaluate(THURSDAY)
    show = stage.watch.current.show
    first = replace(seen.found.plan.jobs[0], not_needed=False, cannot=None)
    job = replace(first, position="stage-lip", start_by_s=after(hours=1).timestamp())
    until = after(hours=9).timestamp()
    held = Span(after(hours=0).timestamp(), until, "crew", says="no lift, says Sam")
    jobs = (
        job,
        replace(job, position="avenue", start_by_s=after(hours=6).timestamp()),
        replace(job, position="tower-b", cannot=held),
        replace(job, position="bar-canopy", cannot=replace(held, end_s=math.inf)),
    )
    stage.tell("one", "tower-a", "cover", stage="notice", start_by=after(hours=4))
    told = [one for one in stands(stage) if one.alert.id == "one"]
    plan = replace(seen.found.plan, jobs=jobs)
    rows = in_turn(cards(told, None, show, stage.now), ahead(told, plan, show))
    places = [getattr(one, "alert", None) or one.job for one in rows]
    assert [one.position for one in places] == [
        "stage-lip",
        "tower-a",
        "avenue",
        "tower-b",
        "bar-canopy",
    ]
    by_place = {one.job.position: one for one in rows if hasattr(one, "job")}
    assert (by_place["tower-b"].cannot, by_place["tower-b"].cannot_until) == (
        "no lift, says Sam",
        after(hours=9),
    )
    assert by_place["bar-canopy"].cannot_until is None


def test_what_is_wet_and_live_comes_first_in_a_stop(stage):
    for n, (place, live) in enumerate((("tower-a", False), ("tower-b", True))):
        stage.tell(
            f"wind-{n}",
            place,
            "isolate",
            stage="stop",
            blocked_by="gust 14 m/s",
            blocked_until=after(hours=4),
            spent_live=live,
        )
    (banner,) = banners(stands(stage), stage.watch.current.show, stage.now, stage.now)
    assert [(one.places, one.spent_live) for one in banner.closed] == [
        (("Delay tower B",), True),
        (("Delay tower A",), False),
    ]


def test_gravest_banner_first(stage):
    stage.tell("delivery-x", None, None, kind="delivery", reason="the mail server is silent")
    stage.tell("weather-1", None, None, kind="weather", reason="the feed is too old")
    stage.tell("site-1", None, None, kind="stop", stage="stop", blocked_by="thunder")
    shown = banners(stands(stage), stage.watch.current.show, stage.now, None)
    assert [banner.what for banner in shown] == ["stop", "lost", "not-worked-out", "trouble"]
    assert shown[0].thunder


@pytest.mark.parametrize(("minutes", "what"), [(2, []), (4, ["stale"])])
def test_a_monitor_that_works_nothing_out_is_said(stage, minutes, what):
    shown = banners((), stage.watch.current.show, stage.now, after(minutes=-minutes))
    assert [banner.what for banner in shown] == what


def test_jobs_that_nobody_was_told_of_yet(stage):
    seen = stage.evaluate(THURSDAY)
    plan, show = seen.found.plan, stage.watch.current.show
    shown = stands(stage)
    told = {(one.alert.position, one.alert.action) for one in shown}
    rest = {(one.job.position, one.job.action) for one in ahead(shown, plan, show)}
    assert not rest & told
    assert rest | told >= {(job.position, job.action) for job in plan.jobs}
    # The stage right ladder takes no water before Saturday's storm: no order yet.
    assert ("ladder-right", "cover") in rest


def test_orders_by_place(stage):
    stage.tell("one", "tower-a", "cover")
    stage.tell("two", "tower-a", "isolate")
    assert {place: len(there) for place, there in orders_at(found(stage)).items()} == {"tower-a": 2}


def test_three_clears_are_kept_apart(stage):
    show = stage.watch.current.show
    at_s = THURSDAY.timestamp()
    with stage.db() as db:
        keep_declared(db, DeclaredSaid("height", "Odile"), show, stage.now, str)
        said = declarations(db)
    shown = clears([Spell(at_s - 3600.0, at_s - 600.0)], said, show, stopped=False)
    assert shown.rain_since is None
    assert shown.rain_over_at == after(minutes=-10)
    assert [(one.by, one.place, one.ended_by) for one in shown.height] == [("Odile", None, None)]
    assert shown.power == ()
    assert clears([Spell(at_s - 3600.0)], (), show, stopped=False).rain_since == after(hours=-1)


def test_a_stop_ends_what_was_declared(stage):
    show = stage.watch.current.show
    with stage.db() as db:
        keep_declared(db, DeclaredSaid("height", "Odile", position="tower-a"), show, stage.now, str)
    stage.now = after(minutes=5)
    stage.tell("site-1", None, None, kind="stop", stage="stop", blocked_by="thunder")
    with stage.db() as db:
        (one,) = clears((), declarations(db), show, stopped=True).height
    assert (one.place, one.ended_by, one.ended_at) == ("Delay tower A", "stop", after(minutes=5))
