"""The crew of a rehearsal does what it has hands and tickets for, and no more.

Straight-down rain of 1 mm/h from 14:00 spends the half millimetre of an IP20 by 14:30. A fixture
takes 2 min to set up and 1 to cover. Times are hours after noon, UTC.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import pytest
from exposure.rigs import after, fixture, hours, position, show
from planning.planned import bag

from monitor.domain import Alert, Crew, Facts, Hours, Person
from monitor.exposure.rig import compile_rig
from monitor.rehearsal import rehearse
from monitor.simulated_crew import SimulatedCrew

RAIN = hours([0, 0, 1, 1, 1, 0, 0, 0], 0.0)
ADA = Person("Ada", shifts=(Hours(time(6), time(14)),))
BEN = Person("Ben", shifts=(Hours(time(14), time(22)),))


def crewed(*people, **place):
    rows = [fixture("IP20", cover="bag", position="pole")]
    rig = show(rows, positions=[position("pole", **place)], covers=[bag()])
    return replace(rig, crew=Crew(people=people))


def start(at_h, minutes, **facts):
    return Alert(
        "pole-1",
        "work",
        "start",
        "cover",
        "pole",
        ("f1",),
        1,
        1,
        minutes,
        None,
        after(at_h),
        after(2.5),
        1,
        None,
        after(at_h),
        "rain",
        Facts(**facts),
    )


def done_h(rig, *alerts):
    """When each is logged done, called one after the other; None: it is not."""
    crew, found = SimulatedCrew(compile_rig(rig), RAIN), []
    for alert in alerts:
        log = crew.follow(alert, alert.at.timestamp())
        found.append((log[0].at - after(0.0)).total_seconds() / 3600 if log else None)
    return found


@pytest.mark.parametrize(
    ("people", "place"),
    [
        ([Person("Ada"), Person("Ben")], {"people_needed": 3}),
        ([Person("Ada"), Person("Ben")], {"tickets": ("climb",)}),
        ([Person("Ada")], {"access": "ladder"}),
    ],
)
def test_what_the_crew_cannot_do_is_never_done(people, place):
    found = rehearse(crewed(*people, **place), RAIN, crew="follows")
    assert found.log == ()
    assert found.worked == ()
    stages = [(c.alert.stage, c.alert.action) for c in found.changes]
    assert stages[0] == ("notice", "isolate")
    assert ("overdue", "isolate") in stages
    assert not any(stage == "stood-down" for stage, _ in stages)
    assert not any(stage == "start" and action != "isolate" for stage, action in stages)


def test_who_holds_the_ticket_does_it():
    rig = crewed(Person("Ada"), Person("Ben", ("climb",)), tickets=("climb",))
    found = rehearse(rig, RAIN, crew="follows")
    assert [entry.entry for entry in found.log] == ["covered"]


def test_it_is_handed_over_when_the_shift_ends():
    # 42 min from 13:48: 12 by Ada, who leaves at 14:00, and 30 by Ben: 14:30
    told = start(1.8, 42.0, who=("Ada",), handed_to=("Ben",), handed_at=after(2.0))
    assert done_h(crewed(ADA, BEN), told) == [pytest.approx(2.5)]
    # Ben has that in hand until 14:30, so what is called at 14:06 takes him until 14:33
    other = replace(start(2.1, 3.0), fixtures=("f2",))
    assert done_h(crewed(ADA, BEN), told, other)[1] == pytest.approx(2.55)
    # Where nobody carries on, the rest waits until she is back at six: 30 min from then
    assert done_h(crewed(ADA), told) == [pytest.approx(18.5)]


def test_a_late_start_is_acted_on():
    # called at 14:20, due 14:30: 22 min all the same, until 14:42
    told = start(2 + 20 / 60, 22.0, late=True, late_minutes=12.0, who=("Ben",))
    assert done_h(crewed(BEN), told) == [pytest.approx(2.7)]


def test_whoever_is_there_stands_in_for_who_is_not():
    told = start(2.1, 3.0, who=("Ada",))
    assert done_h(crewed(ADA, BEN), told) == [pytest.approx(2.15)]
