"""An issue time is believed as far as our own clock allows, on the clock of its sheet."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from feeds.feed_samples import FETCHED_AT, answer, body, own_sheet

from monitor.feeds.decode import decode
from monitor.feeds.issued import issued_told
from monitor.feeds.stamps import moment_of


def decoded(stated, *, run='issued = "made"', zone="UTC", fetched_at=FETCHED_AT, headers=None):
    sheet = own_sheet(f'[run]\n{run}\n[time]\nzone = "{zone}"\noffset_path = "no_such_offset"\n')
    return decode(body({**answer(), "made": stated}), sheet, fetched_at=fetched_at, headers=headers)


@pytest.mark.parametrize(
    ("minutes", "believed"),
    [(-600, True), (0, True), (5, True), (6, False), (60 * 24 * 400, False)],
)
def test_a_run_is_not_issued_after_it_is_read_and_that_is_told(minutes, believed):
    # five minutes are left for two clocks that differ
    made = FETCHED_AT + timedelta(minutes=minutes)
    weather = decoded(made.isoformat())
    assert weather.issued_at == (made if believed else None)
    told = issued_told(weather.dropped)
    assert bool(told) != believed
    assert all("at made lies after the fetch and is not believed" in one for one in told)


def test_a_sample_has_no_clock_to_hold_it_against():
    made = FETCHED_AT + timedelta(days=3)
    weather = decoded(made.isoformat(), fetched_at=None)
    assert (weather.issued_at, issued_told(weather.dropped)) == (made, ())


def test_a_stamp_without_offset_is_on_the_clock_of_the_sheet():
    # 05:00 in Berlin in June is 03:00 UTC. The stamps of the steps are moved as well, by 2 h.
    assert decoded("2026-06-01T05:00").issued_at == datetime(2026, 6, 1, 5, tzinfo=UTC)
    there = decoded("2026-06-01T05:00", zone="Europe/Berlin")
    assert there.issued_at == datetime(2026, 6, 1, 3, tzinfo=UTC)
    assert issued_told(there.dropped) == ()
    stated = decoded("2026-06-01T05:00Z", zone="Europe/Berlin")
    assert stated.issued_at == datetime(2026, 6, 1, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("stated", "zone", "utc"),
    [
        # the clocks of Berlin go back on 25 October 2026 at 03:00: of the two hours the first
        ("2026-10-25T02:30", "Europe/Berlin", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("2026-01-15T12:00", "Asia/Kolkata", datetime(2026, 1, 15, 6, 30, tzinfo=UTC)),
        # an HTTP date is of UTC, whatever the sheet's clock (RFC 9110)
        ("Mon, 01 Jun 2026 05:00:00 GMT", "Europe/Berlin", datetime(2026, 6, 1, 5, tzinfo=UTC)),
        (1780290000, "Europe/Berlin", datetime(2026, 6, 1, 5, tzinfo=UTC)),
        ("soon", "Europe/Berlin", None),
        (True, None, None),
    ],
)
def test_moments(stated, zone, utc):
    assert moment_of(stated, zone) == utc


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        (None, "issue time: nothing is at made, so the age counts from the fetch"),
        ("soon", "issue time: 'soon' at made is no moment, so the age counts from the fetch"),
    ],
)
def test_a_path_that_leads_nowhere_is_told(stated, says):
    weather = decoded(stated)
    assert weather.issued_at is None
    assert issued_told(weather.dropped) == (says,)


def test_a_header_that_is_not_there_is_told_but_not_of_a_sample_file():
    run = 'issued = "header:Last-Modified"'
    assert issued_told(decoded(None, run=run, headers={"Date": "x"}).dropped) == (
        "issue time: nothing is at header:Last-Modified, so the age counts from the fetch",
    )
    assert issued_told(decoded(None, run=run, fetched_at=None).dropped) == ()


def test_an_address_of_its_own_that_said_nothing_is_told():
    run = 'issued = { url = "https://w.example/meta.json", path = "last" }'
    assert issued_told(decoded(None, run=run).dropped) == (
        "issue time: nothing is at https://w.example/meta.json, so the age counts from the fetch",
    )


def test_a_sheet_that_looks_for_none_is_told_nothing():
    assert issued_told(decoded(None, run="max_age = '8h'").dropped) == ()
