"""Work at height and power: declared by people, kept whatever stands against it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from service_stage import RECORD_FEED, START, record

from monitor.domain import Alert, BadInputError, Facts, LogEntry, Person
from monitor.planning.rain_over import Spell
from monitor.service.after_rain import SPELLS_KEY
from monitor.service.declared import DeclaredSaid, declarations, in_words, keep_declared
from monitor.store.chain import verify
from monitor.store.declared import declared
from monitor.store.history import record_change, record_log, remember
from monitor.units import to_epoch

LAST = "It is kept as said. The monitor opens nothing: whoever declared it answers for it."


def at(minutes):
    return START + timedelta(minutes=minutes)


def keep(stage, what="height", minutes=0, **more):
    said = DeclaredSaid(what, more.pop("by", "Odile"), **more)
    return keep_declared(stage.db, said, stage.watch.current.show, at(minutes), lambda n: f"--{n}")


def stop(stage, minutes, alert_id="site-1", stage_="stop", position=None, **facts):
    alert = Alert(
        id=alert_id, kind="stop", stage=stage_, action=None, position=position, fixtures=(),
        count=0, people=0, minutes=None, isolate_at=None, start_by=None, do_by=None, members=0,
        probability=None, at=at(minutes), reason="", facts=Facts(**facts),
    )  # fmt: skip
    record_change(stage.db, alert, "because", at(minutes))


def said(stage, minutes=600):
    show = stage.watch.current.show
    return [in_words(one, show, at(minutes)) for one in declarations(stage.db)]


# ---------------------------------------------------------------- kept


def test_it_is_kept_with_the_name(stage):
    made = stage()
    kept = keep(made, "power", position="wash", note="readings good")
    assert kept.notes == (LAST,)
    assert declared(made.db) == (kept.declared,)
    assert (kept.declared.by, kept.declared.position) == ("Odile", "wash")
    # 11:30 UTC is 12:30 on this site's clock
    assert said(made) == ["power, Lawn wash: declared 12:30 by Odile"]
    assert verify(made.db).ok


def test_every_fault_is_told(stage):
    made = stage()
    with pytest.raises(BadInputError) as refused:
        keep(made, by=" ", position="lawn", at="2027-07-16T12:30")
    assert [p.code for p in refused.value.problems] == [
        "missing-value",
        "unknown-position",
        "still-to-come",
    ]
    assert [p.key for p in refused.value.problems] == ["--by", "--position", "--at"]
    assert declared(made.db) == ()


def test_sent_again_it_is_known(stage):
    made = stage()
    show = made.watch.current.show
    one = DeclaredSaid("height")
    first = keep_declared(made.db, one, show, at(0), str, "word-0001", sender="desk")
    again = keep_declared(made.db, one, show, at(5), str, "word-0001", sender="desk")
    assert (first.is_new, again.is_new) == (True, False)
    assert [d.by for d in declared(made.db)] == ["desk"]
    with pytest.raises(BadInputError, match="already stands"):
        keep_declared(made.db, DeclaredSaid("power"), show, at(5), str, "word-0001", sender="desk")


# ---------------------------------------------------------------- what speaks against it


def test_a_stop_that_stands_is_said(stage):
    made = stage()
    # 19:10 UTC is 20:10 on site
    stop(made, -30, blocked_by="thunder", blocked_until=START.replace(hour=19, minute=10))
    kept = keep(made)
    assert kept.notes == (
        "The stop at the site for thunder stands until 20:10.",
        "Who is up comes down; nobody starts.",
        LAST,
    )
    assert kept.is_contested
    assert len(declared(made.db)) == 1
    # thunder speaks against power as well
    assert keep(made, "power", 1).notes[0] == kept.notes[0]


def test_a_stop_that_was_lifted_is_not(stage):
    made = stage()
    stop(made, -30)
    stop(made, -5, stage_="stood-down")
    assert keep(made).notes == (LAST,)


def test_wind_at_a_place_closes_height_there_and_no_power(stage):
    made = stage()
    stop(made, -30, "wash-3", position="wash", blocked_by="gusts up to 15 m/s there, limit 10")
    assert "The stop at Lawn wash for gusts up to 15 m/s there" in keep(made).notes[0]
    assert keep(made, position="wash").notes[0] == keep(made).notes[0]
    assert keep(made, "power").notes == (LAST,)


def test_rain_that_is_not_over_is_said(stage):
    made = stage()
    remember(made.db, SPELLS_KEY, (Spell(to_epoch(at(-30))),))
    assert keep(made).notes[0] == (
        "The rain that began at 12:00 is not over on what is known here."
    )


def test_gear_that_nobody_found_dry_is_said_with_power(stage):
    made = stage()
    entry = LogEntry(at(-10), "inspected", fixture="WASH", result="water-inside")
    record_log(made.db, entry, "k1", at(-10))
    assert keep(made, "power").notes[0] == ("Water inside, isolated until found dry: WASH.")
    assert keep(made, "height").notes == (LAST,)
    dry = LogEntry(at(-5), "inspected", fixture="WASH", result="dry")
    record_log(made.db, dry, "k2", at(-5))
    assert keep(made, "power").notes == (LAST,)


def test_an_inspection_still_asked_for_is_said_with_power(stage):
    made = stage(feeds=RECORD_FEED, files={"weather.csv": record({0: 4.0})})
    made.poll()
    made.later(minutes=45)
    made.run()
    kept = keep(made, "power", 46)
    assert "An inspection is still asked for at Lawn wash." in kept.notes


def test_what_was_found_damp_is_said_with_power_and_speaks_against_it(stage):
    made = stage()
    entry = LogEntry(at(-10), "inspected", fixture="WASH", result="damp")
    record_log(made.db, entry, "k1", at(-10))
    kept = keep(made, "power")
    assert kept.notes[0] == "Reported wet or found damp, and not found dry since: WASH."
    assert kept.is_contested
    assert not keep(made, "height").is_contested


def test_what_is_isolated_is_said_with_power_and_speaks_not_against_it(stage):
    made = stage()
    record_log(made.db, LogEntry(at(-30), "isolated", position="wash"), "k1", at(-30))
    kept = keep(made, "power")
    assert kept.notes == ("Logged as isolated, and so until logged energised: Lawn wash.", LAST)
    assert not kept.is_contested
    assert keep(made, "height").notes == (LAST,)
    record_log(made.db, LogEntry(at(-20), "energised", position="wash"), "k2", at(-20))
    assert keep(made, "power").notes == (LAST,)
    # of "1 of 2" it is said; gear that the show folder no longer knows is nobody's to name
    part = LogEntry(at(-10), "isolated", fixture="WASH", count=(1, 2))
    record_log(made.db, part, "k3", at(-10))
    record_log(made.db, LogEntry(at(-9), "isolated", fixture="GONE"), "k4", at(-9))
    assert "energised: WASH (1 of 2)." in keep(made, "power").notes[0]


def test_who_is_not_of_the_show_is_said_and_kept(stage):
    made = stage()
    show = made.watch.current.show
    crewed = replace(show, crew=replace(show.crew, people=(Person("Odile Brun"),)))
    for name, notes in (("odile brun", (LAST,)), ("Odlie", ("Odlie is not among", LAST))):
        kept = keep_declared(made.db, DeclaredSaid("height", name), crewed, at(0), str)
        assert all(said.startswith(words) for said, words in zip(kept.notes, notes, strict=True))
        assert not kept.is_contested
    assert [one.by for one in declared(made.db)] == ["odile brun", "Odlie"]


def test_a_time_of_day_is_the_last_one(stage):
    # it is 12:30 on site: 12:00 was half an hour ago, 13:00 was yesterday
    made = stage()
    assert keep(made, at="12:00").declared.at == at(-30)
    assert keep(made, at="13:00").declared.at == at(30) - timedelta(days=1)


# ---------------------------------------------------------------- what ends it


def test_a_new_stop_ends_what_was_declared_before_it(stage):
    made = stage()
    keep(made)
    keep(made, "power", 1)
    stop(made, 30)
    stop(made, 50, stage_="stood-down")
    keep(made, minutes=60)
    assert said(made) == [
        "work at height, the whole site: declared 12:30 by Odile, before the stop of 13:00",
        "power, the whole site: declared 12:31 by Odile, before the stop of 13:00",
        "work at height, the whole site: declared 13:30 by Odile",
    ]
    assert [one.stands for one in declarations(made.db)] == [False, False, True]


def test_one_entered_late_is_ended_by_the_stop_that_came_after_its_time(stage):
    made = stage()
    stop(made, 30)
    stop(made, 90, stage_="stood-down")
    keep(made, minutes=100, at="2027-07-15T12:40")
    assert said(made) == [
        "work at height, the whole site: declared 12:40 by Odile, before the stop of 13:00"
    ]


def test_declared_in_a_stop_it_opens_nothing_when_the_stop_is_lifted(stage):
    made = stage()
    stop(made, -30)
    keep(made)
    stop(made, 10)  # told again
    assert [one.stands for one in declarations(made.db)] == [False]
    stop(made, 20, stage_="stood-down")
    keep(made, minutes=25)
    in_the_stop = "declared 12:30 by Odile, in the stop of 12:00: not open by that"
    assert said(made) == [
        f"work at height, the whole site: {in_the_stop}",
        "work at height, the whole site: declared 12:55 by Odile",
    ]


def test_declared_in_rain_it_is_declared_anew_after_it(stage):
    made = stage()
    remember(made.db, SPELLS_KEY, (Spell(to_epoch(at(-30))),))
    keep(made, "power")
    remember(made.db, SPELLS_KEY, (Spell(to_epoch(at(-30)), to_epoch(at(10))),))
    keep(made, "power", 15)
    assert [one.stands for one in declarations(made.db)] == [False, True]


def test_a_stop_elsewhere_leaves_it(stage):
    made = stage()
    keep(made, position="wash")
    keep(made, "power", 1)
    stop(made, 10, "tower-1", position="tower")
    assert [one.stands for one in declarations(made.db)] == [True, True]
    stop(made, 20, "wash-1", position="wash")
    assert [one.stands for one in declarations(made.db)] == [False, True]


def test_rain_that_begins_later_ends_both(stage):
    made = stage()
    remember(made.db, SPELLS_KEY, (Spell(to_epoch(at(-90)), to_epoch(at(-60))),))
    keep(made)
    keep(made, "power", 1)
    assert [one.stands for one in declarations(made.db)] == [True, True]
    spells = (Spell(to_epoch(at(-90)), to_epoch(at(-60))), Spell(to_epoch(at(20))))
    remember(made.db, SPELLS_KEY, spells)
    assert said(made) == [
        "work at height, the whole site: declared 12:30 by Odile, before the rain of 12:50",
        "power, the whole site: declared 12:31 by Odile, before the rain of 12:50",
    ]
