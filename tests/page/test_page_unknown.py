"""What is not known is never shown as nothing: no evaluation yet, no forecast, gear not out."""

from __future__ import annotations

from datetime import timedelta

import pytest
from page_site import THURSDAY, Stage, demo_folder, hours_until
from read_html import read

from monitor.domain import LogEntry

NOT_KNOWN = "What comes is not known: look at the sky yourself."
NOTHING_ORDERED = "Nothing is ordered now. That is no permission"
NONE_CLOSES = "None on this forecast."


def text(stage, path):
    return read(stage.client().get(path)).one("main").text


def test_before_the_first_evaluation_nothing_is_said_of_the_forecast(stage):
    assert text(stage, "/").count(NOT_KNOWN) == 1
    assert NOTHING_ORDERED not in text(stage, "/")
    assert NONE_CLOSES not in text(stage, "/sky")
    assert "No rain on gear is known here yet." in text(stage, "/")


def test_a_forecast_that_has_ended_closes_no_access_and_spends_nothing_only_because_it_is_blind(
    stage,
):
    """The record ends on Monday; on Friday after it nothing is known of what comes."""
    blind = THURSDAY + timedelta(days=8)
    stage.log(LogEntry(blind - timedelta(hours=1), "put-out", position="mere-quay", by="Ines"))
    stage.evaluate(blind)
    for path in ("/sky", "/rig"):
        said = text(stage, path)
        assert NONE_CLOSES not in said
        assert "on this forecast" not in said
        assert NOT_KNOWN in said


def test_with_a_forecast_all_of_that_is_said_by_it(tmp_path):
    stage = Stage(demo_folder(tmp_path / "show"))
    stage.evaluate(*hours_until(THURSDAY, 1))
    assert NOT_KNOWN not in text(stage, "/")
    assert "Nothing is spent on this forecast." in text(stage, "/rig")
    # looked at when it has run out without another
    stage.now += timedelta(days=5)
    assert "Nothing is spent on this forecast." not in text(stage, "/rig")


@pytest.mark.parametrize("path", ["/rig", "/rig/tower-a"])
def test_before_load_in_no_lamp_is_said_to_have_no_limit_from_rain(stage, path):
    """IP20 and IP65 lamps that still stand in the truck."""
    stage.evaluate(THURSDAY - timedelta(days=2))
    assert "no limit from rain" not in text(stage, path)
