"""Puddles told ahead. K = 2 h and 8 mm for each of rain, as in tests/exposure/test_puddle.py: an hour
of 5 mm brings 5 mm of water, the least that is a puddle, after 2 ln(80/75) = 0.129 h, and
80 (1 - exp(-1/2)) = 31 mm by its end.
"""

from __future__ import annotations

from math import log

import pytest
from exposure.rigs import entry, fixture, hours, position, show
from planning.planned import bag, only, planned, since_noon_h

from monitor.domain import Puddle

DIP = Puddle(8.0, 2.0 * log(2.0), 0.5)
RAIN = hours([0, 0, 0, 5.0, 0, 0], 0.0)


def dip(code="IP67", **own):
    own.setdefault("cover", "bag")
    return show([fixture(code, **own)], positions=[position(puddle=DIP)], covers=[bag()])


def test_what_half_an_hour_under_water_spends_is_told_ahead():
    job = only(planned(dip(), RAIN))
    # over 5 mm for 1 - 0.129 h of the hour from 15:00: half an hour of it is 0.574 of that hour
    over = 1 - 2 * log(80 / 75)
    assert since_noon_h(job.do_by_s) == pytest.approx(3 + 0.5 / over)
    assert job.action == "bring-in"
    assert job.facts.not_covered_because == ("water stands there, and a cover keeps out none of it")
    assert job.facts.extra[0] == (
        "Water stands there from Thu 15:00, up to 31 mm deep: lift it out or bring it in before; "
        "a cover does not help."
    )
    assert job.reason == (
        "a puddle reaches it from Thu 15:00 and spends the allowance of the first fixture at Thu "
        "15:34"
    )


def test_rain_that_spends_it_before_is_the_reason():
    # 0.6 mm spend IP20's half by 14:50, and gather to 9.6 (1 - e^-1/2) = 3.8 mm: no puddle yet
    job = only(planned(dip("IP20"), hours([0, 0, 0.6, 5.0, 0, 0], 0.0)))
    assert since_noon_h(job.do_by_s) == pytest.approx(2 + 0.5 / 0.6)
    assert "mm of rain in this spell" in job.reason
    # and where a puddle comes after it, a cover is no answer
    assert job.action == "bring-in"
    assert job.facts.extra[0].startswith("Water stands there from Thu 15:00")


def test_what_stands_above_it_is_not_told():
    assert planned(dip(height_m=0.04), RAIN).jobs == ()


def test_brought_in_it_is_over():
    assert planned(dip(), RAIN, 1.0, [entry(0.5, "brought-in")]).jobs == ()


def test_covered_it_has_to_come_in_all_the_same():
    job = only(planned(dip(), RAIN, 1.0, [entry(0.5, "covered")]), "covered")
    assert job.action == "bring-in"


def test_the_show_of_which_most_members_stay_dry_is_left_alone():
    # one of ten has the rain, and the risk is a quarter
    members = [[0, 0, 0, 5.0, 0, 0], *[[0.0] * 6] * 9]
    assert planned(dip(), hours(members, 0.0)).jobs == ()
    three = [[0, 0, 0, 5.0, 0, 0]] * 3 + [[0.0] * 6] * 7
    job = only(planned(dip(), hours(three, 0.0)))
    assert "up to 31 mm deep" in job.facts.extra[0]
