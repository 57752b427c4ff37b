from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.domain import Alert, LogEntry
from monitor.store.answers import answers
from monitor.store.database import hold_folder, immediate, open_database
from monitor.store.history import log_entries, record_change

AT = datetime(2027, 6, 10, 9, 0, tzinfo=UTC)
SECOND = '\n[[positions]]\nid = "tower"\nname = "Tower"\nheight_m = 9\naccess = "climb"\n\n'


@pytest.fixture
def folder(tmp_path):
    return write_show(
        tmp_path / "show",
        ["a,IP44,open,bag", "b,IP44,open,bag", "c,IP44,open,", "t,IP44,tower,bag"],
        headings="id,code,position,cover",
        show=SHOW.replace("\n[[covers]]", f"{SECOND}[[covers]]"),
    )


@pytest.fixture(autouse=True)
def on_site(time_machine):
    """It is 12:00 UTC on the day of the load-in, 13:00 on site."""
    time_machine.move_to(datetime(2027, 6, 10, 12, tzinfo=UTC))


def run(folder, *arguments):
    result = CliRunner().invoke(
        dryspell, [*arguments, "--show", str(folder)], env={"LOGNAME": "ines"}
    )
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def stored(folder):
    with closing(open_database(folder / "dryspell.db")) as db:
        return log_entries(db)


def raise_alert(folder, alert_id="cover/open", action="cover", fixtures=("a", "b"), **more):
    alert = Alert(
        id=alert_id,
        kind=more.pop("kind", "work"),
        stage=more.pop("stage", "start"),
        action=action,
        position=more.pop("position", "open"),
        fixtures=fixtures,
        count=len(fixtures),
        people=1,
        minutes=5.0,
        isolate_at=None,
        start_by=AT,
        do_by=AT,
        members=1,
        probability=None,
        at=AT,
        reason="rain",
    )
    with closing(open_database(folder / "dryspell.db")) as db, immediate(db):
        record_change(db, alert, "rain", AT)


# ---------------------------------------------------------------- log


def test_a_position_in_site_time(folder):
    # June in this zone is one hour ahead of UTC: 10:30 there is 09:30Z
    done = run(
        folder, "log", "covered", "--position", "open", "--at", "2027-06-10T10:30", "--by", "Ines",
        "--note", "two bags torn",
    )  # fmt: skip
    assert done.exit_code == 0
    assert stored(folder) == (
        LogEntry(
            at=datetime(2027, 6, 10, 9, 30, tzinfo=UTC),
            entry="covered",
            position="open",
            by="Ines",
            note="two bags torn",
        ),
    )
    assert "Thu 10 June 10:30 site time" in done.stdout
    # no cover is named for c, so it cannot count as covered
    assert "no cover for c" in done.stdout


def test_an_offset_beats_site_time(folder):
    run(folder, "log", "brought-in", "--fixture", "a", "--at", "2027-06-10T10:30+03:00")
    assert stored(folder)[0].at == datetime(2027, 6, 10, 7, 30, tzinfo=UTC)


def test_without_a_time_it_is_now(folder):
    before = datetime.now(tz=UTC)
    run(folder, "log", "isolated", "--position", "open")
    (entry,) = stored(folder)
    assert timedelta(0) <= entry.at - before < timedelta(seconds=30)


def test_a_part_done_is_kept_as_such(folder):
    done = run(folder, "log", "covered", "--position", "open", "--count", "2 of 3")
    assert stored(folder)[0].count == (2, 3)
    assert "counts as uncovered" in done.stdout


def test_moved_and_inspected(folder):
    run(folder, "log", "moved", "--fixture", "a", "--to", "tower", "--at", "2027-06-10T10:00")
    run(folder, "log", "inspected", "--fixture", "a", "--result", "dry", "--at", "2027-06-10T11:00")
    moved, inspected = stored(folder)
    assert (moved.to, inspected.result) == ("tower", "dry")


def test_for_an_alert_each_of_its_fixtures(folder):
    raise_alert(folder)
    run(folder, "log", "covered", "--alert", "cover/open", "--by", "Ines")
    assert [(e.position, e.fixture) for e in stored(folder)] == [(None, "a"), (None, "b")]


def test_for_an_alert_about_all_that_hangs_there_its_position(folder):
    raise_alert(folder, fixtures=("a", "b", "c"))
    run(folder, "log", "covered", "--alert", "cover/open")
    assert [(e.position, e.fixture) for e in stored(folder)] == [("open", None)]


BAD = [
    ((), ["No place is given"]),
    (("--position", "open", "--fixture", "a"), ["More than one place"]),
    (("--position", "opne"), ["Perhaps open is meant"]),
    (("--alert", "x"), ["None has been raised yet"]),
    (("--position", "open", "--at", "noon"), ["is not a time"]),
    # clocks go forward on 28 March 2027 at 01:00
    (("--position", "open", "--at", "2027-03-28T01:30"), ["never comes", "+00:00 or"]),
    (("--position", "open", "--at", "2027-10-31T01:30"), ["comes twice", "+01:00 for the first"]),
    (("--position", "open", "--count", "5 of 3"), ['"3 of 15"']),
    (("--position", "open", "--to", "tower"), ["belongs to moved"]),
    (("--position", "opne", "--count", "x", "--result", "dry"), ["opne", "--count", "--result"]),
]


@pytest.mark.parametrize(("options", "says"), BAD)
def test_bad_entries_are_refused_whole_and_nothing_is_made(folder, options, says):
    done = run(folder, "log", "covered", *options)
    assert done.exit_code == 2
    for words in says:
        assert words in done.stderr
    assert not (folder / "dryspell.db").exists()


