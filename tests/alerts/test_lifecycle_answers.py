"""What the crew answers, and what it leaves to be told.

The job of every example: start by 22:00, due 22:30; its start is called at 21:00.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from alerts.lived import Life, care, gust, job, plan_of, seconds, the_show
from exposure.rigs import after, entry

from monitor.alerts import wording
from monitor.domain import Answered, Facts, Person, Worth
from monitor.planning.fell import Fell
from monitor.planning.workable import Span

SUKI = ("Suki",)


def said(what, at_h, alert="truss-1", **more):
    return Answered(at=after(at_h), alert=alert, answer=what, position="truss", **more)


def act_on_stage(until_h=None, start_h=9.2):
    until = float("inf") if until_h is None else seconds(until_h)
    return Span(seconds(start_h), until, "crew", says="act on stage, says Ines")


# ---------------------------------------------------------------- doing


def test_who_is_at_it_is_not_called_to_start_again():
    life = Life()
    doing = [said("doing", 8.5, by="Ines")]
    assert life.stages(8.0, plan_of(job())) == ["notice"]
    assert life.stages(9.0, plan_of(job(under_way=True)), answers=doing) == []
    later = job(10.6, 11.2, under_way=True)
    assert life.stages(9.3, plan_of(later), answers=doing) == []


def test_doing_is_not_done():
    life = Life()
    doing = [said("doing", 9.1, by="Ines")]
    life.at(9.0, plan_of(job()))
    (told,) = life.at(10.5, plan_of(job(under_way=True)), answers=doing)
    assert told.stage == "overdue"
    # 9.1 h after noon is 21:06
    assert told.facts.answered == ("Ines answered doing at 21:06",)


def test_who_is_at_it_is_told_to_stop_though_no_start_was_called():
    life = Life()
    life.at(8.0, plan_of(job()))
    doing = [said("doing", 8.2)]
    (told,) = life.at(8.5, plan_of(job(under_way=True), blocked=("truss",)), answers=doing)
    assert told.stage == "stop"


def test_who_is_at_it_hears_of_an_earlier_deadline_and_of_more():
    life = Life()
    life.at(9.0, plan_of(job(fixtures=("f1",), count=3)))
    doing = [said("doing", 9.1)]
    sooner = job(9.5, 10.1, fixtures=("f1",), count=3, under_way=True)
    # 24 minutes earlier
    assert life.stages(9.2, plan_of(sooner), answers=doing) == ["start"]
    (told,) = life.at(9.3, plan_of(job(9.5, 10.1, under_way=True)), answers=doing)
    assert told.fixtures == ("f1", "f2")


# ---------------------------------------------------------------- cannot


def test_cannot_is_told_once_with_what_is_left_and_again_a_quarter_of_an_hour_before():
    life = Life()
    life.at(9.0, plan_of(job(facts=Facts(rain_mm=9.0, who=("Ines", "Tomas")))))
    answers = [said("cannot", 9.2, by="Ines", because="act-on-stage")]
    cannot = job(cannot=act_on_stage())
    elsewhere = job(
        9.8, 10.4, position="lawn", fixtures=("g1",), count=1, facts=Facts(who=("Tomas",))
    )
    told = life.at(9.25, plan_of(cannot, elsewhere), answers=answers)
    (one,) = [a for a in told if a.position == "truss"]
    assert (one.stage, one.action, one.start_by) == ("notice", "isolate", None)
    assert one.do_by == after(10.5)
    assert one.reason.startswith("it cannot be done: act on stage, says Ines; ")
    # 9.2 h after noon is 21:12, 9.8 h is 21:48
    assert one.facts.answered == ("Ines answered cannot at 21:12: there is an act on stage",)
    assert "Planned now: Tomas at lawn, start by 21:48" in one.facts.extra
    for at in (9.3, 9.9, 10.2):
        again = life.at(at, plan_of(cannot, elsewhere), answers=answers)
        assert [a for a in again if a.position == "truss"] == []
    # somebody has to walk to the cut-off: that may wait for no quiet hour
    told = life.at(10.3, plan_of(cannot, elsewhere), answers=answers)
    (near,) = [a for a in told if a.position == "truss"]
    assert (near.stage, near.action, near.start_by) == ("start", "isolate", None)
    again = life.at(10.4, plan_of(cannot, elsewhere), answers=answers)
    assert [a for a in again if a.position == "truss"] == []
    told = life.at(10.5, plan_of(cannot, elsewhere), answers=answers)
    (late,) = [a for a in told if a.position == "truss"]
    assert (late.stage, late.action) == ("overdue", "isolate")


def test_isolated_ends_what_cannot_be_done():
    life = Life()
    answers = [said("cannot", 9.2)]
    life.at(9.0, plan_of(job()))
    life.at(9.25, plan_of(job(cannot=act_on_stage())), answers=answers)
    log = [entry(9.5, "isolated", position="truss", by="Suki")]
    (told,) = life.at(9.6, plan_of(job(cannot=act_on_stage())), log, answers=answers)
    assert (told.stage, told.action) == ("stood-down", "isolate")
    assert told.facts.logged_done
    assert life.at(9.7, plan_of(job(cannot=act_on_stage())), log, answers=answers) == []


def test_cannot_for_a_while_leaves_it_for_after():
    # the act is over at 21:30, a start at 21:45 is soon enough
    life = Life()
    answers = [said("cannot", 9.0, until=after(9.5))]
    life.at(8.0, plan_of(job(9.75)))
    waits = job(9.75, cannot=act_on_stage(9.5, 9.0))
    (told,) = life.at(9.05, plan_of(waits), answers=answers)
    assert (told.stage, told.action) == ("notice", "cover")
    assert "until 21:30" in told.reason
    assert life.at(9.2, plan_of(waits), answers=answers) == []
    (told,) = life.at(9.5, plan_of(job(9.75)), answers=answers)
    assert (told.stage, told.action) == ("start", "cover")


def test_without_a_cover_it_is_brought_in():
    life = Life()
    life.at(9.0, plan_of(job()))
    answers = [said("cannot", 9.1, because="no-cover")]
    (told,) = life.at(9.2, plan_of(job(9.9, action="bring-in")), answers=answers)
    assert (told.stage, told.action) == ("start", "bring-in")
    assert told.facts.answered == ("Somebody answered cannot at 21:06: there is no cover",)


# ---------------------------------------------------------------- not needed


def test_not_needed_is_quiet_by_the_clock():
    life = Life()
    life.at(8.0, plan_of(job()))
    answers = [said("not-needed", 8.1)]
    idle = job(None, not_needed=True)
    for at in (8.2, 9.0, 10.1, 10.6):
        assert life.at(at, plan_of(idle), answers=answers) == []


@pytest.mark.parametrize(
    ("due_h", "rain_mm", "told"),
    [
        (10.5, 9.0, False),
        (10.5 - 20 / 60, 9.0, False),
        (10.5 - 21 / 60, 9.0, True),
        (12.0, 9.0, False),
        (10.5, 13.4, False),
        # nine and a half of nine
        (10.5, 13.5, True),
        (10.5, 2.0, False),
    ],
)
def test_not_needed_is_asked_again_where_it_got_worse(due_h, rain_mm, told):
    life = Life()
    life.at(8.0, plan_of(job()))
    answers = [said("not-needed", 8.1)]
    worse = job(None, due_h, not_needed=True, facts=Facts(rain_mm=rain_mm))
    found = life.at(8.5, plan_of(worse), answers=answers)
    assert bool(found) is told
    if found:
        # 8.1 h after noon is 20:06
        assert found[0].facts.answered == ("Somebody answered not needed at 20:06",)
        assert life.at(8.6, plan_of(worse), answers=answers) == []


def test_not_needed_for_some_says_nothing_of_what_the_job_has_come_to_ask_for_since():
    life = Life()
    life.at(8.0, plan_of(job(fixtures=("f2",), count=1)))
    answers = [said("not-needed", 8.1, fixtures=("f2",))]
    # grown by f1: the plan holds the answer for what it was given to, not for the job any more
    (told,) = life.at(8.5, plan_of(job()), answers=answers)
    assert told.fixtures == ("f1", "f2")
    assert told.reason.startswith("more fixtures than told before")


def test_not_needed_and_spent_is_told():
    life = Life()
    life.at(9.0, plan_of(job()))
    answers = [said("not-needed", 9.1)]
    life.at(9.5, plan_of(job(None, not_needed=True)), answers=answers)
    (told,) = life.at(10.6, plan_of(spent=("f1", "f2")), answers=answers)
    assert (told.stage, told.action) == ("overdue", "isolate")
    assert told.facts.answered == ("Somebody answered not needed at 21:06",)


def test_the_last_answer_counts():
    life = Life()
    life.at(8.0, plan_of(job()))
    answers = [said("not-needed", 8.1), said("doing", 8.2)]
    life.at(8.5, plan_of(job(under_way=True)), answers=answers)
    assert life.stages(10.5, plan_of(job(under_way=True)), answers=answers) == ["overdue"]


def test_an_answer_to_another_alert_says_nothing_here():
    life = Life()
    life.at(8.0, plan_of(job()))
    answers = [said("doing", 8.1, alert="lawn-7")]
    assert life.stages(9.0, plan_of(job()), answers=answers) == ["start"]


# ---------------------------------------------------------------- no time left


def test_a_place_that_closes_before_anything_is_done_is_never_told_to_start():
    # gusts close it from 21:20; set-up and one fixture take longer
    life = Life()
    closing = Span(seconds(9.33), seconds(15.0), "gust", 14.0)
    short = job(15.2, late=True, no_time=closing, facts=Facts(access_limit_mps=10.0, late=True))
    life.at(8.0, plan_of(job()))
    (told,) = life.at(9.2, plan_of(short))
    assert (told.stage, told.action, told.start_by) == ("overdue", "isolate", None)
    assert told.facts.access_closes_at == after(9.33)
    assert told.facts.blocked_by == "gusts up to 14 m/s there, limit 10"
    assert life.at(9.25, plan_of(short)) == []


def test_where_there_is_time_after_the_closing_it_waits():
    life = Life()
    closing = Span(seconds(9.2), seconds(9.6), "thunder")
    waits = job(10.0, no_time=closing)
    assert life.stages(8.0, plan_of(job())) == ["notice"]
    assert life.stages(9.1, plan_of(waits)) == []  # no start while nobody may begin
    assert life.stages(9.7, plan_of(job(10.0))) == ["start"]


# ---------------------------------------------------------------- nobody there can


def test_what_nobody_there_can_do_is_isolated_and_never_told_to_be_covered():
    life = Life()
    short = job(missing="2 of 3 people it takes", late=True, late_by_s=float("inf"))
    (told,) = life.at(8.0, plan_of(short))
    assert (told.stage, told.action, told.people, told.minutes) == ("notice", "isolate", 1, None)
    assert (told.start_by, told.do_by, told.facts.late) == (None, after(10.5), False)
    assert told.reason.startswith("it cannot be done by who is there: 2 of 3 people it takes; ")
    for at in (9.3, 10.1, 10.2):
        assert life.at(at, plan_of(short)) == []
    (told,) = life.at(10.3, plan_of(short))
    assert (told.stage, told.action, told.start_by) == ("start", "isolate", None)
    (told,) = life.at(10.5, plan_of(short))
    assert (told.stage, told.action) == ("overdue", "isolate")


def test_when_somebody_comes_who_can_it_is_to_be_covered_again():
    life = Life()
    short = job(missing="nobody here holds a climb ticket", late=True, late_by_s=float("inf"))
    assert life.stages(8.0, plan_of(short)) == ["notice"]
    (told,) = life.at(8.2, plan_of(job()))
    assert (told.stage, told.action, told.start_by) == ("notice", "cover", after(10.0))


# ---------------------------------------------------------------- spent and live


def soaked(**more):
    wet = {"spent": ("f1", "f2"), "rain_ahead": {"truss": True}, **more}
    return plan_of(care(fixtures=("f1", "f2")), soaking={"truss": ("f1", "f2")}, **wet)


def test_one_message_for_wet_and_live_gear_and_the_look_inside_after_it():
    life = Life()
    (told,) = life.at(0.0, soaked())
    assert (told.stage, told.action, told.fixtures) == ("overdue", "isolate", ("f1", "f2"))
    assert told.facts.spent_live
    assert (told.count, told.people, told.isolate_at) == (4, 1, "DIST-1")
    assert (told.start_by, told.do_by) == (None, None)
    assert life.at(0.5, soaked()) == []
    log = [entry(0.6, "isolated", position="truss", by="Suki")]
    ended, look = life.at(0.7, soaked(), log)
    assert (ended.stage, ended.action, ended.facts.logged_done) == ("stood-down", "isolate", True)
    assert (look.stage, look.action) == ("notice", "inspect")
    # put on again in the rain
    log.append(entry(0.8, "energised", position="truss"))
    assert [a.action for a in life.at(0.9, soaked(), log)] == ["isolate"]


def test_a_cover_put_on_wet_and_live_gear_does_not_make_it_safe():
    life = Life()
    life.at(0.0, soaked())
    log = [entry(0.5, "covered", position="truss")]
    assert life.at(0.6, soaked(done=("f1", "f2")), log) == []


def test_wet_and_live_gear_is_to_be_looked_at_when_the_rain_is_over():
    life = Life()
    life.at(0.0, soaked())
    dry = plan_of(care(fixtures=("f1", "f2")), spent=("f1", "f2"))
    assert life.at(1.0, dry) == []
    (told,) = life.at(1.5, dry)
    # the same alert goes on: nothing is "no longer needed" while it is live
    assert (told.id, told.stage, told.action) == ("truss-1", "notice", "inspect")
    assert told.reason.startswith(
        "no more rain there in the next 12 h of the forecast, and nothing says that"
    )
    assert life.at(2.0, dry) == []


def test_never_over_on_missing_weather():
    life = Life()
    life.at(0.0, soaked())
    for at in (1.0, 2.0, 3.0):
        assert life.at(at, plan_of(spent=("f1", "f2"), blind=True)) == []


def test_more_that_is_spent_joins_the_order_that_stands():
    life = Life()
    life.at(9.0, plan_of(job()))
    rest = job(10.3, 10.8, fixtures=("f2",), count=1)
    (first,) = life.at(10.2, plan_of(rest, spent=("f1",)))
    assert (first.action, first.fixtures) == ("isolate", ("f1",))
    (over,) = life.at(11.2, plan_of(spent=("f1", "f2")))
    assert (over.stage, over.action) == ("stood-down", "cover")
    assert over.reason.startswith("it is too late for that")
    (kept,) = [o.alert for o in life.state.open]
    assert (kept.id, kept.fixtures, kept.count) == (first.id, ("f1", "f2"), 4)


def test_overdue_at_the_moment_it_is_spent_is_one_message():
    # at 22:30 by the forecast all of it is used: an order to cover it would be told to nobody
    life = Life()
    life.at(9.0, plan_of(job()))
    (told,) = life.at(10.5, plan_of(job(), used={"f1": 0.999, "f2": 1.0}))
    assert (told.stage, told.action) == ("overdue", "isolate")
    assert life.at(10.51, plan_of(care(fixtures=("f1", "f2")), spent=("f1", "f2"))) == []


def test_nobody_is_sent_to_isolate_in_thunder_or_over_the_wind_limit():
    life = Life()
    storm = Span(seconds(0.0), seconds(99.0), "thunder")
    site, there = life.at(0.0, soaked(storm=storm))
    assert (site.stage, site.position) == ("stop", None)
    # which place it is: nobody crosses open ground for it
    assert (there.stage, there.position, there.action) == ("stop", "truss", None)
    said = wording.message(there, there.at)
    assert said.subject == "Stop: wet and live, keep off truss"
    assert "Isolate at DIST-1, only from indoors or under a solid roof" in said.text
    assert said.radio.startswith("STOP. Wet and live, keep off truss. Come down, into a building")
    assert life.at(0.1, soaked(storm=storm)) == []
    life = Life()
    (told,) = life.at(0.0, soaked(blocked=("truss",)))
    assert (told.stage, told.position, told.action) == ("stop", "truss", None)
    assert life.at(0.1, soaked(blocked=("truss",))) == []
    assert life.at(0.2, soaked()) == []
    (told,) = life.at(0.8, soaked())
    assert (told.stage, told.action) == ("overdue", "isolate")


@pytest.mark.parametrize(
    ("measured", "says"),
    [
        ("all", "8.0 mm of rain fell from 21:00 to 22:18, measured on site"),
        ("some", "8.0 mm of rain fell from 21:00 to 22:18, measured on site as far as it was"),
        ("none", "8.0 mm of rain fell from 21:00 to 22:18 as far as is known, not measured"),
        ("record", "8.0 mm of rain fell from 21:00 to 22:18; 112 % of the allowance is used"),
    ],
)
def test_why_it_is_spent_tells_what_fell_and_not_the_forecast(measured, says):
    life = Life()
    life.at(9.0, plan_of(job(members=31, probability=0.4)))
    fell = Fell(8.0, after(9.0), after(10.3), measured)
    (told,) = life.at(10.4, plan_of(spent=("f1", "f2"), used={"f1": 1.12, "f2": 1.01}), fell=fell)
    assert says in told.reason
    assert told.reason.endswith("112 % of the allowance is used")
    facts = told.facts
    assert (facts.rain_mm, facts.wet_from, facts.gust_mps, facts.says_so) == (None,) * 4
    assert facts.used == 1.12
    assert (told.members, told.probability) == (0, None)


# ---------------------------------------------------------------- covers that come off


def off(**changes):
    return job(family="uncover", action="uncover", **changes)


def test_covers_that_come_off_are_work_with_a_time():
    life = Life()
    on = {"done": ("f1", "f2")}
    assert life.stages(0.0, plan_of(off(), **on)) == ["notice"]
    assert life.stages(9.0, plan_of(off(), **on)) == ["start"]
    assert life.stages(10.5, plan_of(off(), **on)) == ["overdue"]
    log = [entry(10.6, "uncovered", position="truss", by="Suki")]
    (told,) = life.at(10.7, plan_of(), log)
    assert (told.stage, told.facts.logged_done) == ("stood-down", True)
    # 10.6 h after noon is 22:36
    assert told.reason == "logged uncovered by Suki at Thu 22:36"


def test_brought_in_ends_it_as_well():
    life = Life()
    life.at(9.0, plan_of(off(), done=("f1", "f2")))
    log = [entry(9.2, "brought-in", position="truss")]
    (told,) = life.at(9.3, plan_of(inside=("f1", "f2")), log)
    assert told.facts.logged_done


def test_a_gust_that_is_not_coming_any_more_leaves_them_on():
    life = Life()
    on = {"done": ("f1", "f2")}
    life.at(0.0, plan_of(off(), **on))
    assert life.at(1.0, plan_of(**on)) == []
    (told,) = life.at(1.6, plan_of(**on))
    assert told.reason == "2 forecasts in a row no longer ask for the covers to come off"
    assert not told.facts.logged_done


# ---------------------------------------------------------------- hands


def theirs(*who, handed=(), **changes):
    return job(facts=Facts(rain_mm=9.0, who=who, handed_to=handed), **changes)


def test_other_hands_are_news_only_once_the_start_is_called():
    life = Life()
    life.at(8.0, plan_of(theirs("Ines")))
    assert life.at(8.2, plan_of(theirs("Suki"))) == []
    life.at(9.0, plan_of(theirs("Suki")))
    (told,) = life.at(9.1, plan_of(theirs("Dario")))
    assert told.reason.startswith("Dario instead of Suki: ")
    (told,) = life.at(9.2, plan_of(theirs("Dario", handed=SUKI)))
    assert told.reason.startswith("handed over to Suki: ")
    assert life.at(9.3, plan_of(theirs("Dario", handed=SUKI))) == []


def test_a_later_turn_with_the_same_deadline_is_no_news():
    life = Life()
    life.at(8.0, plan_of(theirs("Ines", start_h=9.5)))
    assert life.at(8.1, plan_of(theirs("Ines", start_h=10.0))) == []
    life.at(8.5, plan_of(theirs("Ines", start_h=9.5)))
    # told to start by 21:30: the turn moves to 22:00 and the order stands
    assert life.at(8.6, plan_of(theirs("Ines", start_h=10.0))) == []


def test_a_job_that_gets_later_and_later_is_not_told_each_time():
    life = Life()
    life.at(9.0, plan_of(job()))
    for at, start in ((9.5, 10.4), (10.0, 11.0), (10.2, 12.0)):
        assert life.at(at, plan_of(job(start, late=True))) == []


# ---------------------------------------------------------------- done, and not done


def test_done_only_where_the_log_says_the_very_thing():
    life = Life()
    life.at(9.0, plan_of(job()))
    (told,) = life.at(9.2, plan_of(done=("f1", "f2")), [entry(9.1, "covered", position="truss")])
    assert told.facts.logged_done
    life = Life()
    life.at(9.0, plan_of(job()))
    (told,) = life.at(
        9.2, plan_of(done=("f1", "f2")), [entry(9.1, "inspected", position="truss", result="dry")]
    )
    assert not told.facts.logged_done


def test_the_wind_is_no_stop_for_what_is_isolated_already():
    life = Life()
    life.at(0.0, soaked())
    log = [entry(0.1, "isolated", position="truss")]
    told = life.at(0.2, soaked(blocked=("truss",)), log)
    assert [(a.stage, a.action) for a in told if a.action == "isolate"] == [
        ("stood-down", "isolate")
    ]


# ---------------------------------------------------------------- worth


def test_what_acting_is_worth_is_said_beside_the_risk():
    # the risk of the show is a quarter where it is not set
    life = Life()
    (told,) = life.at(0.0, plan_of(job(facts=Facts(rain_mm=9.0, worth=Worth(80.0, 300.0, 0.4)))))
    assert told.facts.extra == (
        "Where no minute has a price, this show acts from a chance of 25 % on",
    )
    assert told.facts.worth == Worth(80.0, 300.0, 0.4)


# ---------------------------------------------------------------- what no hands are planned for


def test_what_does_not_pay_is_told_within_the_notice_and_not_days_before():
    # due 22:30 the next day, 34.5 h after noon; told twelve hours before that, at 22.5 h
    life = Life()
    idle = job(None, 34.5)
    assert life.stages(0.0, plan_of(idle)) == []
    assert life.stages(22.4, plan_of(idle)) == []
    assert life.stages(22.5, plan_of(idle)) == ["notice"]


def test_a_closing_makes_no_order_of_what_does_not_pay_or_is_not_needed():
    # gusts close it in four minutes; nobody was to begin there anyway, and rain is hours off
    closing = Span(seconds(0.07), seconds(3.0), "gust", 14.0)
    for idle in (
        job(None, 9.0, no_time=closing),
        job(None, 9.0, no_time=closing, action="isolate"),
        job(None, 9.0, no_time=closing, not_needed=True, late=True),
    ):
        (told,) = Life().at(0.0, plan_of(idle))
        assert (told.stage, told.action) == ("notice", idle.action)
        assert told.facts.blocked_by is None


def test_a_look_inside_waits_while_the_same_gear_is_wet_and_live():
    # both said stop in the wind; when it drops the power is cut first, and then it is opened
    life = Life()
    life.at(0.0, plan_of(care(fixtures=("f1", "f2"))))
    life.at(0.5, soaked(blocked=("truss",)))
    assert life.stages(1.0, soaked()) == []
    (told,) = life.at(1.6, soaked())
    assert (told.stage, told.action) == ("overdue", "isolate")
    assert life.at(2.5, soaked()) == []
    log = [entry(2.6, "isolated", position="truss")]
    told = life.at(2.7, soaked(), log)
    assert [(a.stage, a.action) for a in told] == [("stood-down", "isolate")]
    assert [(a.stage, a.action) for a in life.at(2.8, soaked(), log)] == [("notice", "inspect")]


def test_power_that_is_cut_for_what_cannot_be_done_is_no_word_of_the_forecast():
    # it still rains by the forecast: nothing is "no longer needed" because nobody can do it
    life = Life()
    life.at(8.0, plan_of(job()))
    shut = Span(seconds(8.1), float("inf"), "crew", None, "no lift, says Ines")
    stuck = job(None, 10.5, cannot=shut)
    log = [entry(8.2, "isolated", position="truss")]
    for at in (8.3, 8.7, 9.0, 10.0):
        assert life.at(at, plan_of(stuck), log) == []
    # the lift is there again
    (told,) = life.at(10.1, plan_of(job(10.2)), log)
    assert (told.stage, told.action) == ("start", "cover")


def test_wind_that_blows_over_the_limit_in_a_storm_is_waited_for_anew():
    life = Life()
    life.at(0.0, soaked())
    assert life.stages(0.2, soaked(blocked=("truss",))) == ["stop"]
    assert life.stages(0.3, soaked()) == []  # the wait begins
    storm = Span(seconds(0.4), seconds(2.0), "thunder", 14.0)
    for at in (0.4, 1.9):
        life.at(at, soaked(storm=storm))
    # the thunder is over by its own wait, and the wind has only just dropped
    assert life.stages(2.0, soaked()) == ["stood-down"]
    assert life.stages(2.4, soaked()) == []
    assert [(a.stage, a.action) for a in life.at(2.5, soaked())] == [("overdue", "isolate")]


def test_a_look_inside_told_when_the_wind_drops_is_told_once():
    life = Life()
    wet = care(fixtures=("f1", "f2"), facts=Facts(used=1.2, access_limit_mps=10.0))
    assert life.stages(0.0, plan_of(wet, blocked=("truss",), spent=("f1", "f2"))) == ["stop"]
    life.at(1.0, plan_of(wet, spent=("f1", "f2")))
    assert life.stages(1.6, plan_of(wet, spent=("f1", "f2"))) == ["notice"]
    assert life.at(1.7, plan_of(wet, spent=("f1", "f2"))) == []


def test_equal_hands_that_turn_round_are_told_to_nobody():
    # Ines is told to start; the next plans name Suki, then Ines: either can, and nobody is called
    crew = (Person("Ines"), Person("Suki"))
    described = the_show()
    life = Life(replace(described, crew=replace(described.crew, people=crew)))
    life.at(9.0, plan_of(theirs("Ines")))
    for at, who in ((9.05, "Suki"), (9.1, "Ines"), (9.15, "Suki")):
        assert life.at(at, plan_of(theirs(who))) == []
    # Ines is told to start elsewhere: now it is said who comes instead
    lawn = theirs("Ines", position="lawn", fixtures=("g1",))
    life.at(9.2, plan_of(theirs("Suki"), lawn))
    (told,) = life.at(9.25, plan_of(theirs("Suki"), lawn))
    assert (told.position, told.facts.who) == ("truss", ("Suki",))


def test_no_new_order_is_told_in_a_lull_while_a_stop_stands_there():
    # stopped at 21:30; at 22:00 the wind is under the limit, and the stop waits for minutes
    life = Life()
    life.at(9.0, plan_of(job()))
    assert life.stages(9.5, plan_of(job(), blocked=("truss",))) == ["stop"]
    off = job(10.2, 10.7, family="uncover", action="uncover")
    assert life.stages(10.0, plan_of(job(), off)) == []
    assert sorted(life.stages(10.6, plan_of(job(), off))) == ["overdue", "start"]


# ---------------------------------------------------------------- spent while a stop stands


def test_what_is_spent_in_thunder_is_told_then_and_to_be_isolated_first_when_that_ends():
    life = Life()
    storm = Span(seconds(9.5), seconds(10.5), "thunder")
    life.at(9.2, plan_of(job()))
    assert [a.position for a in life.at(9.5, plan_of(job(), storm=storm))] == [None]
    (told,) = life.at(10.0, soaked(storm=storm))
    assert (told.stage, told.position, told.facts.spent_live) == ("stop", "truss", True)
    assert (told.facts.blocked_by, told.facts.blocked_until) == ("thunder", after(10.5))
    assert life.at(10.2, soaked(storm=storm)) == []
    # the thunder is over: the power first, then the word that it is over
    first, *rest = life.at(10.6, soaked())
    assert (first.id, first.stage, first.action) == (told.id, "overdue", "isolate")
    assert "stop" not in [a.stage for a in rest]
    assert {a.id for a in rest if a.stage == "stood-down"} >= {"site-2"}


def test_wind_in_the_storm_is_waited_for():
    life = Life()
    storm = Span(seconds(9.5), seconds(10.5), "thunder")
    life.at(9.5, soaked(storm=storm))
    blows = {"blocked": {"truss": gust(10.55)}}
    life.at(10.4, replace(soaked(storm=storm), **blows))
    assert [a.position for a in life.at(10.6, soaked())] == [None]
    (told,) = life.at(11.2, soaked())
    assert (told.stage, told.action) == ("overdue", "isolate")


def test_a_stop_for_wind_that_was_told_is_told_again_when_gear_there_is_spent_and_live():
    life = Life()
    life.at(9.2, plan_of(job()))
    (stop,) = life.at(9.5, plan_of(job(), blocked=("truss",)))
    assert (stop.stage, stop.facts.spent_live) == ("stop", False)
    (told,) = life.at(10.0, soaked(blocked=("truss",)))
    assert (told.stage, told.facts.spent_live) == ("stop", True)
    text = wording.message(told, told.at).text
    assert text.startswith("Stop. truss is wet and live: keep off.")
    assert "Past the allowance there, and nothing says that it is isolated: 4 fixtures." in text
    assert life.at(10.1, soaked(blocked=("truss",))) == []


def test_one_stop_where_wind_and_water_come_in_one_moment():
    life = Life()
    life.at(9.2, plan_of(job()))
    (told,) = life.at(9.5, soaked(blocked=("truss",)))
    assert (told.stage, told.facts.spent_live) == ("stop", True)
    assert life.at(9.6, soaked(blocked=("truss",))) == []
    life.at(9.7, soaked())
    first, *_ = life.at(10.4, soaked())
    assert (first.stage, first.action) == ("overdue", "isolate")


def test_a_stop_for_thunder_names_what_is_to_be_isolated_already():
    life = Life()
    life.at(9.0, soaked())
    (told,) = life.at(9.5, soaked(storm=Span(seconds(9.5), seconds(10.5), "thunder")))
    assert "Wet and live, keep off: truss." in wording.message(told, told.at).text


# ---------------------------------------------------------------- hours late


@pytest.mark.parametrize(
    ("late_h", "action"), [(3.0, "cover"), (3.01, "isolate"), (19.0, "isolate")]
)
def test_what_would_be_done_hours_late_is_isolated(late_h, action):
    life = Life()
    (told,) = life.at(8.0, plan_of(job(late=True, late_by_s=late_h * 3600.0)))
    assert told.action == action
    if action == "isolate":
        assert "it would be done more than 3 h late" in told.reason
        text = wording.message(told, told.at).text
        assert "Start by" not in text
        assert "late at best" not in text
