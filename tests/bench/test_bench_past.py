"""What a past costs in which an ensemble stands in: ratios taken in one run, as the others here.

51 members, a run an hour for a day, 200 fixtures in as many exposures, and the newest run of
168 hours ahead beside it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bench.test_bench import assessed, ensemble, quickest, rig_of
from exposure.rigs import NOON, after, hours

from monitor.feeds.past import as_it_was, without_hindsight, without_overtaken

pytestmark = pytest.mark.bench
DAY = 24


@pytest.fixture(scope="module")
def runs():
    kept = []
    for hour in range(DAY):
        made = ensemble()
        later = 3600.0 * hour
        new = replace(
            made,
            starts=made.starts + later,
            ends=made.ends + later,
            source="ensemble",
            fetched_at=after(hour),
        )
        kept = [without_overtaken(old, new) for old in kept] + [without_hindsight(new)]
    return kept


def the_past(runs):
    return as_it_was(runs, NOON.timestamp(), after(DAY).timestamp())


def test_a_day_of_an_ensemble_costs_less_than_the_week_ahead(runs):
    rig = rig_of(200)
    past, ahead = quickest(lambda: assessed(rig, the_past(runs)), lambda: assessed(rig, runs[-1]))
    print(f"\na day of the past {past:.3f} s, a week ahead {ahead:.3f} s")
    # 24 of 168 hours are a seventh; what does not grow with the hours comes to it
    assert past <= 0.75 * ahead


def test_a_gauge_every_five_minutes_is_not_computed_for_every_member(runs):
    rig = rig_of(200)
    rain = np.where(np.random.default_rng(5).random(DAY * 12) < 0.1, 0.2, 0.0)
    gauge = replace(hours(rain, 3.0, each_h=1 / 12), source="gauge", wind_basis="open")
    runs = [replace(run, wind_basis="open") for run in runs]
    measured, modelled = quickest(
        lambda: assessed(rig, the_past([*runs, gauge])), lambda: assessed(rig, the_past(runs))
    )
    print(f"\na day of a gauge {measured:.3f} s, of the ensemble {modelled:.3f} s")
    assert the_past([*runs, gauge]).shares.shape == (51, DAY * 12)
    assert measured <= 2.0 * modelled
