from __future__ import annotations

import math
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain import BadInputError, Weather
from monitor.feeds.record import COLUMNS, read_record, write_record

SAMPLES = Path(__file__).parent.parent / "samples" / "records"
EXPECTED = tomllib.loads((SAMPLES / "expected.toml").read_text())
HEADINGS = ",".join(COLUMNS) + "\n"
NOON = datetime(2027, 7, 15, 12, tzinfo=UTC).timestamp()


def read(name: str, **kwargs) -> Weather:
    return read_record((SAMPLES / name).read_bytes(), name, **kwargs)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_bad_record_is_refused_with_place_and_remedy(name):
    with pytest.raises(BadInputError) as caught:
        read(name)
    problems = caught.value.problems
    wanted = EXPECTED[name]
    assert [[p.code, p.line or 0, p.key or ""] for p in problems] == [w[:3] for w in wanted]
    for problem, (*_, word) in zip(problems, wanted, strict=True):
        assert problem.file == name
        assert problem.refused
        assert word in problem.remedy
        assert problem.says.endswith(".")


def test_every_sample_is_expected_to_do_something():
    refused = {p.name for p in SAMPLES.glob("*.csv") if not p.name.startswith("read-")}
    assert refused == set(EXPECTED)


@pytest.mark.parametrize(
    "name", ["read-plain.csv", "read-bom.csv", "read-semicolons.csv", "read-unsorted-repeat.csv"]
)
def test_the_same_record_however_it_was_saved(name):
    weather = read(name)
    assert weather.starts.tolist() == [NOON, NOON + 3600, NOON + 7200]
    assert weather.ends.tolist() == [NOON + 3600, NOON + 7200, NOON + 10800]
    assert weather.rain_mm.tolist() == [[0.1, 0.2, 0.2]]
    assert weather.wind_mps.tolist() == [[4.5, 4.7, 4.8]]
    assert weather.gust_mps.tolist() == [[6.8, 7.1, 7.2]]
    assert weather.wind_from_deg.tolist() == [[215, 214, 212]]
    assert weather.temp_c.tolist() == [[17.8, 17.9, 17.9]]
    assert weather.dew_point_c.tolist() == [[16.6, 16.6, 16.5]]
    assert weather.cloud_pct.tolist() == [[100, 100, 100]]
    assert weather.thunder[0, :2].tolist() == [0, 0]
    assert math.isnan(weather.thunder[0, 2])
    assert not weather.forecast.any()
    assert weather.members == ("0",)
    assert weather.weights.tolist() == [1.0]
    assert (weather.wind_basis, weather.wind_height_m) == ("open", 10.0)


def test_what_was_unusual_is_told():
    assert read("read-plain.csv").dropped == ()
    assert "semicolons" in read("read-semicolons.csv").dropped[0]
    told = read("read-windows-1252.csv").dropped
    assert any("Windows-1252" in t for t in told)
    assert any("bemerkung" in t for t in told)
    assert "1 repeated" in read("read-unsorted-repeat.csv").dropped[0]


def test_later_columns_may_be_missing_and_empty_is_not_known():
    weather = read("read-first-columns.csv", wind_basis="local", wind_height_m=4.0)
    # 12:00+02:00 is 10:00Z
    assert weather.starts.tolist() == [NOON - 7200, NOON - 7200 + 600]
    assert math.isnan(weather.rain_mm[0, 0])
    assert weather.rain_mm[0, 1] == 0.4
    assert np.isnan(weather.wind_mps).all()
    assert np.isnan(weather.thunder).all()
    assert (weather.wind_basis, weather.wind_height_m) == ("local", 4.0)


def test_a_dew_point_above_the_air_is_mended_or_left_out_and_told():
    # 0.5, 0.6, 1.0 and 1.1 C above 17.8: as it is, twice the air itself, and not known
    weather = read("read-dew-above-the-air.csv")
    assert weather.dew_point_c[0, :3].tolist() == [18.3, 17.8, 17.8]
    assert math.isnan(weather.dew_point_c[0, 3])
    assert weather.rain_mm[0].tolist() == [0.1] * 4
    assert weather.dropped == (
        "2 dew points up to 1 C above the air taken as the air (lines 3, 4)",
        "1 dew point further above the air left out (line 5)",
    )


