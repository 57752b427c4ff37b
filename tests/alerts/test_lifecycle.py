"""The life of an alert: told when, told again when, ended when, each with its reason.

The job of every example: start by 22:00, due 22:30. Notice is twelve hours before the start
(10:00, so from noon on), the start is called an hour before it, at 21:00.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from alerts.lived import (
    FIXTURES,
    Life,
    care,
    job,
    plan_of,
    seconds,
    the_show,
    thunder,
)
from exposure.rigs import after, entry

from monitor.domain import Facts
from monitor.planning.dark import Feeding

# ---------------------------------------------------------------- notice, start, overdue


def test_notice_start_overdue_under_one_id():
    life = Life()
    plan = plan_of(job())
    told = life.at(0.0, plan)
    told += life.at(8.99, plan)
    told += life.at(9.0, plan)
    told += life.at(10.2, plan)
    # at 22:30 the allowance is spent, so the plan has no job to cover any more
    told += life.at(10.5, plan_of(care(fixtures=("f1", "f2")), spent=("f1", "f2")))
    # Spent and live: one message for the position, to isolate. It was "overdue: cover" beside a
    # notice to inspect; both come after its power is cut.
    assert [(a.stage, a.action, a.at) for a in told] == [
        ("notice", "cover", after(0.0)),
        ("start", "cover", after(9.0)),
        ("overdue", "isolate", after(10.5)),
    ]
    assert {a.id for a in told} == {"truss-1"}
    assert told[-1].facts.spent_live
    assert told[-1].reason == ("the allowance is spent and nothing says that it is isolated")
    first = told[0]
    assert (first.count, first.people, first.minutes) == (4, 2, 30.0)
    assert (first.start_by, first.do_by) == (after(10.0), after(10.5))
    assert first.isolate_at == "DIST-1"


def test_a_spent_supply_is_told_with_what_is_dark_without_it():
    # f2 feeds the lamp on the lawn: 1 fixture. The rain goes on, so both is said.
    rows = (*FIXTURES[:2], replace(FIXTURES[2], fed_by="f2"))
    described = replace(the_show(), fixtures=rows)
    fed = Feeding.of(described)
    life = Life(described)
    life.at(0.0, plan_of(job(), feeding=fed))
    wet = {"truss": True, "lawn": False}
    (told,) = life.at(10.5, plan_of(spent=("f1", "f2"), feeding=fed, rain_ahead=wet))
    assert (told.stage, told.action) == ("overdue", "isolate")
    assert told.facts.extra == (
        "More water reaches it on this forecast",
        "1 fixture at lawn is dark without f2.",
    )


def test_what_is_soaking_untold_says_it_too():
    described = replace(the_show(), fixtures=(*FIXTURES[:2], replace(FIXTURES[2], fed_by="f2")))
    plan = plan_of(
        spent=("f2",),
        soaking={"truss": ("f2",)},
        blocked=("truss",),
        feeding=Feeding.of(described),
    )
    (told,) = Life(described).at(0.0, plan)
    assert told.stage == "stop"
    assert told.facts.extra == ("1 fixture at lawn is dark without f2.",)


def test_not_told_before_the_notice():
    life = Life()
    assert life.stages(0.0, plan_of(job(12.1, 13.0))) == []
    assert life.stages(0.1, plan_of(job(12.1, 13.0))) == ["notice"]


def test_what_is_spent_before_it_was_due_was_due_by_then():
    # Measured rain spends it an hour before the forecast said; the access had been shut at 20:30.
    life = Life()
    closed = replace(job().facts, access_closes_at=after(8.5))
    life.at(0.0, plan_of(job(facts=closed)))
    (told,) = life.at(9.5, plan_of(spent=("f1", "f2")))
    assert (told.stage, told.do_by) == ("overdue", after(9.5))
    assert told.facts.access_closes_at is None


def test_overdue_by_the_clock_alone():
    life = Life()
    assert life.stages(10.5, plan_of(job())) == ["overdue"]
    assert life.stages(11.0, plan_of(job())) == []


@pytest.mark.parametrize(
    ("call_out", "margin", "minutes"),
    [(0, 60, 60), (30, 60, 60), (45, 60, 65), (90, 60, 110), (0, 5, 20), (0, 20, 20)],
)
def test_start_is_never_called_later_than_the_call_out_and_twenty_minutes(
    call_out, margin, minutes
):
    life = Life(the_show(call_out=call_out, start_margin_minutes=margin))
    before = 10.0 - minutes / 60
    assert life.stages(before - 0.001, plan_of(job())) == ["notice"]
    assert life.stages(before + 0.001, plan_of(job())) == ["start"]


def test_one_message_a_job_and_two_jobs_have_two_ids():
    life = Life()
    lawn = job(position="lawn", fixtures=("g1",), count=1)
    told = life.at(0.0, plan_of(job(), lawn))
    assert [(a.id, a.position, a.count) for a in told] == [
        ("truss-1", "truss", 4),
        ("lawn-2", "lawn", 1),
    ]
    assert [a.id for a in life.at(9.0, plan_of(lawn, job()))] == ["truss-1", "lawn-2"]


def test_an_id_is_never_used_twice():
    life = Life()
    life.at(0.0, plan_of(job()))
    life.at(1.0, plan_of(done=("f1", "f2")), [entry(0.9, "covered", position="truss")])
    assert [a.id for a in life.at(2.0, plan_of(job()))] == ["truss-2"]


# ---------------------------------------------------------------- told again


def test_moved_by_no_more_than_twenty_minutes_is_not_told_again():
    life = Life()
    life.at(0.0, plan_of(job()))
    assert life.stages(0.5, plan_of(job(10 + 20 / 60, 10.9))) == []
    assert life.stages(0.6, plan_of(job(10 - 20 / 60, 10.2))) == []
    (told,) = life.at(0.7, plan_of(job(10 + 21 / 60, 10.9)))
    assert told.reason == "later than told before: 9.0 mm of rain"
    (told,) = life.at(0.8, plan_of(job(9.9, 10.4)))
    assert told.reason == "earlier than told before: 9.0 mm of rain"


def test_many_small_moves_are_told_once_they_add_up():
    life = Life()
    life.at(0.0, plan_of(job()))
    # 15 minutes earlier each time than the last, against what was told
    assert life.stages(0.5, plan_of(job(9.75))) == []
    assert life.stages(1.0, plan_of(job(9.5))) == ["notice"]
    assert life.stages(1.5, plan_of(job(9.25))) == []


def test_a_start_that_moves_a_little_is_not_taken_back():
    life = Life()
    life.at(9.0, plan_of(job()))
    assert life.stages(9.1, plan_of(job(10.3, 10.8))) == []
    (told,) = life.at(9.2, plan_of(job(11.0, 11.5)))
    assert told.stage == "notice"


def test_work_that_moves_out_of_sight_is_told_as_later():
    life = Life()
    life.at(9.0, plan_of(job()))
    (told,) = life.at(9.5, plan_of(job(40.0, 41.0)))
    assert (told.stage, told.start_by) == ("notice", after(40.0))
    assert life.stages(9.6, plan_of(job(40.0, 41.0))) == []


def test_more_fixtures_are_told_and_fewer_are_not():
    life = Life()
    life.at(0.0, plan_of(job(fixtures=("f1",), count=3)))
    (told,) = life.at(1.0, plan_of(job()))
    assert told.reason.startswith("more fixtures than told before")
    assert life.stages(2.0, plan_of(job(fixtures=("f2",), count=1), done=("f1",))) == []


def test_another_action_is_told():
    life = Life()
    life.at(0.0, plan_of(job()))
    (told,) = life.at(1.0, plan_of(job(action="bring-in")))
    assert told.action == "bring-in"
    assert told.reason.startswith("to be brought in instead of covered: ")


@pytest.mark.parametrize(("rain_mm", "again"), [(13.4, False), (13.5, True), (2.0, False)])
def test_half_as_much_rain_again_is_told_and_less_is_not(rain_mm, again):
    # less is to come the more has fallen; 9 times 1.5 is 13.5
    life = Life()
    life.at(0.0, plan_of(job()))
    wetter = job(facts=Facts(rain_mm=rain_mm))
    told = life.at(1.0, plan_of(wetter))
    assert bool(told) is again
    if told:
        assert told[0].reason.startswith("13.5 mm instead of 9.0 mm")


def test_an_overdue_alert_is_not_repeated():
    life = Life()
    life.at(10.6, plan_of(job()))
    assert life.stages(10.7, plan_of(job(fixtures=("f1", "f2"), action="bring-in"))) == []


# ---------------------------------------------------------------- stop


def test_stop_while_blocked_and_back_from_it():
    life = Life()
    life.at(9.0, plan_of(job()))
    (stop,) = life.at(9.5, plan_of(job(), blocked=("truss",)))
    assert (stop.kind, stop.stage, stop.action) == ("stop", "stop", None)
    assert (stop.people, stop.minutes, stop.start_by, stop.do_by) == (0, None, None, None)
    assert stop.isolate_at == "DIST-1"
    assert stop.facts.blocked_by == "gusts up to 14 m/s there, limit 10"
    assert stop.reason == "nobody works there now: gusts up to 14 m/s there, limit 10"
    assert life.stages(9.6, plan_of(job(), blocked=("truss",))) == []
    assert life.stages(9.7, plan_of(job())) == []  # one calm run: a lull
    assert life.stages(9.8, plan_of(job(), blocked=("truss",))) == []
    assert life.stages(9.9, plan_of(job())) == []
    assert life.stages(10.3, plan_of(job())) == []  # 24 minutes
    (back,) = life.at(10.4, plan_of(job()))  # 30 minutes and three runs
    assert (back.kind, back.stage, back.action, back.id) == ("work", "start", "cover", stop.id)
    assert back.reason == "the wind there is back under the limit; 9.0 mm of rain"
    assert back.facts.blocked_by is None


def test_a_job_that_becomes_due_while_blocked_begins_with_stop():
    life = Life()
    assert life.stages(0.0, plan_of(job(), blocked=("truss",))) == []
    (stop,) = life.at(9.0, plan_of(job(), blocked=("truss",)))
    assert (stop.stage, stop.action) == ("stop", None)
    assert life.at(9.5, plan_of(job())) == []
    assert [a.id for a in life.at(10.0, plan_of(job()))] == [stop.id]


def test_back_from_stop_though_the_work_has_moved_out_of_sight():
    life = Life()
    life.at(9.0, plan_of(job(), blocked=("truss",)))
    assert life.at(9.5, plan_of(job(40.0, 41.0))) == []
    (back,) = life.at(10.0, plan_of(job(40.0, 41.0)))
    assert (back.stage, back.action) == ("notice", "cover")


def test_wind_that_is_not_known_has_not_dropped():
    life = Life()
    life.at(9.0, plan_of(job(), blocked=("truss",)))
    assert life.stages(9.5, plan_of(job(), wind_known=False)) == []
    assert life.stages(9.6, plan_of(job())) == []
    assert life.stages(10.1, plan_of(job())) == ["start"]


def test_thunder_is_one_word_for_the_whole_site():
    life = Life()
    lawn = job(position="lawn", fixtures=("g1",), count=1)
    life.at(9.0, plan_of(job(), lawn))
    (stop,) = life.at(9.2, plan_of(job(), lawn, storm=thunder()))
    assert (stop.kind, stop.stage, stop.position, stop.action) == ("stop", "stop", None, None)
    assert stop.id == "site-3"
    assert life.stages(9.3, plan_of(job(), lawn, storm=thunder())) == []
    told = life.at(9.8, plan_of(job(), lawn))
    assert [(a.id, a.stage) for a in told] == [("site-3", "stood-down")]
    assert told[0].kind == "stop"
    assert "people on site declare" in told[0].reason


def test_work_that_comes_up_in_thunder_is_told_after_it():
    life = Life()
    assert [a.position for a in life.at(9.5, plan_of(job(), storm=thunder()))] == [None]
    # half an hour after it was last said; until then there is no order
    assert life.at(9.9, plan_of(job())) == []
    told = life.at(10.0, plan_of(job()))
    assert [(a.stage, a.position) for a in told] == [("stood-down", None), ("start", "truss")]


def test_stops_are_told_first():
    life = Life()
    lawn = job(position="lawn", fixtures=("g1",), count=1)
    life.at(8.9, plan_of(job()))
    told = life.at(9.1, plan_of(lawn, job(), blocked=("truss",)))
    assert [(a.stage, a.position) for a in told] == [("stop", "truss"), ("start", "lawn")]


def test_nothing_is_stood_down_by_the_forecast_while_blocked():
    life = Life()
    life.at(9.0, plan_of(job()))
    assert life.stages(9.5, plan_of(blocked=("truss",))) == ["stop"]  # the order is taken back
    for at in (10.0, 10.5, 11.0):
        assert life.stages(at, plan_of(blocked=("truss",))) == []
    assert life.stages(11.5, plan_of()) == []
    assert life.stages(12.0, plan_of()) == ["stood-down"]


def test_what_is_spent_while_blocked_is_told_when_it_may_be_reached():
    life = Life()
    life.at(9.0, plan_of(job()))
    life.at(9.5, plan_of(job(), blocked=("truss",)))
    assert life.stages(10.6, plan_of(spent=("f1", "f2"), blocked=("truss",))) == []
    assert life.stages(11.0, plan_of(spent=("f1", "f2"))) == []
    (told,) = life.at(11.5, plan_of(spent=("f1", "f2")))
    # nothing says that it is isolated: to cut its power is all that is asked
    assert (told.stage, told.action, told.kind) == ("overdue", "isolate", "work")
    assert told.facts.blocked_by is None


# ---------------------------------------------------------------- stood down by forecasts


def test_stood_down_after_runs_and_minutes():
    life = Life()
    life.at(0.0, plan_of(job()))
    assert life.stages(1.0, plan_of()) == []  # one run
    assert life.stages(1.2, plan_of()) == []  # two runs, twelve minutes
    (told,) = life.at(1.5, plan_of())  # thirty minutes
    assert (told.stage, told.kind, told.action) == ("stood-down", "work", "cover")
    assert told.reason == "3 forecasts in a row no longer spend what is left of the allowance"
    assert life.state.open == ()


def test_minutes_alone_are_not_enough():
    life = Life()
    life.at(0.0, plan_of(job()), run="a")
    for at in (1.0, 2.0, 3.0, 8.0):
        assert life.stages(at, plan_of(), run="b") == []
    assert life.stages(8.1, plan_of(), run="c") == ["stood-down"]


def test_a_run_that_wants_it_again_starts_the_count_anew():
    life = Life()
    life.at(0.0, plan_of(job()))
    assert life.stages(1.0, plan_of()) == []
    assert life.stages(2.0, plan_of(job())) == []
    assert life.stages(3.0, plan_of()) == []
    assert life.stages(3.4, plan_of()) == []
    assert life.stages(3.5, plan_of()) == ["stood-down"]


def test_the_houses_own_numbers():
    life = Life(the_show(stand_down_runs=3, stand_down_minutes=90.0))
    life.at(0.0, plan_of(job()))
    assert life.stages(1.0, plan_of()) == []
    assert life.stages(2.5, plan_of()) == []
    assert life.stages(2.6, plan_of()) == ["stood-down"]


def test_never_on_missing_weather():
    life = Life()
    life.at(0.0, plan_of(job()))
    for at in range(1, 30):
        assert life.stages(at, plan_of(blind=True)) == []
    # and blind runs do not count: two sighted ones half an hour apart are still needed
    assert life.stages(30.0, plan_of()) == []
    assert life.stages(30.5, plan_of()) == ["stood-down"]


def test_never_on_a_forecast_that_ends_before_the_deadline():
    life = Life()
    life.at(0.0, plan_of(job()))
    short = plan_of(known_until_s=seconds(10.4))
    for at in (1.0, 2.0, 3.0):
        assert life.stages(at, short) == []
    long = plan_of(known_until_s=seconds(10.5))
    assert life.stages(4.0, long) == []
    assert life.stages(4.5, long) == ["stood-down"]


def test_thunder_is_not_over_where_the_weather_is_lost():
    life = Life()
    life.at(0.0, plan_of(storm=thunder()))
    assert life.stages(1.0, plan_of(blind=True)) == []
    assert life.stages(2.0, plan_of()) == ["stood-down"]


# ---------------------------------------------------------------- ended by the log


@pytest.mark.parametrize("what", ["covered", "brought-in"])
@pytest.mark.parametrize("where", [{"position": "truss"}, {"fixture": "f1"}])
def test_logged_done_ends_it_at_once(what, where):
    life = Life()
    life.at(9.0, plan_of(job()))
    log = [entry(9.2, what, by="Suki", **where)]
    (told,) = life.at(9.25, plan_of(done=("f1", "f2")), log)
    assert told.stage == "stood-down"
    assert told.reason == f"logged {what} by Suki at Thu 21:12"


def test_logged_done_ends_it_on_missing_weather_and_while_blocked_too():
    for more in ({"blind": True}, {"blocked": ("truss",)}, {"storm": thunder()}):
        life = Life()
        life.at(9.0, plan_of(job()))
        told = life.at(
            9.25, plan_of(done=("f1", "f2"), **more), [entry(9.2, "covered", position="truss")]
        )
        assert ("stood-down", "truss") in [(a.stage, a.position) for a in told]


def test_half_of_it_done_leaves_the_rest_open():
    life = Life()
    life.at(9.0, plan_of(job()))
    assert life.stages(9.5, plan_of(job(fixtures=("f2",), count=1), done=("f1",))) == []
    # what is left is spent in the end
    (told,) = life.at(10.6, plan_of(done=("f1",), spent=("f2",)))
    assert (told.stage, told.fixtures, told.count) == ("overdue", ("f2",), 1)


def test_what_leaks_under_its_cover_ends_only_when_it_is_in():
    life = Life()
    leak = job(family="covered", action="bring-in")
    life.at(9.0, plan_of(leak, done=("f1", "f2")))
    log = [entry(8.0, "covered", position="truss")]
    assert life.stages(9.5, plan_of(done=("f1", "f2")), log) == []
    log.append(entry(9.6, "brought-in", position="truss"))
    (told,) = life.at(9.7, plan_of(inside=("f1", "f2")), log)
    assert told.reason == "logged brought-in at Thu 21:36"


def test_what_is_spent_under_its_cover_is_overdue_until_it_is_in():
    life = Life()
    life.at(9.0, plan_of(job(family="covered", action="bring-in"), done=("f1", "f2")))
    soaked = {"done": ("f1", "f2"), "spent": ("f1", "f2"), "rain_ahead": {"truss": True}}
    # isolated before: it is not live, and what is asked stays what it was
    cut = [entry(9.5, "isolated", position="truss")]
    (told,) = life.at(10.6, plan_of(**soaked), cut)
    assert (told.stage, told.action) == ("overdue", "bring-in")
    assert life.stages(11.0, plan_of(**soaked), cut) == []
    log = [*cut, entry(11.1, "brought-in", position="truss")]
    assert life.stages(11.2, plan_of(inside=("f1", "f2"), spent=("f1", "f2")), log) == [
        "stood-down"
    ]


def test_power_that_is_cut_ends_a_job_to_isolate():
    life = Life()
    cut = job(action="isolate")
    life.at(9.0, plan_of(cut))
    log = [entry(9.1, "isolated", position="truss", by="Suki")]
    (told,) = life.at(9.2, plan_of(cut), log)
    assert (told.stage, told.reason) == ("stood-down", "logged isolated by Suki at Thu 21:06")
    assert life.stages(9.3, plan_of(cut), log) == []
    log.append(entry(9.5, "energised", position="truss"))
    assert life.stages(9.6, plan_of(cut), log) == ["start"]


def test_an_isolated_fixture_that_is_spent_is_not_overdue():
    life = Life()
    life.at(9.0, plan_of(job(action="isolate")))
    log = [entry(9.1, "isolated", fixture="f1"), entry(9.1, "isolated", fixture="f2")]
    (told,) = life.at(10.6, plan_of(spent=("f1", "f2")), log)
    assert told.stage == "stood-down"


# ---------------------------------------------------------------- what was lost


def test_what_is_lost_while_the_rest_is_still_to_do():
    life = Life()
    life.at(9.0, plan_of(job()))
    told = life.at(10.2, plan_of(job(10.3, 10.8, fixtures=("f2",), count=1), spent=("f1",)))
    assert [(a.stage, a.fixtures, a.count) for a in told] == [("overdue", ("f1",), 3)]
    # the job's own alert goes on under its id, the loss has its own
    assert told[0].id == "truss-2"
    assert {(o.alert.id, o.family) for o in life.state.open} == {
        ("truss-1", "protect"),
        ("truss-2", "spent"),
    }
    # the rest is lost as well
    (told,) = life.at(11.1, plan_of(spent=("f1", "f2")))
    assert told.fixtures == ("f2",)


def test_what_is_lost_is_stood_down_when_no_more_rain_comes():
    life = Life()
    life.at(9.0, plan_of(job()))
    raining = {"spent": ("f1", "f2"), "rain_ahead": {"truss": True}}
    life.at(10.6, plan_of(**raining))
    for at in (11.0, 12.0, 13.0):
        assert life.stages(at, plan_of(**raining)) == []
    assert life.stages(14.0, plan_of(spent=("f1", "f2"))) == []
    # nothing says that it is isolated, and nothing else asks for hands: the order stands
    for at in (14.5, 15.0, 20.0):
        assert life.stages(at, plan_of(spent=("f1", "f2"))) == []
    log = [entry(20.1, "isolated", position="truss")]
    (told,) = life.at(20.2, plan_of(spent=("f1", "f2")), log)
    assert (told.stage, told.action, told.facts.logged_done) == ("stood-down", "isolate", True)


def test_what_is_live_and_lost_is_left_to_the_look_inside_that_is_asked_for():
    life = Life()
    life.at(9.0, plan_of(job(), care(fixtures=("f1",))))
    look = care(fixtures=("f1", "f2"))
    life.at(10.6, plan_of(look, spent=("f1", "f2"), rain_ahead={"truss": True}))
    assert life.stages(14.0, plan_of(look, spent=("f1", "f2"))) == []
    over = [a for a in life.at(14.5, plan_of(look, spent=("f1", "f2"))) if a.action == "isolate"]
    (told,) = over
    assert told.reason == (
        "no more rain there in the next 12 h of the forecast, and nothing says that it is isolated; "
        "what is spent waits for inspection"
    )


# ---------------------------------------------------------------- half used


def test_half_used_is_a_notice_once_and_becomes_the_job():
    life = Life()
    half = job(None, None, minutes=None)
    assert life.stages(0.0, plan_of(half)) == ["notice"]
    assert life.stages(1.0, plan_of(half)) == []
    told = life.at(9.0, plan_of(job()))
    assert [(a.id, a.stage) for a in told] == [("truss-1", "start")]


def test_half_used_waits_while_nobody_may_work_there():
    life = Life()
    half = job(None, None, minutes=None)
    assert life.stages(0.0, plan_of(half, blocked=("truss",))) == []
    assert life.stages(1.0, plan_of(half)) == ["notice"]


# ---------------------------------------------------------------- inspect and clean


def test_each_fixture_is_asked_for_once():
    life = Life()
    (told,) = life.at(0.0, plan_of(care()))
    assert (told.stage, told.action, told.fixtures) == ("notice", "inspect", ("f1",))
    for at in (1.0, 2.0, 50.0):
        assert life.stages(at, plan_of(care())) == []
    (told,) = life.at(51.0, plan_of(care(fixtures=("f1", "f2"))))
    assert told.fixtures == ("f1", "f2")
    assert life.stages(52.0, plan_of(care(fixtures=("f1", "f2")))) == []


def test_inspected_ends_it_and_it_can_be_asked_again():
    life = Life()
    life.at(0.0, plan_of(care()))
    log = [entry(1.0, "inspected", fixture="f1", result="dry")]
    (told,) = life.at(1.1, plan_of(), log)
    assert (told.stage, told.reason) == ("stood-down", "logged inspected at Thu 13:00")
    assert life.stages(20.0, plan_of(care()), log) == ["notice"]


def test_one_of_two_inspected_can_be_asked_again_while_the_other_waits():
    life = Life()
    life.at(0.0, plan_of(care(fixtures=("f1", "f2"))))
    assert life.stages(1.0, plan_of(care(fixtures=("f2",)))) == []
    assert life.stages(9.0, plan_of(care(fixtures=("f1", "f2")))) == ["notice"]


def test_moved_elsewhere_it_is_not_asked_for_again():
    life = Life()
    life.at(0.0, plan_of(care()))
    assert life.stages(1.0, plan_of(care(position="lawn"))) == []
    assert life.stages(2.0, plan_of(care(position="lawn"))) == []


def test_inspect_and_clean_are_asked_apart_and_end_apart():
    life = Life()
    told = life.at(0.0, plan_of(care(), care("clean")))
    assert [a.action for a in told] == ["inspect", "clean"]
    log = [entry(0.5, "cleaned", fixture="f1")]
    (told,) = life.at(1.0, plan_of(care()), log)
    assert (told.action, told.reason) == ("clean", "logged cleaned at Thu 12:30")


def test_care_waits_while_nobody_may_work_there():
    life = Life()
    assert life.stages(0.0, plan_of(care(), blocked=("truss",))) == []
    told = life.at(1.0, plan_of(care(), storm=thunder()))
    assert [a.position for a in told] == [None]
    assert life.stages(2.0, plan_of(care())) == ["stood-down", "notice"]


# ---------------------------------------------------------------- what is said with it


def test_the_source_is_said_with_every_change():
    life = Life()
    (told,) = life.at(0.0, plan_of(job()))
    assert told.facts.sources == ("hourly forecast",)


def test_a_show_that_lost_a_fixture_ends_its_alert():
    life = Life()
    life.at(0.0, plan_of(job()))
    gone = replace(plan_of(), protected={}, brought_in={}, spent={})
    (told,) = life.at(1.0, gone)
    assert told.reason == "nothing there is out in the weather any more"


def test_a_stop_says_until_when():
    life = Life()
    (stop,) = life.at(9.0, plan_of(job(), blocked=("truss",)))
    assert stop.facts.blocked_until == after(99.0)


# ---------------------------------------------------------------- an order taken back


def test_an_order_is_taken_back_though_its_job_has_moved_away():
    """Told to start; then the deadline moves on and the wind comes up: the order must not stand."""
    life = Life()
    assert life.stages(9.0, plan_of(job())) == ["start"]
    (stop,) = life.at(9.5, plan_of(job(40.0, 41.0), blocked=("truss",)))
    assert (stop.kind, stop.stage, stop.action) == ("stop", "stop", None)


def test_what_was_lost_is_stopped_too_and_a_position_hears_it_once():
    life = Life()
    life.at(9.0, plan_of(job()))
    rest = job(13.0, 14.0, fixtures=("f2",), count=1)
    assert "overdue" in life.stages(10.2, plan_of(rest, spent=("f1",)))
    told = life.at(11.0, plan_of(job(fixtures=("f2",), count=1), spent=("f1",), blocked=("truss",)))
    assert [a.stage for a in told] == ["stop"]


def test_the_stop_for_thunder_says_where_power_is_cut():
    life = Life()
    life.at(9.0, plan_of(job()))
    (stop,) = life.at(9.2, plan_of(job(), storm=thunder()))
    assert stop.isolate_at == "DIST-1"


def test_wind_and_thunder_that_are_not_known_are_said():
    life = Life()
    (told,) = life.at(9.0, plan_of(job(), wind_known=False, thunder_known=False))
    assert any("wind just now is not known" in sentence for sentence in told.facts.extra)
    assert any("Thunder is not known" in sentence for sentence in told.facts.extra)


def test_spent_gear_that_nobody_may_reach_is_told_at_once():
    """No order was ever given for it: the service began when it was wet already."""
    life = Life()
    wet = care()
    wet = replace(wet, facts=replace(wet.facts, used=1.2))
    (stop,) = life.at(0.0, plan_of(wet, spent=("f1",), blocked=("truss",)))
    assert (stop.kind, stop.stage, stop.action) == ("stop", "stop", None)
    assert stop.isolate_at == "DIST-1"
    assert life.stages(0.1, plan_of(wet, spent=("f1",), blocked=("truss",))) == []
    assert life.stages(0.5, plan_of(wet, spent=("f1",))) == []
    (asked,) = life.at(1.0, plan_of(wet, spent=("f1",)))
    assert (asked.stage, asked.action) == ("notice", "inspect")
