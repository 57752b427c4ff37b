"""Published and hand-worked values: every row of the sheets beside this file, against the program.

A row names a function of the module its sheet is called after. Where the value needs more than
one call, `through` names the few lines below that make it of the program's functions.
"""

from __future__ import annotations

import importlib
import inspect
import math
import re
import tomllib
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from monitor.codes import read_code
from monitor.domain import Roof, Spray
from monitor.exposure import credit as credit_module
from monitor.exposure import damp, drops, shelter, wetting
from monitor.show import default_policy

HERE = Path(__file__).parent
SHEETS = ("drops", "wind", "shelter", "wetting", "credit", "damp")
"""The sheets this runner answers for; a sheet of another part has a runner of its own."""

KINDS = {"P", "D", "L", "M", "C"}
KEYS = {"function", "what", "kind", "source", "inputs", "printed", "unit", "tolerance"}
MORE_KEYS = {"through", "working", "arithmetic", "arithmetic_within"}
POLICY = default_policy()
WEST = 270.0


# ------------------------------------------------------------- values of more than one call


def median_drop_mm(rain_mm_h):
    """Where the spectrum passes one half, found by halving."""
    low, high = np.zeros_like(rain_mm_h), np.full_like(rain_mm_h, 10.0)
    for _ in range(60):
        middle = (low + high) / 2
        below = drops.best_fraction_below(middle, rain_mm_h) < 0.5
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return low


def _roof_share(rain_mm_h, wind_mps, distance_m, rise_m):
    roof = Roof("r", WEST, 100.0, 50.0, 10.0)
    spot = shelter.Spot(roof, distance_m, 50.0, rise_m)
    share = shelter.share_let_in(
        drops.RAIN,
        np.array([wind_mps]),
        np.array([WEST]),
        spot=spot,
        spread_deg=0.0,
        eddy_share=0.0,
    )
    return drops.arriving_shares(np.array([rain_mm_h])), share


def roof_share_horizontal(rain_mm_h, wind_mps, distance_m, rise_m):
    arriving, share = _roof_share(rain_mm_h, wind_mps, distance_m, rise_m)
    return (arriving * share).sum()


def roof_share_vertical(rain_mm_h, wind_mps, distance_m, rise_m):
    arriving, share = _roof_share(rain_mm_h, wind_mps, distance_m, rise_m)
    on_a_wall = arriving / drops.RAIN.speed
    return (on_a_wall * share).sum() / on_a_wall.sum()


def ray_m(facing_deg, width_m, depth_m, in_from_front_m, in_from_right_m, wind_from_deg):
    roof = Roof("r", facing_deg, width_m, depth_m, 10.0)
    spot = shelter.Spot(roof, in_from_front_m, in_from_right_m, 5.0)
    distance, is_open = shelter.ray_to_edge(spot, wind_from_deg)
    assert is_open.all()
    return distance


def spray_drift_m(diameter_mm, height_m, wind_mps):
    """Middle of the distances at which spray of one drop size comes down."""
    speed = drops.gunn_kinzer_fall_speed(np.array([diameter_mm]))
    one_class = drops.Classes(speed, speed - 1e-9, speed + 1e-9)
    away = np.arange(1.0, 30.0, 0.002)
    lands = [
        shelter.spray_rates(
            one_class,
            np.ones(1),
            Spray(height_m, float(d), WEST, 1.0),
            np.array([wind_mps]),
            np.array([WEST]),
        ).sum()
        > 0.0
        for d in away
    ]
    return away[np.array(lands)].mean()


def spray_mm_h(lost_litres_per_minute, height_m, distance_m, wind_mps, bearing_deg, wind_from_deg):
    return shelter.spray_rates(
        drops.RAIN,
        drops.arriving_shares(np.array(10.0)),
        Spray(height_m, distance_m, bearing_deg, lost_litres_per_minute),
        np.array([wind_mps]),
        np.array([wind_from_deg]),
    ).sum()


def drops_beside_index(rain_mm_h, wind_mps):
    index = [
        wetting.driving_rain_index(np.array([r]), np.ones(1), np.array([u]), np.array([WEST]), WEST)
        for r, u in zip(rain_mm_h, wind_mps, strict=True)
    ]
    return wetting.face_flux(rain_mm_h, wind_mps, 90.0, 0.0) / np.array(index)


