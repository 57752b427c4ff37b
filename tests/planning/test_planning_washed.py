"""Sprinklers and hoses told ahead as rain is. IP20 may take half a millimetre, a hired IP44 25;
no rain falls unless it says so.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import pytest
from exposure.rigs import entry, fixture, hours, show
from planning.planned import bag, only, planned, since_noon_h

from monitor.domain import Hours, Washdown

DRY = hours([0.0] * 8, 0.0)


def lawn(code, kind="sprinkler", rate=15.0, begin=16, end=17, **own):
    plain = show([fixture(code, cover="bag", **own)], covers=[bag()])
    every = (Hours(time(begin), time(end)),)
    return replace(plain, washdowns=(Washdown(kind, ("pole",), rate, every_day=every),))


def test_a_sprinkler_makes_a_job_as_rain_would():
    job = only(planned(lawn("IP20"), DRY))
    # half a millimetre at 15 mm/h: 2 min
    assert since_noon_h(job.do_by_s) == pytest.approx(4.0 + 0.5 / 15)
    assert job.action == "cover"
    assert job.reason == (
        "sprinklers from Thu 16:00 to 17:00 spend the allowance of the first fixture at Thu 16:02"
    )
    assert job.facts.extra[0] == (
        "Sprinklers from Thu 16:00 to 17:00, 15.0 mm from every side: ask whoever runs them to "
        "leave them off."
    )
    assert (job.facts.rain_mm, job.facts.gap) == (None, None)
    assert job.facts.driven_mm == pytest.approx(15.0)


def test_what_its_code_is_tested_for_is_left_alone():
    # 15 mm of the 25 of a hired IP44 in one day
    assert planned(lawn("IP44"), DRY).jobs == ()
    assert planned(lawn("IP65"), DRY).jobs == ()


def test_a_hose_is_told_even_of_gear_that_rain_sets_no_limit_to():
    # 7 was tested under water, not with jets: 750 mm/h on half a millimetre
    job = only(planned(lawn("IP67", "low", 750.0), DRY))
    assert since_noon_h(job.do_by_s) == pytest.approx(4.0 + 0.5 / 750)
    assert job.facts.extra[0] == (
        "A hose from Thu 16:00 to 17:00: ask whoever runs it to leave it off."
    )
    assert planned(lawn("IP66", "low", 750.0), DRY).jobs == ()


def test_rain_that_comes_first_is_the_reason():
    # 1 mm from 14:00 spends it at 14:30, the sprinklers come on top
    job = only(planned(lawn("IP20"), hours([0, 0, 1, 0, 0, 0, 0, 0], 0.0)))
    assert since_noon_h(job.do_by_s) == pytest.approx(2.5)
    assert "mm of rain in this spell" in job.reason
    assert job.facts.rain_mm == pytest.approx(1.0)
    assert job.facts.extra[0].startswith("Sprinklers from Thu 16:00")


def test_what_is_covered_in_time_needs_nothing():
    assert planned(lawn("IP20"), DRY, 1.0, [entry(0.5, "covered")]).jobs == ()


def test_what_has_run_is_used():
    found = planned(lawn("IP44", begin=13, end=14), DRY, 3.0, asked=["f1"])
    assert found.used["f1"] == pytest.approx(15 / 25)
