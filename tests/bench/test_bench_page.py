"""What the page costs beside /health, and a crew on its phones while forecasts come in.

/health is asked in the same run, in turn with the pages: whatever slows the machine slows both.
It opens the database, reads four things and answers; a page reads some twenty and draws. What
the service does meanwhile hits either at random, so the medians are held against each other.
"""

from __future__ import annotations

import time

import pytest
from crowd import LOOK_S, PAGES, SHEETS, crowd, in_words, rig_of, shares, stand_once

pytestmark = [pytest.mark.bench, pytest.mark.slow]

ROUNDS = 9
PAGE_TIMES, SHEET_TIMES = 40.0, 150.0
"""In /health. One took 1.4 ms where this was written, a page 12 to 17 ms, a sheet 41 to 56 ms."""


def asked(site):
    """Medians of every page and of /health [s], asked in turn."""
    phone = site.phone("bench", "guest")
    took = {path: [] for path in ("/health", *PAGES, *SHEETS)}
    for _ in range(ROUNDS):
        for path, times in took.items():
            begin = time.perf_counter()
            answer = phone.get(path)
            times.append(time.perf_counter() - begin)
            assert answer.status_code == 200, path
    return {path: shares(times)[0] for path, times in took.items()}


def told(medians):
    health = medians["/health"]
    return "\n".join(
        f"{path:16} {seconds * 1e3:6.1f} ms, {seconds / health:5.1f} of /health"
        for path, seconds in medians.items()
    )


def within(medians, pages, sheets):
    for path, seconds in medians.items():
        most = sheets if path in SHEETS else pages
        assert seconds < most * medians["/health"], told(medians)


@pytest.fixture(scope="module")
def rig_200(tmp_path_factory):
    with rig_of(tmp_path_factory.mktemp("rig200") / "show", 10, 20) as site:
        yield site


@pytest.fixture(scope="module")
def medians_200(rig_200):
    return asked(rig_200)


def test_200_fixtures(medians_200):
    print(told(medians_200))
    within(medians_200, PAGE_TIMES, SHEET_TIMES)


def test_2000_fixtures_no_two_alike(tmp_path, medians_200):
    with rig_of(tmp_path / "show", 40, 50) as site:
        medians = asked(site)
    print(told(medians))
    within(medians, 2.0 * PAGE_TIMES, 2.0 * SHEET_TIMES)
    # ten times the fixtures in four times the places
    assert medians["/"] < 10.0 * medians_200["/"], told(medians)


def test_a_crew_on_its_phones(rig_200):
    met = crowd(rig_200, 12.0, refresh_s=4.0, between_s=3.0)
    print(in_words(met))
    assert met.errors == []
    assert stand_once(rig_200, met)
    # Every word is worked out at the next look, or the one after it where it came during one.
    assert max(met.late) < LOOK_S, in_words(met)
    everything = [took for times in met.took.values() for took in times]
    assert len(everything) > 100
