"""Gauges in the service: files followed, readings at hand, troubles told, rain by the crew."""

from __future__ import annotations

import os
from contextlib import closing
from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest
from gauge_samples import MAST, NOON, at, count, counts, table
from service_site import write_show

from monitor.domain import BadInputError, Gauge, Reading
from monitor.feeds.crew_rain import Spell, at_least, crew_rain, crew_weather
from monitor.feeds.gauge import measured
from monitor.feeds.gauge_trouble import gauge_trouble
from monitor.feeds.past import as_it_was
from monitor.service import gauge_words
from monitor.service.gauge_words import rain_until
from monitor.service.gauges import GaugesKept, follow_files
from monitor.show import read_show
from monitor.store.database import immediate, open_database
from monitor.store.readings import add_reading, readings_after


def trouble(*given):
    """What is wrong, in words."""
    found = gauge_trouble(*given)
    return None if found is None else found.says


GAUGES = '\n[[gauges]]\nstation = "mast"\nfile = "mast.csv"\n[[gauges]]\nstation = "roof"\n'


@pytest.fixture
def folder(tmp_path):
    return write_show(tmp_path / "show", contacts=GAUGES, load_in=NOON - timedelta(days=1))


@pytest.fixture
def show(folder):
    return read_show(folder, {}).show


@pytest.fixture
def db(folder):
    with closing(open_database(folder / "dryspell.db")) as opened:
        yield opened


def keep(db, *readings, received=NOON):
    with immediate(db):
        for reading in readings:
            add_reading(db, reading, received)


def tell_gauges(db, *more):
    with immediate(db):
        return gauge_words.tell_gauges(db, *more)


def kept_of(db):
    kept = GaugesKept()
    kept.catch_up(db)
    return kept


# ---------------------------------------------------------------- the show


def test_the_crews_name_is_no_stations(tmp_path):
    folder = write_show(tmp_path / "x", contacts='[[gauges]]\nstation = "crew"\n')
    with pytest.raises(BadInputError) as caught:
        read_show(folder, {})
    assert [(p.code, p.key) for p in caught.value.problems] == [
        ("reserved-name", "gauges[1].station")
    ]


@pytest.mark.parametrize("file", ["fixtures.csv", "dryspell.db", "./Dryspell.db-wal"])
def test_a_gauge_follows_no_file_of_the_show(tmp_path, file):
    folder = write_show(tmp_path / "x", contacts=f'[[gauges]]\nstation = "m"\nfile = "{file}"\n')
    with pytest.raises(BadInputError) as caught:
        read_show(folder, {})
    assert [(p.code, p.key) for p in caught.value.problems] == [
        ("not-a-readings-file", "gauges[1].file")
    ]


# ---------------------------------------------------------------- files


def test_a_file_is_followed_from_look_to_look(db, show, folder):
    path = folder / "mast.csv"
    path.write_text("at,rain_total_mm\n2027-07-15T11:50Z,1.0\n2027-07-15T11:5")
    assert follow_files(db, show, folder, NOON) == []
    with path.open("a") as out:
        out.write("5Z,1.6\n")
    assert follow_files(db, show, folder, NOON) == []
    assert [s.reading.rain_total_mm for s in readings_after(db)] == [1.0, 1.6]
    assert follow_files(db, show, folder, NOON) == []


def test_a_file_begun_anew_is_read_again_and_nothing_stands_twice(db, show, folder):
    path = folder / "mast.csv"
    path.write_text("at,rain_total_mm\n2027-07-15T11:50Z,1.0\n2027-07-15T11:55Z,1.6\n")
    follow_files(db, show, folder, NOON)
    path.write_text("at,rain_total_mm\n2027-07-15T11:55Z,1.6\n2027-07-15T11:58Z,9\n")
    follow_files(db, show, folder, NOON)
    assert [s.reading.rain_total_mm for s in readings_after(db)] == [1.0, 1.6, 9.0]


def test_a_file_that_is_not_there_is_told_once_and_so_is_its_return(db, show, folder):
    assert follow_files(db, show, folder, NOON) == [
        "Gauge mast: mast.csv cannot be read: No such file or directory."
    ]
    assert follow_files(db, show, folder, NOON) == []
    (folder / "mast.csv").write_text("at,rain_total_mm\n2027-07-15T11:50Z,1.0\n")
    assert follow_files(db, show, folder, NOON) == ["Gauge mast: mast.csv is read again."]
    assert len(readings_after(db)) == 1
    assert follow_files(db, show, folder, NOON) == []


