"""A reading in JSON: what is taken, what is refused, what is left out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain import BadInputError, Reading
from monitor.feeds.readings import reading_from_json

NOW = datetime(2027, 7, 15, 12, 0, tzinfo=UTC)


def read(**data):
    return reading_from_json({"station": "mast", **data}, NOW)


def refused(data):
    with pytest.raises(BadInputError) as caught:
        reading_from_json(data, NOW)
    return [(p.code, p.key) for p in caught.value.problems]


def test_all_that_it_can_say():
    assert read(
        time="2027-07-15T13:58:00+02:00",
        rain_total_mm=12.4,
        resets="daily",
        wind_ms=3,
        gust_ms=6.5,
        wind_from_deg=200,
        temp_c=18.2,
        dew_point_c=11,
        humidity_pct=63,
        battery_ok=True,
    ) == Reading(
        "mast",
        datetime(2027, 7, 15, 11, 58, tzinfo=UTC),
        rain_total_mm=12.4,
        resets="daily",
        wind_mps=3.0,
        gust_mps=6.5,
        wind_from_deg=200.0,
        temp_c=18.2,
        dew_point_c=11.0,
        humidity_pct=63.0,
        battery_ok=True,
    )


def test_without_a_time_it_is_now():
    assert read(rain_total_mm=1).at == NOW
    assert read(rain_total_mm=1, time=None).at == NOW


def test_null_is_not_known_and_never_zero():
    reading = read(rain_total_mm=None, temp_c=4.0, wind_ms=None)
    assert (reading.rain_total_mm, reading.rain_mm, reading.wind_mps) == (None, None, None)


def test_names_with_either_unit():
    assert read(wind_mps=3.0, gust_mps=5.0) == read(wind_ms=3.0, gust_ms=5.0)


def test_a_rate_is_not_kept():
    assert read(rain_total_mm=1.0, rain_rate=4.0, rain_rate_mm_h=4.0).told == ()


def test_an_unknown_key_is_told_one_near_a_known_one_refused():
    assert read(rain_total_mm=1.0, model="x").told == ("'model' is not known and was ignored",)
    assert refused({"station": "mast", "rain_total_mm": 1.0, "temp_f": 60}) == [
        ("unknown-key", "temp_f")
    ]


def test_every_fault_at_once():
    assert refused(
        {"station": 5, "time": "noon", "rain_total_mm": "1.4", "wind_ms": True, "battery_ok": 1}
    ) == [
        ("bad-time", "time"),
        ("bad-station", "station"),
        ("not-a-number", "rain_total_mm"),
        ("not-a-number", "wind_ms"),
        ("not-yes-or-no", "battery_ok"),
        ("nothing-measured", None),
    ]


@pytest.mark.parametrize("data", [None, [], "text", 4, True])
def test_what_is_no_object(data):
    assert refused(data) == [("not-an-object", None)]


@pytest.mark.parametrize(
    ("more", "found"),
    [
        ({}, [("nothing-measured", None)]),
        ({"battery_ok": True}, [("nothing-measured", None)]),
        ({"rain_mm": 1.0}, [("missing-value", "period_s")]),
        ({"period_s": 300}, [("missing-value", "rain_mm")]),
        ({"rain_mm": 1.0, "period_s": 0}, [("impossible-value", "period_s")]),
        ({"rain_mm": 1.0, "period_s": 86401}, [("impossible-value", "period_s")]),
        (
            {"rain_mm": 1.0, "period_s": 300, "rain_total_mm": 4},
            [("two-kinds-of-rain", "rain_total_mm")],
        ),
        ({"wind_ms": 3.0, "wind_mps": 3.0}, [("given-twice", "wind_mps")]),
        ({"rain_total_mm": 1.0, "resets": "weekly"}, [("unknown-word", "resets")]),
        ({"rain_total_mm": 1.0, "raining": True}, [("only-crew", "raining")]),
        ({"rain_total_mm": 1.0, "time": "2027-07-15T12:00"}, [("bad-time", "time")]),
        ({"rain_total_mm": 1.0, "time": 1815652800}, [("bad-time", "time")]),
    ],
)
def test_shapes_that_are_refused(more, found):
    assert refused({"station": "mast", **more}) == found


def test_time_at_most_five_minutes_ahead_and_seven_days_back():
    def at(**ago):
        return {
            "station": "mast",
            "rain_total_mm": 1.0,
            "time": (NOW - timedelta(**ago)).isoformat(),
        }

    assert reading_from_json(at(minutes=-5), NOW).at == NOW + timedelta(minutes=5)
    assert reading_from_json(at(days=7), NOW).at == NOW - timedelta(days=7)
    assert refused(at(minutes=-5, seconds=-1)) == [("time-ahead", "time")]
    assert refused(at(days=7, seconds=1)) == [("time-too-old", "time")]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("rain_total_mm", -0.1),
        ("wind_mps", 121.0),
        ("gust_mps", 151.0),
        ("wind_from_deg", 361.0),
        ("temp_c", 80.0),
        ("dew_point_c", 61.0),
        ("humidity_pct", 0.0),
        ("humidity_pct", 106.0),
        ("wind_mps", float("nan")),
        ("temp_c", float("inf")),
        ("wind_mps", 10**400),
    ],
)
def test_an_impossible_value_is_left_out_and_told(field, value):
    reading = read(**{"battery_ok": True, field: value})
    assert getattr(reading, field) is None
    assert reading.battery_ok is True
    assert reading.told[0].startswith(f"{field} ")


def test_wet_air_that_overshoots_is_saturated():
    assert read(humidity_pct=103.0).humidity_pct == 100.0


def test_values_that_deny_each_other():
    assert read(wind_ms=9.0, gust_ms=4.0).gust_mps is None
    assert read(temp_c=10.0, dew_point_c=12.0).dew_point_c is None
    # two sensors may be some tenths off
    assert read(temp_c=10.0, dew_point_c=10.4).dew_point_c == 10.4


def test_more_rain_than_ever_fell_is_left_out_with_its_period():
    # in 5 minutes 500 sqrt(1/12) = 144.3 mm at most
    reading = read(rain_mm=145.0, period_s=300, temp_c=10.0)
    assert (reading.rain_mm, reading.period_s) == (None, None)
    assert read(rain_mm=144.0, period_s=300).rain_mm == 144.0


# ---------------------------------------------------------------- the crew


def test_the_crews_word():
    assert reading_from_json({"station": "crew", "raining": True, "by": " Ines "}, NOW) == Reading(
        "crew", NOW, raining=True, by="Ines"
    )
    assert reading_from_json({"station": "crew", "raining": False}, NOW).raining is False


def test_the_crew_measures_nothing():
    assert refused({"station": "crew", "rain_total_mm": 4.0}) == [
        ("missing-value", "raining"),
        ("not-for-crew", "rain_total_mm"),
    ]
    assert refused({"station": "crew", "raining": "yes"}) == [("not-yes-or-no", "raining")]
    assert refused({"station": "crew", "raining": True, "by": "x\ny"}) == [("bad-name", "by")]
    assert refused({"station": "crew", "raining": None}) == [("missing-value", "raining")]
