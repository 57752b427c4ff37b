from __future__ import annotations

import json
import math
import tomllib
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from feed_samples import FETCHED_AT, answer, body, own_sheet, sample
from hypothesis import given
from hypothesis import strategies as st

from monitor.feeds.canonical import as_json
from monitor.feeds.decode import Rejected, decode
from monitor.feeds.record import read_record, write_record
from monitor.feeds.sheet import builtin_sheet

OPEN_METEO = builtin_sheet("open-meteo")


def decoded(answered, sheet=OPEN_METEO, fetched_at=FETCHED_AT):
    raw = answered if isinstance(answered, bytes) else body(answered)
    return decode(raw, sheet, fetched_at=fetched_at)


def rejected(answered, sheet=OPEN_METEO, fetched_at=FETCHED_AT) -> Rejected:
    with pytest.raises(Rejected) as caught:
        decoded(answered, sheet, fetched_at)
    return caught.value


def with_one(value, hours=24, at=3, filler=0.1):
    return [value if i == at else filler for i in range(hours)]


# ---------------------------------------------------------------- tables worked by hand


def test_open_meteo_sample_by_hand():
    # Stamps 06, 07, 08. Rain and gust are of the hour before the stamp; the rain of 08:00 is
    # null, so the forecast ends at 07:00. Wind is of the moment: step 05-06 has only its end,
    # 3.1; step 06-07 has (3.1 + 5.2) / 2 = 4.15. Codes 3 and 80 are no thunder.
    document = as_json(decoded(sample("open-meteo.json")), "open-meteo")
    unknown = {"wind_from_deg": None, "temp_c": None, "dew_point_c": None, "cloud_pct": None}
    assert document["schema"] == "dryspell.weather/1"
    assert document["sheet"] == "open-meteo"
    assert document["issued_at"] is None
    assert document["members"] == 1
    assert "Open-Meteo.com (CC BY 4.0" in document["credit"]
    assert document["steps"] == [
        {
            "starts_at": "2026-06-01T05:00:00Z",
            "minutes": 60,
            "member": "0",
            "rain_mm": 0.0,
            "wind_mps": 3.1,
            "gust_mps": 6.8,
            "thunder": "no",
            **unknown,
        },
        {
            "starts_at": "2026-06-01T06:00:00Z",
            "minutes": 60,
            "member": "0",
            "rain_mm": 1.4,
            "wind_mps": 4.15,
            "gust_mps": 12.4,
            "thunder": "no",
            **unknown,
        },
    ]
    assert document["dropped"] == [
        "direction: not in the answer",
        "temp: not in the answer",
        "dew_point: not in the answer",
        "cloud: not in the answer",
        "steps left out at the end, without rain data: 1",
    ]
    json.dumps(document, allow_nan=False)


def test_open_meteo_full_sample_by_hand():
    table = tomllib.loads(sample("open-meteo-full.toml").decode())
    steps = as_json(decoded(sample("open-meteo-full.json")), "open-meteo")["steps"]
    assert len(steps) == len(table["rows"])
    for step, row in zip(steps, table["rows"], strict=True):
        for name, value in zip(table["columns"], row, strict=True):
            if isinstance(value, float):
                assert step[name] == pytest.approx(value, abs=5e-4), name
            else:
                assert step[name] == (value or None), name


