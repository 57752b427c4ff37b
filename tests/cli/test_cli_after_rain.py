"""Inspections with readings, what to look at, what was found, and what is declared open."""

from __future__ import annotations

import csv
import json
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.service.polling import Asking, poll_all
from monitor.service.watched import FolderWatch
from monitor.store.database import open_database
from monitor.store.declared import declared
from monitor.store.history import log_entries

LOAD_IN = datetime(2027, 6, 10, 7, tzinfo=UTC)
FEED = '\n[[feeds]]\nsheet = "record"\nfile = "weather.csv"\n'
ROWS = [
    "a,IP20,open,dimmer,upright,hire,1",
    "b,IP20,open,dimmer,upright,hire,3",
    "c,IP44,open,flood,any,hire,1",
]


def record():
    """2 mm in the hour from 08:00 UTC, nothing after it; calm, saturated air dries nothing."""
    rows = ["starts_at,minutes,rain_mm,wind_mps,gust_mps,wind_from_deg,temp_c,dew_point_c"]
    for hour in range(48):
        at = LOAD_IN + timedelta(hours=hour)
        rows.append(f"{at:%Y-%m-%dT%H:%MZ},60,{2 if hour == 1 else 0},0,1,0,15,5")
    return "\n".join(rows) + "\n"


@pytest.fixture
def folder(tmp_path, time_machine):
    """A show on which 2 mm fell in calm air; it is 12:00 UTC, 13:00 on site."""
    time_machine.move_to(datetime(2027, 6, 10, 12, tzinfo=UTC), tick=False)
    made = write_show(
        tmp_path / "show",
        ROWS,
        headings="id,code,position,type,mount,condition,count",
        show=SHOW + FEED,
    )
    (made / "weather.csv").write_text(record(), encoding="utf-8")
    watch = FolderWatch(made, {})
    with closing(open_database(made / "dryspell.db")) as db:
        show = watch.current.show
        poll_all(db, Asking(show, made, watch.secret, lambda: LOAD_IN, lambda: 0.0))
    return made