def test_what_an_entry_needs(folder):
    assert "--to ID" in run(folder, "log", "moved", "--fixture", "a").stderr
    assert "--result dry" in run(folder, "log", "inspected", "--fixture", "a").stderr
    assert run(folder, "log", "fixed", "--fixture", "a").exit_code == 2


def test_it_is_logged_while_the_service_reads_and_holds_the_folder(folder):
    raise_alert(folder)
    with hold_folder(folder), closing(open_database(folder / "dryspell.db")) as db:
        db.execute("BEGIN")
        before = db.execute("SELECT count(*) FROM log_entries").fetchone()
        assert run(folder, "log", "covered", "--fixture", "a").exit_code == 0
        assert db.execute("SELECT count(*) FROM log_entries").fetchone() == before
        db.execute("COMMIT")
    assert len(stored(folder)) == 1


def test_a_database_that_is_none_is_left_alone(folder):
    (folder / "dryspell.db").write_bytes(b"not a database" * 100)
    done = run(folder, "log", "covered", "--fixture", "a")
    assert done.exit_code == 3
    assert "dryspell.db" in done.stderr
    assert (folder / "dryspell.db").read_bytes() == b"not a database" * 100


# ---------------------------------------------------------------- answer


@pytest.mark.parametrize(
    ("action", "entry"),
    [
        ("cover", "covered"),
        ("bring-in", "brought-in"),
        ("isolate", "isolated"),
        ("uncover", "uncovered"),
        ("clean", "cleaned"),
    ],
)
def test_done_logs_the_work_of_the_alert(folder, action, entry):
    raise_alert(folder, action=action)
    done = run(folder, "answer", "cover/open", "done")
    assert done.exit_code == 0
    assert [(e.entry, e.fixture, e.by) for e in stored(folder)] == [
        (entry, "a", "ines"),
        (entry, "b", "ines"),
    ]


@pytest.mark.parametrize("answer", ["doing", "cannot", "not-needed"])
def test_other_answers_are_kept_and_log_nothing(folder, answer):
    raise_alert(folder)
    done = run(folder, "answer", "cover/open", answer)
    assert done.exit_code == 0
    assert stored(folder) == ()
    with closing(open_database(folder / "dryspell.db")) as db:
        (kept,) = answers(db)
    assert (kept.alert, kept.answer, kept.by) == ("cover/open", answer, "ines")


def test_earlier_answers_are_not_lost(folder):
    raise_alert(folder)
    for answer in ("doing", "cannot", "done"):
        run(folder, "answer", "cover/open", answer)
    with closing(open_database(folder / "dryspell.db")) as db:
        assert [kept.answer for kept in answers(db)] == ["doing", "cannot", "done"]


def test_an_inspection_needs_its_result(folder):
    raise_alert(folder, action="inspect")
    done = run(folder, "answer", "cover/open", "done")
    assert done.exit_code == 2
    assert "dryspell log inspected --alert cover/open --result" in done.stderr
    assert stored(folder) == ()


def test_an_alert_without_work_cannot_be_done(folder):
    raise_alert(folder, "weather/x", action=None, fixtures=(), kind="weather", position=None)
    done = run(folder, "answer", "weather/x", "done")
    assert done.exit_code == 2
    assert "asks for no work" in done.stderr


def test_an_unknown_alert(folder):
    raise_alert(folder)
    done = run(folder, "answer", "cover/opne", "done")
    assert done.exit_code == 2
    assert "Perhaps cover/open is meant" in done.stderr


def test_cannot_with_its_reason_time_name_and_note(folder):
    raise_alert(folder)
    words = ("--because", "act-on-stage", "--until", "2099-07-15T23:30", "--by", "Ines")
    done = run(folder, "answer", "cover/open", "cannot", *words, "--note", "after the band")
    assert done.exit_code == 0
    assert "planned anew" in done.stdout
    with closing(open_database(folder / "dryspell.db")) as db:
        (kept,) = answers(db)
    assert (kept.because, kept.by, kept.note) == ("act-on-stage", "Ines", "after the band")
    assert kept.until is not None
    assert kept.until.isoformat().startswith("2099-07-15")
    assert kept.fixtures == ("a", "b")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("doing", "--because", "no-lift"), "--because is given with doing"),
        (("done", "--until", "23:00"), "--until is given with done"),
        (("cannot", "--until", "2020-07-15T23:30"), "is past"),
        (("cannot", "--until", "late"), "A time of day alone is the next one, like 23:30."),
        (("cannot", "--because", "tired"), "no-lift"),
    ],
)
def test_answers_that_make_no_sense(folder, words, says):
    raise_alert(folder)
    done = run(folder, "answer", "cover/open", *words)
    assert done.exit_code == 2
    assert says in done.stderr
    with closing(open_database(folder / "dryspell.db")) as db:
        assert answers(db) == ()


def test_an_alert_that_has_ended_is_not_answered(folder):
    raise_alert(folder)
    raise_alert(folder, stage="stood-down")
    done = run(folder, "answer", "cover/open", "doing")
    assert done.exit_code == 2
    assert "Alert cover/open has ended" in done.stderr


def test_all_of_what_an_alert_names_is_not_all_that_hangs_there(folder):
    # a and b of three: "2 of 2" is both of them, and c stays as it was
    raise_alert(folder)
    run(folder, "log", "covered", "--alert", "cover/open", "--count", "2 of 2")
    assert [(e.position, e.fixture, e.count) for e in stored(folder)] == [
        (None, "a", None),
        (None, "b", None),
    ]
    assert "2 or 3 hang at Open field" in (
        run(folder, "log", "covered", "--alert", "cover/open", "--count", "1 of 4").stderr
    )
