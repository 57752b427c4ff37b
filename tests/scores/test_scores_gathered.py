"""Scores out of a real database: gauges and records judge what the feeds had said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from report.report_samples import NOON, after, fixture, read_csv, show, weather
from weather_for_scores import steps

from monitor.domain import Feed, Gauge, Reading, Site
from monitor.report import material_from, write_report
from monitor.service.places import note_place, place_of
from monitor.show import ShowFolder
from monitor.store.database import open_database
from monitor.store.readings import add_reading
from monitor.store.runs import record_weather

FELL = [0.0] * 6 + [1.0] * 6


def hourly_gauge(rain):
    """An hourly gauge on the roof: the depth of each hour, told at its end."""
    return [
        Reading("roof", after(hour), rain_mm=mm, period_s=3600.0)
        for hour, mm in enumerate(rain, start=1)
    ]


def gathered(tmp_path, runs, readings=(), **more):
    described = show(fixture(), revision="r1", gauges=(Gauge("roof", every_minutes=60.0),))
    with open_database(tmp_path / "dryspell.db") as db:
        for run in runs:
            record_weather(db, run, None, run.fetched_at)
        for reading in readings:
            add_reading(db, reading, reading.at)
        return material_from(db, ShowFolder(Path("show"), described, (), {}), after(12), **more)


def forecast(rain, at_h):
    said = steps(rain, forecast=True, source="feed", fetched_at=after(at_h))
    shift = NOON.timestamp() - said.starts[0]
    return replace(said, starts=said.starts + shift, ends=said.ends + shift)


def test_a_record_feed_judges_by_what_was_over_when_it_was_read(tmp_path):
    # Read at 8 h: its first eight hours were over. Two are wet; the feed said so for one.
    record = weather(FELL, source="record", fetched_at=after(8))
    made = gathered(tmp_path, [forecast([0.0] * 7 + [1.0] * 5, -1), record])
    assert (made.scores.measured_hours, made.scores.wet_hours) == (8, 2)
    (feed,) = made.scores.feeds
    assert feed.source == "feed"
    # Issued an hour before: hours 5 to 7 are 6 to 8 h after it; hour 6 was missed, 7 seen.
    table = {row.lead.from_h: row.table for row in feed.rows}[6]
    assert (table.hits, table.misses, table.false_alarms, table.correct_negatives) == (1, 1, 0, 1)
    write_report(tmp_path / "out", made)
    assert len(read_csv(tmp_path / "out" / "scores.csv")) == 3


def test_a_gauge_judges(tmp_path):
    made = gathered(tmp_path, [forecast(FELL, -1)], readings=hourly_gauge(FELL))
    assert (made.scores.measured_hours, made.scores.measured_by) == (12, "roof")
    assert sum(row.table.hits for row in made.scores.feeds[0].rows) == 6


def test_a_gauge_counts_before_a_record_and_is_marked_as_measured(tmp_path):
    # The record says dry and came later than every reading; the gauge knows hours 0 to 5 only.
    record = weather([0.0] * 12, source="record", fetched_at=after(12))
    made = gathered(
        tmp_path,
        [forecast(FELL, -1), record],
        readings=hourly_gauge([1.0] * 6),
    )
    assert (made.scores.measured_hours, made.scores.wet_hours) == (12, 6)
    assert made.kinds() == ("measured",) * 6 + ("record",) * 6
    assert made.exposure.steps.weather.rain_mm.sum() == 6.0


def test_runs_for_another_place_are_not_judged(tmp_path):
    described = show(fixture(), revision="r1")
    elsewhere = Site("Elsewhere", 10.0, 10.0, 0.0, described.site.timezone, "II")
    with open_database(tmp_path / "dryspell.db") as db:
        for said, site in ((forecast(FELL, -2), elsewhere), (forecast(FELL, -1), described.site)):
            run = record_weather(db, said, None, said.fetched_at)
            note_place(db, "feed", run, place_of(site, Feed("feed")))
        record_weather(db, weather(FELL, source="record"), None, after(12))
        made = material_from(db, ShowFolder(Path("show"), described, (), {}), after(12))
    assert made.scores.feeds[0].runs == 1


def test_nothing_measured_nothing_judged(tmp_path):
    made = gathered(tmp_path, [forecast(FELL, -1)])
    assert (made.scores.measured_hours, made.scores.feeds) == (0, ())


def test_only_the_period_asked_for(tmp_path):
    made = gathered(
        tmp_path,
        [forecast(FELL, -1)],
        from_=after(6),
        to=after(9),
        readings=hourly_gauge(FELL),
    )
    assert (made.scores.measured_hours, made.scores.wet_hours) == (3, 3)