def run(folder, *arguments):
    result = CliRunner().invoke(dryspell, [*arguments, "--show", str(folder)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def stored(folder):
    with closing(open_database(folder / "dryspell.db")) as db:
        return log_entries(db)


# ---------------------------------------------------------------- dryspell inspect


def test_the_queue_is_printed_in_order_and_narrow(folder):
    # a record counts as it is, without the margin of forecasts. IP20: 2 / 0.5 = 400 %; IP44
    # with mount any and condition hire: 2 / (0.5 x 50) = 8 %
    done = run(folder, "inspect")
    lines = done.output.splitlines()
    assert max(len(line) for line in lines) < 80
    assert lines[0] == "5 fixtures to look at, in this order; 4 of them before they are used again."
    assert lines[2:4] == ["  1   400%  Open field                4 dimmer, IP20", "     a, b"]
    assert "  2     8%  Open field                1 flood, IP44" in lines
    assert "Only a result of dry takes it off this list." in " ".join(lines)
    assert "not work at height again and not power again" in " ".join(lines)
    assert done.exit_code == 0


def test_a_long_type_hides_no_code(folder):
    names = (folder / "fixtures.csv").read_text(encoding="utf-8")
    long = "moving profile on a yoke of its own and base up"
    (folder / "fixtures.csv").write_text(names.replace("dimmer", long), encoding="utf-8")
    lines = run(folder, "inspect").output.splitlines()
    assert max(len(line) for line in lines) < 80
    assert [line.split()[-1] for line in lines if line.endswith("IP20")] == ["IP20"]


def test_the_queue_as_json(folder):
    run(
        folder, "log", "inspected", "--fixture", "b", "--result", "water-inside", "--earth", "0,31",
        "--insulation", "0.6",
    )  # fmt: skip
    data = json.loads(run(folder, "inspect", "--json", "-").output)
    assert data["schema"] == "dryspell.inspect/1"
    assert [(i["fixture"], i["seen_wet"], i["needed"]) for i in data["queue"]] == [
        ("b", True, True),
        ("a", False, True),
        ("c", False, False),
    ]
    assert data["queue"][0]["baseline"]["earth_ohm"] == 0.31
    assert data["queue"][0]["used"] == 4.0


def test_only_dry_takes_it_off(folder):
    for result in ("damp", "not-tested", "water-inside"):
        run(folder, "log", "inspected", "--fixture", "a", "--result", result)
        assert "     a" in run(folder, "inspect").output
    run(folder, "log", "inspected", "--position", "open", "--result", "dry")
    assert run(folder, "inspect").output == (
        "Nothing stands in the inspection queue on these figures. Look all the same.\n"
    )


def test_nothing_watched_yet(tmp_path):
    bare = write_show(tmp_path / "bare", ["a,IP20,open"])
    for command in ("inspect", "results"):
        done = run(bare, command)
        assert done.exit_code == 3
        assert "nothing has been watched or logged" in done.output
    assert not (bare / "dryspell.db").exists()


def test_before_any_weather_is_read_no_use_is_claimed(tmp_path, time_machine):
    time_machine.move_to(datetime(2027, 6, 10, 12, tzinfo=UTC), tick=False)
    made = write_show(tmp_path / "show", ["a,IP20,open", "b,IP20,open"])
    run(made, "log", "inspected", "--fixture", "a", "--result", "damp")
    done = run(made, "inspect")
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert said.startswith("The weather since the gear went out is not known here")
    assert "1 ? Open field 1 fixture, IP20 a found damp, Thu 13:00" in said
    assert "%" not in said
    data = json.loads(run(made, "inspect", "--json", "-").output)
    assert data["weather_known"] is False
    assert [item["used"] for item in data["queue"]] == [None]
    run(made, "log", "inspected", "--fixture", "a", "--result", "dry")
    assert "Nothing that is logged asks for an inspection." in run(made, "inspect").output
    assert "Nothing stands in the inspection queue" not in run(made, "inspect").output
    # before load-in nothing is out, and there is nothing to know
    time_machine.move_to(datetime(2027, 6, 10, 6, tzinfo=UTC), tick=False)
    assert run(made, "inspect").exit_code == 0


# ---------------------------------------------------------------- readings


def test_readings_are_kept_and_answered(folder):
    done = run(
        folder, "log", "inspected", "--fixture", "a", "--result", "dry", "--earth", "0.31",
        "--insulation", "250", "--by", "Ines",
    )  # fmt: skip
    assert "a: earth 0.31 ohm; insulation 250 megohm. Kept as its first readings." in done.output
    assert "over the 0.1 ohm often used" in done.output
    assert "Is that right?" in done.output
    (entry,) = stored(folder)
    assert (entry.earth_ohm, entry.insulation_mohm, entry.by) == (0.31, 250.0, "Ines")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["cleaned", "--fixture", "a", "--earth", "0.1"], "--earth is given with cleaned"),
        (
            ["inspected", "--position", "open", "--result", "dry", "--insulation", "9"],
            "A reading is of one fixture",
        ),
        (["inspected", "--fixture", "a", "--result", "dry", "--earth", "low"], '--earth is "low"'),
        (["inspected", "--fixture", "a", "--result", "dry", "--earth", "-1"], '--earth is "-1"'),
        (["inspected", "--fixture", "a", "--result", "dry", "--earth", "nan"], '--earth is "nan"'),
        (
            ["inspected", "--fixture", "a", "--result", "dry", "--insulation", "1e12"],
            '--insulation is "1e12"',
        ),
    ],
)
def test_what_is_no_reading_is_refused(folder, arguments, says):
    done = run(folder, "log", *arguments)
    assert done.exit_code == 2
    assert says in done.output
    assert stored(folder) == ()


# ---------------------------------------------------------------- dryspell results


