"""Years worked by hand: calm rain falls straight down, so wetting is the rain itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from exposure.rigs import entry, fixture, hours, position
from hypothesis import HealthCheck, given, settings
from past_samples import event_show, years_of
from rehearsed import BAG, logs, records, small_show

from monitor.codes import read_code
from monitor.exposure.assess import assess
from monitor.exposure.rig import compile_rig
from monitor.past_years import YearWeather, as_json, go_through, lines
from monitor.past_years.through import at_stake
from monitor.rehearsal import rehearse

DRY = [0.0] * 24
WET = [0.0] * 14 + [1.0, 1.0] + [0.0] * 8
"""1 mm/h from 02:00 to 04:00: IP20 (0.5 mm) is spent at 02:30, 14.5 h after load-in."""
nan = float("nan")


def through(described, years, log=(), codes=()):
    return go_through(described, log, years, codes=[read_code(c) for c in codes])


def test_need_use_and_the_soonest_hour():
    # IP20 takes 0.5 mm: used 2 / 0.5 = 4 in the wet year; 0.4 mm is 0.8, within its allowance.
    described = event_show([fixture("IP20", "a"), fixture("IP65", "b")])
    found = through(described, years_of(described, WET, DRY, [0.4, *DRY[1:]]))
    assert found.counted == (2026, 2025, 2024)
    a, b = found.fixtures
    assert a.needed == (2026,)
    assert a.worst == (2026, pytest.approx(4.0))
    assert {y: round(s.used, 6) for y, s in a.by_year.items()} == {2026: 4.0, 2025: 0.0, 2024: 0.8}
    year, moment, after_h = a.soonest(found.starts)
    assert (year, f"{moment:%d %H:%M}", after_h) == (2026, "02 02:30", pytest.approx(14.5))
    assert (b.needed, b.soonest(found.starts)) == ((), None)
    data = as_json(found)
    assert data["schema"] == "dryspell.years/1"
    assert data["fixtures"][0]["earliest_time_of_day"] == "02:30"
    assert data["fixtures"][0]["needed_years"] == [2026]
    assert [y["wet_hours"] for y in data["years"]] == [2.0, 0.0, 1.0]


def test_every_year_starts_from_nothing():
    # 0.4 mm each year: 0.8 each, never 1.6.
    described = event_show([fixture("IP20")])
    found = through(described, years_of(described, *[[0.4, *DRY[1:]]] * 3))
    assert [s.used for s in found.fixtures[0].by_year.values()] == pytest.approx([0.8] * 3)
    assert found.fixtures[0].needed == ()


def test_crew_minutes_are_minutes_times_people():
    # Cover at the start, 2 to set up and 1 for each of 3, by two people: 5 x 2 = 10. In the dry
    # year nothing; the middle of 10, 10 and 0 is 10.
    two = position(people_needed=2)
    described = event_show([fixture("IP20", cover="bag", count=3)], positions=[two], covers=[BAG])
    found = through(described, years_of(described, WET, DRY, WET))
    (row,) = found.positions
    assert {y: (w.crew_minutes, w.jobs, w.late) for y, w in row.by_year.items()} == {
        2026: (10.0, 1, 0),
        2025: (0.0, 0, 0),
        2024: (10.0, 1, 0),
    }
    assert (row.median_minutes, row.worst, row.late) == (10.0, (2026, 10.0), 0)


def test_rain_that_comes_at_once_makes_the_job_late():
    # 30 mm/h from load-in: 0.5 mm after one minute, and the job takes three.
    described = event_show([fixture("IP20", cover="bag")], covers=[BAG])
    found = through(described, years_of(described, [30.0, *DRY[1:]], DRY))
    (row,) = found.positions
    assert (row.late, row.late_years) == (1, (2026,))
    assert "1 in 1 year" in "\n".join(lines(found))


def test_a_year_with_more_than_a_tenth_not_known_is_not_counted():
    # Of 20 h two are a tenth, and counted; three are not. A missing step is as unknown as one
    # without data, and neither is dry.
    described = event_show([fixture("IP20")], lasts_h=20)
    two = [nan, nan, *[0.0] * 18]
    three = [nan, *[0.0] * 19]
    years = years_of(described, two, three, two)
    gap = years[1].weather.take(np.r_[0:5, 7:20])
    years[1] = YearWeather(years[1].span, gap)
    years.append(YearWeather(replace(years[2].span, year=2023), None, "no answer"))
    found = through(described, years)
    assert [(y.counted, y.unknown_hours) for y in found.years] == [
        (True, pytest.approx(2.0)),
        (False, pytest.approx(3.0)),
        (True, pytest.approx(2.0)),
        (False, pytest.approx(20.0)),
    ]
    assert found.counted == (2026, 2024)
    said = " ".join(" ".join(lines(found)).split())
    assert "not counted: 3.0 h not known, 15 % of the event" in said
    assert "no answer" in said
    assert "in 2 of 4 past years" in said


def test_rain_without_wind_is_not_known():
    # Where it rains and the wind is not known, so is what a fixture took: 3 of 20 h.
    described = event_show([fixture("IP20")], lasts_h=20)
    rain = [0.0] * 5 + [1.0] * 3 + [0.0] * 12
    found = through(described, years_of(described, rain, wind=nan))
    assert found.years[0].unknown_hours == pytest.approx(3.0)
    assert "No year could be counted." in lines(found)


def test_another_code_at_the_same_place():
    # 26 mm. IP20: 0.5 mm. IP44 for hire in straight rain: 25 mm (0.5 x 10 x 5 / 1). IP65: none.
    described = event_show(
        [fixture("IP65", mount="upright"), fixture("IP20", "b", position="q")],
        positions=[position(), position("q")],
    )
    years = years_of(described, [13.0, 13.0, *DRY[2:]], [10.0, *DRY[1:]], DRY)
    found = through(described, years, codes=("IP20", "IP44", "IP65"))
    here = {row.code.canonical: row.needed for row in found.instead if row.position.id == "pole"}
    assert here == {"IP20": (2026, 2025), "IP44": (2026,), "IP65": ()}
    worst = {r.code.canonical: r.worst_used for r in found.instead if r.position.id == "pole"}
    assert worst == {"IP20": pytest.approx(52.0), "IP44": pytest.approx(1.04), "IP65": 0.0}
    said = "\n".join(lines(found))
    assert "pole   2 of 3  1 of 3  0 of 3" in said


def test_another_code_counts_for_plugs_too_and_sets_aside_what_was_stated():
    # An open tail without a code spends IP65 as it is; with IP65 throughout nothing does. A
    # stated 100 mm is of this product, not of one with IP20.
    tail = fixture("IP65", "tail", connector_code="IP65", connector_state="open")
    stated = fixture("IP20", "stated", position="q", stated_mm=100.0)
    described = event_show([tail, stated], positions=[position(), position("q")])
    found = through(described, years_of(described, WET), codes=("IP20", "IP65"))
    assert [row.needed for row in found.fixtures] == [(2026,), ()]
    assert found.fixtures[0].weakest_part == "connector"
    assert {(r.position.id, r.code.canonical): r.needed for r in found.instead} == {
        ("pole", "IP20"): (2026,),
        ("pole", "IP65"): (),
        ("q", "IP20"): (2026,),
        ("q", "IP65"): (),
    }


def test_the_log_is_as_it_is_for_other_codes_too():
    # Covered an hour in, by row: nothing gets wet, with any code.
    described = event_show([fixture("IP20", cover="bag")], covers=[BAG])
    log = [entry(1.0, "covered", fixture="f1")]
    found = through(described, years_of(described, WET), log, codes=("IP20",))
    assert found.fixtures[0].needed == ()
    assert found.instead[0].needed == ()


def test_an_hourly_archive_is_charged_as_it_is_and_its_loss_is_said():
    # As a forecast 0.4 mm would be charged 1.3 times: 1.04 of the allowance.
    described = event_show([fixture("IP20")])
    found = through(described, years_of(described, [0.4, *DRY[1:]], forecast=True))
    assert found.fixtures[0].worst == (2026, pytest.approx(0.8))
    assert any("11 to 45 %" in said for said in as_json(found)["cautions"])
    span = years_of(described, DRY)[0].span
    fine = YearWeather(span, hours([0.0] * 288, start=span.start, each_h=1 / 12))
    assert not any("11 to 45 %" in said for said in as_json(through(described, [fine]))["cautions"])


def test_steps_that_reach_over_the_event_count_by_their_part():
    # Six-hour steps from 09:00; load-in is at 12:00, so half of the first: 0.3 of 0.6 mm.
    described = event_show([fixture("IP20")])
    span = years_of(described, DRY)[0].span
    start = span.start.replace(hour=9)
    coarse = hours([0.6, 0.0, 0.0, 0.0, 0.6], start=start, each_h=6.0)
    found = through(described, [YearWeather(span, coarse)])
    # The last runs from 09:00 to 15:00 and load-out is at 12:00: 0.3 again, 0.6 / 0.5 in all.
    assert found.years[0].rain_mm == pytest.approx(0.6)
    assert found.fixtures[0].worst == (2026, pytest.approx(1.2))


def test_rows_that_came_out_alike_are_drawn_together():
    rig = [fixture("IP20", f"L-{i:02d}") for i in range(1, 13)]
    described = event_show(rig)
    said = "\n".join(lines(through(described, years_of(described, WET))))
    assert (
        "L-01 to L-12  IP20, hire       pole   1 of 1  4.00 in 2026  Thu 2 Jul 2026 02:30" in said
    )
    assert "new keeps 1, hire 0.5, worn 0.2" in " ".join(said.split())


def test_nothing_a_radio_must_not_carry():
    described = event_show([fixture("IP20")])
    said = " ".join(lines(through(described, years_of(described, WET), codes=("IP54",)))).lower()
    assert not any(word in said.split() for word in ("go", "stand-by"))
    assert "all clear" not in said


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(records(unknown=True), logs())
def test_the_rows_left_out_would_have_asked_for_nothing(weather, log):
    # What the crew does is the same with the whole rig as with the rows that matter.
    described = small_show()
    out_from = described.event.load_in_at.timestamp()
    absent = assess(compile_rig(described), weather, log, out_from_s=out_from)
    stake = at_stake(described, absent, log)
    whole = rehearse(described, weather, log, crew="follows").worked
    part = rehearse(stake, weather, log, crew="follows").worked if stake.fixtures else ()
    assert part == whole
