"""The nights in which the clocks change: the last Sundays of March and October, UK time.

28 March 2027: at 01:00 UTC 01:00 becomes 02:00. 31 October 2027: at 01:00 UTC 02:00 becomes
01:00 again, so 01:00 to 02:00 site time comes twice.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import fault_server as server
import numpy as np
import pytest
from fault_stage import feed_of, forecast, hours, sheet_text, staged

from monitor.store.runs import received_runs
from monitor.units import to_epoch

SPRING = datetime(2027, 3, 27, 21, 30, tzinfo=UTC)
AUTUMN = datetime(2027, 10, 30, 20, 30, tzinfo=UTC)
LOCAL = '[time]\nzone = "Europe/London"\n'


def local(answer, offset_s, stamps):
    """The same answer on the site's own clock, without offsets."""
    answer["utc_offset_seconds"] = offset_s
    hours(answer)["time"] = stamps
    return {**answer, "hourly": {k: v[: len(stamps)] for k, v in hours(answer).items()}}


@pytest.fixture
def around(tmp_path):
    contexts = []

    def make(now, more=""):
        serving = server.fault_server(lambda h: None)
        weather = serving.__enter__()
        contexts.append(serving)
        staging = staged(
            tmp_path / "show",
            feed_of(weather.url),
            {"fault-feed": sheet_text(more=more)},
            load_in=now - timedelta(hours=3),
        )
        made = staging.__enter__()
        contexts.append(staging)
        made.now = now
        weather.clock = made.clock
        return weather, made

    yield make
    for context in reversed(contexts):
        context.__exit__(None, None, None)


@pytest.mark.parametrize("now", [SPRING, AUTUMN])
def test_stamps_in_utc_know_no_clock_change(around, now):
    weather, made = around(now)
    weather.reply = server.says(forecast(now))
    (polled,) = made.poll()
    assert polled.ok
    run = received_runs(made.db)[-1].weather
    assert set(np.diff(run.ends).tolist()) == {3600.0}
    assert (made.state(), made.sight().hole) == ("current", None)


def test_times_on_the_far_side_of_the_change_carry_their_zone(around):
    # rain from four hours after 20:00 UTC on: 00:00 UTC is 01:00 the first time
    weather, made = around(AUTUMN)
    weather.reply = server.says(forecast(AUTUMN, rain_in_h=5))
    made.poll()
    made.run()
    text = made.told("work")[0].text
    # 01:00 UTC on is 01:00 the second time, GMT, told on an evening in BST
    assert "Sun 01:00 GMT" in text


def test_a_skipped_hour_leaves_no_hole(around):
    weather, made = around(SPRING, LOCAL)
    # 22:00, 23:00, 00:00 GMT, then 02:00 BST, which is 01:00 UTC, and so on
    stamps = ["2027-03-27T22:00", "2027-03-27T23:00", "2027-03-28T00:00"]
    stamps += [f"2027-03-28T{h:02d}:00" for h in range(2, 14)]
    weather.reply = server.says(local(forecast(SPRING), 0, stamps))
    (polled,) = made.poll()
    assert polled.ok
    run = received_runs(made.db)[-1].weather
    # 15 stamps, one an hour from 22:00 UTC: the last, 13:00 BST, is 12:00 UTC
    first = to_epoch(datetime(2027, 3, 27, 22, tzinfo=UTC))
    assert run.ends.tolist() == [first + 3600.0 * n for n in range(15)]
    assert run.ends[-1] == to_epoch(datetime(2027, 3, 28, 12, tzinfo=UTC))
    assert made.sight().hole is None


def test_a_stamp_in_the_skipped_hour_is_told_and_not_placed(around):
    weather, made = around(SPRING, LOCAL)
    stamps = ["2027-03-27T22:00", "2027-03-27T23:00"]
    stamps += [f"2027-03-28T{h:02d}:00" for h in range(14)]
    weather.reply = server.says(local(forecast(SPRING), 0, stamps))
    made.poll()
    run = received_runs(made.db)[-1].weather
    assert len(run.ends) == 15
    assert any("twice or not at all" in said for said in run.dropped)


def test_a_doubled_hour_is_not_known_and_the_hole_is_said(around):
    weather, made = around(AUTUMN, LOCAL)
    # 21:00 BST on the 30th to 12:00 GMT on the 31st; 01:00 stands twice
    stamps = [f"2027-10-30T{h:02d}:00" for h in (21, 22, 23)]
    stamps += [f"2027-10-31T{h:02d}:00" for h in (0, 1, 1, *range(2, 13))]
    weather.reply = server.says(local(forecast(AUTUMN), 3600, stamps))
    (polled,) = made.poll()
    assert polled.ok
    run = received_runs(made.db)[-1].weather
    # Which 01:00 is which is not said. 00:00 BST is 23:00 UTC; 02:00 GMT is 02:00 UTC and
    # tells of the hour before it. So 23:00 to 01:00 UTC is not known.
    assert any("2 stamps" in said for said in run.dropped)
    begins = datetime(2027, 10, 30, 23, tzinfo=UTC)
    ends = datetime(2027, 10, 31, 1, tzinfo=UTC)
    assert (made.sight().reaches_to, made.sight().hole) == (begins, (begins, ends))
    # 2.5 hours away: current, and said; two hours before it, lost
    assert made.state() == "current"
    made.later(minutes=31)
    made.run()
    assert made.state() == "lost"
    assert "says nothing for Sun 00:00 to Sun 01:00 GMT" in made.changes("weather")[-1].reason


def test_the_wrong_offset_for_the_night_is_refused(around):
    weather, made = around(AUTUMN, LOCAL)
    stamps = [f"2027-10-30T{h:02d}:00" for h in (21, 22, 23)]
    # still BST at the first stamp, and the answer says GMT
    weather.reply = server.says(local(forecast(AUTUMN), 0, stamps))
    (polled,) = made.poll()
    assert not polled.ok
    assert "0 s from UTC" in polled.says