def test_a_pipe_is_not_waited_for(db, show, folder):
    os.mkfifo(folder / "mast.csv")
    assert follow_files(db, show, folder, NOON) == [
        "Gauge mast: mast.csv cannot be read: it is not a plain file."
    ]


def test_bad_lines_are_told_with_their_number_once(db, show, folder):
    lines = "".join(f"bad {n}\n" for n in range(9))
    (folder / "mast.csv").write_text(
        f"at,rain_total_mm\n{lines}2027-07-15T11:50Z,1.0\n2027-07-15T11:50Z,2.0\n"
    )
    said = follow_files(db, show, folder, NOON)
    assert said[0].startswith("Gauge mast: mast.csv line 2: The line has 1 cells")
    # nine bad lines and one that says otherwise of a moment, whose line is not known any more
    assert said[-1] == "Gauge mast: And 7 more lines with faults: lines 5 to 10."
    assert follow_files(db, show, folder, NOON) == []
    assert [s.reading.rain_total_mm for s in readings_after(db)] == [1.0]


def test_a_file_of_a_week_is_taken_in_whole(db, show, folder):
    first = NOON - timedelta(days=6)
    lines = "".join(
        f"{first + timedelta(minutes=5 * m):%Y-%m-%dT%H:%MZ},{m * 0.2:.1f}\n" for m in range(1700)
    )
    (folder / "mast.csv").write_text("at,rain_total_mm\n" + lines)
    assert follow_files(db, show, folder, NOON) == []
    assert len(readings_after(db)) == 1700


# ---------------------------------------------------------------- readings at hand


def test_what_each_gauge_measured(db, show):
    keep(db, *counts((-10, 1.0), (-5, 1.6)), received=at(-5))
    keep(db, Reading("roof", at(-9), rain_total_mm=5.0), Reading("roof", at(-4), rain_total_mm=6.0))
    kept = kept_of(db)
    mast, roof = kept.measured(show)
    assert (mast.source, table(mast)) == ("mast", [(-10, -5, 0.6)])
    assert (roof.source, table(roof)) == ("roof", [(-9, -4, 1.0)])
    assert mast.fetched_at == NOON
    assert not kept.catch_up(db)
    keep(db, count(0, 2.0))
    assert kept.catch_up(db)
    assert table(kept.measured(show)[0]) == [(-10, -5, 0.6), (-5, 0, 0.4)]


def test_its_settings_may_change(db, show):
    keep(db, *counts((-60, 1.0), (0, 2.0), wind_mps=3.0))
    kept = kept_of(db)
    assert table(kept.measured(show)[0], "wind_mps")[-1][2] is None
    hourly = replace(show, gauges=(Gauge("mast", every_minutes=60, wind_height_m=2.0),))
    weather = kept.measured(hourly)[0]
    assert table(weather, "wind_mps")[-1][2] == 3.0
    assert weather.wind_height_m == 2.0


def test_a_gauge_that_is_not_of_the_show_counts_no_more(db, show):
    keep(db, *counts((-10, 1.0), (-5, 1.6)))
    assert kept_of(db).measured(replace(show, gauges=())) == []


