"""Inspect and clean: at which marks they are asked for, and for which codes."""

from __future__ import annotations

import numpy as np
import pytest
from exposure.rigs import entry, fixture, hours, one_fixture, position, show
from planning.planned import families, only, planned

QUIET = hours([0.0] * 6, 3.0)


def taken(code, **counts):
    """The plan for one fixture of a code that has taken so much."""
    carried = {name: np.array([float(value)]) for name, value in counts.items()}
    return planned(one_fixture(code), QUIET, carried=carried)


@pytest.mark.parametrize(
    ("code", "hours_damp", "asked"),
    [
        ("IP44", 2.9, False),
        ("IP44", 3.0, True),
        ("IP20", 3.0, True),
        ("IP6X", 3.0, True),
        ("IP55", 9.0, False),
        ("IP67", 9.0, False),
    ],
)
def test_three_damp_hours_in_a_night_ask_for_a_check(code, hours_damp, asked):
    found = taken(code, damp_night_most=hours_damp)
    assert families(found) == (["inspect"] if asked else [])
    if asked:
        assert only(found, "inspect").reason == "3 damp hours in one night"


@pytest.mark.parametrize(
    ("code", "days", "asked"),
    [
        ("IP44", 3, False),
        ("IP44", 4, True),
        ("IP55", 14, False),
        ("IP55", 15, True),
        ("IP65", 99, False),
    ],
)
def test_the_stay_limit_by_standing(code, days, asked):
    # temporary gear stays three days with wet or damp hours, extended fourteen
    assert families(taken(code, stay_days=days)) == (["inspect"] if asked else [])


@pytest.mark.parametrize(
    ("code", "dusty", "asked"),
    [
        ("IP54", 23.9, False),
        ("IP54", 24.0, True),
        ("IP44", 0.9, False),
        ("IP44", 1.0, True),
        ("IPX4", 1.0, True),
        ("IP64", 500.0, False),
    ],
)
def test_dust_asks_for_cleaning_by_the_first_digit(code, dusty, asked):
    assert families(taken(code, dusty_since_clean=dusty)) == (["clean"] if asked else [])


def test_days_and_a_damp_night_are_both_said():
    job = only(taken("IP44", stay_days=4, damp_night_most=5), "inspect")
    assert job.reason == "4 days out with wet or damp hours; 5 damp hours in one night"


def test_one_job_a_position_and_action_with_every_reason():
    two = show([fixture("IP44", "f1"), fixture("IP20", "f2", count=3)])
    carried = {
        "damp_night_most": np.array([4.0, 0.0]),
        "used": np.array([[0.1, 1.2], [0, 0], [0, 0]]),
    }
    job = only(planned(two, QUIET, carried=carried), "inspect")
    assert (job.fixtures, job.count) == (("f1", "f2"), 4)
    assert job.reason == "4 damp hours in one night; their allowance is spent"
    assert (job.do_by_s, job.minutes) == (None, None)
    assert job.facts.used == 1.2


def test_how_much_is_used_is_that_of_the_fixtures_asked_about():
    two = show([fixture("IP44", "f1"), fixture("IP20", "f2")])
    carried = {
        "damp_night_most": np.array([4.0, 0.0]),
        "used": np.array([[0.1, 0.4], [0, 0], [0, 0]]),
    }
    assert only(planned(two, QUIET, carried=carried), "inspect").facts.used == 0.1


def test_what_was_inspected_or_cleaned_just_now_is_not_asked_for():
    described = one_fixture("IP44")
    carried = {"damp_night_most": np.array([4.0]), "dusty_since_clean": np.array([5.0])}
    assert families(planned(described, QUIET, 1.0, carried=carried)) == ["clean", "inspect"]
    log = [entry(1.0, "inspected", result="dry")]
    assert families(planned(described, QUIET, 1.0, log, carried=carried)) == ["clean"]
    log.append(entry(1.0, "cleaned"))
    assert families(planned(described, QUIET, 1.0, log, carried=carried)) == []


def test_what_is_brought_in_wet_is_still_inspected():
    # 1 mm on an allowance of 0.5, then inside
    log = [entry(1.0, "brought-in")]
    found = planned(one_fixture("IP20"), hours([1.0, 0, 0, 0]), 2.0, log)
    assert families(found) == ["inspect"]


def test_a_connector_left_open_brings_the_marks_of_an_open_one():
    # an extended fixture is asked at neither mark; with its tail open it is an indoor part
    described = one_fixture("IP65", connector_code="IP65")
    carried = {"damp_night_most": np.array([4.0]), "dusty_since_clean": np.array([2.0])}
    assert families(planned(described, QUIET, 1.0, carried=carried)) == []
    log = [entry(0.5, "uncapped")]
    assert families(planned(described, QUIET, 1.0, log, carried=carried)) == ["clean", "inspect"]


def test_nobody_is_asked_to_look_or_clean_where_nobody_works():
    carried = {"used": np.array([[2.0]]), "dusty_since_clean": np.array([50.0])}
    for access, asked in (("none", []), ("ground", ["clean", "inspect"])):
        rig = show([fixture("IP20", "f1")], positions=(position(access=access),))
        assert sorted(families(planned(rig, QUIET, carried=carried))) == asked


def test_the_dustiest_says_how_long_for_all():
    rig = show([fixture("IP20", "f1"), fixture("IP44", "f2")])
    found = planned(rig, QUIET, carried={"dusty_since_clean": np.array([1.0, 2.0])})
    assert only(found, "clean").reason == "2 dusty hours since cleaned"
