"""When work pays: cost and loss of a job, and the share of members at which it is due.

Straight-down rain of 1 mm/h spends the half millimetre of an IP20 in half an hour. Ten fixtures
at 1 min and 2 min to set up are 12 min for one person; at a cost of 1 a minute, 12.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from exposure.rigs import fixture, hours, one_fixture, position, show
from planning.planned import bag, only, planned, since_noon_h

from monitor.domain import Crew
from monitor.planning.worth import LEAST_SHARE, threshold, worth

MEMBERS = 10


def priced(described, minute_cost=1.0):
    return replace(described, crew=Crew(minute_cost=minute_cost))


def ensemble(*first_wet_h):
    """Ten members; each has 1 mm in the two hours from its own moment, or none (None)."""
    rain = np.zeros((MEMBERS, 24))
    for member, at in enumerate(first_wet_h):
        if at is not None:
            rain[member, at : at + 2] = 1.0
    return hours(rain, 0.0)


def rig(value, count=10):
    return one_fixture("IP20", count=count, value=value, cover="bag", covers=[bag(in_stock=100)])


# ------------------------------------------------------------------------------ the share


def test_without_a_price_the_risk_decides():
    described = rig(1.0)
    assert threshold(described, 12.0, 1, 10.0) == described.policy.risk == 0.25
    assert worth(described, 12.0, 1, 10.0, 0.5) is None


@pytest.mark.parametrize(
    ("minutes", "people", "at_stake", "share"),
    [
        (12.0, 1, 24.0, 0.5),  # C / L of the cost-loss decision
        (12.0, 2, 240.0, 0.1),
        (12.0, 1, 12.0, math.inf),  # as dear as what it saves: no chance pays
        (12.0, 1, 0.0, math.inf),
        (12.0, 1, 1e6, LEAST_SHARE),
    ],
)
def test_with_a_price_it_is_cost_over_loss(minutes, people, at_stake, share):
    assert threshold(priced(rig(1.0)), minutes, people, at_stake) == pytest.approx(share)


def test_expected_loss_is_least_with_that_share():
    """Against every choice: over random chances, acting from C / L on costs least."""
    rng = np.random.default_rng(3)
    described = priced(rig(1.0))
    for _ in range(50):
        minutes = rng.uniform(1, 40)
        at_stake = minutes * rng.uniform(1.2, 40)
        chances = rng.uniform(0, 1, 400)
        share = threshold(described, minutes, 1, at_stake)
        costs = {
            t: np.where(chances >= t, minutes, chances * at_stake).mean()
            for t in (share, *np.linspace(0, 1, 41))
        }
        assert costs[share] <= min(costs.values()) + 1e-9


# ------------------------------------------------------------------------------- the job


def test_the_do_by_is_set_where_the_share_that_pays_is_reached():
    # value 3 each: 30 at stake, 12 / 30 = 0.4: the fourth of ten members spends it. One more
    # member each hour from 14:00: the fourth is wet from 17:00, spent at 17:30
    weather = ensemble(*range(2, 12))
    job = only(planned(priced(rig(3.0)), weather))
    assert since_noon_h(job.do_by_s) == pytest.approx(5.5)
    assert since_noon_h(job.start_by_s) == pytest.approx(5.5 - 12 / 60)
    assert (job.facts.worth.cost, job.facts.worth.at_stake) == (12.0, 30.0)
    # without a price: risk 0.25, the third member, 16:30
    assert since_noon_h(only(planned(rig(3.0), weather)).do_by_s) == pytest.approx(4.5)


def test_dear_gear_is_worth_a_small_chance():
    # one member of ten; 12 / 300 = 0.04
    weather = ensemble(2)
    job = only(planned(priced(rig(30.0)), weather))
    assert since_noon_h(job.do_by_s) == pytest.approx(2.5)
    assert job.start_by_s is not None
    assert job.facts.worth.chance == pytest.approx(0.1)
    assert planned(rig(30.0), weather).jobs == ()


def test_what_does_not_pay_is_told_and_takes_no_hands():
    # 12 against 10 at stake, and every member spends it
    job = only(planned(priced(rig(1.0)), ensemble(*[2] * 10)))
    assert (job.start_by_s, job.late, job.ends_s) == (None, False, None)
    assert since_noon_h(job.do_by_s) == pytest.approx(2.5)
    assert (job.facts.worth.cost, job.facts.worth.at_stake) == (12.0, 10.0)
    assert "cost more than that saves" in job.reason


def test_what_pays_at_a_greater_chance_than_there_is_is_told_from_the_risk_on():
    # 12 / 15 = 0.8; three of ten spend it: not worth it, but over the risk of 0.25
    job = only(planned(priced(rig(1.5)), ensemble(2, 2, 2)))
    assert job.start_by_s is None
    assert job.facts.worth.chance == pytest.approx(0.3)
    # two of ten: under the risk as well
    assert planned(priced(rig(1.5)), ensemble(2, 2)).jobs == ()


def test_cheap_gear_rides_along_only_where_it_pays_as_well():
    # IP20 with 9 members, IP44 (25 mm on hire) with none: the one that stays dry is no stake
    pair = show(
        [
            fixture("IP20", "f1", cover="bag", value=30.0),
            fixture("IP44", "f2", cover="bag", value=1000.0),
        ],
        positions=[position("pole")],
        covers=[bag()],
    )
    job = only(planned(priced(pair), ensemble(*[2] * 9)))
    assert job.fixtures == ("f1",)
    # one fixture: 3 min
    assert (job.facts.worth.cost, job.facts.worth.at_stake) == (3.0, 30.0)


def test_a_later_spell_that_pays_is_not_hidden_by_one_that_does_not():
    # the cheap one is spent at 14:30 by all, the dear one (IP44, 25 mm) at 23:00 to 24:00 by 30
    # mm in an hour: 3 min against 1 does not pay, 3 against 100 does
    pair = show(
        [
            fixture("IP20", "cheap", cover="bag", value=1.0),
            fixture("IP44", "dear", cover="bag", value=100.0),
        ],
        positions=[position("pole")],
        covers=[bag()],
    )
    rain = np.zeros((MEMBERS, 24))
    rain[:, 2] = 1.0
    rain[:, 11] = 30.0
    jobs = planned(priced(pair), hours(rain, 0.0)).jobs
    assert any(job.start_by_s is not None and "dear" in job.fixtures for job in jobs)