def _arrival(rain_mm_h, wind_mps):
    rain, wind = np.atleast_1d(rain_mm_h), np.atleast_1d(wind_mps)
    rates = rain[:, None] * drops.arriving_shares(rain)
    return wind, wetting.on_worst_plane(rates, drops.RAIN.speed, wind)


def worst_plane_by_class(rain_mm_h, wind_mps):
    _, arrival = _arrival(rain_mm_h, wind_mps)
    return arrival.by_class.sum()


def rain_angle_deg(tilt_deg, facing_deg, rain_off_vertical_deg, wind_from_deg):
    return np.array(
        [
            wetting.angle_from_up_deg(
                "tilted",
                np.array([1.0]),
                np.array([math.tan(math.radians(off_vertical))]),
                np.array([coming_from]),
                tilt_deg,
                facing_deg,
            )[0, 0]
            for off_vertical, coming_from in zip(rain_off_vertical_deg, wind_from_deg, strict=True)
        ]
    )


def nominal_allowance_mm(digit, surface_m2):
    return [credit_module.nominal_allowance_mm(int(one), POLICY, surface_m2) for one in digit]


def allowance_at_mm(code, condition, angle_deg):
    return credit_module.credit(read_code(code), condition, POLICY).at(angle_deg)


def used_in_an_hour(code, condition, mount, rain_mm_h, wind_mps):
    wind, arrival = _arrival(rain_mm_h, wind_mps)
    angle = wetting.angle_from_up_deg(mount, drops.RAIN.speed, wind, np.full(len(wind), WEST))
    credited = credit_module.credit(read_code(code), condition, POLICY)
    exact = (arrival.by_class / credited.at(angle)).sum(axis=1)
    by_table = credited.inverse_table().take(credit_module.table_index(angle))
    np.testing.assert_allclose((arrival.by_class * by_table).sum(axis=1), exact, rtol=2e-3)
    return exact


def _seconds(at):
    return datetime.fromisoformat(at).timestamp()


def sun_elevation_deg(at, latitude_deg, longitude_deg):
    return np.degrees(np.arcsin(damp.sun(_seconds(at), latitude_deg, longitude_deg).sine))


def evaporation_at_mm_h(
    at, latitude_deg, longitude_deg, elevation_m, temp_c, dew_point_c, wind_10m_mps, cloud_pct
):
    return damp.evaporation_mm_h(
        np.array(temp_c),
        np.array(dew_point_c),
        np.array(wind_10m_mps),
        np.array(cloud_pct),
        damp.sun(_seconds(at), latitude_deg, longitude_deg),
        elevation_m,
    )


def saturation_kpa(temp_c):
    return 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))  # FAO-56 eq. 11


def fao56_hour_mm(temp_c, humidity_pct, wind_2m_mps, net_mj, ground_mj, pressure_kpa):
    return damp.fao56_hourly_evaporation_mm_h(
        np.array(temp_c),
        np.array(humidity_pct / 100.0 * saturation_kpa(temp_c)),
        np.array(wind_2m_mps),
        np.array(net_mj),
        np.array(ground_mj),
        pressure_kpa,
    )


def fao56_day_from_net_mm(
    temp_max_c, temp_min_c, vapour_kpa, wind_2m_mps, net_mj, ground_mj, pressure_kpa
):
    """FAO-56 eq. 6, the daily form, as 24 equal hours of eq. 53.

    The two differ in the wind term's constant, 900 a day against 37 an hour, and in that the
    day's saturation is the mean of its two ends': both go into the deficit handed to the hour.
    """
    mean = (temp_max_c + temp_min_c) / 2
    saturation = (saturation_kpa(temp_max_c) + saturation_kpa(temp_min_c)) / 2
    deficit = (saturation - vapour_kpa) * 900.0 / (24.0 * 37.0)
    return 24.0 * damp.fao56_hourly_evaporation_mm_h(
        np.array(mean),
        np.array(saturation_kpa(mean) - deficit),
        np.array(wind_2m_mps),
        np.array(net_mj / 24.0),
        np.array(ground_mj / 24.0),
        pressure_kpa,
    )


