from __future__ import annotations

import time
from dataclasses import replace

import pytest
from stored_samples import HOUR, MINUTE, NOON, alert, entry, same_weather, weather

from monitor.domain import BadInputError, UnableError
from monitor.store.history import (
    alert_changes,
    log_entries,
    open_alerts,
    recall,
    record_change,
    record_log,
    record_revision,
    remember,
    revisions,
    stored_log,
)
from monitor.store.runs import (
    latest_run,
    received_runs,
    record_weather,
    run_body,
    seen_again,
    weather_runs,
)

# ------------------------------------------------------------ weather


def test_runs_come_back_whole_in_order_of_receipt(db):
    sent = [
        weather(seed=1, issued_at=NOON, fetched_at=NOON + MINUTE, dropped=("cape",)),
        weather(seed=2, members=3, source="met-norway"),
        weather(seed=3, wind_basis="local", wind_height_m=4.5, credit="somebody"),
    ]
    # Received in this order although the second was issued last.
    for n, run in enumerate(sent):
        record_weather(db, run, None, NOON + n * HOUR)
    assert all(map(same_weather, weather_runs(db), sent))
    assert len(weather_runs(db)) == 3


def test_runs_since_a_moment(db):
    for n in range(4):
        record_weather(db, weather(seed=n), None, NOON + n * HOUR)
    since = (NOON + 2 * HOUR).timestamp()
    assert [run.received_at for run in received_runs(db, since=since)] == [
        NOON + 2 * HOUR,
        NOON + 3 * HOUR,
    ]
    assert len(weather_runs(db, since)) == 2
    assert [run.id for run in received_runs(db, after_id=3)] == [4]


def test_the_same_run_is_kept_once_and_seen_again(db):
    first = record_weather(db, weather(fetched_at=NOON), b"{1}", NOON)
    later = weather(fetched_at=NOON + HOUR)
    assert record_weather(db, later, b"{2}", NOON + HOUR) == first
    seen_again(db, first, NOON + 2 * HOUR)
    (run,) = received_runs(db)
    assert (run.received_at, run.last_seen_at, run.times_seen) == (NOON, NOON + 2 * HOUR, 3)
    # Being seen again makes a forecast no younger.
    assert run.weather.fetched_at == NOON
    assert run_body(db, first) == b"{1}"


def test_a_run_that_comes_back_after_another_is_received_again(db):
    for n, seed in enumerate((1, 2, 1)):
        record_weather(db, weather(seed=seed), b"%d" % seed, NOON + n * HOUR)
    assert len(received_runs(db)) == 3
    assert same_weather(latest_run(db).weather, weather(seed=1))
    # Its bytes are not kept twice: two weathers and two bodies.
    assert db.execute("SELECT count(*) FROM contents").fetchone()[0] == 4


def test_each_source_has_its_own_last_run(db):
    for n in range(3):
        record_weather(db, weather(source="a"), None, NOON + n * HOUR)
        record_weather(db, weather(source="b"), None, NOON + n * HOUR)
    assert len(received_runs(db)) == 2
    assert latest_run(db).weather.source == "b"
    assert latest_run(db, "a").weather.source == "a"
    assert latest_run(db, "c") is None


def test_a_new_issue_of_the_same_numbers_is_a_new_run(db):
    record_weather(db, weather(issued_at=NOON), None, NOON)
    record_weather(db, weather(issued_at=NOON + HOUR), None, NOON + HOUR)
    assert len(received_runs(db)) == 2


def test_nothing_received_yet(db):
    assert latest_run(db) is None
    assert weather_runs(db) == []


def test_a_run_whose_bytes_are_damaged_is_told_plainly(db):
    record_weather(db, weather(), None, NOON)
    db.execute("DROP TRIGGER contents_unaltered")
    db.execute("UPDATE contents SET packed = x'00'")
    with pytest.raises(UnableError, match="damaged"):
        weather_runs(db)


def test_an_ensemble_run_is_kept_quickly_and_small(db, path):
    run = weather(168, 51)
    raw = 8 * 51 * 168 * 8  # eight quantities, eight bytes each: 548,352
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    empty = path.stat().st_size
    start = time.perf_counter()
    record_weather(db, run, None, NOON)
    taken_s = time.perf_counter() - start
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    assert taken_s < 1.0
    assert path.stat().st_size - empty < raw / 4


def test_five_days_of_hourly_forecasts_stay_small(db, path):
    for n in range(120):
        run = weather(168, seed=n, issued_at=NOON + n * HOUR)
        record_weather(db, run, repr(run.rain_mm.tolist()).encode(), NOON + n * HOUR)
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    assert path.stat().st_size < 2_000_000


# ------------------------------------------------------------ the show folder


def test_revisions_keep_every_file_as_it_was(db):
    one = {
        "show.toml": b"format = 1\n",
        "fixtures.csv": "id;Scheinwerfer \xe9\r\n".encode("cp1252"),
    }
    two = one | {"show.toml": b"format = 1\n\n"}
    record_revision(db, one, "aa", NOON)
    record_revision(db, one, "aa", NOON + HOUR)
    record_revision(db, two, "bb", NOON + HOUR, recorded_at=NOON + 2 * HOUR)
    record_revision(db, one, "aa", NOON + 3 * HOUR)
    kept = revisions(db)
    assert [(r.revision, r.from_time, r.recorded_at) for r in kept] == [
        ("aa", NOON, NOON),
        ("bb", NOON + HOUR, NOON + 2 * HOUR),
        ("aa", NOON + 3 * HOUR, NOON + 3 * HOUR),
    ]
    assert [dict(r.files) for r in kept] == [one, two, one]


