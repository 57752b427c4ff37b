"""The open data set's year, cut into years by shifting; wet dates counted by plain sums."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from exposure.rigs import SITE, fixture, show
from storms.newark import as_weather, year

from monitor.codes import read_code
from monitor.domain import Event
from monitor.past_years import go_through, latest_with_weather
from monitor.past_years.through import YearWeather

LOAD_IN = datetime(2014, 6, 7, 5, tzinfo=UTC)
DAYS = timedelta(days=3)
SHIFTS = (0, 21, 42, 63, 84, 105)
"""Days by which the year 2013 is shifted, for 2013, 2012, ... in turn."""


def shifted(days, to_year):
    """The hours of 2013, `days` earlier in the calendar, as those of another year."""
    return tuple(
        replace(hour, at=hour.at.replace(year=to_year) - timedelta(days=days))
        for hour in year()
        if (hour.at.month, hour.at.day) != (2, 29)
    )


@pytest.fixture(scope="module")
def gone():
    described = show(
        [fixture("IP20", "bare"), fixture("IP65", "tight")],
        site=replace(SITE, timezone=ZoneInfo("America/New_York")),
    )
    described = replace(described, event=Event(LOAD_IN, LOAD_IN + DAYS))
    years = []
    for n, days in enumerate(SHIFTS):
        record = as_weather(shifted(days, 2013 - n))
        (span,) = latest_with_weather(described, LOAD_IN, 1, record)
        years.append(YearWeather(span, record))
    return go_through(described, (), years, codes=[read_code("IP20")])


def rain_by_year():
    """Rain on the dates of each year, summed row by row from the file itself [mm]."""
    found = {}
    for n, days in enumerate(SHIFTS):
        start = LOAD_IN.replace(year=2013) + timedelta(days=days)
        rows = [h.rain_mm for h in year() if start <= h.at < start + DAYS]
        found[2013 - n] = (sum(rows), sum(r > 0 for r in rows), len(rows))
    return found


def test_the_years_are_those_of_the_file(gone):
    expected = rain_by_year()
    assert [y.span.year for y in gone.years] == list(expected)
    for year_found in gone.years:
        rain, wet, rows = expected[year_found.span.year]
        assert year_found.rain_mm == pytest.approx(rain)
        assert year_found.wet_hours == wet
        assert year_found.unknown_hours == pytest.approx(72 - rows)


def test_bare_gear_needs_covering_on_the_wet_dates(gone):
    # Bare gear in the open takes 0.5 mm, and at least the rain that falls on its top: every
    # date with 0.5 mm or more is one of need, every dry date none. None lies between.
    rain = {y: mm for y, (mm, _, _) in rain_by_year().items()}
    assert all(mm == 0.0 or mm >= 0.5 for mm in rain.values())
    wet = tuple(y for y, mm in rain.items() if mm >= 0.5)
    assert 0 < len(wet) < len(SHIFTS)
    bare, tight = gone.fixtures
    assert bare.needed == wet
    assert tight.needed == ()
    assert gone.instead[0].needed == wet
    worst_year, used = bare.worst
    assert rain[worst_year] > 0.0
    assert used >= rain[worst_year] / 0.5


def test_the_crew_works_in_wet_years_only(gone):
    rain = {y: mm for y, (mm, _, _) in rain_by_year().items()}
    (place,) = gone.positions
    for y, work in place.by_year.items():
        assert (work.jobs > 0) == (rain[y] > 0.0)
