"""Runs against measurement: pairs, leads and figures worked by hand, and as the library has them."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scores.categorical import ThresholdEventOperator
from scores.probability import brier_score_for_ensemble, crps_for_ensemble
from weather_for_scores import at, run, steps

from monitor.scores import LEADS, Contingency, score

nan = np.nan
OPEN = {"terrain": "II", "risk": 0.25}


def rows(scores, source="feed"):
    (feed,) = [f for f in scores.feeds if f.source == source]
    return {row.lead.says: row for row in feed.rows}


def counts(row):
    return (
        row.table.hits,
        row.table.misses,
        row.table.false_alarms,
        row.table.correct_negatives,
    )


def test_hours_are_sorted_by_their_lead():
    # Issued at midnight: hours 0 to 2 have 0 to 3 h of lead, 3 to 5 the next, 6 to 11 the next.
    truth = steps([1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1])
    said = run([1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1], issued_h=0)
    found = rows(score([said], truth, **OPEN))
    assert list(found) == ["0 to 3 h before", "3 to 6 h before", "6 to 12 h before"]
    assert counts(found["0 to 3 h before"]) == (1, 1, 1, 0)
    assert counts(found["3 to 6 h before"]) == (1, 0, 0, 2)
    assert counts(found["6 to 12 h before"]) == (1, 0, 0, 5)


def test_every_lead_has_its_class():
    truth = steps([0.0] * 100)
    found = rows(score([run([0.0] * 100, issued_h=0)], truth, **OPEN))
    assert [row.table.hours for row in found.values()] == [3, 3, 6, 12, 24, 24, 28]
    assert list(found) == [lead.says for lead in LEADS]
    assert list(found)[-1] == "over 72 h before"


def test_the_threshold_is_a_tip_of_the_gauge():
    truth = steps([0.19, 0.2, 0.1 + 0.1, 0.0])
    found = rows(score([run([0.2, 0.19, 0.3, 0.0], issued_h=-4)], truth, **OPEN))
    # Hour 0 (0.19, said 0.2) and hour 1 (0.2, said 0.19) are 4 and 5 h after the issue; hours 2
    # (0.2 but for the last bit, said 0.3) and 3 are 6 and 7 h after it.
    assert counts(found["3 to 6 h before"]) == (0, 1, 1, 0)
    assert counts(found["6 to 12 h before"]) == (1, 0, 0, 1)
    assert score([], truth, **OPEN).wet_hours == 2


def test_an_hour_that_had_begun_when_the_run_came_is_not_judged():
    # Issued at 0, here at 1:30: hours 0 and 1 had begun. Lead still counts from the issue.
    truth = steps([1.0] * 4)
    found = rows(score([run([1.0] * 4, issued_h=0, fetched_h=1.5)], truth, **OPEN))
    assert {k: row.table.hours for k, row in found.items()} == {
        "0 to 3 h before": 1,
        "3 to 6 h before": 1,
    }


def test_a_run_that_does_not_say_counts_from_its_fetch():
    truth = steps([1.0] * 8)
    found = rows(score([run([1.0] * 8, issued_h=None, fetched_h=0)], truth, **OPEN))
    assert found["0 to 3 h before"].table.hours == 3


def test_the_run_issued_last_speaks_for_a_lead():
    # Both are 6 to 12 h before hour 12; the later one says dry, whichever comes first.
    truth = steps([1.0], from_h=12)
    older, newer = run([1.0], issued_h=2, from_h=12), run([0.0], issued_h=5, from_h=12)
    for order in ([older, newer], [newer, older]):
        found = rows(score(order, truth, **OPEN))
        assert counts(found["6 to 12 h before"]) == (0, 1, 0, 0)
    # One without rain data does not speak: the older one does.
    unknown = run([nan], issued_h=5, from_h=12)
    found = rows(score([older, unknown], truth, **OPEN))
    assert counts(found["6 to 12 h before"]) == (1, 0, 0, 0)


def test_what_was_not_measured_is_not_judged():
    truth = steps([1.0, nan, 1.0]).take(np.array([0, 1]))
    found = score([run([1.0, 0.0, 1.0], issued_h=0)], truth, **OPEN)
    assert rows(found)["0 to 3 h before"].table == Contingency(1, 0, 0, 0)
    assert (found.measured_hours, found.wet_hours) == (1, 1)


def test_nothing_measured_gives_no_scores():
    for truth in (None, steps([nan] * 3), steps([1.0] * 3, forecast=True)):
        found = score([run([1.0] * 3, issued_h=0)], truth, **OPEN)
        assert (found.measured_hours, found.feeds) == (0, ())


def test_a_record_is_no_forecast():
    truth = steps([1.0] * 3)
    assert score([truth], truth, **OPEN).feeds == ()


def test_rain_counts_as_forecast_at_the_shows_risk():
    # 1 of 4 members is 0.25: at a risk of 0.25 that is a yes, at 0.3 a no.
    said = run([[1.0], [0.0], [0.0], [0.0]], issued_h=-1)
    truth = steps([1.0])
    for risk, hits in ((0.25, 1), (0.3, 0)):
        found = rows(score([said], truth, terrain="II", risk=risk))
        assert found["0 to 3 h before"].table.hits == hits


def test_members_that_say_nothing_have_no_vote():
    # One of the three that are known: a third.
    said = run([[1.0], [0.0], [0.0], [nan]], issued_h=-1)
    found = rows(score([said], steps([1.0]), terrain="II", risk=0.33))
    assert found["0 to 3 h before"].table.hits == 1


def test_too_few_are_not_given():
    # 9 wet hours of 26: no hit rate; 10 of 26: one. Means from 24 hours on.
    for wet, said in ((9, None), (10, 1.0)):
        truth = steps([1.0] * wet + [0.0] * (26 - wet))
        runs = [run(truth.rain_mm, issued_h=-24)]
        row = rows(score(runs, truth, **OPEN))["24 to 48 h before"]
        # Hours 0 to 23 are 24 to 47 h after the issue, 24 and 25 are 48 and more.
        assert row.table.hours == 24
        assert row.hit_rate == said
        assert row.false_alarm_rate == 0.0
        assert row.brier == 0.0
        assert row.crps_fair_mm is None
    row = rows(score(runs, truth, **OPEN))["48 to 72 h before"]
    assert (row.table.hours, row.brier, row.crps_mm) == (2, None, None)


def test_wind_is_forecast_less_measured():
    # Measured 4 at 10 m on site; said 6 over open country, field terrain: C_R = 0.19 ln 200 =
    # 1.006677, so 6.040 and the bias 2.040. Gusts as given: 11 against 12.
    truth = steps([0.0] * 30, wind=4.0, gust=12.0, wind_basis="local")
    said = run([0.0] * 30, issued_h=-48, wind=6.0, gust=11.0)
    row = rows(score([said], truth, **OPEN))["48 to 72 h before"]
    assert row.wind_hours == 24
    assert row.wind_bias_mps == pytest.approx(6 * 0.19 * np.log(200) - 4)
    assert row.gust_bias_mps == pytest.approx(-1.0)


def test_wind_is_judged_where_rain_is_not_known():
    truth = steps([nan] * 29 + [0.0], wind=4.0, wind_basis="local")
    said = run([0.0] * 30, issued_h=-48, wind=4.0, wind_basis="local")
    row = rows(score([said], truth, **OPEN))["48 to 72 h before"]
    assert (row.table.hours, row.wind_hours, row.wind_bias_mps) == (0, 24, 0.0)


def test_the_period_is_kept_to():
    truth = steps([1.0] * 10)
    found = score(
        [run([1.0] * 10, issued_h=0)],
        truth,
        **OPEN,
        start_s=at(2).timestamp(),
        end_s=at(5).timestamp(),
    )
    assert found.measured_hours == 3


def test_coarse_steps_are_left_out_and_said():
    truth = steps([1.0] * 12)
    (feed,) = score([run([6.0, 6.0], issued_h=0, minutes=360)], truth, **OPEN).feeds
    assert feed.coarse_steps
    assert feed.rows == ()


@pytest.mark.parametrize("seed", range(4))
def test_as_the_library_has_it(seed):
    # One run of many members over 200 h, gaps on both sides; the library scores the same pairs.
    rng = np.random.default_rng(seed)
    count, hours = int(rng.integers(10, 40)), 200
    fell = np.where(rng.random(hours) < 0.6, 0.0, rng.gamma(0.7, 1.5, hours))
    members = np.where(
        rng.random((count, hours)) < 0.4, 0.0, fell + rng.gamma(0.5, 1.0, (count, 1))
    )
    fell[rng.random(hours) < 0.1] = nan
    members[rng.random((count, hours)) < 0.05] = nan
    found = rows(score([run(members, issued_h=-80)], steps(fell), **OPEN))
    (row,) = found.values()
    fcst, obs = xr.DataArray(members, dims=("m", "h")), xr.DataArray(fell, dims="h")
    chance = (fcst >= 0.2).where(np.isfinite(fcst)).mean("m").where(np.isfinite(obs))
    table = (
        ThresholdEventOperator(default_event_threshold=0.5)
        .make_contingency_manager(
            (chance >= 0.25).astype(float).where(np.isfinite(obs)),
            (obs >= 0.2).astype(float).where(np.isfinite(obs)),
        )
        .transform()
    )
    assert row.table.hours == int(np.isfinite(fell).sum())
    assert row.hit_rate == pytest.approx(float(table.probability_of_detection()))
    assert row.false_alarm_ratio == pytest.approx(float(table.false_alarm_ratio()))
    assert row.false_alarm_rate == pytest.approx(float(table.probability_of_false_detection()))
    assert row.frequency_bias == pytest.approx(float(table.frequency_bias()))
    assert row.brier == pytest.approx(
        float(brier_score_for_ensemble(fcst, obs, "m", 0.2, fair_correction=False).squeeze())
    )
    assert row.crps_mm == pytest.approx(float(crps_for_ensemble(fcst, obs, "m")))
    assert row.crps_fair_mm == pytest.approx(
        float(crps_for_ensemble(fcst, obs, "m", method="fair"))
    )