# ------------------------------------------------------------ the log


def test_the_log_is_sorted_by_when_it_happened(db):
    late = entry(at=NOON - HOUR, entry="put-out")
    assert record_log(db, entry(), "k1", NOON)
    assert record_log(db, late, "k2", NOON + 5 * HOUR)
    assert log_entries(db) == (late, entry())
    assert [s.received_at for s in stored_log(db)] == [NOON + 5 * HOUR, NOON]


def test_sent_twice_is_recorded_once(db):
    assert record_log(db, entry(count=(3, 15)), "k1", NOON)
    assert not record_log(db, entry(count=(3, 15)), "k1", NOON + HOUR)
    assert log_entries(db) == (entry(count=(3, 15)),)


def test_a_key_used_for_another_entry_is_refused(db):
    record_log(db, entry(), "k1", NOON)
    with pytest.raises(BadInputError) as told:
        record_log(db, entry(entry="uncovered"), "k1", NOON)
    assert [p.code for p in told.value.problems] == ["log-key-used"]
    assert log_entries(db) == (entry(),)


def test_a_correction_stands_in_place_of_what_it_corrects(db):
    right = entry(at=NOON - HOUR, note="an hour earlier")
    record_log(db, entry(), "k1", NOON)
    assert record_log(db, right, "k2", NOON + HOUR, replaces="k1")
    assert not record_log(db, right, "k2", NOON + HOUR, replaces="k1")
    assert log_entries(db) == (right,)
    assert [(s.key, s.replaces, s.replaced_by) for s in stored_log(db)] == [
        ("k2", "k1", None),
        ("k1", None, "k2"),
    ]
    again = replace(right, note="two hours earlier", at=NOON - 2 * HOUR)
    record_log(db, again, "k3", NOON + HOUR, replaces="k2")
    assert log_entries(db) == (again,)


def test_a_correction_of_nothing_or_twice_is_refused(db):
    record_log(db, entry(), "k1", NOON)
    record_log(db, entry(note="b"), "k2", NOON, replaces="k1")
    with pytest.raises(BadInputError) as told:
        record_log(db, entry(), "k3", NOON, replaces="k9")
    assert told.value.problems[0].code == "unknown-log-key"
    with pytest.raises(BadInputError) as told:
        record_log(db, entry(note="c"), "k2", NOON, replaces="k1")
    assert [p.code for p in told.value.problems] == ["log-key-used"]
    with pytest.raises(BadInputError) as told:
        record_log(db, entry(note="c"), "k3", NOON, replaces="k1")
    assert told.value.problems[0].code == "log-replaced"
    assert "Replace k2 instead" in told.value.problems[0].remedy
    assert log_entries(db) == (entry(note="b"),)


# ------------------------------------------------------------ alerts


def test_an_alert_is_open_until_stood_down(db):
    record_change(db, alert(1, "notice"), "rain at 14:00", NOON)
    record_change(db, alert(2, "start"), "rain at 13:00", NOON + MINUTE)
    latest = record_change(db, alert(1, "start"), "rain at 13:30", NOON + 2 * MINUTE)
    first, second = open_alerts(db)
    assert first.alert == alert(1, "start")
    assert (first.change_id, first.reason) == (latest, "rain at 13:30")
    assert (first.opened_at, first.changed_at) == (NOON, NOON + 2 * MINUTE)
    assert second.alert.id == "alert-2"
    record_change(db, alert(2, "stood-down"), "covered", NOON + HOUR)
    assert [s.alert.id for s in open_alerts(db)] == ["alert-1"]


def test_an_alert_that_comes_back_is_open_from_then_on(db):
    record_change(db, alert(1, "start"), "rain", NOON)
    record_change(db, alert(1, "stood-down"), "no rain", NOON + HOUR)
    record_change(db, alert(1, "notice"), "rain again", NOON + 2 * HOUR)
    record_change(db, alert(1, "start"), "rain sooner", NOON + 3 * HOUR)
    (back,) = open_alerts(db)
    assert (back.opened_at, back.changed_at) == (NOON + 2 * HOUR, NOON + 3 * HOUR)


def test_changes_are_kept_with_their_reasons(db):
    record_change(db, alert(1, "notice"), "rain at 14:00", NOON)
    record_change(db, alert(1, "stood-down"), "covered", NOON + HOUR)
    assert [(c.alert, c.reason, c.at) for c in alert_changes(db)] == [
        (alert(1, "notice"), "rain at 14:00", NOON),
        (alert(1, "stood-down"), "covered", NOON + HOUR),
    ]
    assert [c.reason for c in alert_changes(db, since=NOON + HOUR)] == ["covered"]


# ------------------------------------------------------------ notes


def test_notes_are_kept_over_what_was_there(db):
    assert recall(db, "etag") is None
    remember(db, "etag", '"abc"')
    remember(db, "etag", {"etag": '"def"', "next_try_s": 12.5})
    assert recall(db, "etag") == {"etag": '"def"', "next_try_s": 12.5}
