"""What a code earns: allowances by digit, angle, condition and the maker's word."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.codes import read_code
from monitor.exposure.credit import (
    condition_factor,
    credit,
    nominal_allowance_mm,
    table_index,
)
from monitor.show import default_policy

POLICY = default_policy()
ANGLES = np.linspace(0.0, 180.0, 3601)


def allowance(code, angle, condition="new", policy=POLICY, **more):
    return float(credit(read_code(code), condition, policy, **more).at(angle))


# --------------------------------------------------------------------------- digits and angles


@pytest.mark.parametrize(
    ("code", "covers_to", "nominal"),
    [("IPX1", 5.0, 10.0), ("IPX2", 15.0, 30.0), ("IPX3", 60.0, 50.0)],
)
def test_a_digit_holds_to_its_angle_and_falls_to_run_off_over_thirty_degrees(
    code, covers_to, nominal
):
    assert allowance(code, 0.0) == allowance(code, covers_to) == nominal
    assert allowance(code, covers_to + 0.01) < nominal
    # geometric: two thirds of the way the log has fallen by two thirds
    two_thirds = np.exp(np.log(nominal) + (np.log(0.5) - np.log(nominal)) * 2 / 3)
    assert allowance(code, covers_to + 20.0) == pytest.approx(two_thirds, rel=1e-12)
    assert allowance(code, covers_to + 30.0) == pytest.approx(0.5, rel=1e-12)
    assert allowance(code, 180.0) == 0.5


@pytest.mark.parametrize("code", ["IP20", "IPX0", "IPXX", "IP2X", "IP65/IP20", "IP67/IPX0"])
def test_what_no_test_covers_gets_run_off_at_every_angle(code):
    assert allowance(code, 0.0) == allowance(code, 180.0) == 0.5


def test_the_largest_credit_of_all_implied_digits_counts():
    """A big IPX3 of 8 m2 gets 10 mm from its own test and, to 15 degrees, 30 mm from 2's.

    At 25 degrees 2's has fallen to 30 (0.5/30)^(1/3) = 7.663 mm: 3's own 10 is more again.
    """
    assert allowance("IPX3", 10.0, surface_m2=8.0) == 30.0
    assert allowance("IPX3", 20.0, surface_m2=8.0) == pytest.approx(
        30.0 * (0.5 / 30.0) ** (5.0 / 30.0), rel=1e-12
    )
    assert allowance("IPX3", 25.0, surface_m2=8.0) == 10.0
    assert allowance("IPX3", 60.0, surface_m2=8.0) == 10.0


def test_a_big_ipx4_keeps_the_drip_boxes_better_word_near_the_vertical():
    assert allowance("IPX4", 0.0, surface_m2=8.0) == 30.0
    assert allowance("IPX4", 180.0, surface_m2=8.0) == 10.0


@pytest.mark.parametrize(
    ("surface", "expected"),
    [(0.01, 50.0), (1.0, 50.0), (2.0, 25.0), (5.0, 10.0), (20.0, 10.0)],
)
def test_the_nozzle_waters_a_large_surface_thinner(surface, expected):
    assert nominal_allowance_mm(3, POLICY, surface) == pytest.approx(expected, rel=1e-12)


def test_no_taper_is_strict():
    strict = replace(POLICY, taper_deg=0.0)
    assert allowance("IPX3", 60.0, policy=strict) == 50.0
    assert allowance("IPX3", 60.001, policy=strict) == 0.5


# ------------------------------------------------------------------------------------ condition


@pytest.mark.parametrize(("condition", "k"), [("new", 1.0), ("hire", 0.5), ("worn", 0.2)])
def test_condition_lowers_the_nominal_but_never_the_floor(condition, k):
    assert allowance("IPX1", 0.0, condition) == pytest.approx(10.0 * k)
    assert allowance("IPX4", 90.0, condition) == pytest.approx(50.0 * k)
    assert allowance("IP20", 0.0, condition) == 0.5
    assert condition_factor(condition, POLICY) == k
    assert condition_factor(condition, POLICY, salt=True) == k / 2


def test_a_factor_that_would_undercut_run_off_stops_there():
    """10 mm x 0.04 = 0.4 mm is under the floor of 0.5."""
    poor = replace(POLICY, condition_worn=0.04)
    assert allowance("IPX1", 0.0, "worn", poor) == 0.5


def test_salt_water_halves_the_factor():
    assert allowance("IP44", 0.0, "hire", salt=True) == 12.5
    assert allowance("IP20", 0.0, "hire", salt=True) == 0.5


# ------------------------------------------------------------- no limit from rain, and limits


@pytest.mark.parametrize("code", ["IP55", "IP66", "IP67", "IP68", "IP69K", "IP66/IP67", "IPX8"])
def test_five_and_above_have_no_limit_from_rain_unless_worn(code):
    for condition in ("new", "hire"):
        got = credit(read_code(code), condition, POLICY)
        assert not got.limited
        assert np.isinf(got.at(ANGLES)).all()
    assert allowance(code, 0.0, "worn") == allowance(code, 180.0, "worn") == 10.0  # 50 x 0.2


@pytest.mark.parametrize(
    ("code", "limited"), [("IP67", True), ("IP68", True), ("IP66/IP67", False), ("IP65", False)]
)
def test_strict_immersion_credits_immersion_alone_as_four(code, limited):
    strict = replace(POLICY, strict_immersion=True)
    got = credit(read_code(code), "new", strict)
    assert got.limited == limited
    if limited:
        np.testing.assert_array_equal(got.at(ANGLES), 50.0)


@pytest.mark.parametrize("code", ["IP20", "IPX3", "IP65", "IP67"])
@pytest.mark.parametrize("condition", ["new", "hire", "worn"])
def test_the_makers_own_statement_beats_everything(code, condition):
    got = credit(read_code(code), condition, POLICY, stated_mm=7.0, salt=True)
    assert got.limited
    np.testing.assert_array_equal(got.at(ANGLES), 7.0)


def test_a_film_may_dry_only_where_nothing_is_tested_and_the_show_says_so():
    drying = replace(POLICY, run_off_dries=True)
    assert credit(read_code("IP20"), "hire", drying).film_may_dry
    assert not credit(read_code("IP20"), "hire", POLICY).film_may_dry
    assert not credit(read_code("IP21"), "hire", drying).film_may_dry
    assert not credit(read_code("IP20"), "hire", drying, stated_mm=3.0).film_may_dry


# ---------------------------------------------------------------------------------- the table


@pytest.mark.parametrize("code", ["IPX0", "IPX1", "IPX2", "IPX3", "IPX4"])
@pytest.mark.parametrize("condition", ["new", "hire", "worn"])
def test_the_table_says_what_the_formula_says(code, condition):
    """A row stands for a cosine step of 2e-5, next row up. At 5 degrees, where credit first
    begins to fall, that is 2e-5 / sin 5 = 0.013 degrees: 0.013/30 of ln 100 = 0.2 % at most.
    """
    got = credit(read_code(code), condition, POLICY)
    angles = np.random.default_rng(7).uniform(0.0, 180.0, 5000)
    by_table = got.inverse_table().take(table_index(np.cos(np.radians(angles))))
    np.testing.assert_allclose(by_table, 1.0 / got.at(angles), rtol=2.0e-3)


def test_the_table_reaches_from_straight_down_to_straight_up():
    table = credit(read_code("IPX3"), "new", POLICY).inverse_table()
    assert table_index(np.array([1.0, 0.5, -1.0])).tolist() == [100_000, 75_000, 0]
    assert len(table) == 100_001
    assert table[100_000] == table[75_000] == 1 / 50
    assert table[0] == 2.0