def test_same_weather_in_other_units_by_hand():
    # 18 km/h = 5 m/s, 36 km/h = 10 m/s; 0.1 inch = 2.54 mm; 59 F = 15 C.
    sheet = own_sheet(
        '[vars.wind]\nunit = "km/h"\nunit_check = { at = "hourly_units.wind_speed_10m", is = "km/h" }\n'
        '[vars.gust]\nunit = "km/h"\nunit_check = { at = "hourly_units.wind_gusts_10m", is = "km/h" }\n'
        '[vars.precip]\nunit = "inch"\nunit_check = { at = "hourly_units.precipitation", is = "inch" }\n'
        '[vars.temp]\nunit = "°F"\nunit_check = { at = "hourly_units.temperature_2m", is = "°F" }\n'
    )
    answered = answer(
        2,
        wind_speed_10m=[18, 18],
        wind_gusts_10m=[36, 36],
        precipitation=[0.1, 0.1],
        temperature_2m=[59, 59],
    )
    answered["hourly_units"] |= {
        "wind_speed_10m": "km/h",
        "wind_gusts_10m": "km/h",
        "precipitation": "inch",
        "temperature_2m": "°F",
    }
    weather = decoded(answered, sheet)
    assert weather.wind_mps.tolist() == pytest.approx(np.array([[5, 5]]))
    assert weather.gust_mps.tolist() == pytest.approx(np.array([[10, 10]]))
    assert weather.rain_mm.tolist() == pytest.approx(np.array([[2.54, 2.54]]))
    assert weather.temp_c.tolist() == pytest.approx(np.array([[15, 15]]))


def test_members_run_whole():
    # 1.7's second sample, with wind for all; a member without a known wind is left out whole.
    answered = json.loads(sample("open-meteo-members.json"))
    for key, values in (
        ("wind_speed_10m", [3, 5]),
        ("wind_speed_10m_member01", [4, 6]),
        ("wind_speed_10m_member02", [None, None]),
    ):
        answered["hourly"][key] = values
    answered["hourly_units"]["wind_speed_10m"] = "m/s"
    members = (
        "[members]\nparent = 'hourly'\nexpect = 3\nat_least = {}\n"
        "pattern = '(?P<var>[a-z0-9_]+?)(?:_member(?P<m>\\d{{2}}))?'\n"
    )
    weather = decoded(answered, own_sheet(members.format(2)))
    assert weather.members == ("0", "1")
    assert weather.weights.tolist() == [0.5, 0.5]
    assert weather.feed_of == (0, 0)
    assert weather.rain_mm.tolist() == [[0.0, 0.6], [0.1, 2.2]]
    assert weather.wind_mps.tolist() == [[3, 4], [4, 5]]
    assert "members left out for want of a required variable: 2" in weather.dropped
    assert "2 members, 3 are usual" in weather.dropped
    assert as_json(weather, "own")["members"] == 2
    assert rejected(answered, own_sheet(members.format(3))).reason == "too-few-members"


def test_a_member_keeps_the_horizon_that_any_member_has():
    answered = json.loads(sample("open-meteo-members.json"))
    answered["hourly"]["precipitation"] = [0.0, None]
    sheet = own_sheet(
        "[members]\nparent = 'hourly'\npattern = '(?P<var>[a-z]+)(?:_member(?P<m>\\d+))?'\n"
        "[vars.wind]\nrequired = false\n"
    )
    weather = decoded(answered, sheet)
    assert len(weather.starts) == 2
    assert math.isnan(weather.rain_mm[0, 1])
    assert weather.rain_mm[1, 1] == 2.2


# ---------------------------------------------------------------- what is not known


def test_null_in_the_middle_is_not_known_and_never_nought():
    weather = decoded(answer(precipitation=with_one(None)))
    assert math.isnan(weather.rain_mm[0, 3])
    assert np.isfinite(np.delete(weather.rain_mm[0], 3)).all()


def test_null_wind_of_a_moment_leaves_both_steps_that_touch_it_unknown():
    weather = decoded(answer(wind_speed_10m=with_one(None, filler=4.0)))
    assert np.flatnonzero(np.isnan(weather.wind_mps[0])).tolist() == [3, 4]


def test_calm_from_nowhere_in_particular():
    weather = decoded(answer(3, wind_speed_10m=[0, 0, 4], wind_direction_10m=[None, 0, 90]))
    assert weather.wind_mps.tolist() == [[0, 0, 2]]
    assert np.isnan(weather.wind_from_deg[0, :2]).all()
    # The calm end has no say: all of the step's wind is the east wind of its other end.
    assert weather.wind_from_deg[0, 2] == pytest.approx(90)


