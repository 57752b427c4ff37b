"""What an assessment costs, as ratios taken in one run: no figure here depends on the machine.

10,000 fixtures in 40 positions with 400 distinct exposures, 51 members, 168 hours of which a
quarter are wet. The measure is one numpy multiply-add over (400 exposures, wet member-hours,
32 classes). The show is compiled once per revision, so `compile_rig` stands outside the times;
it is timed on its own beside them.
"""

from __future__ import annotations

import gc
import time
import tracemalloc
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from exposure.rigs import NOON, fixture, hours, position, show

from monitor.codes import read_code
from monitor.domain import Roof
from monitor.exposure.assess import assess
from monitor.exposure.credit import credit
from monitor.exposure.drops import RAIN, air_shares
from monitor.exposure.rig import compile_rig
from monitor.exposure.wind import roughness_coefficient
from monitor.show.settings import default_policy

pytestmark = pytest.mark.bench

POSITIONS, EXPOSURES, MEMBERS, STEPS, WET_SHARE, CLASSES = 40, 400, 51, 168, 0.25, 32
HEIGHTS = np.linspace(0.2, 18.0, POSITIONS)
# ten exposures at every position: codes in the trade's mix, hung as they are hung
HUNG = (
    *(("IP20", "any", "hire"), ("IP20", "upright", "new"), ("IP23", "upright", "hire")),
    *(("IP33", "tilted", "new"), ("IP43", "upright", "hire"), ("IP44", "any", "hire")),
    *(("IP54", "any", "worn"), ("IP65", "any", "new"), ("IP65", "any", "worn")),
    ("IP22", "inverted", "hire"),
)
WEATHER = np.random.default_rng(1950)


def rig_of(fixtures):
    roof = Roof("stage", 0.0, 14.0, 12.0, 20.0)
    positions = [
        position(f"p{n}", height_m=height)
        if n % 4
        else position(
            f"p{n}", height_m=height, roof="stage", in_from_front_m=1.0 + n / 8, in_from_right_m=6.0
        )
        for n, height in enumerate(HEIGHTS)
    ]
    kinds = list(product(positions, HUNG))
    assert len(kinds) == EXPOSURES
    first = [
        fixture(
            code,
            "first",
            position=place.id,
            mount=mount,
            tilt_deg=30.0 if mount == "tilted" else None,
            facing_deg=120.0 if mount == "tilted" else None,
            condition=condition,
        )
        for place, (code, mount, condition) in kinds
    ]
    described = [replace(first[n % EXPOSURES], id=f"f{n}") for n in range(fixtures)]
    return compile_rig(show(described, positions=positions, roofs=[roof]))


def ensemble():
    shape = (MEMBERS, STEPS)
    wet = np.zeros(MEMBERS * STEPS, dtype=bool)
    wet[: round(WET_SHARE * wet.size)] = True
    WEATHER.shuffle(wet)
    rain = np.where(wet.reshape(shape), WEATHER.gamma(0.8, 3.0, shape) + 0.06, 0.0)
    wind = 6.0 * WEATHER.weibull(2.0, shape)
    return hours(
        rain,
        wind,
        gust=1.6 * wind,
        wind_from=WEATHER.uniform(0.0, 360.0, shape),
        temp=WEATHER.normal(14.0, 3.0, shape),
        dew=10.0,
        cloud=70.0,
        forecast=True,
    )


@pytest.fixture(scope="module")
def weather():
    return ensemble()


@pytest.fixture(scope="module")
def rig():
    return rig_of(10_000)


def quickest(*works, times=5):
    """The quickest run of each of some works, taken in turns [s of processor time].

    Processor time and the quickest run: what the work takes when nothing else runs here.
    """
    took = []
    for _ in range(times):
        row = []
        for work in works:
            start = time.process_time()
            work()
            row.append(time.process_time() - start)
        took.append(row)
    return np.min(took, axis=0)


def multiply_adds(weather):
    """One numpy multiply-add over an array of (exposures, wet member-hours, classes).

    As anybody writes it, and with the memory for the answer handed to it.
    """
    x = np.full((EXPOSURES, int((weather.rain_mm > 0.0).sum()), CLASSES), 0.3)
    out = np.zeros_like(x)

    def in_place():
        np.multiply(x, 0.5, out=out)
        np.add(out, 0.7, out=out)

    return lambda: x * 0.5 + 0.7, in_place


def assessed(rig, weather):
    return assess(rig, weather, out_from_s=NOON.timestamp())


def test_time_against_one_multiply_add(rig, weather):
    assert len(rig.kinds) == EXPOSURES
    written, in_place = multiply_adds(weather)
    ours, measure, least = quickest(lambda: assessed(rig, weather), written, in_place)
    print(
        f"\nassess {ours / measure:.1f} x one multiply-add ({ours:.3f} s, {measure:.3f} s);"
        f" {ours / least:.1f} x one in memory already there"
    )
    assert ours <= 10.0 * measure