def test_what_is_settled_stays_as_it_was(monkeypatch, db, show):
    # readings every 20 min for 20 days; more than 500 at hand are thinned out. The gust stands
    # still for a day and a half at a time, so wherever it is thinned out cuts such a row.
    readings = [
        count(
            20 * n,
            round(0.4 * (n // 3), 1),
            wind_mps=float(n % 7),
            gust_mps=9.0 + n // 108 % 7,
            temp_c=n % 11 + 5.0,
        )
        for n in range(1440)
    ]
    slow = replace(show, gauges=(Gauge("mast", every_minutes=20),))
    whole = measured(readings, slow.gauges[0], show.site.timezone)
    monkeypatch.setattr("monitor.service.gauges._UNSETTLED", 500)
    kept, fed = GaugesKept(), 0
    for upto in (1, 400, 900, 1200, 1439, 1440):
        keep(db, *readings[fed:upto])
        fed = upto
        kept.catch_up(db)
        made = kept.measured(slow)
    assert len(kept.of("mast")) < 1200
    assert made[0].starts.tolist() == whole.starts.tolist()
    assert np.array_equal(made[0].rain_mm, whole.rain_mm, equal_nan=True)
    assert np.array_equal(made[0].wind_mps, whole.wind_mps, equal_nan=True)
    assert np.array_equal(made[0].gust_mps, whole.gust_mps, equal_nan=True)
    # 1440 readings are 13 rows of 108 and one of 36 that has just begun
    assert np.isnan(whole.gust_mps).sum() == 13 * 108


# ---------------------------------------------------------------- troubles


def test_silent_after_three_of_its_intervals():
    readings = counts((-30, 1.0), (-15, 1.0))
    assert trouble(readings, MAST, None, NOON) is None
    assert trouble(readings, MAST, None, at(0.1)) == "nothing heard for 15 min"
    assert trouble(readings, MAST, None, at(600)) == "nothing heard for 10 h"
    assert trouble([], MAST, None, NOON) == "nothing was ever heard of it"
    assert trouble(readings, MAST, None, at(7000)) == "nothing heard for days"


def every_ten(minutes, **values):
    return [
        Reading("mast", at(m), **{name: value(m) for name, value in values.items()})
        for m in range(-minutes, 1, 10)
    ]


def test_stuck():
    moving = every_ten(1500, temp_c=lambda m: m % 70, wind_mps=lambda m: 4.2)
    assert trouble(moving, MAST, None, NOON) == (
        "its wind did not move to the last digit for a day"
    )
    still = every_ten(1500, temp_c=lambda m: 9.0, wind_mps=lambda m: 4.2)
    assert "same over and over" in trouble(still, MAST, None, NOON)
    assert trouble(every_ten(1400, temp_c=lambda m: 9.0), MAST, None, NOON) is None


def test_dry_where_rain_is_forecast():
    dry = every_ten(180, rain_total_mm=lambda m: 4.0)
    assert trouble(dry, MAST, 1.9, NOON) is None
    assert trouble(dry, MAST, None, NOON) is None
    assert trouble(dry, MAST, 2.0, NOON) == (
        "it measured no rain in 3 h for which the forecasts had 2.0 mm"
    )
    wet = every_ten(180, rain_total_mm=lambda m: 4.0 + (m > -60))
    assert trouble(wet, MAST, 9.0, NOON) is None
    amounts = every_ten(180, rain_mm=lambda m: 0.0, period_s=lambda m: 600.0)
    assert trouble(amounts, MAST, 9.0, NOON) is not None
    # heard of for less than half of the time, or without a rain gauge: nothing to hold against it
    assert trouble(dry[-8:], MAST, 9.0, NOON) is None
    assert trouble(every_ten(180, temp_c=lambda m: m % 70), MAST, 9.0, NOON) is None


def test_a_low_battery():
    assert trouble([count(0, 1.0, battery_ok=False)], MAST, None, NOON) == ("its battery is low")


def test_rain_of_the_last_hours_by_parts_of_steps():
    # 12 mm over 4 h, of which the last 3 count: 9; two members would be averaged
    weather = measured(counts((-240, 1.0), (0, 13.0)), MAST, UTC)
    assert rain_until(weather, NOON, 3 * 3600) == pytest.approx(9.0)
    assert rain_until(None, NOON, 3 * 3600) is None
    # known for less than half of the time
    short = measured(counts((-60, 1.0), (0, 13.0)), MAST, UTC)
    assert rain_until(short, NOON, 3 * 3600) is None


def test_rain_of_the_last_hours_by_members():
    # two steps of 2 h; members of weights 0.25 and 0.75. Of the last 3 h the first step counts
    # by half: (0.25 x 8 + 0.75 x 4) / 2 = 2.5, the second whole; there one does not know: 6
    one = measured(counts((-240, 1.0), (-120, 9.0), (0, 15.0)), MAST, UTC)
    two = replace(
        one,
        rain_mm=np.array([[8.0, 6.0], [4.0, np.nan]]),
        weights=np.array([0.25, 0.75]),
    )
    assert rain_until(two, NOON, 3 * 3600) == pytest.approx(8.5)
    # by shares step by step: the first is the second member's alone, (4 / 2) + 6
    shared = replace(two, shares=np.array([[0.0, 1.0], [1.0, 0.0]]))
    assert rain_until(shared, NOON, 3 * 3600) == pytest.approx(8.0)


def test_a_gauge_whose_dryness_is_doubted_still_counts_and_that_is_said(db, show):
    show = replace(show, gauges=(MAST,))
    for minutes in range(-180, 1, 5):
        keep(db, count(minutes, 1.0))
    kept = kept_of(db)
    rain = measured(counts((-180, 1.0), (0, 10.0)), MAST, UTC)
    rain = replace(rain, source="feed", forecast=np.ones(1, dtype=bool))
    (message,) = tell_gauges(db, show, kept, rain, NOON)
    assert "no rain in 3 h for which the forecasts had 9.0 mm" in message.text
    assert "that time is taken as dry" in message.text
    assert "not taken as dry" not in message.text
    # as it says: dry while the gauge is there, though the crew saw rain; not without it
    seen = crew_weather((Spell(at(-30).timestamp(), NOON.timestamp(), 2.5),))
    span = at(-180).timestamp(), NOON.timestamp()
    for shown, fell in ((show, 0.0), (replace(show, gauges=()), 9.0)):
        past = as_it_was(
            [rain, seen, *kept.measured(shown)], *span, terrain="II", floor_sources=("crew",)
        )
        assert past.rain_mm.sum() == pytest.approx(fell)


def test_a_silent_gauge_is_told_once_and_its_return(db, show):
    show = replace(show, gauges=(MAST,))
    keep(db, count(-60, 1.0))
    kept = kept_of(db)
    # the monitor began to listen just now: three intervals of five minutes of patience
    assert tell_gauges(db, show, kept, None, NOON) == []
    assert tell_gauges(db, show, kept, None, at(14)) == []
    (message,) = tell_gauges(db, show, kept, None, at(15))
    assert "Gauge mast: nothing heard for 75 min" in message.text
    assert "not taken as dry" in message.text
    assert tell_gauges(db, show, kept, None, at(16)) == []
    keep(db, count(17, 1.0))
    kept.catch_up(db)
    (over,) = tell_gauges(db, show, kept, None, at(17))
    assert over.stage == "stood-down"
    assert "Gauge mast measures again" in over.text


def test_a_station_of_minutes_has_ten_of_them(db, show):
    every_minute = replace(show, gauges=(Gauge("mast", every_minutes=1),))
    keep(db, count(-60, 1.0))
    kept = kept_of(db)
    assert tell_gauges(db, every_minute, kept, None, NOON) == []
    assert tell_gauges(db, every_minute, kept, None, at(9.9)) == []
    assert len(tell_gauges(db, every_minute, kept, None, at(10))) == 1


def test_a_station_that_is_added_is_given_its_time_from_then(db, show):
    kept = kept_of(db)
    without = replace(show, gauges=())
    assert tell_gauges(db, without, kept, None, NOON) == []
    # the service has run for hours when the station comes into the files
    added = replace(show, gauges=(MAST,))
    assert tell_gauges(db, added, kept, None, at(300)) == []
    assert tell_gauges(db, added, kept, None, at(300.25)) == []
    assert tell_gauges(db, added, kept, None, at(314)) == []
    assert len(tell_gauges(db, added, kept, None, at(315))) == 1


def test_a_restart_neither_ends_nor_repeats_a_silence(db, show):
    show = replace(show, gauges=(MAST,))
    keep(db, count(-60, 1.0))
    kept = kept_of(db)
    tell_gauges(db, show, kept, None, NOON)
    assert len(tell_gauges(db, show, kept, None, at(15))) == 1
    again = kept_of(db)
    assert tell_gauges(db, show, again, None, at(20)) == []
    assert tell_gauges(db, show, again, None, at(36)) == []


def test_a_gauge_taken_out_of_the_show_ends_its_trouble(db, show):
    kept = GaugesKept()
    tell_gauges(db, show, kept, None, NOON)
    assert len(tell_gauges(db, show, kept, None, at(16))) == 2
    (over,) = tell_gauges(db, replace(show, gauges=show.gauges[:1]), kept, None, at(17))
    assert "Gauge roof is no longer part of the show" in over.text


def test_forecast_rain_that_the_gauge_does_not_have(db, show):
    show = replace(show, gauges=(MAST,))
    keep(db, *every_ten(180, rain_total_mm=lambda m: 4.0))
    forecast = measured(counts((-240, 1.0), (0, 13.0)), MAST, UTC)
    (message,) = tell_gauges(db, show, kept_of(db), forecast, NOON)
    assert "measured no rain in 3 h for which the forecasts had 9.0 mm" in message.text


# ---------------------------------------------------------------- rain by the crew's word


def word(minutes, raining):
    return Reading("crew", at(minutes), raining=raining)


def spans(*words):
    return [
        ((s - NOON.timestamp()) / 60, (e - NOON.timestamp()) / 60) for s, e, _ in crew_rain(words)
    ]


def test_half_an_hour_or_until_it_has_stopped():
    assert spans(word(0, True)) == [(0, 30)]
    assert spans(word(0, True), word(12, False)) == [(0, 12)]
    assert spans(word(0, True), word(40, False)) == [(0, 30)]
    assert spans(word(0, False)) == []


def test_said_again_it_runs_on():
    assert spans(word(20, True), word(0, True)) == [(0, 50)]
    assert spans(word(0, True), word(30, True)) == [(0, 60)]
    assert spans(word(0, True), word(31, True)) == [(0, 30), (31, 61)]
    assert spans(word(0, True), word(10, True), word(15, False)) == [(0, 15)]
    assert spans(word(0, True), word(10, False), word(20, True)) == [(0, 10), (20, 50)]


def test_its_weather_is_light_rain_and_nothing_else():
    weather = crew_weather(crew_rain([word(0, True)]))
    # 2.5 mm/h for half an hour
    assert (weather.source, table(weather)) == ("crew", [(0, 30, 1.25)])
    assert np.isnan(weather.wind_mps).all()
    assert len(crew_weather(()).starts) == 0


def run_of(mm, **more):
    """A forecast of one hour from 11:30 with `mm` in it."""
    made = measured(counts((-30, 100.0), (30, 100.0 + mm)), Gauge("model"), UTC)
    return replace(made, forecast=made.rain_mm[0] > -1, source="model", **more)


def past(*runs):
    return as_it_was(
        runs,
        at(-30).timestamp(),
        at(30).timestamp(),
        terrain="II",
        prefer=("mast",),
        floor_sources=("crew",),
    )


def test_it_lifts_a_forecast_that_says_less_and_gives_way_to_a_gauge():
    crew = crew_weather(crew_rain([word(0, True)]))
    # dry: 1.25 mm in the half hour. 6 mm/h says more already: 3 mm.
    assert table(past(run_of(0.0), crew)) == [(-30, 0, 0.0), (0, 30, 1.25)]
    assert past(run_of(6.0), crew).rain_mm.sum() == pytest.approx(6.0)
    gauge = measured(counts((0, 1.0), (10, 1.0)), MAST, UTC)
    # the gauge has none until 12:10, then twenty minutes of 2.5 mm/h
    assert past(run_of(0.0), crew, gauge).rain_mm.sum() == pytest.approx(2.5 / 3)


def test_what_is_to_come_has_no_less_either():
    spell = crew_rain([word(0, True)])
    lifted = at_least(run_of(0.6), spell)
    # 0.6 mm in the hour: 0.3 before noon, and 1.25 instead of 0.3 after it
    assert table(lifted) == [(-30, 0, 0.3), (0, 30, 1.25)]
    assert lifted.whole_hours.tolist() == [1.0, 1.0]
    assert table(at_least(run_of(6.0), spell)) == [(-30, 0, 3.0), (0, 30, 3.0)]
    assert at_least(run_of(6.0), ()).rain_mm.sum() == pytest.approx(6.0)
    unknown = run_of(6.0)
    unknown.rain_mm[:] = np.nan
    assert table(at_least(unknown, spell)) == [(-30, 0, None), (0, 30, 1.25)]


def test_no_word_that_is_a_call_on_the_radio(db, show):
    show = replace(show, gauges=(MAST,))
    kept = GaugesKept()
    tell_gauges(db, show, kept, None, NOON)
    (silent,) = tell_gauges(db, show, kept, None, at(16))
    text = silent.text.lower().replace(".", " ").replace(",", " ")
    assert " go " not in text
    assert "stand by" not in text
    assert "all clear" not in text