def test_opposed_winds_of_equal_strength_come_from_nowhere():
    weather = decoded(answer(2, wind_direction_10m=[0, 180]))
    assert math.isnan(weather.wind_from_deg[0, 1])


def test_thunder_needs_both_ends_to_be_denied():
    # code: 61 no, null not known, 96 yes
    weather = decoded(answer(4, weather_code=[61, None, 96, 61]))
    thunder = weather.thunder[0]
    assert thunder[0] == 0
    assert math.isnan(thunder[1])
    assert thunder[2] == 1  # not known at its start, yes at its end
    assert thunder[3] == 1


def test_trailing_nulls_end_the_horizon():
    weather = decoded(answer(24, precipitation=[0.1] * 20 + [None] * 4))
    assert len(weather.starts) == 20


def test_a_list_of_another_length_is_left_out_not_shifted():
    weather = decoded(answer(cloud_cover=[75] * 23))
    assert np.isnan(weather.cloud_pct).all()
    assert "cloud: left out where its length is not that of the stamps, 24" in weather.dropped
    wrong = rejected(answer(precipitation=[0.1] * 25))
    assert wrong.reason == "missing-variable"
    assert "precip" in wrong.detail


def test_issue_time_fetch_time_and_wind_are_passed_on():
    sheet = own_sheet('[run]\nissued = "header:Last-Modified"\n')
    weather = decode(
        body(answer()),
        sheet,
        fetched_at=FETCHED_AT,
        wind_basis="local",
        wind_height_m=4.0,
        headers={"last-modified": "Mon, 01 Jun 2026 05:00:00 GMT"},
    )
    assert weather.issued_at == datetime(2026, 6, 1, 5, tzinfo=UTC)
    assert weather.fetched_at == FETCHED_AT
    assert (weather.wind_basis, weather.wind_height_m) == ("local", 4.0)
    assert weather.forecast.all()
    assert weather.source == "own"
    in_body = own_sheet('[run]\nissued = "made.at"\n')
    stamped = {**answer(), "made": {"at": "2026-06-01T04:30:00+02:00"}}
    assert decoded(stamped, in_body).issued_at == datetime(2026, 6, 1, 2, 30, tzinfo=UTC)


# ---------------------------------------------------------------- turned down


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"<html>sign in</html>",
        b'{"hourly": {"time": ["2026',
        b'{"a": NaN}',
        b'{"a": Infinity}',
        b'{"a": 1e999}',
        b'{"a": 1, "a": 2}',
        b'{"a": "\xff"}',
        b"[" * 100_000,
    ],
)
def test_what_is_not_sound_json_is_turned_down(raw):
    assert rejected(raw).reason == "not-json"


@pytest.mark.parametrize(
    ("answered", "reason", "word"),
    [
        ([answer()], "shape", "one place"),
        ({}, "shape", "hourly.time"),
        (answer(time="2026"), "shape", "hourly.time"),
        (answer(time=[]), "empty", "no stamp"),
        ({"error": True, "reason": "No data"}, "error-answer", "No data"),
        (answer(precipitation=...), "missing-variable", "precip"),
        (answer(wind_speed_10m=...), "missing-variable", "wind"),
        (answer(precipitation=[None] * 24), "missing-variable", "precip"),
        (answer(2, time=["2026-06-01T06:00", "2026-06-01T06:30"]), "overlap", "closer"),
        (answer(2, time=["2026-06-01T06:00", "later"]), "time", "later"),
        (answer(2, time=["2026-06-01T06:00", None]), "time", "None"),
        ({**answer(), "utc_offset_seconds": 7200}, "time", "7200"),
        (answer(temperature_2m=[80.0] * 2 + [15.0] * 22), "implausible", "temp: 2 of 24"),
        (answer(precipitation=[900.0] * 2 + [0.1] * 22), "implausible", "900 mm"),
        (answer(wind_speed_10m=["4.0"] * 24), "implausible", "'4.0' is no number"),
        (answer(wind_speed_10m=[True] * 24), "implausible", "'True' is no number"),
        (answer(wind_gusts_10m=[1.0] * 24), "implausible", "below the mean wind"),
        (answer(weather_code=[1000] * 24), "implausible", "code 1000"),
    ],
)
def test_what_cannot_be_trusted_is_turned_down(answered, reason, word):
    fault = rejected(answered)
    assert fault.reason == reason
    assert word in fault.detail