def fao56_day_mm(
    temp_max_c,
    temp_min_c,
    humidity_max_pct,
    humidity_min_pct,
    wind_2m_mps,
    solar_mj,
    latitude_deg,
    elevation_m,
    day_of_year,
):
    """Net radiation by FAO-56 eq. 17, 21, 23 to 25, 37 to 40, then eq. 6."""
    vapour = (
        saturation_kpa(temp_min_c) * humidity_max_pct / 100.0
        + saturation_kpa(temp_max_c) * humidity_min_pct / 100.0
    ) / 2
    latitude = math.radians(latitude_deg)
    distance = 1.0 + 0.033 * math.cos(2 * math.pi * day_of_year / 365)
    declination = 0.409 * math.sin(2 * math.pi * day_of_year / 365 - 1.39)
    sunset = math.acos(-math.tan(latitude) * math.tan(declination))
    outside = (
        (24 * 60 / math.pi)
        * 0.0820
        * distance
        * (
            sunset * math.sin(latitude) * math.sin(declination)
            + math.cos(latitude) * math.cos(declination) * math.sin(sunset)
        )
    )
    clear = (0.75 + 2e-5 * elevation_m) * outside
    fourth = ((temp_max_c + 273.16) ** 4 + (temp_min_c + 273.16) ** 4) / 2
    longwave = (
        4.903e-9 * fourth * (0.34 - 0.14 * math.sqrt(vapour)) * (1.35 * solar_mj / clear - 0.35)
    )
    return fao56_day_from_net_mm(
        temp_max_c,
        temp_min_c,
        vapour,
        wind_2m_mps,
        0.77 * solar_mj - longwave,
        0.0,
        101.3 * ((293 - 0.0065 * elevation_m) / 293) ** 5.26,
    )


def each(function):
    """The function over lists of inputs, where it takes one height or terrain at a time."""

    def over(**inputs):
        lists = {k: v for k, v in inputs.items() if isinstance(v, (list, np.ndarray))}
        if not lists:
            return function(**inputs)
        rows = [
            dict(zip(lists, values, strict=True)) for values in zip(*lists.values(), strict=True)
        ]
        return [function(**{**inputs, **row}) for row in rows]

    return over


THROUGH = {
    f.__name__: f
    for f in (
        median_drop_mm,
        roof_share_horizontal,
        roof_share_vertical,
        ray_m,
        spray_drift_m,
        spray_mm_h,
        drops_beside_index,
        worst_plane_by_class,
        rain_angle_deg,
        allowance_at_mm,
        used_in_an_hour,
        sun_elevation_deg,
        evaporation_at_mm_h,
        fao56_hour_mm,
        fao56_day_from_net_mm,
        fao56_day_mm,
    )
}
ONE_AT_A_TIME = {"roughness_coefficient", "open_country_factor", "gust_factor"}


# ------------------------------------------------------------------------------ the runner


def rows_of(sheet):
    return tomllib.loads((HERE / f"{sheet}.toml").read_text(encoding="utf-8"))["check"]


ROWS = {
    f"{sheet}-{n:02d}-{row['function']}": (sheet, row)
    for sheet in SHEETS
    for n, row in enumerate(rows_of(sheet), 1)
}


def listed(value):
    return value if isinstance(value, list) else [value]


def printed_texts(row):
    return listed(row["printed"])


def half_last_digit(text):
    decimals = text.partition(".")[2]
    return 0.5 * 10.0 ** -len(decimals)


def allowed(row, text):
    """How far from the printed value the program's may be."""
    tolerance = row["tolerance"]
    if tolerance == "exact":
        return 0.0
    if tolerance == "as printed":
        return half_last_digit(text) * (1.0 + 1e-9)
    ((kind, size),) = tolerance.items()
    return {"abs": size, "rel": size * abs(float(text))}[kind]


def agrees(row, text, value):
    return abs(value - float(text)) <= allowed(row, text) + 1e-13 * abs(value)


