"""`dryspell raining` at a command line."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from click.testing import CliRunner
from service_site import write_show

from monitor.cli import dryspell
from monitor.store.database import open_database
from monitor.store.readings import readings_after

NOW = datetime(2027, 6, 10, 12, 0, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    return write_show(tmp_path / "show", load_in=NOW - timedelta(hours=3))


def run(folder, *arguments):
    with time_machine.travel(NOW, tick=False):
        result = CliRunner().invoke(
            dryspell, ["raining", *arguments, "--show", str(folder)], env={"LOGNAME": "ines"}
        )
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def stored(folder):
    with closing(open_database(folder / "dryspell.db")) as db:
        return [
            (s.reading.station, s.reading.at, s.reading.raining, s.reading.by)
            for s in readings_after(db)
        ]


def test_it_is_raining_now(folder):
    done = run(folder)
    assert done.exit_code == 0
    assert stored(folder) == [("crew", NOW, True, "ines")]
    # June in London is an hour ahead of UTC
    assert "it is raining here, Thu 10 June 13:00 site time" in done.stdout
    assert "Until Thu 10 June 13:30 it counts as at least 2.5 mm/h" in done.stdout


def test_it_has_stopped_and_who_says_so(folder):
    done = run(folder, "--stopped", "--at", "2027-06-10T12:50", "--by", "Tom")
    assert stored(folder) == [("crew", NOW - timedelta(minutes=10), False, "Tom")]
    assert "it has stopped raining, Thu 10 June 12:50" in done.stdout
    assert "2.5" not in done.stdout


def test_said_late(folder):
    done = run(folder, "--at", "2027-06-10T10:00")
    assert done.exit_code == 0
    assert "It counts until Thu 10 June 10:30. If it rains now, say so again." in done.stdout


def test_said_twice_it_stands_once(folder):
    run(folder)
    done = run(folder)
    assert done.exit_code == 0
    assert "noted before" in done.stdout
    assert len(stored(folder)) == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--at", "2027-06-10T13:06"], "--at"),
        (["--at", "2027-06-03T12:59"], "--at"),
        (["--at", "soon"], "--at"),
        (["--by", "x" * 61], "--by"),
    ],
)
def test_what_is_refused(folder, arguments, says):
    done = run(folder, *arguments)
    assert done.exit_code == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert stored(folder) == []


def test_a_time_to_come_is_no_matter_of_a_stations_clock(folder):
    done = run(folder, "--stopped", "--at", "2027-06-10T13:06")
    assert done.exit_code == 2
    assert "Say it when it is so; without a time it counts from now." in done.stderr
    assert "station" not in done.stderr


def test_the_opposite_of_the_same_moment_is_refused(folder):
    run(folder)
    done = run(folder, "--stopped")
    assert done.exit_code == 2
    assert [raining for _, _, raining, _ in stored(folder)] == [True]


def test_a_folder_without_a_show(tmp_path):
    assert run(tmp_path).exit_code == 2
    assert not (tmp_path / "dryspell.db").exists()
