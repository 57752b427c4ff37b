"""Two storms and a year at Newark through the one way in, beside figures from outside."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from storms.newark import (
    INDEX,
    RAIN_MM,
    THREE_DAYS,
    TROPICAL_STORM,
    YEAR_RAIN_MM,
    as_weather,
    span,
    year,
)
from storms.worked_rig import WORKED, as_show

from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig
from monitor.exposure.wetting import driving_rain_index
from monitor.exposure.wind import wind_10m

AZIMUTHS = range(0, 360, 45)


@pytest.fixture(scope="module")
def storm():
    return as_weather(span(TROPICAL_STORM))


@pytest.fixture(scope="module")
def exposure(storm):
    rig = compile_rig(as_show(TROPICAL_STORM))
    return assess(rig, storm, out_from_s=TROPICAL_STORM.timestamp())


@pytest.mark.parametrize("start", INDEX, ids=["tropical storm", "thunderstorms"])
def test_rain_and_driving_rain_index(start):
    weather = as_weather(span(start))
    assert len(weather.starts) == 72
    assert np.nansum(weather.rain_mm) == pytest.approx(RAIN_MM[start], rel=1e-6)
    u10 = wind_10m(weather.wind_mps[0], "open", 10.0, "II")
    for azimuth, expected in zip(AZIMUTHS, INDEX[start], strict=True):
        index = driving_rain_index(
            weather.rain_mm[0], weather.hours, u10, weather.wind_from_deg[0], azimuth
        )
        assert index == pytest.approx(expected, rel=1e-4, abs=1e-9)


def test_the_rain_of_the_whole_year():
    assert np.nansum(as_weather(year()).rain_mm) == pytest.approx(YEAR_RAIN_MM, abs=0.005)


def test_the_worked_storm_is_this_one(storm):
    assert len(storm.starts) == WORKED["steps"]
    assert np.nansum(storm.rain_mm) == pytest.approx(WORKED["rain_mm"], abs=1e-3)


@pytest.mark.parametrize("number", range(len(WORKED["fixtures"])))
def test_every_fixture_of_the_worked_storm(number, exposure):
    """Wetting within 0.5 %, used within 1 %, moments within 120 s, as the file says."""
    expected = WORKED["fixtures"][number]
    group = exposure.group_of[number]
    wetting = exposure.wetting_mm[0, :, group].sum()
    assert wetting == pytest.approx(expected["wetting_mm"], rel=0.005)
    assert exposure.used[0, -1, group] == pytest.approx(expected["used"], rel=0.01)
    for found, key in ((exposure.half_used_s, "half_used_at"), (exposure.spent_s, "spent_at")):
        moment = datetime.fromisoformat(expected[key]).timestamp()
        assert found[0, group] == pytest.approx(moment, abs=120)


def test_nothing_of_the_worked_storm_is_unknown(exposure):
    assert WORKED["unknown_steps"] == exposure.unknown_hours.max() == 0
    assert (exposure.hours_out == 72).all()


def test_a_year_is_its_days():
    """The whole year at once equals its two halves, the first carried into the second."""
    rig = compile_rig(as_show(datetime(2013, 1, 1, tzinfo=UTC)))
    weather = as_weather(year())
    start = weather.starts[0]
    middle = datetime(2013, 7, 1, tzinfo=UTC).timestamp()
    whole = assess(rig, weather, out_from_s=start)
    first = assess(rig, weather.between(start, middle), out_from_s=start)
    then = assess(rig, weather.between(middle, np.inf), out_from_s=start, carried=first.carried)
    np.testing.assert_allclose(then.used[:, -1], whole.used[:, -1], rtol=1e-9)
    np.testing.assert_allclose(
        first.wetting_mm.sum(axis=1) + then.wetting_mm.sum(axis=1),
        whole.wetting_mm.sum(axis=1),
        rtol=1e-9,
    )
    assert np.isfinite(whole.used).all()
    # every step reported is a step: hours not reported are gaps, counted and never dry
    missing = (weather.ends[-1] - start) / 3600.0 - len(weather.starts)
    assert (whole.unknown_hours >= missing).all()
    assert missing > 0


def test_the_storm_inside_the_year_is_the_storm(exposure):
    rig = compile_rig(as_show(TROPICAL_STORM))
    weather = as_weather(span(TROPICAL_STORM - timedelta(days=30), timedelta(days=60)))
    put_out = TROPICAL_STORM.timestamp()
    around = assess(rig, weather, out_from_s=put_out)
    during = (around.steps.weather.starts >= put_out) & (
        around.steps.weather.starts < put_out + THREE_DAYS.total_seconds()
    )
    np.testing.assert_allclose(
        around.wetting_mm[:, during].sum(axis=1), exposure.wetting_mm.sum(axis=1), rtol=1e-12
    )
    np.testing.assert_array_equal(around.spent_s, exposure.spent_s)
