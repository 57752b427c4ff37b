"""The log kept honest: times and counts that cannot be, and entries corrected or withdrawn."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.store.chain import verify
from monitor.store.database import open_database
from monitor.store.history import log_entries, stored_log

NOW = datetime(2027, 6, 11, 22, 30, tzinfo=UTC)
"""A Friday, 23:30 on site; load-in was on Thursday 10 June at 08:00."""
SECOND = '\n[[positions]]\nid = "tower"\nname = "Tower"\nheight_m = 9\naccess = "climb"\n\n'


@pytest.fixture
def folder(tmp_path, time_machine):
    """Eight at the open field (five and three), two on the tower; nine bags in stock."""
    time_machine.move_to(NOW, tick=False)
    return write_show(
        tmp_path / "show",
        ["a,IP44,open,bag,5", "b,IP44,open,bag,3", "t,IP44,tower,bag,2"],
        headings="id,code,position,cover,count",
        show=SHOW.replace("\n[[covers]]", f"{SECOND}[[covers]]"),
    )


def run(folder, *arguments):
    result = CliRunner().invoke(dryspell, [*arguments, "--show", str(folder)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def standing(folder):
    with closing(open_database(folder / "dryspell.db")) as db:
        assert verify(db).ok
        return log_entries(db)


def refused(folder, *arguments):
    done = run(folder, *arguments)
    assert done.exit_code == 2
    return done.stderr


# ---------------------------------------------------------------- times


@pytest.mark.parametrize("entry", ["covered", "brought-in", "isolated", "uncapped"])
def test_before_load_in_nothing_is_done_to_what_is_not_out(folder, entry):
    says = refused(folder, "log", entry, "--position", "open", "--at", "2027-06-10T07:59")
    assert "--at: Thu 10 June 2027 07:59 is before load-in, Thu 10 June 2027 08:00" in says
    assert "log it put-out first" in says
    assert not (folder / "dryspell.db").exists()


def test_what_was_put_out_early_may_be_covered_early(folder):
    out = run(folder, "log", "put-out", "--position", "open", "--at", "2027-06-09T18:00")
    assert out.exit_code == 0
    for fixture in ("a", "b"):
        early = ("log", "covered", "--fixture", fixture, "--at", "2027-06-09T19:00")
        assert run(folder, *early).exit_code == 0
    # the tower was not put out, and the open field not before 18:00
    assert "before load-in" in refused(
        folder, "log", "covered", "--position", "tower", "--at", "2027-06-09T19:00"
    )
    assert "before load-in" in refused(
        folder, "log", "covered", "--position", "open", "--at", "2027-06-09T17:00"
    )


def test_inspections_come_before_load_in_and_nothing_is_put_out_a_year_early(folder):
    dry = ("log", "inspected", "--fixture", "a", "--result", "dry", "--at", "2027-05-20T10:00")
    assert run(folder, *dry).exit_code == 0
    says = refused(folder, "log", "put-out", "--fixture", "a", "--at", "2026-06-10T09:00")
    assert "over 7 days before load-in" in says
    assert "load_in_at" in says


def test_what_is_still_to_come_is_refused_and_clocks_may_differ(folder):
    says = refused(folder, "log", "covered", "--position", "open", "--at", "2027-06-11T23:36")
    assert "Fri 11 June 2027 23:36 is still to come; it is Fri 11 June 2027 23:30 on site" in says
    assert "Without --at it is now." in says
    done = run(folder, "log", "covered", "--position", "open", "--at", "2027-06-11T23:34")
    assert done.exit_code == 0
    assert "still to come: it counts from then on" in done.stdout


@pytest.mark.parametrize(
    ("typed", "utc"),
    [
        # site time is an hour ahead of UTC; 23:30 is now, 23:40 was yesterday
        ("23:30", "2027-06-11T22:30"),
        ("23:34", "2027-06-11T22:34"),
        ("23:40", "2027-06-10T22:40"),
        ("0:10", "2027-06-10T23:10"),
    ],
)
def test_a_time_of_day_is_the_last_one(folder, typed, utc):
    assert run(folder, "log", "covered", "--position", "open", "--at", typed).exit_code == 0
    assert standing(folder)[0].at == datetime.fromisoformat(f"{utc}+00:00")


def test_just_after_midnight_it_was_last_night(folder, time_machine):
    time_machine.move_to(datetime(2027, 6, 11, 23, 20, tzinfo=UTC), tick=False)  # 00:20 on Saturday
    run(folder, "log", "covered", "--position", "open", "--at", "23:30")
    assert standing(folder)[0].at == datetime(2027, 6, 11, 22, 30, tzinfo=UTC)


def test_a_day_early_it_is_kept_and_said(folder, time_machine):
    time_machine.move_to(datetime(2027, 6, 9, 12, tzinfo=UTC), tick=False)
    done = run(folder, "log", "covered", "--position", "open")
    assert done.exit_code == 0
    assert "Load-in is Thu 10 June 2027 08:00: it counts from then on." in done.stdout


# ---------------------------------------------------------------- counts


def test_a_count_is_of_what_hangs_there(folder):
    says = refused(folder, "log", "covered", "--position", "open", "--count", "3 of 5")
    assert '--count: count is "3 of 5", and 8 hang at Open field.' in says
    assert 'Write it like "3 of 8", or give one row with --fixture ID.' in says
    says = refused(folder, "log", "covered", "--fixture", "b", "--count", "3 of 8")
    assert "there are 3 of b" in says
    assert run(folder, "log", "covered", "--position", "open", "--count", "3 of 8").exit_code == 0
    assert run(folder, "log", "covered", "--fixture", "a", "--count", "3 of 5").exit_code == 0


def test_what_was_moved_or_brought_in_counts_where_it_is(folder):
    run(folder, "log", "moved", "--fixture", "t", "--to", "open", "--at", "20:00")
    run(folder, "log", "brought-in", "--fixture", "b", "--at", "20:10")
    # 5 + 3 by the files, 5 + 3 + 2 by the log, 5 + 2 of them out
    for total in (7, 8, 10):
        part = f"1 of {total}"
        assert run(folder, "log", "isolated", "--position", "open", "--count", part).exit_code == 0
    says = refused(folder, "log", "isolated", "--position", "open", "--count", "1 of 9")
    assert "7 or 8 or 10 hang at Open field" in says


def test_more_covers_than_there_are_is_said(folder):
    assert "Bag" not in run(folder, "log", "covered", "--position", "open").stdout
    # eight of nine bags are on, and the tower takes two
    done = run(folder, "log", "covered", "--position", "tower")
    assert done.exit_code == 0
    assert "Bag: 10 are logged on, and the show folder has 9. Count them" in done.stdout
    run(folder, "log", "uncovered", "--position", "tower")
    # one of two on the tower: nine
    one = run(folder, "log", "covered", "--position", "tower", "--count", "1 of 2")
    assert "Bag" not in one.stdout


# ---------------------------------------------------------------- put right


def test_listed_with_numbers_corrected_and_withdrawn(folder):
    run(folder, "log", "covered", "--position", "open", "--by", "Ines", "--at", "20:00")
    run(folder, "log", "brought-in", "--fixture", "t", "--at", "21:00")
    assert run(folder, "log", "--list").output.splitlines() == [
        "   1  Fri 11 Jun 20:00  covered open, by Ines",
        "   2  Fri 11 Jun 21:00  brought-in t",
    ]
    done = run(folder, "log", "--correct", "1", "--at", "20:40", "--count", "5 of 8")
    assert done.exit_code == 0
    assert "Logged: position open covered, 5 of 8, Fri 11 June 20:40 site time." in done.output
    assert "counts as uncovered" in done.output
    done = run(folder, "log", "--withdraw", "2", "--by", "Odile", "--note", "wrong tower")
    assert done.exit_code == 0
    assert "Withdrawn: fixture t brought-in, Fri 11 June 21:00 site time." in done.output
    (entry,) = standing(folder)
    assert (entry.entry, entry.by, entry.count) == ("covered", "Ines", (5, 8))
    assert entry.at == datetime(2027, 6, 11, 19, 40, tzinfo=UTC)
    assert run(folder, "log", "--list").output.splitlines() == [
        "   1  Fri 11 Jun 20:00  covered open, by Ines; corrected by 3",
        "   2  Fri 11 Jun 21:00  brought-in t; withdrawn Fri 11 Jun 23:30 by Odile,",
        "      wrong tower",
        "   3  Fri 11 Jun 20:40  covered open, 5 of 8, by Ines",
    ]
    assert run(folder, "log", "--list", "--position", "tower").output.splitlines() == [
        "   2  Fri 11 Jun 21:00  brought-in t; withdrawn Fri 11 Jun 23:30 by Odile,",
        "      wrong tower",
    ]
    with closing(open_database(folder / "dryspell.db")) as db:
        # all four rows stay in the chain
        assert [row.id for row in sorted(stored_log(db), key=lambda r: r.id)] == [1, 2, 3, 4]


def test_a_corrected_or_withdrawn_entry_is_not_put_right_again(folder):
    run(folder, "log", "covered", "--position", "open")
    run(folder, "log", "--correct", "1", "--by", "Ines")
    assert "Entry 1 was corrected by 2. Give 2." in refused(folder, "log", "--withdraw", "1")
    run(folder, "log", "--withdraw", "2")
    assert standing(folder) == ()
    assert "Entry 2 was withdrawn." in refused(folder, "log", "--correct", "2", "--by", "Ines")
    # the row of the withdrawal is no entry, nor is one that was never made
    for number in ("3", "9", "x"):
        says = refused(folder, "log", "--withdraw", number)
        assert f"There is no log entry {number}. dryspell log --list" in says


def test_several_are_withdrawn_together_or_none(folder):
    run(folder, "log", "covered", "--fixture", "a")
    run(folder, "log", "covered", "--fixture", "b")
    refused(folder, "log", "--withdraw", "1", "--withdraw", "7")
    assert len(standing(folder)) == 2
    assert run(folder, "log", "--withdraw", "1", "--withdraw", "2").exit_code == 0
    assert standing(folder) == ()


def test_corrected_to_another_entry_it_takes_over_only_what_belongs(folder):
    run(folder, "log", "inspected", "--fixture", "a", "--result", "damp", "--earth", "0.2")
    run(folder, "log", "--correct", "1", "covered")
    (entry,) = standing(folder)
    assert (entry.entry, entry.fixture, entry.result, entry.earth_ohm) == (
        "covered",
        "a",
        None,
        None,
    )
    run(folder, "log", "--correct", "2", "--position", "tower")
    (entry,) = standing(folder)
    assert (entry.position, entry.fixture) == ("tower", None)


def test_a_correction_is_held_to_the_rules(folder):
    run(folder, "log", "covered", "--position", "open")
    assert "before load-in" in refused(folder, "log", "--correct", "1", "--at", "2027-06-09T20:00")
    assert "8 hang at Open field" in refused(folder, "log", "--correct", "1", "--count", "1 of 2")
    (entry,) = standing(folder)
    assert entry.at == NOW


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "What was done is not said."),
        (("covered", "--list"), "ENTRY does not belong to --list."),
        (("--list", "--withdraw", "1"), "--list and --withdraw are given together."),
        (("--withdraw", "1", "--at", "20:00"), "--at does not belong to --withdraw."),
        (("--correct", "1"), "What was wrong is not said."),
        (("--withdraw", "1"), "Nothing is logged yet."),
    ],
)
def test_what_asks_for_nothing_or_for_two_things(folder, arguments, says):
    assert says in refused(folder, "log", *arguments)
    assert not (folder / "dryspell.db").exists()


def test_nothing_is_logged(folder):
    assert run(folder, "log", "--list").output == "Nothing is logged.\n"
    run(folder, "log", "covered", "--position", "open")
    assert "Perhaps open is meant" in refused(folder, "log", "--list", "--position", "opne")