def test_peak_memory(rig, weather):
    gc.collect()
    tracemalloc.start()
    try:
        found = assessed(rig, weather)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    print(f"\npeak {peak / 1e6:.0f} MB for {found.used.shape}")
    assert peak < 200e6


def test_a_million_fixtures_of_the_same_exposures(rig, weather):
    gc.disable()  # a million records made once, none of them garbage
    try:
        million = rig_of(1_000_000)
    finally:
        gc.enable()
    assert len(million.kinds) == EXPOSURES
    gc.freeze()  # nor are they looked through for garbage while others are timed
    try:
        few, many = quickest(
            lambda: assessed(rig, weather), lambda: assessed(million, weather), times=4
        )
    finally:
        gc.unfreeze()
    print(f"\na million fixtures {many / few:.2f} x ten thousand")
    assert many <= 1.5 * few


# ---------------------------------------------------------------- beside pandas


def pandas_form(weather, place, hung):
    """The same equations as a pandas user would vectorise them: a row per member, step, class.

    One position in the open, its exposures one after another. Columns by name: wetting and the
    use of each exposure, by member and step.
    """
    policy = default_policy()
    members, steps = weather.rain_mm.shape
    index = pd.MultiIndex.from_product([range(members), range(steps)], names=["member", "step"])
    columns = {
        "rain": weather.rain_mm.ravel(),
        "wind": weather.wind_mps.ravel(),
        "wind_from": weather.wind_from_deg.ravel(),
    }
    air = pd.DataFrame(columns, index=index)
    up = roughness_coefficient(place.height_m, "II") / roughness_coefficient(10.0, "II")
    air["wind"] *= up
    wet = air[air["rain"] >= policy.dry_below_mm_h]
    drops = wet.loc[wet.index.repeat(len(RAIN.speed))].copy()
    drops["speed"] = np.tile(RAIN.speed, len(wet))
    drops["share"] = air_shares(wet["rain"].to_numpy()).ravel() * drops["speed"]
    by_step = ["member", "step"]
    drops["share"] /= drops.groupby(by_step)["share"].transform("sum")
    drops["down"] = drops["rain"] * drops["share"]
    drops["across"] = drops["down"] * drops["wind"] / drops["speed"]
    n = drops.groupby(by_step)[["down", "across"]].transform("sum")
    length = np.hypot(n["down"], n["across"])
    drops["q"] = (drops["down"] * n["down"] + drops["across"] * n["across"]) / length
    slant = np.arctan2(drops["wind"], drops["speed"])
    out = pd.DataFrame(index=index)
    out["wetting"] = drops.groupby(by_step)["q"].sum() * policy.hourly_margin
    for number, (code, mount, condition) in enumerate(hung):
        if mount == "upright":
            angle = np.degrees(slant)
        elif mount == "inverted":
            angle = 180.0 - np.degrees(slant)
        elif mount == "tilted":
            about = np.cos(np.radians(drops["wind_from"] - 120.0))
            t = np.radians(30.0)
            cosine = np.cos(t) * np.cos(slant) + np.sin(t) * np.sin(slant) * about
            angle = np.degrees(np.arccos(cosine.clip(-1.0, 1.0)))
        else:
            angle = pd.Series(180.0, index=drops.index)
        allowance = credit(read_code(code), condition, policy).at(angle.to_numpy())
        charge = (drops["q"] / allowance).groupby(by_step).sum() * policy.hourly_margin
        each_step = charge.reindex(index, fill_value=0.0)
        out[f"used {number}"] = each_step.groupby("member").cumsum()
    return out.fillna({"wetting": 0.0})


def test_beside_the_same_equations_in_pandas(weather):
    """One position in the open and its ten exposures; equal figures, then the ratio of times."""
    place = position("p", height_m=9.0)
    described = [
        fixture(
            code,
            f"f{n}",
            position="p",
            mount=mount,
            tilt_deg=30.0 if mount == "tilted" else None,
            facing_deg=120.0 if mount == "tilted" else None,
            condition=condition,
        )
        for n, (code, mount, condition) in enumerate(HUNG)
    ]
    one = compile_rig(show(described, positions=[place]))
    ours, theirs = assessed(one, weather), pandas_form(weather, place, HUNG)
    shape = weather.rain_mm.shape
    for number in range(len(HUNG)):
        group = ours.group_of[number]
        np.testing.assert_allclose(
            ours.wetting_mm[:, :, group], theirs["wetting"].to_numpy().reshape(shape), rtol=1e-9
        )
        # ours reads allowances from a table of hundredths of a degree
        np.testing.assert_allclose(
            ours.used[:, :, group],
            theirs[f"used {number}"].to_numpy().reshape(shape),
            rtol=2e-3,
            atol=1e-9,
        )
    quick, slow = quickest(
        lambda: assessed(one, weather), lambda: pandas_form(weather, place, HUNG), times=3
    )
    print(f"\npandas takes {slow / quick:.1f} x as long")
    assert quick < slow
