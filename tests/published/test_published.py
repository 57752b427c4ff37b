"""Every published figure the physics is held to.

A file per module; in it a sheet per function (or per quantity, where one function answers two
sources). A sheet says:

function   what is called: "module:name", or a name of `DRIVEN` below where a figure needs more
           than one call
quantity, unit   what comes out
inputs     what goes in, each with its unit
kind       P published, value as found; D derived by hand from a published formula, with its
           working; L a reference library; M from memory; C common practice of the trade
source     paper, page or equation, and what of it is from memory
tolerance  "as printed" (half the last digit), an absolute number, or a share in %; a row may
           have its own
rows       given (inputs), printed (the value as text, as it is printed), arithmetic (the working
           as a sum that is done here: it must give the printed digits)
"""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from exposure.fao_by_hand import fao_elevation, fao_hour
from exposure.fine_spectrum import summed, used_by_digit_3
from exposure.rigs import hours, one_fixture, run

import monitor.exposure
from monitor.codes import read_code
from monitor.domain import Roof, Spray
from monitor.exposure.credit import credit, nominal_allowance_mm
from monitor.exposure.damp import evaporation_mm_h, fao56_hourly_evaporation_mm_h, sun
from monitor.exposure.drops import (
    RAIN,
    Classes,
    arriving_shares,
    best_fraction_below,
    gunn_kinzer_fall_speed,
)
from monitor.exposure.shelter import Spot, ray_to_edge, share_let_in, spray_rates
from monitor.exposure.wetting import angle_from_up_deg, driving_rain_index, face_flux
from monitor.show.settings import default_policy

HERE = Path(__file__).parent
KINDS = "PDLMC"
ANYTHING = re.compile(r"Checks:\s+([^\n]+(?:\n\s+\S[^\n]*)?)")


# ---------------------------------------------------------------- figures that need driving


def median_drop_mm(rain_mm_h):
    """Halves the spectrum by bisection."""
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if best_fraction_below(middle, rain_mm_h) < 0.5 else (low, middle)
        )
    return low


def spray_drift_m(diameter_mm, height_m, wind_mps):
    """Middle of the distances at which a fountain of one drop size wets a fixture."""
    speed = gunn_kinzer_fall_speed(np.array([diameter_mm]))
    one_size = Classes(speed, speed - 1e-9, speed + 1e-9)
    away = np.arange(1.0, 30.0, 0.005)
    wets = [
        spray_rates(
            one_size,
            np.ones(1),
            Spray(height_m, float(distance), 90.0, 1.0),
            np.array([wind_mps]),
            np.array([90.0]),
        ).sum()
        > 0.0
        for distance in away
    ]
    return away[np.array(wets)].mean()


def driving_rain_index_of_hours(rain_mm_h, wind_mps, wind_from_deg, wall_deg, each_h=1.0):
    return driving_rain_index(
        np.array(rain_mm_h) * each_h,
        np.full(len(rain_mm_h), each_h),
        np.array(wind_mps),
        np.array(wind_from_deg),
        wall_deg,
    )


def drops_over_index(rain_mm_h, wind_mps):
    index = driving_rain_index_of_hours([rain_mm_h], [wind_mps], [0.0], 0.0)
    return face_flux(rain_mm_h, wind_mps, 90.0, 0.0) / index


def angle_of_one_drop(mount, slant_deg, wind_from_deg, tilt_deg, facing_deg):
    speed = 5.0
    wind = speed * math.tan(math.radians(slant_deg))
    return angle_from_up_deg(
        mount, np.array([speed]), np.array([wind]), np.array([wind_from_deg]), tilt_deg, facing_deg
    )[0, 0]


def used_in_an_hour(code, rain_mm_h, wind_mps):
    return run(
        one_fixture(code, mount="upright", condition="new"),
        hours(rain=[rain_mm_h], wind=[wind_mps]),
    ).used[0, -1, 0]


def ray_on_a_12_by_8_roof(toward_deg, front):
    # right is clockwise of the front from above: west of a south front, south of an east one
    if front == "south":
        roof = Roof("r", facing_deg=180.0, width_m=12.0, depth_m=8.0, edge_height_m=5.0)
        spot = Spot(roof, in_from_front_m=3.0, in_from_right_m=4.0, rise_m=3.0)
    else:
        roof = Roof("r", facing_deg=90.0, width_m=8.0, depth_m=12.0, edge_height_m=5.0)
        spot = Spot(roof, in_from_front_m=8.0, in_from_right_m=3.0, rise_m=3.0)
    return float(ray_to_edge(spot, np.array(toward_deg))[0])


