"""Shifts in site time, over the nights on which the clock changes, and the dark."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pandas as pd
import pvlib
import pytest

from monitor.domain import Crew, Hours, Person, Site
from monitor.planning.daylight import dark_spans
from monitor.planning.on_site import hands, shift_on

LONDON = ZoneInfo("Europe/London")
NIGHT = Hours(time(23), time(9))


@pytest.mark.parametrize(
    ("day", "start", "hours"),
    [
        # summer time, UTC+1
        (date(2027, 7, 15), datetime(2027, 7, 15, 22, tzinfo=UTC), 10),
        # the clock is put on at 01:00 UTC on 28 March, and back at 01:00 UTC on 31 October
        (date(2027, 3, 27), datetime(2027, 3, 27, 23, tzinfo=UTC), 9),
        (date(2027, 10, 30), datetime(2027, 10, 30, 22, tzinfo=UTC), 11),
    ],
)
def test_a_night_shift_goes_by_the_clock_on_the_wall(day, start, hours):
    begins_s, ends_s = shift_on(day, NIGHT, LONDON)
    assert begins_s == start.timestamp()
    assert ends_s - begins_s == hours * 3600.0


def test_shifts_meet_without_a_gap_over_every_change():
    for day in (date(2027, 3, 28), date(2027, 10, 31), date(2027, 7, 1)):
        first = shift_on(day, Hours(time(0), time(1, 30)), LONDON)
        second = shift_on(day, Hours(time(1, 30), time(9)), LONDON)
        assert first[1] == second[0]


def test_a_shift_begun_yesterday_is_on_now():
    now = datetime(2027, 7, 16, 2, tzinfo=UTC).timestamp()
    (hand,) = hands(Crew(people=(Person("Dario", shifts=(NIGHT,)),)), LONDON, now, now + 86400.0)
    assert hand.there[0] == (
        datetime(2027, 7, 15, 22, tzinfo=UTC).timestamp(),
        datetime(2027, 7, 16, 8, tzinfo=UTC).timestamp(),
    )
    assert len(hand.there) == 2


def test_nobody_named_is_so_many_parties():
    assert hands(Crew(parties=3), LONDON, 0.0, 1.0) == 3


@pytest.mark.parametrize(("latitude", "longitude"), [(52.0, -2.0), (-33.9, 151.2), (40.7, -74.0)])
@pytest.mark.parametrize("month", [1, 4, 7, 10])
def test_dark_from_sunset_to_sunrise_as_pvlib_has_them(latitude, longitude, month):
    site = Site("x", latitude, longitude, 0.0, ZoneInfo("UTC"), "II")
    begin = datetime(2027, month, 10, tzinfo=UTC)
    spans = dark_spans(site, begin.timestamp(), begin.timestamp() + 4 * 86400.0)
    days = pd.date_range(begin, periods=6, freq="D") - pd.Timedelta(days=1)
    sun = pvlib.solarposition.sun_rise_set_transit_spa(days, latitude, longitude)
    sets = sorted(t.timestamp() for t in sun["sunset"])
    rises = sorted(t.timestamp() for t in sun["sunrise"])
    for span in spans[1:-1]:
        # The program's sun is up to 1.3 degrees off: at these latitudes 9 minutes.
        assert min(abs(span.start_s - t) for t in sets) < 9 * 60.0
        assert min(abs(span.end_s - t) for t in rises) < 9 * 60.0
    assert len(spans) >= 4


def test_midsummer_beyond_the_circle_has_no_night_and_midwinter_no_day():
    north = Site("x", 70.0, 20.0, 0.0, ZoneInfo("UTC"), "II")
    for month, dark in ((6, False), (12, True)):
        begin = datetime(2027, month, 20, tzinfo=UTC).timestamp()
        spans = dark_spans(north, begin, begin + 86400.0)
        assert [(s.start_s, s.end_s) for s in spans] == ([(begin, begin + 86400.0)] if dark else [])
    assert dark_spans(north, 1.0, 1.0) == ()
