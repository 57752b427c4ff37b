"""Every conversion a sheet can ask for, from the exact definition of its unit.

Sources: metre per second and the like, and 0 C = 273.15 K: SI Brochure (9th edition). Nautical
mile 1852 m, so the knot 1852/3600 m/s: International Hydrographic Conference, Monaco 1929 (SI
Brochure, 8th edition, table 8). Inch 25.4 mm and mile 1609.344 m, so the mile per hour
1609.344/3600 = 0.44704 m/s: international yard and pound agreement of 1959 (NIST SP 811,
appendix B). Fahrenheit: t/C = (t/F - 32) x 5/9 (NIST SP 811, B.8). Okta: an eighth of the sky
(WMO-No. 8). 1 kg of water on 1 m2 stands 1 mm deep at 1000 kg/m3.
"""

from __future__ import annotations

import json

import pytest
from sheet_tables import assert_table

from monitor.feeds.canonical import as_json
from monitor.feeds.decode import decode
from monitor.feeds.sheet import read_sheet
from monitor.units import UNIT_TABLE

HEAD = """
[feed]
id = "invented"
credit = "Invented"
[request]
url = "https://weather.example.org/answer"
"""
ROWS = (
    HEAD
    + """
[shape]
kind = "rows"
records = "@"
[time]
path = "t"
zone = "UTC"
"""
)


def told(sheet_text, answer):
    """The feed JSON of an answer by a sheet written out here."""
    sheet = read_sheet(sheet_text, "invented.toml")
    return as_json(decode(json.dumps(answer).encode(), sheet, fetched_at=None), "invented")


def variable(name, unit, stat, cover='cover = "preceding"\nperiod = "1h"'):
    return f'[vars.{name}]\npath = "{name}"\n{cover}\nstat = "{stat}"\nunit = "{unit}"\n'


@pytest.mark.parametrize(
    ("name", "unit", "stated", "column", "expected"),
    [
        # wind: 36 km in 3600 s; 100 miles of 1609.344 m and 100 nautical miles of 1852 m in 3600 s
        ("wind", "km/h", 36, "wind_mps", 36_000 / 3600),
        ("wind", "kmh", 1, "wind_mps", 1000 / 3600),
        ("wind", "wmoUnit:km_h-1", 90, "wind_mps", 25),
        ("wind", "mph", 100, "wind_mps", 160_934.4 / 3600),
        ("wind", "mph", 1, "wind_mps", 0.44704),
        ("wind", "mp/h", 25, "wind_mps", 11.176),
        ("wind", "kn", 100, "wind_mps", 185_200 / 3600),
        ("wind", "kn", 1, "wind_mps", 0.514444444),
        ("wind", "m/s", 7.3, "wind_mps", 7.3),
        ("gust", "kn", 36, "gust_mps", 18.52),
        ("gust", "mph", 50, "gust_mps", 22.352),
        # rain depth: 1/10 inch; 2 cm; 3 kg on a square metre
        ("precip", "mm", 1.5, "rain_mm", 1.5),
        ("precip", "inch", 0.1, "rain_mm", 2.54),
        ("precip", "in", 1, "rain_mm", 25.4),
        ("precip", "cm", 2, "rain_mm", 20),
        ("precip", "kg m-2", 3, "rain_mm", 3),
        # temperature: (50 - 32) x 5/9; -40 is the same in both; 300 - 273.15
        ("temp", "degF", 50, "temp_c", 10),
        ("temp", "°F", -40, "temp_c", -40),
        ("temp", "K", 300, "temp_c", 26.85),
        ("temp", "celsius", 12.5, "temp_c", 12.5),
        ("dew_point", "K", 273.15, "dew_point_c", 0),
        # cloud: 3 eighths; 0.4 of 1
        ("cloud", "octa", 3, "cloud_pct", 37.5),
        ("cloud", "octa", 8, "cloud_pct", 100),
        ("cloud", "1", 0.4, "cloud_pct", 40),
        ("cloud", "%", 40, "cloud_pct", 40),
        ("direction", "°", 359, "wind_from_deg", 359),
        ("direction", "wmoUnit:degree_(angle)", 90, "wind_from_deg", 90),
    ],
)
def test_units_by_their_definitions(name, unit, stated, column, expected):
    stat = {"precip": "sum", "gust": "max"}.get(name, "mean")
    sheet = ROWS + variable(name, unit, stat)
    record = {"t": "2026-06-01T06:00Z", name: stated}
    if name != "precip":
        sheet += variable("precip", "mm", "sum")
        record["precip"] = 0
    (step,) = told(sheet, [record])["steps"]
    assert step[column] == pytest.approx(expected, abs=1e-6)


def test_every_name_of_a_unit_says_the_same():
    # The names that services use for one unit, and how much one of it is.
    for names, canonical, scale in (
        (("km/h", "kmh", "wmoUnit:km_h-1"), "m/s", 1000 / 3600),
        (("mph", "mp/h"), "m/s", 1609.344 / 3600),
        (("in", "inch"), "mm", 25.4),
        (("mm", "kg m-2", "wmoUnit:mm"), "mm", 1),
        (("degF", "°F"), "C", 5 / 9),
        (("degC", "°C", "celsius", "wmoUnit:degC"), "C", 1),
        (("%", "wmoUnit:percent"), "%", 1),
    ):
        for name in names:
            assert UNIT_TABLE[name][:2] == (canonical, pytest.approx(scale, rel=1e-12))