def share_under_a_roof(rain_mm_h, wind_mps, distance_m, rise_m, face):
    roof = Roof("r", facing_deg=0.0, width_m=1000.0, depth_m=1000.0, edge_height_m=9.0)
    spot = Spot(roof, distance_m, 500.0, rise_m)
    share = share_let_in(
        RAIN,
        np.array([wind_mps]),
        np.array([0.0]),
        spot=spot,
        spread_deg=0.0,
        eddy_share=0.0,
    )[0]
    arriving = arriving_shares(np.array(rain_mm_h))
    weight = arriving / RAIN.speed if face == "vertical" else arriving
    return (share * weight).sum() / weight.sum()


def spray_mm_h(lost_litres_per_minute, height_m, distance_m, wind_mps):
    spray = Spray(height_m, distance_m, 90.0, lost_litres_per_minute)
    shares = arriving_shares(np.array(10.0))
    return spray_rates(RAIN, shares, spray, np.array([wind_mps]), np.array([90.0])).sum()


def nominal_mm(digit, surface_m2):
    return nominal_allowance_mm(digit, default_policy(), surface_m2)


def allowance_mm(code, condition, angle_deg):
    return credit(read_code(code), condition, default_policy()).at(angle_deg)


def sun_elevation_deg(at, latitude_deg, longitude_deg):
    return math.degrees(math.asin(sun(at.timestamp(), latitude_deg, longitude_deg).sine))


def _saturation_kpa(temp_c):
    return 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))  # FAO-56 eq. 11


def daily_by_the_hourly_formula(
    temp_c,
    saturation_kpa,
    vapour_kpa,
    wind_2m_mps,
    net_radiation_mj_d,
    ground_heat_mj_d,
    pressure_kpa,
):
    """FAO-56 eq. 6 for a day through eq. 53 for an hour.

    The two differ in the number on the wind term (900 a day, 37 an hour and not 900/24 = 37.5)
    and in the saturation deficit, which a day takes from its extremes: the vapour pressure
    handed over carries both, so 24 such hours are that day exactly.
    """
    deficit = (saturation_kpa - vapour_kpa) * (900 / 24) / 37
    return 24 * fao56_hourly_evaporation_mm_h(
        np.float64(temp_c),
        _saturation_kpa(temp_c) - deficit,
        wind_2m_mps,
        net_radiation_mj_d / 24,
        ground_heat_mj_d / 24,
        pressure_kpa,
    )


def hourly_from_humidity(
    temp_c, humidity_pct, wind_2m_mps, net_radiation_mj, ground_heat_mj, pressure_kpa
):
    return fao56_hourly_evaporation_mm_h(
        np.float64(temp_c),
        _saturation_kpa(temp_c) * humidity_pct / 100,
        wind_2m_mps,
        net_radiation_mj,
        ground_heat_mj,
        pressure_kpa,
    )


def evaporation_at(
    at, latitude_deg, longitude_deg, elevation_m, temp_c, dew_point_c, wind_10m_mps, cloud_fraction
):
    return evaporation_mm_h(
        np.float64(temp_c),
        np.float64(dew_point_c),
        np.float64(wind_10m_mps),
        np.float64(100.0 * cloud_fraction),
        sun(at.timestamp(), latitude_deg, longitude_deg),
        elevation_m,
    )


DRIVEN = {
    driven.__name__: driven
    for driven in (
        median_drop_mm,
        spray_drift_m,
        driving_rain_index_of_hours,
        drops_over_index,
        angle_of_one_drop,
        used_in_an_hour,
        ray_on_a_12_by_8_roof,
        share_under_a_roof,
        spray_mm_h,
        nominal_mm,
        allowance_mm,
        sun_elevation_deg,
        daily_by_the_hourly_formula,
        hourly_from_humidity,
        evaporation_at,
    )
}
ARITHMETIC = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "log": math.log,
    "pi": math.pi,
    "max": max,
    "sin": lambda deg: math.sin(math.radians(deg)),
    "cos": lambda deg: math.cos(math.radians(deg)),
    "tan": lambda deg: math.tan(math.radians(deg)),
    "arccos": lambda cosine: math.degrees(math.acos(cosine)),
    "summed": summed,
    "used_by_digit_3": used_by_digit_3,
    "fao_elevation": fao_elevation,
    "fao_hour": fao_hour,
}