def computed(sheet, row):
    inputs = {
        key: np.array(value) if isinstance(value, list) else value
        for key, value in row["inputs"].items()
    }
    if "through" in row:
        value = THROUGH[row["through"]](**inputs)
    elif row["function"] == "nominal_allowance_mm":
        value = nominal_allowance_mm(**inputs)
    else:
        function = getattr(importlib.import_module(f"monitor.exposure.{sheet}"), row["function"])
        value = (each(function) if row["function"] in ONE_AT_A_TIME else function)(**inputs)
    return np.atleast_1d(np.asarray(value, dtype=float))


@pytest.mark.parametrize("name", ROWS)
def test_value_of_the_sheet(name):
    sheet, row = ROWS[name]
    texts, values = printed_texts(row), computed(sheet, row)
    assert len(texts) == len(values) > 0
    off = [
        f"{text} {row['unit']} printed, {value:.8g} computed"
        for text, value in zip(texts, values, strict=True)
        if not agrees(row, text, value)
    ]
    assert not off, f"{row['what']} ({row['source']}): {'; '.join(off)}"


@pytest.mark.parametrize("name", ROWS)
def test_row_is_complete_and_says_where_it_is_from(name):
    sheet, row = ROWS[name]
    assert row.keys() >= KEYS
    assert row.keys() <= KEYS | MORE_KEYS
    assert row["kind"] in KINDS
    assert row["kind"] != "D" or "working" in row or "arithmetic" in row, (
        "a derived value shows its working"
    )
    assert hasattr(importlib.import_module(f"monitor.exposure.{sheet}"), row["function"])
    assert row.get("through", "median_drop_mm") in THROUGH
    assert len(row["source"]) >= 14
    assert row["inputs"]
    assert printed_texts(row)


@pytest.mark.parametrize("name", ROWS)
def test_row_would_catch_a_wrong_value(name):
    sheet, row = ROWS[name]
    for text, value in zip(printed_texts(row), computed(sheet, row), strict=True):
        assert not math.isnan(value)
        shift = 2.5 * allowed(row, text) + 1e-6 * max(1.0, abs(value))
        assert not agrees(row, text, value + shift)
        assert not agrees(row, text, value - shift)


@pytest.mark.parametrize("name", [name for name, (_, row) in ROWS.items() if "arithmetic" in row])
def test_arithmetic_beside_a_row_gives_its_printed_value(name):
    _, row = ROWS[name]
    texts, sums = printed_texts(row), listed(row["arithmetic"])
    names = {
        n: getattr(math, n)
        for n in ("exp", "log", "sqrt", "sin", "cos", "asin", "radians", "degrees", "pi")
    }
    for text, expression in zip(texts, sums, strict=True):
        value = eval(expression, {"__builtins__": {"min": min}}, names)
        within = row.get("arithmetic_within", half_last_digit(text) * 1.01)
        assert value == pytest.approx(float(text), rel=0.0, abs=within), expression


# ---------------------------------------------------------------- no sheet passes by being empty


def test_every_sheet_has_rows_and_every_way_in_is_used():
    assert {sheet for sheet, _ in ROWS.values()} == set(SHEETS)
    assert {row["through"] for _, row in ROWS.values() if "through" in row} == set(THROUGH)
    least = {"drops": 7, "wind": 6, "shelter": 7, "wetting": 10, "credit": 6, "damp": 7}
    assert {s: n for s in SHEETS if (n := len(rows_of(s))) < least[s]} == {}


def functions_that_name_a_sheet():
    for module in (*SHEETS, "arrivals", "assess", "steps"):
        for name, thing in vars(importlib.import_module(f"monitor.exposure.{module}")).items():
            if not inspect.isfunction(thing) or thing.__module__ != f"monitor.exposure.{module}":
                continue
            for sheet in re.findall(r"tests/published/(\w+)\.toml", thing.__doc__ or ""):
                yield name, sheet


def test_what_a_docstring_says_of_its_sheet_is_so():
    checked = {(row["function"], sheet) for sheet, row in ROWS.values()}
    named = set(functions_that_name_a_sheet())
    assert len(named) >= 15
    assert named - checked == set()
