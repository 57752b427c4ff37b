from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from page_site import THURSDAY, Stage, demo_folder, hours_until

from monitor.page.curve import curve_of
from monitor.page.curve import picture as curve_picture
from monitor.page.measures import Measures
from monitor.page.outlook import closings, named_limits, sky_lines
from monitor.page.rig import known_of, rig_now
from monitor.page.sky import most_rain, quantile, sky_of, window
from monitor.page.sky_picture import Strip, strip
from monitor.page.times import Times
from monitor.page.words import Words

# Four members of equal weight: a tenth, half and nine tenths of them are reached by the first,
# the second and the fourth value in rising order (1/4 >= 0.1, 2/4 >= 0.5, 4/4 >= 0.9).
VALUES = np.array([[3.0], [1.0], [4.0], [2.0]])
EVEN = np.full((4, 1), 0.25)


@pytest.mark.parametrize(("part", "value"), [(0.1, 1.0), (0.5, 2.0), (0.75, 3.0), (0.9, 4.0)])
def test_quantile_of_members(part, value):
    assert quantile(VALUES, EVEN, part).tolist() == [value]


def test_quantile_leaves_out_who_says_nothing():
    """Without the 1.0 three are left: half of them is reached at the second, 3.0."""
    values = VALUES.copy()
    values[1] = np.nan
    assert quantile(values, EVEN, 0.5).tolist() == [3.0]
    assert np.isnan(quantile(np.full((4, 1), np.nan), EVEN, 0.5)).all()


def test_quantile_counts_by_weight():
    """0.7 on the 3.0: half is reached there (0.1 + 0.1 + 0.7)."""
    shares = np.array([[0.7], [0.1], [0.1], [0.1]])
    assert quantile(VALUES, shares, 0.5).tolist() == [3.0]


@pytest.fixture
def many(tmp_path):
    """Twenty members: the record with 0.5 to 1.5 times its rain."""
    return Stage(demo_folder(tmp_path / "show"), members=20)


def drawn(seen, before_h=6.0, after_h=24.0):
    known, sky = known_of(seen), sky_of(known_of(seen))
    from_s, until_s = window(seen.at, before_h, after_h)
    times = Times(known.show.site.timezone, seen.at, Words())
    limits = named_limits(known, Words())
    most = most_rain(sky, from_s, until_s)
    return strip(
        Strip(sky, from_s, until_s, limits, times, Words(), Measures(), "sky", "said", most)
    )


def test_the_band_lies_around_the_mean(many):
    """At 05Z the record has 7.2 mm. Twenty members of 0.5 to 1.5 in steps of 1/19: the second
    (0.5 + 1/19) is the first to reach a tenth, the 18th (0.5 + 17/19) nine tenths.
    """
    ahead = sky_of(known_of(many.evaluate(THURSDAY))).ahead
    at_5 = datetime(2027, 7, 16, 5, tzinfo=UTC).timestamp()
    i = int(np.flatnonzero(ahead.starts == at_5)[0])
    assert ahead.rain_mm_h[i] == pytest.approx(7.2)
    assert ahead.low_mm_h[i] == pytest.approx(7.2 * (0.5 + 1 / 19))
    assert ahead.high_mm_h[i] == pytest.approx(7.2 * (0.5 + 17 / 19))
    assert ahead.chance[i] == pytest.approx(1.0)


def test_one_forecast_makes_no_band_and_no_chance(stage):
    sky = sky_of(known_of(stage.evaluate(THURSDAY)))
    assert sky.members == 1
    assert np.isnan(sky.ahead.low_mm_h).all()
    assert np.isnan(sky.ahead.chance).all()
    assert "chance of rain" not in drawn(stage.cycle.seen)


def test_measured_and_forecast_are_told_apart_by_word_and_pattern(stage):
    seen = stage.evaluate(THURSDAY)
    as_forecast = drawn(seen)
    assert "as forecast" in as_forecast
    assert "url(#sky)" in as_forecast
    assert 'class="rain"' not in as_forecast
    steps = seen.found.past.steps
    everything = np.ones((8, len(steps.weather.starts)), dtype=bool)
    weather = replace(steps.weather, measured=everything)
    past = replace(seen.found.past, steps=steps._replace(weather=weather))
    measured = drawn(replace(seen, found=replace(seen.found, past=past)))
    assert "measured" in measured
    assert 'class="rain"' in measured


def test_limits_and_now_are_on_the_strip(stage):
    picture = drawn(stage.evaluate(THURSDAY))
    for said in ("now 21:40", "Ladder 10", "Platform 12.5", "Truss 12.5", "forecast ▸"):
        assert said in picture
    assert "style=" not in picture


def test_nothing_known_is_said(stage):
    seen = stage.evaluate(THURSDAY + timedelta(days=30))
    assert "not known" in drawn(seen)
    known = known_of(seen)
    times = Times(known.show.site.timezone, seen.at, Words())
    said = sky_lines(known, Words(), times, Measures())
    assert said == ["What comes is not known: look at the sky yourself."]


def test_the_sky_in_words(stage):
    """Of the demo: the front's gust 21.4 at 04Z, 05:00 on site; 10 m/s is passed at 21Z, 22:00
    on site, and the ladders' limit is 10.
    """
    known = known_of(stage.evaluate(THURSDAY))
    times = Times(known.show.site.timezone, known.now, Words())
    said = sky_lines(known, Words(), times, Measures())
    assert "Greatest gust 21.4\N{NO-BREAK SPACE}m/s at 10 m, Fri\N{NO-BREAK SPACE}05:00." in said
    ladders = next(c for c in closings(known, Words(), Measures()) if c.access == "ladder")
    assert ladders.begins == datetime(2027, 7, 15, 21, tzinfo=UTC)
    assert not ladders.is_now
    assert ladders.limit_mps == 10.0
    assert "Stage left ladder" in ladders.places


def test_the_curve_runs_on_from_what_was(many):
    seen = many.evaluate(*hours_until(THURSDAY, 1))
    rig = rig_now(seen)
    place = rig.by_id["tower-a"]
    curve = curve_of(rig.known, [row.group for row in place.rows if row.out])
    assert curve.past_used[-1] == pytest.approx(place.used)
    # More rain never uses less: the band is in order, and never falls while nothing is looked at.
    assert (curve.low <= curve.used).all()
    assert (curve.used <= curve.high).all()
    assert (np.diff(curve.high) >= -1e-12).all()
    times = Times(rig.known.show.site.timezone, seen.at, Words())
    picture = curve_picture(curve, times, Words(), "how much", "used")
    assert "url(#used)" in picture
    assert "allowance spent" in picture


def test_no_band_of_one_forecast(stage):
    seen = stage.evaluate(THURSDAY)
    known = known_of(seen)
    curve = curve_of(known, [0])
    assert np.isnan(curve.high).all()
    times = Times(known.show.site.timezone, seen.at, Words())
    assert "url(#used)" not in curve_picture(curve, times, Words(), "how much", "used")
