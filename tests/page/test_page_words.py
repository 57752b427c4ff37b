from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.page import ink
from monitor.page.times import Times
from monitor.page.viewer import Viewer
from monitor.page.words import JOIN, Words

NOW = datetime(2027, 7, 15, 20, 40, tzinfo=UTC)
TIMES = Times(ZoneInfo("Europe/London"), NOW, Words())


def test_a_text_without_another_language_is_said_in_english():
    assert Words().say("Start by {time}", time="22:40") == "Start by 22:40"
    assert Words().several("{count} person", "{count} people", 1) == "1 person"
    assert Words().several("{count} person", "{count} people", 3) == "3 people"


def test_another_language_says_what_it_has():
    german = Words(
        "de", {"Start by {time}": "Anfangen bis {time}"}, {"{count} a": ("ein", "viele")}
    )
    assert german.say("Start by {time}", time="22:40") == "Anfangen bis 22:40"
    assert german.say("Rig") == "Rig"
    assert german.several("{count} a", "{count} b", 1) == "ein"
    assert german.several("{count} a", "{count} b", 2) == "viele"


# British summer time is UTC+1 in July: 20:40Z is 21:40 on site, and 2027-07-15 a Thursday.
@pytest.mark.parametrize(
    ("moment", "said"),
    [
        (NOW, "21:40"),
        (NOW + timedelta(hours=3), "Fri 00:40"),
        (NOW - timedelta(days=1), "Wed 21:40"),
        (NOW + timedelta(days=8), "Fri 23.07. 21:40"),
        # Past the end of summer time (31 October 2027) a bare hour could be either.
        (datetime(2027, 11, 1, 12, tzinfo=UTC), "Mon 01.11. 12:00 UTC+0000"),
        (None, "–"),
    ],
)
def test_a_moment_on_the_sites_clock(moment, said):
    assert TIMES.at(moment) == said.replace(" ", JOIN)


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (40, "in 40 min"),
        (119, "in 119 min"),
        (200, "in 3 h 20 min"),
        (49 * 60, "in 2 d 1 h"),
        (-5, "5 min late"),
    ],
)
def test_how_long_it_is_until_then(minutes, said):
    assert TIMES.until(NOW + timedelta(minutes=minutes)) == said


def test_how_long_ago():
    assert TIMES.ago(NOW - timedelta(seconds=50)) == "just now"
    assert TIMES.ago(NOW - timedelta(minutes=12)) == "12 min ago"
    assert TIMES.ago(None) == "never"


@pytest.mark.parametrize(
    ("used", "said"),
    [(0.0, "0 %"), (0.834, "83 %"), (0.9999, "99 %"), (1.5, "150 %"), (11.7, "11 times")],
)
def test_a_share_is_never_rounded_up(used, said):
    assert Viewer("x").words_of_share(used) == said


@pytest.mark.parametrize(("most", "end"), [(1.0, 1.0), (1.1, 1.2), (11.0, 12.0), (2.3, 3.0)])
def test_an_axis_ends_at_the_next_good_number(most, end):
    assert ink.axis_end(most) == pytest.approx(end)


def test_who_may_log():
    assert [Viewer("x", role).may_log for role in ("guest", "crew", "chief")] == [
        False,
        True,
        True,
    ]
