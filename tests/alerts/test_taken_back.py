"""What a feed has said, only its own later word takes back: never an hour that became empty."""

from __future__ import annotations

from dataclasses import replace

import pytest
from lived import Life, job, plan_of, seconds, thunder

# The usual job of these tests is due to start at 9.5 h and to be done at 10 h.


def both(a_until, b_until, **more):
    """A plan out of two feeds, each known until so many hours on; all of them until the longer."""
    return dict(
        heard_until_s={"a": seconds(a_until), "b": seconds(b_until)},
        known_until_s=seconds(max(a_until, b_until)),
        **more,
    )


def test_a_feed_that_has_become_silent_does_not_agree_with_a_dry_one():
    life = Life()
    life.at(0.0, plan_of(job(9.5, 10.0), **both(48, 48)))
    for at in (1.0, 2.0, 3.0):
        assert life.stages(at, plan_of(**both(8, 48))) == []
    assert life.stages(4.0, plan_of(**both(48, 48))) == []
    assert life.stages(4.5, plan_of(**both(48, 48))) == ["stood-down"]


def test_a_feed_that_is_gone_altogether_keeps_it_until_the_time_has_passed():
    life = Life()
    life.at(0.0, plan_of(job(9.5, 10.0), **both(48, 48)))
    alone = plan_of(heard_until_s={"b": seconds(60)})
    assert life.stages(8.0, alone) == []
    assert life.stages(9.9, alone) == []
    assert life.stages(10.1, alone) == []
    assert life.stages(10.7, alone) == ["stood-down"]


def test_a_feed_that_never_reached_so_far_holds_nothing_up():
    life = Life()
    life.at(0.0, plan_of(job(9.5, 10.0), **both(2, 48)))
    assert life.stages(1.0, plan_of(**both(3, 48))) == []
    assert life.stages(1.6, plan_of(**both(3.6, 48))) == ["stood-down"]


@pytest.mark.parametrize("known", [both(9, 48), both(9, 9)])
def test_an_hour_that_became_empty_does_not_move_the_deadline_on(known):
    life = Life()
    (first,) = life.at(8.0, plan_of(job(9.5, 10.0), **both(48, 48)))
    later = plan_of(job(11.5, 12.0), **known)
    (told,) = life.at(9.3, later)
    assert (told.stage, told.do_by, told.start_by) == ("start", first.do_by, first.start_by)
    assert told.reason.endswith("the time told before stands")


def test_a_forecast_that_knows_it_better_moves_the_deadline_on():
    life = Life()
    life.at(8.0, plan_of(job(9.5, 10.0), **both(48, 48)))
    (told,) = life.at(8.5, plan_of(job(11.5, 12.0), **both(48, 48)))
    assert told.reason.startswith("later than told before")


def test_an_empty_hour_still_moves_it_forward():
    life = Life()
    life.at(6.0, plan_of(job(9.5, 10.0), **both(48, 48)))
    (told,) = life.at(6.5, plan_of(job(8.5, 9.0), **both(8, 8)))
    assert told.reason.startswith("earlier than told before")


# ---------------------------------------------------------------- thunder


def test_thunder_that_is_not_known_any_more_is_not_over():
    life = Life()
    life.at(0.0, plan_of(storm=thunder(2.5), thunder_heard=("a", "b")))
    for at in (0.2, 1.0, 2.4):
        assert life.stages(at, plan_of(job(9.5, 10.0), thunder_heard=("b",))) == []
    # the time it was told for is over: an hour of thunder and thirty minutes
    assert life.stages(2.5, plan_of(thunder_heard=("b",))) == ["stood-down"]


def test_thunder_taken_out_of_the_forecast_takes_thirty_minutes():
    life = Life()
    storm = plan_of(storm=thunder(), thunder_heard=("a",))
    life.at(0.0, storm)
    life.at(1.0, storm)
    assert life.stages(1.2, plan_of(thunder_heard=("a",))) == []
    assert life.stages(1.4, plan_of(thunder_heard=("a",))) == []
    assert life.stages(1.5, plan_of(thunder_heard=("a",))) == ["stood-down"]


def test_no_order_is_given_while_the_stop_for_thunder_stands():
    life = Life()
    life.at(9.0, plan_of(job(9.5, 10.0), storm=thunder(10.0), thunder_heard=("a",)))
    assert life.stages(9.4, plan_of(job(9.5, 10.0))) == []
    # the same where the weather is lost
    assert life.stages(9.6, plan_of(job(9.5, 10.0), blind=True)) == []


def test_an_official_warning_ends_by_its_own_word():
    life = Life()
    official = replace(thunder(), says="official warning: thunderstorm (Office)")
    life.at(0.0, plan_of(storm=official, thunder_heard=("a",)))
    assert life.stages(0.1, plan_of()) == ["stood-down"]
