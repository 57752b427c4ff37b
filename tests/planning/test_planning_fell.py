"""What fell until now, and what is spent and gets still more: both by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from exposure.rigs import after, entry, fixture, hours, one_fixture, show
from planning.planned import bag, planned

from monitor.domain import WEATHER_VALUES
from monitor.planning.fell import last_rain

# ---------------------------------------------------------------- what fell


def as_forecast(weather):
    return replace(weather, forecast=np.ones(len(weather.starts), dtype=bool))


def measured(weather, on_site):
    told = np.zeros((len(WEATHER_VALUES), len(weather.starts)), dtype=bool)
    told[WEATHER_VALUES.index("rain_mm")] = on_site
    return replace(as_forecast(weather), measured=told)


def test_no_past_and_no_rain_tell_nothing():
    assert last_rain(None) is None
    assert last_rain(hours([0.0] * 5, 3.0)) is None
    assert last_rain(hours([float("nan")] * 5, 3.0)) is None
    assert last_rain(hours([], 3.0)) is None


def test_the_spell_that_lasts_is_told_from_its_begin():
    # 1 mm in the third hour and 2.5 in the fifth: one spell from 14:00 to 17:00
    found = last_rain(hours([0, 0, 1, 0, 2.5], 3.0))
    assert found is not None
    assert (found.mm, found.since, found.to) == (3.5, after(2), after(5))


@pytest.mark.parametrize(("dry_h", "mm"), [(5, 3.0), (6, 2.0)])
def test_six_dry_hours_part_two_spells(dry_h, mm):
    found = last_rain(hours([1.0, *[0.0] * dry_h, 2.0], 3.0))
    assert found is not None
    assert found.mm == mm


def test_what_is_not_known_is_left_out():
    found = last_rain(hours([1.0, float("nan"), 2.0], 3.0))
    assert found is not None
    assert found.mm == 3.0


def test_who_measured_it():
    rain = hours([0.0, 1.0, 2.0], 3.0)
    for weather, says in (
        (rain, "record"),
        (as_forecast(rain), "none"),
        (measured(rain, [True, True, True]), "all"),
        (measured(rain, [True, False, True]), "some"),
        # the dry hour was measured, the wet ones were not
        (measured(rain, [True, False, False]), "none"),
    ):
        found = last_rain(weather)
        assert found is not None
        assert found.measured == says


# ---------------------------------------------------------------- spent, and water still comes


def wet(log=(), rain=(1.0, 1.0), used=1.5, described=None, at_h=0.0):
    described = described or one_fixture("IP20")
    # what the log says of one fixture makes a group of its own of it
    carried = {"used": np.full((3, 2 if log else 1), used)}
    return planned(described, hours(list(rain), 3.0), at_h, log, carried=carried, asked=("f1",))


def test_spent_and_rained_on_is_named_with_its_position():
    found = wet()
    ((position, fixtures),) = found.soaking.items()
    assert (position in found.rain_ahead, fixtures) == (True, ("f1",))
    assert found.used == {"f1": 1.5}


@pytest.mark.parametrize("used", [0.0, 0.99])
def test_what_is_not_spent_is_not(used):
    assert wet(used=used).soaking == {}


def test_dry_weather_and_what_is_brought_in_are_not():
    assert wet(rain=(0.0, 0.0)).soaking == {}
    assert wet([entry(-1.0, "brought-in", fixture="f1")]).soaking == {}


def test_rain_of_later_counts_once_a_start_called_now_would_be_due():
    # the margin is an hour: rain from 14:00 on counts from 13:00 on
    dry_first = (0.0, 0.0, 1.0)
    assert wet(rain=dry_first).soaking == {}
    assert wet(rain=dry_first, at_h=0.99).soaking == {}
    assert wet(rain=dry_first, at_h=1.01).soaking != {}


def test_under_a_sealed_cover_no_water_reaches_it():
    described = show([fixture("IP20", cover="bag")], covers=[bag()])
    assert wet(described=described).soaking != {}
    assert wet([entry(-1.0, "covered", fixture="f1")], described=described).soaking == {}
