"""`dryspell import`: from a drawing and a list to a show that checks, by way of its questions."""

from __future__ import annotations

import csv
import importlib.util
import json
import zipfile

import openpyxl
import pytest
from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell
from monitor.show import read_show

SCENE = """<?xml version="1.0" encoding="UTF-8"?>
<GeneralSceneDescription verMajor="1" verMinor="6"><Scene><Layers>
<Layer name="Stage"><Matrix>{1,0,0}{0,1,0}{0,0,1}{0,0,0}</Matrix><ChildList>
<GroupObject name="Front truss">
<Matrix>{1,0,0}{0,1,0}{0,0,1}{0,0,6500}</Matrix><ChildList>
<Fixture name="A"><Matrix>{1,0,0}{0,1,0}{0,0,1}{0,0,-30}</Matrix>
<GDTFSpec>Lanternworks@Spot</GDTFSpec><FixtureID>1</FixtureID></Fixture>
<Fixture name="B"><Matrix>{0,0,-1}{0,1,0}{1,0,0}{0,0,0}</Matrix>
<GDTFSpec>Lanternworks@Spot</GDTFSpec><FixtureID>2</FixtureID></Fixture>
<Fixture name="C"><GDTFSpec>Lanternworks@Spot</GDTFSpec><FixtureID>3</FixtureID></Fixture>
</ChildList></GroupObject></ChildList></Layer>
</Layers></Scene></GeneralSceneDescription>
"""


@pytest.fixture
def folder(tmp_path):
    return write_show(tmp_path / "show", ["OPEN-1,IP65,open"])