def test_one_impossible_sample_is_dropped_and_told():
    weather = decoded(answer(precipitation=with_one(900)))
    assert math.isnan(weather.rain_mm[0, 3])
    assert weather.dropped == ("precip: 1 of 24 values dropped as impossible (900 mm)",)


def test_a_cloudburst_is_kept_and_a_little_below_nothing_is_nothing():
    weather = decoded(answer(3, precipitation=[120.0, -0.05, 250.0]))
    assert weather.rain_mm.tolist() == [[120.0, 0.0, 250.0]]


def test_more_than_packing_below_nothing_is_dropped():
    weather = decoded(answer(precipitation=with_one(-0.06)))
    assert math.isnan(weather.rain_mm[0, 3])


def test_a_gust_below_the_mean_by_rounding_is_kept():
    weather = decoded(answer(wind_gusts_10m=[3.95] * 24))
    assert weather.gust_mps.tolist() == [[3.95] * 24]


def test_another_unit_turns_the_whole_run_down():
    answered = answer()
    answered["hourly_units"]["wind_gusts_10m"] = "km/h"
    fault = rejected(answered)
    assert (fault.reason, fault.detail) == ("unit", "gust came in km/h, the sheet expects m/s")
    del answered["hourly_units"]["wind_gusts_10m"]
    assert "no stated unit" in rejected(answered).detail


def test_the_sheets_own_marks_for_missing_and_numbers_in_quotes():
    sheet = own_sheet('[vars.precip]\nmissing = [-9, 9999]\nparse = "number"\n')
    weather = decoded(answer(4, precipitation=["0.5", -9, 9999, 0.25]), sheet)
    assert weather.rain_mm[0, [0, 3]].tolist() == [0.5, 0.25]
    assert np.isnan(weather.rain_mm[0, 1:3]).all()


# ---------------------------------------------------------------- time


def test_a_first_stamp_far_from_now_is_on_another_clock():
    first = FETCHED_AT - timedelta(minutes=10)
    decoded(answer(), fetched_at=first + timedelta(hours=26))
    decoded(answer(), fetched_at=first - timedelta(hours=3))
    assert rejected(answer(), fetched_at=first + timedelta(hours=26, minutes=1)).reason == "time"
    assert rejected(answer(), fetched_at=first - timedelta(hours=3, minutes=1)).reason == "time"
    assert len(decoded(answer(), fetched_at=None).starts) == 24


def test_unsorted_and_repeated_stamps():
    # 07:00 twice with the same rain and another wind: rain kept, wind at 07:00 not known.
    weather = decoded(
        answer(
            4,
            time=["2026-06-01T08:00", "2026-06-01T07:00", "2026-06-01T06:00", "2026-06-01T07:00"],
            precipitation=[0.3, 0.2, 0.1, 0.2],
            wind_speed_10m=[8, 7, 6, 5],
        )
    )
    assert weather.rain_mm.tolist() == [[0.1, 0.2, 0.3]]
    assert weather.wind_mps[0, 0] == 6
    assert np.isnan(weather.wind_mps[0, 1:]).all()


LOCAL = '[time]\nzone = "Europe/Berlin"\n'


