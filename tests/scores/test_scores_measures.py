"""The scores against published tables, hand-worked cases and the `scores` library."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from scores.categorical import BasicContingencyManager
from scores.probability import brier_score, crps_for_ensemble

from monitor.scores import Contingency, brier, crps_ecdf, crps_fair

FINLEY = Contingency(hits=28, misses=23, false_alarms=72, correct_negatives=2680)
"""Finley's tornado forecasts of 1884, as printed at cawcr.gov.au/projects/verification/Finley
(read as an excerpt in November 2026): 28, 72, 23, 2680.
"""


def test_finley_table():
    # Printed there: 100 forecast, 51 came, 2803 in all; "72 % of the forecasts were false
    # alarms"; "slightly more than half" detected; "roughly twice as often as they occurred".
    assert (FINLEY.forecast, FINLEY.wet, FINLEY.dry, FINLEY.hours) == (100, 51, 2752, 2803)
    assert FINLEY.false_alarm_ratio == pytest.approx(0.72)
    # To three digits as Wilks prints them (from memory): H 0.549, FAR 0.720, F 0.0262, B 1.96.
    assert FINLEY.hit_rate == pytest.approx(0.549, abs=5e-4)
    assert FINLEY.false_alarm_rate == pytest.approx(0.0262, abs=5e-5)
    assert FINLEY.frequency_bias == pytest.approx(1.96, abs=5e-3)
    # "52 % able to separate": hit rate less false alarm rate.
    assert FINLEY.hit_rate - FINLEY.false_alarm_rate == pytest.approx(0.52, abs=5e-3)


def test_a_share_of_nothing_is_not_zero():
    nothing = Contingency(0, 0, 0, 0)
    shares = (
        nothing.hit_rate,
        nothing.false_alarm_ratio,
        nothing.false_alarm_rate,
        nothing.frequency_bias,
    )
    assert shares == (None, None, None, None)
    assert Contingency(0, 3, 0, 5).hit_rate == 0.0


@settings(deadline=None, max_examples=40)
@given(*[st.integers(1, 300)] * 4)
def test_table_as_the_library_has_it(hits, misses, false_alarms, correct_negatives):
    ours = Contingency(hits, misses, false_alarms, correct_negatives)
    counts = {
        "tp_count": hits,
        "fn_count": misses,
        "fp_count": false_alarms,
        "tn_count": correct_negatives,
        "total_count": ours.hours,
    }
    theirs = BasicContingencyManager({k: xr.DataArray(float(v)) for k, v in counts.items()})
    assert ours.hit_rate == pytest.approx(float(theirs.probability_of_detection()))
    assert ours.false_alarm_ratio == pytest.approx(float(theirs.false_alarm_ratio()))
    assert ours.false_alarm_rate == pytest.approx(float(theirs.probability_of_false_detection()))
    assert ours.frequency_bias == pytest.approx(float(theirs.frequency_bias()))


def test_crps_by_hand():
    # Members 0 and 2, measured 1: mean error (1 + 1) / 2 = 1. Pairs |0 - 2| counted both ways
    # are 4: over 2 x 2^2 is 0.5, over 2 x 2 x 1 is 1. So 0.5, and 0 when fair.
    # As an integral: the distribution is 1/2 from 0 to 2; (1/2)^2 x 1 + (1/2)^2 x 1 = 0.5.
    members = np.array([[0.0], [2.0]])
    assert crps_ecdf(members, np.array([1.0])).tolist() == [0.5]
    assert crps_fair(members, np.array([1.0])).tolist() == [0.0]
    # Members 0, 0, 3, measured 0: error 1; pairs: 2 x (3 + 3) = 12, over 2 x 9 is 2/3, over
    # 2 x 3 x 2 is 1. So 1/3 (as an integral: (1/3)^2 x 3), and 0 when fair.
    members = np.array([[0.0], [3.0], [0.0]])
    assert crps_ecdf(members, np.array([0.0])) == pytest.approx([1 / 3])
    assert crps_fair(members, np.array([0.0])) == pytest.approx([0.0])


def test_crps_of_one_member_is_its_error():
    members = np.array([[0.4, 3.0]])
    assert crps_ecdf(members, np.array([1.0, 2.5])) == pytest.approx([0.6, 0.5])
    assert np.isnan(crps_fair(members, np.array([1.0, 2.5]))).all()


def test_crps_of_what_is_not_known():
    nan = np.nan
    members = np.array([[1.0, nan, 1.0], [nan, nan, 3.0]])
    assert crps_ecdf(members, np.array([2.0, 1.0, nan])) == pytest.approx(
        [1.0, nan, nan], nan_ok=True
    )


@pytest.mark.parametrize("seed", range(8))
def test_crps_as_the_library_has_it(seed):
    rng = np.random.default_rng(seed)
    count, hours = int(rng.integers(2, 52)), 60
    members = np.where(rng.random((count, hours)) < 0.5, 0.0, rng.gamma(0.6, 2.0, (count, hours)))
    members[rng.random((count, hours)) < 0.1] = np.nan
    measured = np.where(rng.random(hours) < 0.5, 0.0, rng.gamma(0.6, 2.0, hours))
    measured[:3] = np.nan
    fcst, obs = xr.DataArray(members, dims=("m", "h")), xr.DataArray(measured, dims="h")
    for ours, method in ((crps_ecdf, "ecdf"), (crps_fair, "fair")):
        theirs = crps_for_ensemble(fcst, obs, "m", method=method, preserve_dims="h").values
        assert ours(members, measured) == pytest.approx(theirs, nan_ok=True)


def test_brier():
    # Chance 0.7, it came: 0.3^2; chance 0.7, it did not: 0.7^2.
    assert brier(np.array([0.7, 0.7]), np.array([1.0, 0.0])) == pytest.approx([0.09, 0.49])
    rng = np.random.default_rng(5)
    chance, came = rng.random(200), (rng.random(200) < 0.3).astype(float)
    theirs = float(brier_score(xr.DataArray(chance, dims="h"), xr.DataArray(came, dims="h")))
    assert brier(chance, came).mean() == pytest.approx(theirs)
