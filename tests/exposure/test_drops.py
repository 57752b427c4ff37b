"""Whether eighty drop classes are enough: the same sums over twenty thousand."""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np
import pytest
from exposure.rigs import fixture, hours, position, run, show

from monitor.codes import read_code
from monitor.domain import Roof
from monitor.exposure.credit import credit
from monitor.exposure.drops import RAIN, best_fraction_below, gunn_kinzer_fall_speed
from monitor.show.settings import default_policy

FINE = 20_000
RATES = (0.06, 0.3, 1.0, 8.0, 90.0)
WINDS = (0.0, 0.8, 1.4, 2.6, 4.4, 8.0, 14.0, 25.0)
CELLS = list(product(RATES, WINDS))
CODES = ("IPX1", "IPX2", "IPX3")
LEANS = {
    "upright": ("upright", None, None),
    "inverted": ("inverted", None, None),
    "leaning 30 away": ("tilted", 30.0, 180.0),
    "leaning 60 into": ("tilted", 60.0, 0.0),
    "leaning 90 across": ("tilted", 90.0, 90.0),
}
ROOFS = {"open": None, "4 m in": (4.0, 3.0), "1 m in": (1.0, 3.0), "9 m in": (9.0, 4.0)}
"""Name: (in from the front, rise); the wind blows square on the front, one ray, no eddies."""

FURTHER_OFF = {("4 m in", 0.8), ("4 m in", 1.4), ("4 m in", 2.6), ("1 m in", 1.4)}
"""Roof and wind where some figure is more than 0.5 % off: hardly any wind, so the edge cuts
among the smallest drops and only some per cent of the rain gets in."""
FURTHEST = 0.008


@cache
def fine_spectrum(rain):
    """Arriving shares and fall speeds of 20,000 drop sizes, up to where nothing is left."""
    top = 14.0
    edges = np.linspace(0.0, top, FINE + 1)
    below = best_fraction_below(edges, rain)
    below[-1] = 1.0
    speed = gunn_kinzer_fall_speed((edges[:-1] + edges[1:]) / 2)
    flux = np.diff(below) * speed
    return flux / flux.sum(), speed


@cache
def fine(rain, wind, roof):
    """Water by class on the worst plane [mm/h], and the drops' slant [deg], over fine classes."""
    share, speed = fine_spectrum(rain)
    if roof is not None:
        in_from_front, rise = roof
        share = share * (speed < wind * rise / in_from_front)
    up, toward = share.sum(), (share * wind / speed).sum()
    length = np.hypot(up, toward) or 1.0
    by_class = rain * share * (wind / speed * toward + up) / length
    return by_class, np.degrees(np.arctan2(wind, speed))


def angle(lean, slant):
    mount, tilt, facing = lean
    if mount == "upright":
        return slant
    if mount == "inverted":
        return 180.0 - slant
    t, s = np.radians(tilt), np.radians(slant)
    cosine = np.cos(t) * np.cos(s) + np.sin(t) * np.sin(s) * np.cos(np.radians(facing))
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


@pytest.fixture(scope="module")
def ours():
    """Wetting and used by our classes, each cell a member of one run."""
    roofs, positions, fixtures = [], [], []
    for name, roof in ROOFS.items():
        place = position(name)
        if roof is not None:
            roofs.append(Roof(name, 0.0, 1000.0, 1000.0, 10.0 + roof[1]))
            place = position(name, roof=name, in_from_front_m=roof[0], in_from_right_m=500.0)
        positions.append(place)
        fixtures += [
            fixture(
                code,
                f"{name}/{lean}/{code}",
                position=name,
                mount=mount,
                tilt_deg=tilt,
                facing_deg=facing,
                condition="new",
            )
            for lean, (mount, tilt, facing) in LEANS.items()
            for code in CODES
        ]
    described = show(
        fixtures,
        positions=positions,
        roofs=roofs,
        policy={"direction_spread_deg": 0.0, "eddy_share": 0.0},
    )
    rain, wind = np.array(CELLS).T
    found = run(described, hours(rain[:, None], wind[:, None]))
    return {
        f.id: (found.wetting_mm[:, 0, g], found.used[:, 0, g])
        for f, g in zip(described.fixtures, found.group_of, strict=True)
    }


def test_there_are_eighty_classes():
    assert len(RAIN.speed) == 80


def over(figures, within):
    """Cells (rain, wind) whose figure is further off than that, of those that count.

    A figure counts where more than 1 % of the rain gets in.
    """
    return {
        cell: abs(got / expected - 1.0)
        for cell, (got, expected, let_in) in figures.items()
        if let_in > 0.01 and abs(got / expected - 1.0) > within
    }


@pytest.mark.parametrize("roof", ROOFS)
def test_wetting_as_over_twenty_thousand_classes(roof, ours):
    got = ours[f"{roof}/upright/IPX1"][0]
    figures = {}
    for number, cell in enumerate(CELLS):
        expected = fine(*cell, ROOFS[roof])[0].sum()
        figures[cell] = (got[number], expected, expected / cell[0])
    far = over(figures, 0.005)
    assert {(roof, wind) for _, wind in far} <= FURTHER_OFF
    assert max(far.values(), default=0.0) < FURTHEST


@pytest.mark.parametrize("roof", ROOFS)
@pytest.mark.parametrize("lean", LEANS)
@pytest.mark.parametrize("code", CODES)
def test_used_as_over_twenty_thousand_classes(code, lean, roof, ours):
    credited = credit(read_code(code), "new", default_policy())
    got = ours[f"{roof}/{lean}/{code}"][1]
    figures = {}
    for number, cell in enumerate(CELLS):
        by_class, slant = fine(*cell, ROOFS[roof])
        expected = (by_class / credited.at(angle(LEANS[lean], slant))).sum()
        figures[cell] = (got[number], expected, by_class.sum() / cell[0])
    far = over(figures, 0.005)
    assert {(roof, wind) for _, wind in far} <= FURTHER_OFF
    assert max(far.values(), default=0.0) < FURTHEST
