"""Forms of gateway stations, in US units: conversions by the definitions of the units."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from monitor.domain import BadInputError
from monitor.feeds.gateway_form import reading_from_form

NOW = datetime(2027, 7, 15, 12, 0, tzinfo=UTC)
FORM = {
    "PASSKEY": "0123456789ABCDEF",
    "stationtype": "invented",
    "dateutc": "2027-07-15 11:59:03",
    "tempf": "68.0",
    "humidity": "71",
    "winddir": "214",
    "windspeedmph": "10",
    "windgustmph": "20.00",
    "rainratein": "1.00",
    "eventrainin": "0.50",
    "hourlyrainin": "0.20",
    "dailyrainin": "0.50",
    "monthlyrainin": "2.00",
    "yearlyrainin": "20.00",
    "totalrainin": "100.01",
    "baromrelin": "29.9",
}


def read(**more):
    form = {**FORM, **more}
    return reading_from_form({k: v for k, v in form.items() if v is not None}, "mast", NOW)


def refused(form):
    with pytest.raises(BadInputError) as caught:
        reading_from_form(form, "mast", NOW)
    return [(p.code, p.key) for p in caught.value.problems]


def test_a_whole_form():
    reading = read()
    assert reading.station == "mast"
    assert reading.at == datetime(2027, 7, 15, 11, 59, 3, tzinfo=UTC)
    # an inch is 25.4 mm: 100.01 x 25.4; a mile per hour 0.44704 m/s; 68 F = (68 - 32) x 5/9
    assert reading.rain_total_mm == pytest.approx(2540.254, abs=1e-6)
    assert reading.resets == "never"
    assert reading.wind_mps == pytest.approx(4.4704)
    assert reading.gust_mps == pytest.approx(8.9408)
    assert reading.temp_c == pytest.approx(20.0)
    assert (reading.humidity_pct, reading.wind_from_deg) == (71.0, 214.0)
    assert (reading.rain_mm, reading.battery_ok, reading.told) == (None, None, ())


def test_what_it_is_known_by_is_not_kept():
    assert "0123456789ABCDEF" not in repr(read())
    old = {"ID": "KXX1", "PASSWORD": "hush", "dateutc": "now", "rainin": "0.1"}
    kept = repr(reading_from_form(old, "mast", NOW))
    assert "hush" not in kept
    assert "KXX1" not in kept


@pytest.mark.parametrize(
    ("gone", "resets", "mm"),
    [
        (("totalrainin",), "yearly", 508.0),
        (("totalrainin", "yearlyrainin"), "monthly", 50.8),
        (("totalrainin", "yearlyrainin", "monthlyrainin"), "daily", 12.7),
    ],
)
def test_the_counter_that_resets_least(gone, resets, mm):
    reading = read(**dict.fromkeys(gone))
    assert (reading.resets, reading.rain_total_mm) == (resets, pytest.approx(mm))


def test_the_last_hour_where_there_is_no_counter():
    form = {"ID": "x", "PASSWORD": "y", "dateutc": "now", "rainin": "0.10", "windspeedmph": "0"}
    reading = reading_from_form(form, "mast", NOW)
    # 0.10 in in the last 60 minutes
    assert (reading.at, reading.rain_mm, reading.period_s) == (NOW, pytest.approx(2.54), 3600.0)
    assert reading.wind_mps == 0.0


def test_a_daily_counter_comes_before_the_last_hour():
    form = {"dateutc": "now", "rainin": "0.10", "dailyrainin": "0.30"}
    reading = reading_from_form(form, "mast", NOW)
    assert (reading.rain_mm, reading.rain_total_mm) == (None, pytest.approx(7.62))


def test_not_measured_is_not_zero():
    reading = read(tempf="-9999", humidity="", winddir=None)
    assert (reading.temp_c, reading.humidity_pct, reading.wind_from_deg) == (None, None, None)


def test_impossible_values_are_left_out():
    reading = read(tempf="200", humidity="0")
    assert (reading.temp_c, reading.humidity_pct) == (None, None)
    assert len(reading.told) == 2


def test_every_fault_at_once():
    assert refused({**FORM, "dateutc": "15/07/2027", "tempf": "warm", "totalrainin": "1_0"}) == [
        ("bad-time", "dateutc"),
        ("not-a-number", "tempf"),
        ("not-a-number", "totalrainin"),
    ]


@pytest.mark.parametrize(
    ("stated", "code"),
    [("2027-07-15 12:05:01", "time-ahead"), ("2027-07-08 11:59:59", "time-too-old")],
)
def test_a_clock_that_is_wrong(stated, code):
    assert refused({**FORM, "dateutc": stated}) == [(code, "time")]


def test_nothing_measured():
    assert refused({"PASSKEY": "x", "dateutc": "now", "baromrelin": "29.9"}) == [
        ("nothing-measured", None)
    ]


def test_names_in_any_case_and_no_time():
    assert reading_from_form({"TotalRainIn": "1"}, "mast", NOW).rain_total_mm == pytest.approx(25.4)