def test_calm_has_no_direction():
    weather = read("read-calm.csv")
    assert weather.wind_mps[0, 0] == 0
    assert math.isnan(weather.wind_from_deg[0, 0])
    assert weather.thunder[0, 0] == 1


@pytest.mark.parametrize(
    ("minutes", "depth", "fine"), [(1, 38, True), (60, 305, True), (60, 900, False)]
)
def test_rain_beyond_every_measured_depth_is_a_wrong_unit(minutes, depth, fine):
    # Published records: 38 mm in 1 min (Barot 1970), 305 mm in 42 min (Holt 1947), WMO archive
    # (from memory): both lie under what is refused; 900 mm in an hour never fell.
    row = f"2027-07-15T12:00Z,{minutes},{depth}\n".encode()
    data = b"starts_at,minutes,rain_mm\n" + row
    if fine:
        assert read_record(data, "x.csv").rain_mm[0, 0] == depth
    else:
        with pytest.raises(BadInputError, match="more rain than ever"):
            read_record(data, "x.csv")


def test_one_mistake_on_every_line_does_not_drown_the_others():
    rows = "".join(f"2027-07-{d:02}T12:00,60,0.1\n" for d in range(1, 32))
    rows += "2027-08-01T12:00Z,60,-1\n"
    with pytest.raises(BadInputError) as caught:
        read_record(("starts_at,minutes,rain_mm\n" + rows).encode(), "x.csv")
    problems = caught.value.problems
    assert [p.line for p in problems[:25]] == list(range(2, 27))
    assert problems[25].line == 33
    assert problems[26].says.startswith("6 more lines")


def test_a_year_of_hours_reads_in_well_under_a_second():
    t0 = datetime(2026, 1, 1, tzinfo=UTC)
    rows = "".join(
        f"{(t0 + timedelta(hours=i)).isoformat()},60,0.3,4.2,6.1,210,14.2,12.1,80,no\n"
        for i in range(8760)
    )
    began = datetime.now(UTC)
    weather = read_record((HEADINGS + rows).encode(), "year.csv")
    assert (datetime.now(UTC) - began).total_seconds() < 1.0
    assert len(weather.starts) == 8760


def test_more_than_one_member_is_no_record():
    weather = read("read-plain.csv")
    two = Weather(
        **{
            **{n: getattr(weather, n) for n in Weather.__dataclass_fields__},
            "members": ("0", "1"),
        }
    )
    with pytest.raises(ValueError, match="one member"):
        write_record(two)


maybe = lambda low, high: st.one_of(st.just(math.nan), st.floats(low, high))  # noqa: E731


@given(
    st.lists(
        st.tuples(
            st.integers(0, 3),
            st.integers(1, 1440),
            maybe(0, 60),
            maybe(0, 50),
            maybe(50, 100),
            maybe(0, 360),
            maybe(20, 60),
            maybe(-80, 20),
            maybe(0, 100),
            st.sampled_from([0.0, 1.0, math.nan]),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_what_is_written_reads_back_the_same(steps):
    starts, ends, at = [], [], NOON
    for gap, minutes, *_ in steps:
        at += gap * 60
        starts.append(at)
        at += minutes * 60
        ends.append(at)
    columns = np.array([s[2:] for s in steps], dtype=float).T[:, np.newaxis, :]
    # A step of a minute cannot hold 60 mm: keep depths possible.
    columns[0] = np.minimum(columns[0], 50 * np.sqrt(np.subtract(ends, starts) / 3600))
    weather = Weather(
        np.array(starts),
        np.array(ends),
        *columns,
        weights=np.ones(1),
        forecast=np.zeros(len(steps), dtype=bool),
    )
    back = read_record(write_record(weather), "x.csv")
    for name in ("starts", "ends", *COLUMNS[2:]):
        assert np.array_equal(getattr(back, name), getattr(weather, name), equal_nan=True)
