"""What holds for every sequence of readings."""

from __future__ import annotations

import numpy as np
from gauge_samples import LONDON, MAST, at, count
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain import Reading
from monitor.feeds.gauge import measured

MINUTES = st.lists(st.integers(1, 40), min_size=1, max_size=30)
"""Between readings: two tips of 0.4 mm in a minute are 48 mm/h, far from the mark of 300."""
TIPS = st.integers(0, 2)
ANYTHING = st.one_of(st.none(), st.floats(0, 1000).map(lambda x: round(x, 2)))
VALUES = {
    "rain_total_mm": ANYTHING,
    "wind_mps": st.one_of(st.none(), st.floats(0, 40)),
    "gust_mps": st.one_of(st.none(), st.floats(0, 60)),
    "wind_from_deg": st.one_of(st.none(), st.floats(0, 360)),
    "temp_c": st.one_of(st.none(), st.floats(-30, 40)),
    "humidity_pct": st.one_of(st.none(), st.floats(1, 100)),
    "resets": st.sampled_from(["never", "daily", "monthly", "yearly"]),
}


@st.composite
def growing(draw, tip):
    """A counter that never resets: (minute, total) rising by whole tips."""
    minute, total, found = 0, draw(st.integers(0, 4000)) * tip, []
    for step in draw(MINUTES):
        found.append(count(minute, round(total, 2)))
        minute += step
        total += draw(TIPS) * tip
    return [*found, count(minute, round(total, 2))]


@st.composite
def any_readings(draw):
    minutes = draw(st.lists(st.integers(0, 4000), min_size=0, max_size=25, unique=True))
    made = []
    for minute in minutes:
        values = {name: draw(of) for name, of in VALUES.items()}
        if values["rain_total_mm"] is None and draw(st.booleans()):
            values |= {"rain_mm": draw(st.floats(0, 20)), "period_s": draw(st.integers(30, 7200))}
        made.append(Reading("mast", at(minute), **values))
    return made


def same(one, other):
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("starts", "ends", "rain_mm", "wind_mps", "gust_mps", "wind_from_deg", "temp_c")
    )


@given(growing(tip=0.4))
def test_steps_add_up_to_the_growth(readings):
    made = measured(readings, MAST, LONDON)
    grown = readings[-1].rain_total_mm - readings[0].rain_total_mm
    assert np.isclose(made.rain_mm.sum(), grown, atol=1e-5)


@given(growing(tip=0.2))
def test_only_lone_tips_are_missing_from_the_growth(readings):
    made = measured(readings, MAST, LONDON)
    grown = readings[-1].rain_total_mm - readings[0].rain_total_mm
    unknown = np.isnan(made.rain_mm)
    missing = grown - np.nansum(made.rain_mm)
    assert np.isclose(missing, 0.2 * unknown.sum(), atol=1e-5)


@given(any_readings(), st.randoms(use_true_random=False))
def test_order_of_arrival_does_not_matter(readings, random):
    mixed = [*readings]
    random.shuffle(mixed)
    assert same(measured(readings, MAST, LONDON), measured(mixed, MAST, LONDON))


@given(any_readings())
def test_no_negative_rain_and_no_overlap(readings):
    made = measured(readings, MAST, LONDON)
    assert not (made.rain_mm < 0).any()
    assert (made.ends > made.starts).all()
    assert (made.starts[1:] >= made.ends[:-1]).all()
    assert not (made.wind_mps < 0).any()
    known = made.wind_from_deg[np.isfinite(made.wind_from_deg)]
    assert ((known >= 0) & (known < 360)).all()


@given(any_readings())
def test_what_is_not_said_is_never_zero(readings):
    """Rain is known only where a counter or an amount stands at the step's end; so the rest."""
    made = measured(readings, MAST, LONDON)
    says_rain = {
        r.at.timestamp() for r in readings if r.rain_total_mm is not None or r.rain_mm is not None
    }
    whole = {r.at.timestamp() - (r.period_s or 0) for r in readings}
    for start, end, mm in zip(made.starts, made.ends, made.rain_mm[0], strict=True):
        if np.isfinite(mm):
            assert end in says_rain or end in whole or start in says_rain
    for name in ("wind_mps", "gust_mps", "temp_c"):
        said = [getattr(r, name) for r in readings if getattr(r, name) is not None]
        values = getattr(made, name)
        known = values[np.isfinite(values)]
        if not said:
            assert not len(known)
        else:
            assert (known >= min(said) - 1e-9).all()
            assert (known <= max(said) + 1e-9).all()


@given(any_readings(), any_readings())
def test_a_silent_stretch_has_no_steps(early, late):
    """Readings of two times far apart: between them at most one step that spans it."""
    far = [
        Reading(r.station, at(20_000 + (r.at - at(0)).total_seconds() / 60), wind_mps=r.wind_mps)
        for r in late
    ]
    made = measured([*early, *far], MAST, LONDON)
    inside = (made.starts >= at(5000).timestamp()) & (made.ends <= at(19_000).timestamp())
    assert not inside.any()