def test_results_by_type_with_what_the_gear_had_taken(folder, tmp_path):
    # a was covered by nobody; 08:30 UTC is half of the wet hour: 1 mm, 1 / 0.5 = 200 %
    run(
        folder, "log", "inspected", "--fixture", "a", "--result", "damp", "--at",
        "2027-06-10T09:30", "--earth", "0.2", "--by", "Ines",
    )  # fmt: skip
    # b at 10:00 UTC after all of it, dry; and again at 11:00: nothing since
    for hour in ("11:00", "12:00"):
        run(
            folder, "log", "inspected", "--fixture", "b", "--result", "dry", "--at",
            f"2027-06-10T{hour}",
        )  # fmt: skip
    out = tmp_path / "results.csv"
    done = run(folder, "results", "--csv", str(out))
    lines = done.output.splitlines()
    assert lines[1].split() == ["dimmer,", "IP20", "3", "0", "%", "to", "400", "%"]
    assert lines[2] == "     2 dry, 1 damp"
    assert "not a finding" in " ".join(lines)
    assert max(len(line) for line in lines) < 80 + len(str(out))
    rows = list(csv.DictReader(out.read_text(encoding="utf-8").splitlines()))
    keys = ("at", "fixture", "result", "used", "wetting_mm", "earth_ohm", "count", "weather_known")
    assert [tuple(row[k] for k in keys) for row in rows] == [
        ("2027-06-10T09:30+01:00", "a", "damp", "2.0", "1.0", "0.2", "1", "yes"),
        ("2027-06-10T11:00+01:00", "b", "dry", "4.0", "2.0", "", "3", "yes"),
        ("2027-06-10T12:00+01:00", "b", "dry", "0.0", "0.0", "", "3", "yes"),
    ]
    # who did it is nobody's business in raw material
    assert "Ines" not in out.read_text(encoding="utf-8")


def test_what_was_found_of_some_only_is_said_to_be_that(folder):
    # "dry" of one of three sets nothing back and is no dry result of the row
    run(folder, "log", "inspected", "--fixture", "b", "--result", "dry", "--count", "1 of 3")
    lines = run(folder, "results").output.splitlines()
    assert lines[1].split() == ["dimmer,", "IP20", "1", "400", "%"]
    assert lines[2] == "     1 dry in part"


def test_a_name_that_a_sheet_would_calculate_is_text_in_the_csv(folder, tmp_path):
    names = (folder / "fixtures.csv").read_text(encoding="utf-8")
    (folder / "fixtures.csv").write_text(names.replace("dimmer", "=1+1"), encoding="utf-8")
    run(folder, "log", "inspected", "--fixture", "a", "--result", "damp")
    out = tmp_path / "results.csv"
    run(folder, "results", "--csv", str(out))
    (row,) = csv.DictReader(out.read_text(encoding="utf-8").splitlines())
    assert row["type"] == "'=1+1"


def test_two_inspections_of_one_moment_are_answered_each_by_its_own_figures(folder):
    same = ("log", "inspected", "--fixture", "a", "--result", "damp", "--at", "2027-06-10T12:00")
    assert "a: earth 0.31 ohm." in run(folder, *same, "--earth", "0.31").output
    assert "a: earth 0.08 ohm" in run(folder, *same, "--earth", "0.08").output


def test_no_results_yet(folder):
    assert run(folder, "results").output == "No inspection is logged.\n"


# ---------------------------------------------------------------- dryspell declare


def test_declared_kept_and_listed(folder):
    done = run(folder, "declare", "height", "--by", "Odile", "--position", "open")
    assert done.exit_code == 0
    assert done.output.startswith(
        "Kept: work at height, position open, Thu 10 June 13:00 site time, by Odile.\n"
    )
    assert "The monitor opens nothing" in done.output
    run(folder, "declare", "power", "--by", "Tomas", "--at", "2027-06-10T12:30")
    assert run(folder, "declare").output.splitlines() == [
        "Power, the whole site: declared 12:30 by Tomas.",
        "Work at height, Open field: declared 13:00 by Odile.",
    ]
    with closing(open_database(folder / "dryspell.db")) as db:
        assert [d.what for d in declared(db)] == ["power", "height"]


def test_declared_against_what_is_known_it_is_kept_and_asks_for_attention(folder):
    run(folder, "log", "inspected", "--fixture", "a", "--result", "water-inside")
    done = run(folder, "declare", "power", "--by", "Odile")
    assert done.exit_code == 1
    assert "Water inside, isolated until found dry: a." in done.output
    assert run(folder, "declare").output == "Power, the whole site: declared 13:00 by Odile.\n"


def test_a_declaration_is_somebodys(folder):
    done = run(folder, "declare", "power")
    assert done.exit_code == 2
    assert "Nobody declares it." in done.output
    assert "--by NAME" in done.output


def test_a_refused_declaration_leaves_no_database(tmp_path):
    bare = write_show(tmp_path / "bare", ["a,IP20,open"])
    assert run(bare, "declare", "power", "--by", "O", "--position", "nowhere").exit_code == 2
    assert run(bare, "declare").output == "Nothing is declared.\n"
    assert not (bare / "dryspell.db").exists()