def test_run_totals_by_hand():
    # Since the run began at 05:00: 1 in to 06:00, 1.5 to 08:00, 1.5 to 09:00. So 25.4 mm in an
    # hour, 12.7 in two, 0 in one.
    sheet = (
        HEAD
        + '[shape]\nkind = "columns"\nrun_start = "began"\n[time]\npath = "t"\nzone = "UTC"\n'
        + variable("precip", "in", "sum", 'cover = "run_total"')
    )
    stamps = ["2026-06-01T06:00Z", "2026-06-01T08:00Z", "2026-06-01T09:00Z"]
    answer = {"began": "2026-06-01T05:00Z", "t": stamps, "precip": [1, 1.5, 1.5]}
    rest = (None,) * 7
    table = [
        ("2026-06-01T05:00:00Z", 60, "0", 25.4, *rest),
        ("2026-06-01T06:00:00Z", 120, "0", 12.7, *rest),
        ("2026-06-01T08:00:00Z", 60, "0", 0, *rest),
    ]
    assert_table(told(sheet, answer), table)
    # Where the start is not said the first stamp is only what the next is counted from.
    assert_table(told(sheet.replace('run_start = "began"\n', ""), answer), table[1:])


def test_interval_totals_by_hand():
    # Totals of intervals stay totals of theirs: 0.2 in over 3 h is 5.08 mm over 3 h, no hour of
    # it is made up. 20 kn for 1 h and 40 for 2 h are a mean of 100/3 kn.
    sheet = (
        HEAD
        + '[shape]\nkind = "intervals"\n[time]\nformat = "interval"\nzone = "UTC"\n'
        + variable("precip", "in", "sum", 'cover = "interval"')
        + variable("wind", "kn", "mean", 'cover = "interval"')
    )
    answer = {
        "precip": [
            {"validTime": "2026-06-01T06:00Z/PT3H", "value": 0.2},
            {"validTime": "2026-06-01T09:00Z/2026-06-01T10:30Z", "value": 0},
        ],
        "wind": [
            {"validTime": "2026-06-01T06:00Z/PT1H", "value": 20},
            {"validTime": "2026-06-01T07:00Z/PT3H30M", "value": 40},
        ],
    }
    rest = (None,) * 6
    table = [
        ("2026-06-01T06:00:00Z", 180, "0", 5.08, 100 / 3 * 1852 / 3600, *rest),
        ("2026-06-01T09:00:00Z", 90, "0", 0, 40 * 1852 / 3600, *rest),
    ]
    assert_table(told(sheet, answer), table)


def test_rates_by_hand():
    # A rate is held to the next stamp, at most 30 minutes: 2.54 mm/h for 10, 6 mm/h for 30.
    sheet = ROWS + variable("precip", "mm/h", "rate", 'cover = "instant"\nperiod = "30m"')
    answer = [{"t": "2026-06-01T06:00Z", "precip": 2.54}, {"t": "2026-06-01T06:10Z", "precip": 6}]
    rest = (None,) * 7
    table = [
        ("2026-06-01T06:00:00Z", 10, "0", 2.54 / 6, *rest),
        ("2026-06-01T06:10:00Z", 30, "0", 3, *rest),
    ]
    assert_table(told(sheet, answer), table)


def test_components_by_hand():
    # 30 kn to the east is from the west, 270; to the south from the north, 0; (-7, 24) has 25.
    sheet = (
        ROWS
        + variable("precip", "mm", "sum")
        + '[vars.wind]\nvector = ["u", "v"]\ncover = "preceding"\nperiod = "1h"\nstat = "mean"\nunit = "kn"\n'
        + '[vars.direction]\nvector = ["u", "v"]\ncover = "preceding"\nperiod = "1h"\nstat = "mean"\nunit = "kn"\n'
    )
    answer = [
        {"t": "2026-06-01T06:00Z", "precip": 0, "u": 30, "v": 0},
        {"t": "2026-06-01T07:00Z", "precip": 0, "u": 0, "v": -18},
        {"t": "2026-06-01T08:00Z", "precip": 0, "u": -7, "v": 24},
        {"t": "2026-06-01T09:00Z", "precip": 0, "u": 0, "v": 0},
    ]
    steps = told(sheet, answer)["steps"]
    assert [s["wind_mps"] for s in steps] == pytest.approx(
        [30 * 1852 / 3600, 18 * 1852 / 3600, 25 * 1852 / 3600, 0], abs=1e-6
    )
    # The wind (-7, 24) comes from (7, -24): 180 - atan(7 / 24) = 180 - 16.2602 degrees.
    assert [s["wind_from_deg"] for s in steps[:3]] == pytest.approx([270, 0, 163.739795], abs=1e-6)
    assert steps[3]["wind_from_deg"] is None