# ---------------------------------------------------------------- the runner


def sheets():
    for file in sorted(HERE.glob("*.toml")):
        for name, sheet in tomllib.loads(file.read_text(encoding="utf-8")).items():
            yield f"{file.stem}:{name}", sheet


SHEETS = dict(sheets())
ROWS = [
    pytest.param(sheet, row, id=f"{name}-{number}")
    for name, sheet in SHEETS.items()
    for number, row in enumerate(sheet.get("rows", ()), start=1)
]
SUMS = [param for param in ROWS if "arithmetic" in param.values[1]]


def half_last_digit(printed):
    return 0.5 * 10.0 ** -len(printed.partition(".")[2])


def allowed(tolerance, printed):
    if tolerance == "as printed":
        return half_last_digit(printed)
    if tolerance.endswith("%"):
        return abs(float(printed)) * float(tolerance[:-1]) / 100
    return float(tolerance)


def called(sheet):
    module, colon, name = sheet["function"].partition(":")
    return getattr(importlib.import_module(module), name) if colon else DRIVEN[module]


def test_there_are_sheets_for_every_part_of_the_physics():
    files = {name.partition(":")[0] for name in SHEETS}
    assert files >= {"drops", "wind", "shelter", "wetting", "credit", "damp"}
    assert len(ROWS) > 80


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_says_where_its_figures_come_from(name):
    sheet = SHEETS[name]
    assert {"function", "quantity", "unit", "inputs", "kind", "source", "rows"} <= set(sheet)
    assert sheet["rows"], "an empty sheet checks nothing"
    assert len(sheet["source"]) > 10
    assert sheet["kind"] in KINDS
    if sheet["kind"] == "D":
        assert sheet["working"].strip()
    if sheet["kind"] == "M":
        assert "from memory" in sheet["source"]
    for row in sheet["rows"]:
        assert set(row) <= {"given", "printed", "tolerance", "arithmetic"}
        assert set(row["given"]) <= set(sheet["inputs"]), "an input without a unit"
        assert isinstance(row["printed"], str)
        float(row["printed"])


@pytest.mark.parametrize(("sheet", "row"), ROWS)
def test_a_figure_comes_out_as_published(sheet, row):
    printed = row["printed"]
    within = allowed(row.get("tolerance", sheet.get("tolerance", "as printed")), printed)
    # a hair above, for the last bit of a decimal fraction
    assert float(called(sheet)(**row["given"])) == pytest.approx(
        float(printed), rel=0, abs=within + 1e-12
    )


@pytest.mark.parametrize(("sheet", "row"), ROWS)
def test_a_figure_a_little_further_off_would_be_noticed(sheet, row):
    printed = row["printed"]
    within = allowed(row.get("tolerance", sheet.get("tolerance", "as printed")), printed)
    ours = float(called(sheet)(**row["given"]))
    assert math.isfinite(ours)
    for off in (-1.0, 1.0):
        wrong = ours + off * (2.1 * within + 1e-6)
        assert wrong != pytest.approx(float(printed), rel=0, abs=within + 1e-12)


@pytest.mark.parametrize(("sheet", "row"), SUMS)
def test_the_working_gives_the_printed_digits(sheet, row):
    printed = row["printed"]
    tolerance = row.get("tolerance", sheet.get("tolerance", "as printed"))
    # a tenth of what the figure is given: some were printed from a coarser spectrum
    within = max(1.01 * half_last_digit(printed), allowed(tolerance, printed) / 10)
    worked = eval(row["arithmetic"], {"__builtins__": {}, **ARITHMETIC})
    assert worked == pytest.approx(float(printed), rel=0, abs=within + 1e-12)


def functions_that_name_a_sheet():
    for module in pkgutil.iter_modules(monitor.exposure.__path__, "monitor.exposure."):
        loaded = importlib.import_module(module.name)
        for name, function in inspect.getmembers(loaded, inspect.isfunction):
            found = ANYTHING.search(function.__doc__ or "")
            if found and function.__module__ == module.name:
                yield pytest.param(name, found[1], id=name)


def test_functions_name_their_sheets():
    assert len(list(functions_that_name_a_sheet())) >= 15


@pytest.mark.parametrize(("function", "checks"), list(functions_that_name_a_sheet()))
def test_a_sheet_that_a_function_names_is_there(function, checks):
    found = re.search(r"tests/published/(\w+)\.toml", checks)
    assert found, checks
    assert f"{found[1]}:{function}" in SHEETS
