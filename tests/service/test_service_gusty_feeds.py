"""A gusty feed that turns empty beside a calm one: what it closed stays closed."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from feeds.test_gusts_held import NONE, NOON, run
from service_site import write_show

from monitor.domain import Feed
from monitor.service.feeds_seen import RunsKept
from monitor.show import read_show
from monitor.store.runs import StoredRun


@pytest.fixture
def show(tmp_path):
    show = read_show(write_show(tmp_path / "show", load_in=NOON), {}).show
    return replace(show, feeds=(Feed("breezy"), Feed("calm")))


def kept_of(*runs):
    kept = RunsKept()
    for n, weather in enumerate(runs):
        kept.add(StoredRun(n + 1, weather.fetched_at, weather.fetched_at, 1, weather))
    return kept


def most(kept, show):
    ahead = kept.ahead(show, NOON + timedelta(minutes=90))
    return [None if np.isnan(g) else float(g) for g in np.nanmax(ahead.gust_mps, axis=0)]


def test_what_it_said_still_counts_beside_the_calm_one(show):
    calm = run(4, 4, 4, source="calm")
    assert most(kept_of(run(20, 21, 22), calm), show) == [21, 22]
    assert most(kept_of(run(20, 21, 22), calm, run(NONE, NONE, NONE, came=1)), show) == [21, 22]


def test_its_own_later_word_takes_it_back(show):
    calm = run(4, 4, 4, source="calm")
    runs = [run(20, 21, 22), calm, run(NONE, NONE, NONE, came=1), run(5, 6, 7, came=1.2)]
    assert most(kept_of(*runs), show) == [6, 7]