def test_clocks_go_back_the_doubled_hour_has_no_place():
    # 2026-10-25: 03:00 summer time becomes 02:00. 01:00 CEST = 23:00Z the day before,
    # 03:00 CET = 02:00Z; 02:00 and 02:30 may be either of two moments.
    stamps = ["2026-10-25T01:00", "2026-10-25T02:00", "2026-10-25T03:00", "2026-10-25T04:00"]
    answered = answer(4, time=stamps, precipitation=[0.1, 0.2, 0.3, 0.4])
    answered["utc_offset_seconds"] = 7200
    weather = decoded(answered, own_sheet(LOCAL), fetched_at=datetime(2026, 10, 25, tzinfo=UTC))
    stamped = [datetime.fromtimestamp(t, UTC) for t in weather.ends]
    assert stamped == [
        datetime(2026, 10, d, h, tzinfo=UTC) for d, h in ((24, 23), (25, 2), (25, 3))
    ]
    assert weather.rain_mm.tolist() == [[0.1, 0.3, 0.4]]
    assert any("twice or not at all" in t for t in weather.dropped)


def test_clocks_go_forward_the_skipped_hour_has_no_place():
    # 2026-03-29: 02:00 becomes 03:00. 01:00 CET = 00:00Z, 03:00 CEST = 01:00Z.
    stamps = ["2026-03-29T01:00", "2026-03-29T02:00", "2026-03-29T03:00"]
    answered = answer(3, time=stamps, precipitation=[0.1, 0.2, 0.3])
    answered["utc_offset_seconds"] = 3600
    weather = decoded(answered, own_sheet(LOCAL), fetched_at=datetime(2026, 3, 29, tzinfo=UTC))
    assert [datetime.fromtimestamp(t, UTC).hour for t in weather.ends] == [0, 1]
    assert weather.rain_mm.tolist() == [[0.1, 0.3]]


@pytest.mark.parametrize(
    ("form", "stamps"),
    [
        ("unix_s", [1780293600, 1780297200]),
        ("unix_ms", [1780293600000, 1780297200000]),
        ("strptime:%d.%m.%Y %H:%M", ["01.06.2026 06:00", "01.06.2026 07:00"]),
        ("iso", ["2026-06-01T08:00+02:00", "2026-06-01T07:00Z"]),
    ],
)
def test_every_way_to_write_the_same_two_stamps(form, stamps):
    # 1780293600 s = 20605 days x 86400 + 21600: 2026-06-01T06:00Z
    assert 20605 * 86400 + 21600 == 1780293600
    weather = decoded(answer(2, time=stamps), own_sheet(f'[time]\nformat = "{form}"\n'))
    assert weather.ends.tolist() == [1780293600, 1780297200]


def test_milliseconds_taken_for_seconds_are_noticed():
    fault = rejected(answer(1, time=[1780293600000]), own_sheet('[time]\nformat = "unix_s"\n'))
    assert fault.reason == "time"
    assert (
        rejected(answer(1, time=["2026"]), own_sheet('[time]\nformat = "unix_s"\n')).reason
        == "time"
    )


# ---------------------------------------------------------------- other covers


def test_what_follows_its_stamp_and_rain_as_a_rate():
    # A rate of 2 mm/h over the half hour after the stamp is 1 mm.
    sheet = own_sheet(
        '[vars.precip]\ncover = "following"\nperiod = "30m"\nstat = "rate"\nunit = "mm/h"\n'
        'unit_check = { at = "hourly_units.precipitation", is = "mm/h" }\n'
        '[vars.gust]\ncover = "following"\nperiod = "30m"\n'
    )
    answered = answer(
        2,
        time=["2026-06-01T06:00", "2026-06-01T06:30"],
        precipitation=[2.0, 4.0],
        wind_gusts_10m=[7, 9],
    )
    answered["hourly_units"]["precipitation"] = "mm/h"
    weather = decoded(answered, sheet)
    assert weather.rain_mm.tolist() == [[1.0, 2.0]]
    assert weather.gust_mps.tolist() == [[7.0, 9.0]]
    assert ((weather.ends - weather.starts) == 1800).all()
    # The last step has no stamp at its end: its start stands for it.
    assert weather.wind_mps.tolist() == [[4.0, 4.0]]


