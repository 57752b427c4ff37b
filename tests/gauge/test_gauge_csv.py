"""A real CSV file that the test appends to."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.feeds.followed_csv import MOST_BYTES, LeftOff, follow

NOW = datetime(2027, 7, 15, 12, 0, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "mast.csv"


class Follower:
    def __init__(self, path, now=NOW, zone=LONDON):
        self.path, self.now, self.zone = path, now, zone
        self.left_off = LeftOff()
        self.problems = []

    def __call__(self):
        fresh = follow(self.path, self.left_off, "mast", self.zone, self.now)
        self.left_off = fresh.left_off
        self.problems = [(p.code, p.line) for p in fresh.problems]
        return [(f"{r.at:%H:%M}", r.rain_total_mm) for r in fresh.readings]


def append(path, text):
    with path.open("ab") as out:
        out.write(text.encode() if isinstance(text, str) else text)


def test_only_new_lines_are_read(path):
    append(path, "at,rain_total_mm,wind_mps\n2027-07-15T11:00Z,1.0,3\n")
    read = Follower(path)
    assert read() == [("11:00", 1.0)]
    assert read() == []
    append(path, "2027-07-15T11:05Z,1.4,3\n2027-07-15T11:10Z,1.8,\n")
    assert read() == [("11:05", 1.4), ("11:10", 1.8)]
    assert read() == []
    assert read.problems == []


def test_a_half_written_line_is_left_for_next_time(path):
    read = Follower(path)
    append(path, "at,rain_total_mm\n2027-07-15T11:00Z,1")
    assert read() == []
    append(path, "2.4\n2027-")
    assert read() == [("11:00", 12.4)]
    append(path, "07-15T11:05Z,12.8")
    assert read() == []
    append(path, "\r\n")
    assert read() == [("11:05", 12.8)]


def test_a_file_cut_short_is_read_from_its_start(path):
    read = Follower(path)
    append(path, "at,rain_total_mm\n2027-07-15T11:00Z,1.0\n2027-07-15T11:05Z,1.4\n")
    read()
    path.write_text("at,temp_c,rain_total_mm\n2027-07-15T11:10Z,9,2.0\n")
    assert read() == [("11:10", 2.0)]


def test_a_new_file_that_is_longer_already_is_read_from_its_start(path):
    read = Follower(path)
    append(path, "at,rain_total_mm\n2027-07-15T11:00Z,1.0\n")
    read()
    lines = "".join(f"2027-07-15T11:{m}Z,2.{m}\n" for m in range(10, 30))
    path.write_text("at,rain_total_mm\n" + lines)
    assert len(read()) == 20


def test_semicolons_with_decimal_commas(path):
    append(path, "time;rain_total_mm;temp_c\n2027-07-15 12:00:00;12,4;18,25\n")
    fresh = follow(path, LeftOff(), "mast", LONDON, NOW)
    (reading,) = fresh.readings
    # noon in London in July is 11:00Z
    assert reading.at == datetime(2027, 7, 15, 11, 0, tzinfo=UTC)
    assert (reading.rain_total_mm, reading.temp_c) == (12.4, 18.25)


def test_every_column(path):
    append(
        path,
        "station,time,rain_mm,period_s,wind_ms,gust_ms,wind_from_deg,temp_c,dew_point_c,"
        "humidity_pct,battery_ok,level\n"
        'mast,2027-07-15T11:00Z,0.4,300,3,6,210,18,11,63,no,"x"\n'
        "barn,2027-07-15T11:00Z,9.9,300,3,6,210,18,11,63,no,x\n",
    )
    (reading,) = follow(path, LeftOff(), "mast", LONDON, NOW).readings
    assert (reading.rain_mm, reading.period_s, reading.wind_mps, reading.gust_mps) == (
        0.4,
        300.0,
        3.0,
        6.0,
    )
    assert (reading.wind_from_deg, reading.temp_c, reading.dew_point_c) == (210.0, 18.0, 11.0)
    assert (reading.humidity_pct, reading.battery_ok) == (63.0, False)


def test_a_daily_counter_says_so(path):
    append(path, "at,rain_total_mm,resets\n2027-07-15T11:00Z,1.0,daily\n2027-07-15T11:05Z,1,x\n")
    read = Follower(path)
    assert read() == [("11:00", 1.0)]
    assert read.problems == [("unknown-word", 3)]


def test_bad_lines_are_told_and_hold_up_none(path):
    append(
        path,
        "at,rain_total_mm\n"
        "2027-07-15T11:00Z,1.0\n"
        "yesterday,1.2\n"
        "2027-07-15T11:05Z,1.2,9\n"
        "2027-07-15T11:10Z,1_2\n"
        "2027-07-15T11:15Z,\n"
        "\n"
        "2027-07-15T13:00Z,1.2\n",
    )
    append(path, b"2027-07-15T11:16Z,\x001\n2027-07-15T11:17Z,1.2 \xb0\n")
    append(path, "2027-07-15T11:20Z,nan\n" + "9" * 5000 + "\n2027-07-15T11:25Z,1.6\n")
    read = Follower(path)
    assert read() == [("11:00", 1.0), ("11:25", 1.6)]
    assert read.problems == [
        ("bad-time", 3),
        ("row-length", 4),
        ("not-a-number", 5),
        ("nothing-measured", 6),
        ("time-ahead", 8),
        ("not-text", 9),
        ("not-a-number", 10),
        ("not-a-number", 11),
        ("not-text", 12),
    ]


def test_an_impossible_value_is_told_and_the_rest_kept(path):
    append(path, "at,rain_total_mm,temp_c\n2027-07-15T11:00Z,1.0,99\n")
    fresh = follow(path, LeftOff(), "mast", LONDON, NOW)
    assert (fresh.readings[0].rain_total_mm, fresh.readings[0].temp_c) == (1.0, None)
    assert [(p.code, p.line) for p in fresh.problems] == [("impossible-value", 2)]


def test_old_lines_are_passed_over_and_counted(path):
    old = "".join(f"2027-06-{d:02d}T11:00Z,1.0\n" for d in range(1, 31))
    append(path, "at,rain_total_mm\n" + old + "2027-07-15T11:00Z,2.0\n")
    read = Follower(path)
    assert read() == [("11:00", 2.0)]
    assert read.problems == [("time-too-old", None)]


def test_the_hour_that_comes_twice_and_the_one_that_never_does(path):
    # London 2027: clocks forward at 01:00 on 28 March, back at 02:00 on 31 October
    append(
        path,
        "at,rain_total_mm\n2027-10-31 00:59,1.0\n2027-10-31 01:30,1.2\n2027-10-31 02:00,1.4\n",
    )
    read = Follower(path, datetime(2027, 10, 31, 3, 0, tzinfo=UTC))
    # 00:59 is still summer time, 23:59Z; 02:00 is 02:00Z
    assert read() == [("23:59", 1.0), ("02:00", 1.4)]
    assert read.problems == [("hour-twice-or-never", 3)]
    path.write_text("at,rain_total_mm\n2027-03-28 01:30,1.0\n2027-03-28T01:30+00:00,1.2\n")
    read = Follower(path, datetime(2027, 3, 28, 3, 0, tzinfo=UTC))
    assert read() == [("01:30", 1.2)]
    assert read.problems == [("hour-twice-or-never", 2)]


def test_a_heading_in_the_middle_and_other_columns_from_there(path):
    append(
        path,
        "at,rain_total_mm\n2027-07-15T11:00Z,1.0\nat,rain_total_mm\n2027-07-15T11:05Z,1.2\n"
        '"Time";"temp_c";"rain_total_mm"\n2027-07-15T11:10Z;18,0;1,4\n',
    )
    read = Follower(path)
    assert read() == [("11:00", 1.0), ("11:05", 1.2), ("11:10", 1.4)]
    assert read.problems == []


def test_headings_that_cannot_be_used(path):
    append(path, "2027-07-15T11:00Z,1.0\n")
    read = Follower(path)
    assert read() == []
    assert read.problems == [("missing-heading", 1)]
    path.write_text("at,time,rain_total_mm\n2027-07-15T11:00Z,2027-07-15T11:00Z,1.0\n")
    read = Follower(path)
    assert read() == []
    assert read.problems == [("repeated-column", 1), ("missing-heading", 2)]
    path.write_text("at,level\n2027-07-15T11:00Z,1.0\n")
    read = Follower(path)
    assert read() == []
    assert read.problems == [("missing-column", 1), ("nothing-measured", 2)]


def test_a_byte_order_mark_and_windows_text(path):
    append(path, b"\xef\xbb\xbfat,rain_total_mm,sky\r\n2027-07-15T11:00Z,1.0,\xfcber\r\n")
    assert Follower(path)() == [("11:00", 1.0)]


def test_a_long_file_comes_in_pieces(path):
    first = NOW - timedelta(days=6)
    lines = [f"{first + timedelta(minutes=m):%Y-%m-%dT%H:%MZ},{m / 100}\n" for m in range(8000)]
    append(path, "at,rain_total_mm\n" + "".join(lines))
    assert path.stat().st_size > 3 * MOST_BYTES - 10_000
    left_off, count, pieces = LeftOff(), 0, 0
    while True:
        fresh = follow(path, left_off, "mast", LONDON, NOW)
        left_off, count, pieces = fresh.left_off, count + len(fresh.readings), pieces + 1
        if not fresh.more:
            break
    assert (count, left_off.lines) == (8000, 8001)
    assert pieces > 2


def test_a_line_without_an_end_does_not_stop_it_for_ever(path):
    append(path, "at,rain_total_mm\n" + "x" * (2 * MOST_BYTES) + "\n2027-07-15T11:00Z,1.0\n")
    read, found = Follower(path), []
    for _ in range(4):
        found += read()
    assert found == [("11:00", 1.0)]


def test_an_empty_file_and_none(path):
    path.touch()
    assert Follower(path)() == []
    path.unlink()
    with pytest.raises(FileNotFoundError):
        Follower(path)()


@given(cuts=st.lists(st.integers(0, 320), max_size=12), data=st.data())
def test_however_it_is_written_each_line_is_read_once(tmp_path_factory, cuts, data):
    path = tmp_path_factory.mktemp("csv") / "mast.csv"
    text = "at;rain_total_mm\n" + "".join(
        f"2027-07-15 12:{m:02d};{m},{data.draw(st.integers(0, 9))}\n" for m in range(12)
    )
    path.touch()
    read, found = Follower(path), []
    for start, end in zip([0, *sorted(cuts)], [*sorted(cuts), len(text)], strict=True):
        append(path, text[start:end])
        found += read()
    assert [at for at, _ in found] == [f"11:{m:02d}" for m in range(12)]
    assert [int(total) for _, total in found] == list(range(12))
