"""The fit against seasons with a known truth, against scipy's own fit of censored data, and the
cases in which there is nothing to be learned.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, lognorm

from monitor.learning.allowance import learn
from monitor.learning.seen import Learned, NotEnough, Seen


def season(seed, median, spread, inspections, row=1):
    """Rows of `row` pieces, each with an allowance of its own, inspected after some rain."""
    rng = np.random.default_rng(seed)
    for _ in range(inspections):
        used = rng.lognormal(-0.3, 0.8)
        stands = median * np.exp(spread * rng.standard_normal(row))
        yield Seen(float(used), bool((stands <= used).any()), row)


@pytest.mark.parametrize(
    ("median", "spread", "inspections", "row"),
    [(0.8, 0.5, 60, 1), (0.5, 0.7, 150, 1), (0.9, 0.4, 80, 4)],
)
def test_a_known_allowance_lies_in_the_interval_in_90_of_100_seasons(
    median, spread, inspections, row
):
    found = [learn([*season(seed, median, spread, inspections, row)]) for seed in range(100)]
    held = [one for one in found if isinstance(one, Learned) and one.low <= median <= one.high]
    assert len(held) >= 90


def test_the_best_fit_is_that_of_scipy_for_single_pieces():
    seen = [*season(7, 0.8, 0.5, 200)]
    ours = learn(seen)
    data = CensoredData(
        left=[one.used for one in seen if one.damp],
        right=[one.used for one in seen if not one.damp],
    )
    spread, _, median = lognorm.fit(data, floc=0, scale=0.8)
    assert ours.median == pytest.approx(median, rel=2e-3)
    assert ours.spread == pytest.approx(spread, rel=2e-2)


def test_a_row_of_four_found_damp_says_one_at_least():
    """Four pieces as one row are damp where the least of them is: the estimate must not fall."""
    rows, median = [*season(3, 1.0, 0.5, 300, row=4)], 1.0
    right = learn(rows)
    as_one_piece = learn([Seen(one.used, one.damp) for one in rows])
    assert right.low <= median <= right.high
    # the median of the least of four lies at the quantile 1 - 0.5**(1/4) of one: exp(-0.5*0.999)
    assert as_one_piece.high < 0.75


def test_the_cautious_figure_is_one_that_nearly_all_stand():
    found = learn([*season(11, 0.8, 0.5, 4000)])
    # 5 % of a lognormal of median 0.8 and spread 0.5: 0.8 exp(-1.645 x 0.5) = 0.351
    assert found.cautious == pytest.approx(0.351, rel=0.08)
    assert found.low < found.median < found.high


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        ([], "0 pieces"),
        ([Seen(0.5, damp=False)] * 10 + [Seen(0.6, damp=True)] * 9, "19 pieces"),
        ([Seen(0.5, damp=False)] * 40, "water was found 0 times"),
        ([Seen(0.5, damp=True)] * 40, "0 pieces were found dry"),
        # all dry below, all damp above: any spread small enough fits
        ([Seen(0.2, damp=False)] * 20 + [Seen(0.9, damp=True)] * 20, "no use at which"),
        # nothing used: dry gear that was never wet teaches nothing
        ([Seen(0.0, damp=False)] * 90 + [Seen(0.5, damp=True)] * 9, "9 pieces"),
    ],
)
def test_not_enough(seen, why):
    found = learn(seen)
    assert isinstance(found, NotEnough)
    assert why in found.why


def test_finds_that_have_nothing_to_do_with_use_are_no_estimate():
    rng = np.random.default_rng(5)
    seen = [Seen(float(rng.lognormal(0, 0.3)), bool(rng.random() < 0.3)) for _ in range(40)]
    found = learn(seen)
    assert isinstance(found, NotEnough)
    assert "do not narrow it down" in found.why


@given(st.lists(st.builds(Seen, st.floats(0, 50), st.booleans(), st.integers(1, 20)), max_size=60))
def test_whatever_was_seen_there_is_an_answer_in_order(seen):
    found = learn(seen)
    if isinstance(found, Learned):
        assert 0.0 < found.low <= found.median * (1 + 1e-6)
        assert found.median <= found.high * (1 + 1e-6)
        assert 0.0 < found.cautious <= found.low