@pytest.fixture
def rig(tmp_path):
    with zipfile.ZipFile(tmp_path / "rig.mvr", "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("GeneralSceneDescription.xml", SCENE)
    return tmp_path / "rig.mvr"


def run(*arguments):
    result = CliRunner().invoke(dryspell, ["import", *map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def there(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_it_says_all_and_writes_nothing(folder, rig):
    before = there(folder)
    done = run(rig, "--show", folder)
    assert done.exit_code == 1
    assert there(folder) == before
    said = " ".join(done.output.split())
    # 6500 - 30 mm, and 6500.
    assert "1 x Spot, front-truss, 6.47 m, hung: 1" in said
    assert "1 x Spot, front-truss, 6.50 m, on its side, 90 deg off standing: 2" in said
    assert "fixture C has no matrix" in said
    assert "Which protection code is on its label" in said
    assert "--north DEG" in said
    assert "Nothing of the show is changed." in said
    for line in done.output.splitlines():
        if "--show" not in line:
            assert len(line) < 80


def test_asked_answered_written_and_checked(folder, rig, tmp_path):
    questions = tmp_path / "questions.csv"
    done = run(rig, "--show", folder, "--ask", questions)
    assert done.exit_code == 1
    said = {
        ("access", "position front-truss"): "platform",
        ("code", "type Spot"): "IP54",
        ("height_m", "fixture 3"): "0.9",
        ("mount", "fixture 3"): "standing",
        ("isolate_at", "position front-truss"): "DIST, stage left",
    }
    table = list(csv.reader(questions.read_text(encoding="utf-8-sig").splitlines()))
    assert set(said) <= {(row[0], row[1]) for row in table}
    with questions.open("w", encoding="utf-8", newline="") as out:
        rows = [[k, o, said.get((k, o), answer), *more] for k, o, answer, *more in table]
        csv.writer(out).writerows(rows)
    before = there(folder)
    dry = run(rig, "--show", folder, "--answers", questions, "--north", 90)
    assert (dry.exit_code, there(folder)) == (0, before)
    assert "To write it: the same again with --write" in dry.output
    done = run(rig, "--show", folder, "--answers", questions, "--north", 90, "--write")
    assert done.exit_code == 0, done.output
    show = read_show(folder, {}).show
    assert show.positions["front-truss"].isolate_at == "DIST, stage left"
    one, two, three = (show.fixture(name) for name in "123")
    assert (one.height_m, one.mount) == (6.47, "inverted")
    # The base points to +x; the other side to -x, 270 from +y, and +y points east: 0, north.
    assert (two.mount, two.tilt_deg, two.facing_deg) == ("tilted", 90, 0)
    assert (three.height_m, three.mount) == (0.9, "upright")
    checked = CliRunner().invoke(dryspell, ["check", "--show", str(folder)])
    assert checked.exit_code in {0, 1}, checked.output
    again = run(rig, "--show", folder, "--write")
    assert again.exit_code == 0
    assert "left as they are" in again.output


def test_what_is_answered_is_written_and_the_rest_waits(folder, rig, tmp_path):
    answers = tmp_path / "answers.csv"
    answers.write_text(
        "ask,of,answer\naccess,position front-truss,platform\ncode,type Spot,IP54\n",
        encoding="utf-8",
    )
    done = run(rig, "--show", folder, "--answers", answers, "--write")
    assert done.exit_code == 1
    assert {f.id for f in read_show(folder, {}).show.fixtures} == {"OPEN-1", "1", "2"}
    assert "waiting for its height" in " ".join(done.output.split())


def test_a_workbook(folder, tmp_path):
    book = openpyxl.Workbook()
    for row in (["Unit id", "Place", "IP", "Height (ft)"], [11, "open", "IP65", 10]):
        book.active.append(row)
    book.save(tmp_path / "list.xlsx")
    done = run(tmp_path / "list.xlsx", "--show", folder, "--write")
    assert done.exit_code == 0, done.output
    # 10 ft x 0.3048 = 3.048 m
    assert read_show(folder, {}).show.fixture("11").height_m == 3.048


def test_json_says_the_same(folder, rig):
    done = run(rig, "--show", folder, "--json", "-")
    data = json.loads(done.output)
    assert data["schema"] == "dryspell.import/1"
    assert not data["written"]
    assert {row["id"] for row in data["left_out"]} == {"1", "2", "3"}
    assert all(ask["remedy"] and ask["where"] for ask in data["asks"])
    kinds = {(ask["ask"], ask["of"]) for ask in data["asks"] if ask["needed"]}
    assert ("code", "type Spot") in kinds


def test_questions_do_not_write_over_answers(folder, rig, tmp_path):
    (tmp_path / "answers.csv").write_text("ask,of,answer\n", encoding="utf-8")
    done = run(rig, "--show", folder, "--ask", tmp_path / "answers.csv")
    assert done.exit_code == 2
    assert "there already" in done.output
    assert (tmp_path / "answers.csv").read_text(encoding="utf-8") == "ask,of,answer\n"


def test_a_bomb_is_refused_with_its_reason(folder, tmp_path):
    with zipfile.ZipFile(tmp_path / "rig.mvr", "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("GeneralSceneDescription.xml", SCENE + " " * 20_000_000)
    before = there(folder)
    done = run(tmp_path / "rig.mvr", "--show", folder, "--write")
    assert done.exit_code == 2
    assert done.stderr.startswith("rig.mvr: rig.mvr is not opened:")
    assert there(folder) == before


def test_a_show_that_does_not_read_is_put_right_first(folder, rig):
    (folder / "show.toml").write_text(SHOW.replace("height_m = 2.0", ""), encoding="utf-8")
    done = run(rig, "--show", folder, "--write")
    assert done.exit_code == 2
    assert "height_m" in done.stderr


def test_without_the_extra_it_says_what_to_install(folder, rig, monkeypatch):
    find_spec = importlib.util.find_spec
    monkeypatch.setattr(
        "monitor.cli.importing.find_spec", lambda name: None if name == "pymvr" else find_spec(name)
    )
    done = run(rig, "--show", folder)
    assert done.exit_code == 3
    assert 'pip install "dryspell[rig-files]"' in done.stderr


def test_a_list_as_csv_needs_no_extra(folder, tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.cli.importing.find_spec", lambda _name: None)
    (tmp_path / "list.csv").write_text("id,code,position\nX,IP65,open\n", encoding="utf-8")
    assert run(tmp_path / "list.csv", "--show", folder).exit_code == 0


@pytest.mark.parametrize("north", ["400", "-1", "west"])
def test_a_north_that_is_no_bearing(folder, rig, north):
    assert run(rig, "--show", folder, "--north", north).exit_code == 2