def test_a_value_over_another_span_than_the_step():
    # Rain is of the hour before each stamp. Gusts are of the three hours before: 03 to 06
    # holds the first step whole; of 06 to 09 nothing is known, nor of the hour before 09.
    sheet = own_sheet('[vars.gust]\nperiod = "3h"\n[vars.precip]\nperiod = "1h"\n')
    answered = answer(
        3,
        time=["2026-06-01T06:00", "2026-06-01T07:00", "2026-06-01T12:00"],
        wind_gusts_10m=[7.0, None, 9.0],
    )
    with pytest.raises(Rejected, match="gust: stamps lie closer together"):
        decoded(answered, sheet)
    answered["hourly"]["time"][1] = "2026-06-01T09:00"
    weather = decoded(answered, sheet)
    assert weather.gust_mps[0, [0, 2]].tolist() == [7.0, 9.0]
    assert math.isnan(weather.gust_mps[0, 1])


def test_what_covers_none_of_the_steps_is_told():
    sheet = own_sheet('[vars.gust]\ncover = "following"\nperiod = "1h"\n')
    answered = answer(2, time=["2026-06-01T06:00", "2026-06-01T09:00"])
    weather = decoded(answered, sheet)
    assert np.isnan(weather.gust_mps).all()
    assert "gust: what it covers fits none of the steps of the rain" in weather.dropped


def test_text_codes_by_what_they_contain():
    sheet = own_sheet('[vars.thunder.map]\n"~thunder" = "yes"\n"fog" = "unknown"\n')
    codes = ["rainandthunder", "rain", "rain", "fog"]
    weather = decoded(answer(4, weather_code=codes), sheet)
    assert weather.thunder[0, :3].tolist() == [1, 1, 0]
    assert math.isnan(weather.thunder[0, 3])


# ---------------------------------------------------------------- properties

scalars = st.one_of(
    st.none(), st.booleans(), st.text(max_size=4), st.floats(), st.integers(-(10**400), 10**400)
)
anything = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(
    st.dictionaries(
        st.sampled_from(["time", "precipitation", "wind_speed_10m", "weather_code"]), anything
    ),
    anything,
)
def test_no_answer_makes_it_fall_over(hourly, offset):
    answered = answer(3)
    answered["hourly"] |= hourly
    answered["utc_offset_seconds"] = offset
    raw = json.dumps(answered).encode()
    try:
        weather = decode(raw, OPEN_METEO, fetched_at=FETCHED_AT)
    except Rejected:
        return
    assert (weather.starts < weather.ends).all()
    assert not (weather.rain_mm < 0).any()


@given(st.lists(st.one_of(st.none(), st.floats(0, 250)), min_size=1, max_size=30))
def test_known_rain_is_neither_lost_nor_made(rain):
    known = [r for r in rain if r is not None]
    if not known:
        assert rejected(answer(len(rain), precipitation=rain)).reason == "missing-variable"
        return
    weather = decoded(answer(len(rain), precipitation=rain))
    assert np.nansum(weather.rain_mm) == pytest.approx(sum(known))
    assert int(np.isfinite(weather.rain_mm).sum()) == len(known)


def test_a_decoded_forecast_can_be_kept_as_a_record():
    weather = decoded(sample("open-meteo-full.json"))
    back = read_record(write_record(weather), "kept.csv")
    assert np.array_equal(back.rain_mm, weather.rain_mm, equal_nan=True)
    assert np.array_equal(back.thunder, weather.thunder, equal_nan=True)
