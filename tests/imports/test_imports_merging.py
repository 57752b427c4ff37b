"""A rig laid beside a show folder: what is new, what is there, what is asked, what is left out."""

from __future__ import annotations

import csv
import tomllib

import pytest
from rig_samples import ON_ITS_HEAD, answered, at, fixture, node, rig_file, scene

from monitor.domain import BadInputError
from monitor.imports.answers import read_answers, written
from monitor.imports.merging import proposal
from monitor.imports.naming import fixture_ids, position_id, position_names
from monitor.imports.reading import read_rig
from monitor.show import read_show

SHOW = """\
# The meadow. A comment that stays.
format = 1

[site]
name = "Meadow"
latitude = 52.0              # by the gate
longitude = -2.0
elevation_m = 40
timezone = "Europe/London"
terrain = "field"

[event]
load_in_at = "2027-06-10T08:00"

[[roofs]]
id = "stage"
facing_deg = 180
width_m = 12
depth_m = 8
edge_height_m = 9

[[positions]]
id = "lip"                   # in front
name = "Stage lip"
height_m = 0.4
access = "ground"
spray = { height_m = 3, distance_m = 4, bearing_deg = 90, lost_litres_per_minute = 0.5 }

# ---------------------------------------------------------------- covers
# Bags are on the truck.

[[covers]]
id = "bag"
sealed = true
in_stock = 9
"""
FIXTURES = "id,code,position,height_m\nLIP-1,IP65,lip,0.4\n"
BASE_TO_X = "{0,0,-1}{0,1,0}{1,0,0}"


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "show"
    made.mkdir()
    (made / "show.toml").write_text(SHOW, encoding="utf-8")
    (made / "fixtures.csv").write_text(FIXTURES, encoding="utf-8")
    return made


def lay(folder, file, given=None, north=None, **options):
    answers = answered(given or {})
    return proposal(read_rig(file, answers, **options), answers, read_show(folder, {}), {}, north)


def drawing(folder, *layers):
    return rig_file(folder.parent / "rig.mvr", scene(*layers))


def listed(folder, *lines):
    file = folder.parent / "list.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def asked(found):
    return {(ask.kind, ask.of): ask for ask in found.asks}


def rows(found):
    text = found.files["fixtures.csv"].decode("utf-8")
    return {row["id"]: row for row in csv.DictReader(text.splitlines())}


TRUSS = node(
    "Layer",
    "Stage",
    at(0, 0, 0),
    node(
        "GroupObject",
        "Downstage truss",
        at(0, 0, 6000),
        fixture(101, at(0, 0, -20)),
        fixture(102, at(1000, 0, -20)),
        fixture(103, at(2000, 0, 320, ON_ITS_HEAD), spec="Lanternworks@Wash"),
        fixture(104, at(3000, 0, 0, BASE_TO_X), spec="Lanternworks@Wash"),
    ),
)
TRUSS_ANSWERS = {
    ("access", "position downstage-truss"): "lowered truss",
    ("access_limit_mps", "position downstage-truss"): "12.5",
    ("code", "type Spot"): "IP20",
    ("code", "type Wash"): "IP65",
}


def test_what_a_drawing_does_not_say_is_asked_and_nothing_is_written(folder):
    found = lay(folder, drawing(folder, TRUSS))
    needed = {key for key, ask in asked(found).items() if ask.needed}
    assert needed == {
        ("access", "position downstage-truss"),
        ("code", "type Spot"),
        ("code", "type Wash"),
    }
    assert (found.rows, found.positions, dict(found.files)) == ((), (), {})
    assert {row.id for row, _ in found.left_out} == {"101", "102", "103", "104"}
    # The height and the way up are told nonetheless.
    assert found.left_out[0][0].cells["height_m"] == "5.98"
    assert found.left_out[0][0].says == "hung"
    for ask in found.asks:
        assert ask.remedy
        assert ask.where == "rig.mvr"


def test_answered_it_is_a_show_that_reads(folder):
    found = lay(folder, drawing(folder, TRUSS), TRUSS_ANSWERS, north=225)
    assert found.needed == ()
    made = rows(found)
    assert list(made) == ["LIP-1", "101", "102", "103", "104"]
    assert made["101"]["height_m"] == "5.98"  # 6000 - 20 mm
    assert made["103"]["height_m"] == "6.32"  # 6000 + 320 mm
    assert [made[n]["mount"] for n in ("101", "103", "104")] == ["inverted", "upright", "tilted"]
    # 104: base to +x, so the other side to -x: 270 clockwise from +y, which points 225: 495 - 360.
    assert (made["104"]["tilt_deg"], made["104"]["facing_deg"]) == ("90.0", "135.0")
    for name, data in found.files.items():
        (folder / name).write_bytes(data)
    show = read_show(folder, {}).show
    position = show.positions["downstage-truss"]
    assert (position.name, position.access) == ("Downstage truss", "lowered-truss")
    # Its height is that of its highest fixture: 6.32 m.
    assert position.height_m == pytest.approx(6.32)
    assert position.access_limit_mps == pytest.approx(12.5)
    assert show.fixture("104").facing_deg == pytest.approx(135)


def test_every_comment_stays_and_the_new_positions_stand_behind_the_last(folder):
    found = lay(folder, drawing(folder, TRUSS), TRUSS_ANSWERS, north=0)
    text = found.files["show.toml"].decode("utf-8")
    before, after = SHOW.split("# ------", 1)
    assert text.startswith(before.rstrip("\n") + "\n")
    assert text.endswith(f"# ------{after}")
    assert text.index('id = "downstage-truss"') < text.index("# Bags are on the truck")
    assert tomllib.loads(text)["covers"] == tomllib.loads(SHOW)["covers"]


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.rstrip("\n"),
        lambda text: text.partition("# ------")[0],
        lambda text: text + "# the end\n",
        lambda text: (
            text.partition("[[positions]]")[0].replace(
                "format = 1",
                'format = 1\npositions = [{ id = "lip", height_m = 0.4, access = "ground" }]',
            )
            + '[[covers]]\nid = "bag"\nsealed = true\n'
        ),
    ],
)
def test_however_the_file_is_written(folder, change):
    (folder / "show.toml").write_bytes(change(SHOW).encode())
    found = lay(folder, drawing(folder, TRUSS), TRUSS_ANSWERS, north=0)
    text = found.files["show.toml"].decode("utf-8")
    assert [one["id"] for one in tomllib.loads(text)["positions"]] == ["lip", "downstage-truss"]
    assert ("\r\n" in text) == ("\r\n" in change(SHOW))
    assert "A comment that stays" in text


def test_without_north_what_leans_counts_from_below_and_north_is_asked(folder):
    found = lay(folder, drawing(folder, TRUSS), TRUSS_ANSWERS)
    ask = asked(found)["north", "drawing"]
    assert not ask.needed
    assert "--north" in ask.remedy
    assert "facing_deg" not in rows(found)["104"]
    for name, data in found.files.items():
        (folder / name).write_bytes(data)
    assert read_show(folder, {}).show.fixture("104").mount == "any"


def test_north_is_asked_only_where_something_leans(folder):
    straight = node("Layer", "Mast", at(0, 0, 0), fixture(1, at(0, 0, 3000)))
    assert ("north", "drawing") not in asked(lay(folder, drawing(folder, straight)))


def test_north_may_stand_among_the_answers(folder):
    given = {**TRUSS_ANSWERS, ("north", "drawing"): "225"}
    assert rows(lay(folder, drawing(folder, TRUSS), given))["104"]["facing_deg"] == "135.0"


def test_north_just_short_of_full_circle_is_north(folder):
    # -x is 270 from +y; 89.99 + 270 = 359.99, said to a tenth: 0, and never 360.
    found = lay(folder, drawing(folder, TRUSS), TRUSS_ANSWERS, north=89.99)
    assert rows(found)["104"]["facing_deg"] == "0.0"


def test_a_missing_matrix_is_asked_for_that_fixture_alone(folder):
    layer = node("Layer", "Lip", at(0, 0, 0), fixture(1, at(0, 0, 400)), fixture(2, name="Spare"))
    given = {("code", "type Spot"): "IP65", ("access", "position lip"): "ground"}
    found = lay(folder, drawing(folder, layer), given)
    assert [row.id for row in found.rows] == ["1"]
    ((left, why),) = found.left_out
    assert (left.id, why) == ("2", "its height")
    ask = asked(found)["height_m", "fixture 2"]
    assert ask.needed
    assert "layer Lip > fixture Spare has no matrix" in ask.says
    assert not asked(found)["mount", "fixture 2"].needed
    given |= {("height_m", "fixture 2"): "1.25", ("mount", "fixture 2"): "standing"}
    made = rows(lay(folder, drawing(folder, layer), given))["2"]
    assert (made["height_m"], made["mount"]) == ("1.25", "upright")


def test_what_is_there_stays_and_what_differs_is_said(folder):
    lamps = (
        fixture("LIP-1", at(0, 0, 900)),
        fixture("LIP-2", at(0, 0, 400)),
    )
    layer = node("Layer", "Lip", at(0, 0, 0), *lamps)
    found = lay(folder, drawing(folder, layer), {("code", "type Spot"): "IP65"})
    assert found.positions == ()
    assert "show.toml" not in found.files
    assert found.there == ("LIP-1: height 0.4 m, in the file 0.9",)
    text = found.files["fixtures.csv"].decode("utf-8")
    assert text.splitlines()[1].startswith("LIP-1,IP65,lip,0.4")
    assert rows(found)["LIP-2"]["position"] == "lip"


def test_the_same_again_adds_nothing(folder):
    file = drawing(folder, TRUSS)
    for name, data in lay(folder, file, TRUSS_ANSWERS, north=225).files.items():
        (folder / name).write_bytes(data)
    again = lay(folder, file, {}, north=225)
    assert dict(again.files) == {}
    assert again.needed == ()
    assert again.there == ("101", "102", "103", "104")


def test_a_position_that_is_asked_keeps_its_fixtures_out(folder):
    given = {("code", "type Spot"): "IP20", ("code", "type Wash"): "IP65"}
    given[("access", "position downstage-truss")] = "lowered-truss"
    found = lay(folder, drawing(folder, TRUSS), given)
    assert dict(found.files) == {}
    ask = asked(found)["access_limit_mps", "position downstage-truss"]
    assert ask.needed
    assert "rigger" in ask.remedy


def test_under_a_roof_it_is_asked_how_far_in(folder):
    given = {**TRUSS_ANSWERS, ("roof", "position downstage-truss"): "stage"}
    found = lay(folder, drawing(folder, TRUSS), given, north=0)
    assert found.rows == ()
    assert asked(found)["in_from_front_m", "position downstage-truss"].needed
    given[("in_from_front_m", "position downstage-truss")] = "1"
    given[("in_from_right_m", "position downstage-truss")] = "6"
    found = lay(folder, drawing(folder, TRUSS), given, north=0)
    assert found.positions[0].values["roof"] == "stage"
    assert found.positions[0].values["in_from_right_m"] == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("kind", "of", "said"),
    [
        ("access", "position downstage-truss", "rope"),
        ("access_limit_mps", "position downstage-truss", "windy"),
        ("access_limit_mps", "position downstage-truss", "0"),
        ("roof", "position downstage-truss", "stgae"),
        ("code", "type Spot", "IP99"),
        ("north", "drawing", "361"),
    ],
)
def test_an_answer_that_will_not_do_is_refused_with_its_line(folder, kind, of, said):
    given = {**TRUSS_ANSWERS, (kind, of): said}
    with pytest.raises(BadInputError) as fault:
        lay(folder, drawing(folder, TRUSS), given)
    (problem,) = fault.value.problems
    assert problem.code == "bad-answer"
    assert (problem.file, problem.key) == ("answers.csv", "answer")
    assert problem.line is not None
    assert problem.remedy


def test_an_answer_that_nobody_asked_is_told(folder):
    given = {**TRUSS_ANSWERS, ("code", "type Spotlight"): "IP65"}
    found = lay(folder, drawing(folder, TRUSS), given, north=0)
    assert "code of type Spotlight" in " ".join(note.says for note in found.notes)


def test_a_code_that_holds_upright_only_is_pointed_at(folder):
    """IP43 is tested from above: upright it counts, and a drawing cannot know that it may."""
    given = {**TRUSS_ANSWERS, ("code", "type Wash"): "IP43"}
    said = " ".join(n.says for n in lay(folder, drawing(folder, TRUSS), given, north=0).notes)
    assert "103: the code holds only as tested" in said


def test_positions_far_apart_in_height_are_told(folder):
    layer = node("Layer", "All", at(0, 0, 0), *(fixture(n, at(0, 0, n * 1000)) for n in (1, 9)))
    said = " ".join(note.says for note in lay(folder, drawing(folder, layer)).notes)
    assert "all holds fixtures at 1 to 9 m" in said


def test_a_group_without_a_place_is_asked_once_and_nothing_about_each_of_its_fixtures(folder):
    tower = node("GroupObject", "Tower", "", *(fixture(n, at(0, 0, 9000)) for n in (1, 2)))
    layer = node("Layer", "Field", at(0, 0, 0), tower)
    found = lay(folder, drawing(folder, layer))
    needed = {key for key, ask in asked(found).items() if ask.needed}
    assert needed == {
        ("zero", "layer Field > group Tower"),
        ("access", "position tower"),
        ("code", "type Spot"),
    }
    assert not [kind for kind, _ in asked(found) if kind == "mount"]
    given = {
        ("zero", "layer Field > group Tower"): "-0.5",
        ("access", "position tower"): "platform",
        ("code", "type Spot"): "IP65",
    }
    found = lay(folder, drawing(folder, layer), given)
    # 9000 - 500 mm
    assert [row.cells["height_m"] for row in found.rows] == ["8.5", "8.5"]
    assert found.positions[0].values["height_m"] == pytest.approx(8.5)


def test_an_answered_height_is_that_of_its_position_too(folder):
    layer = node("Layer", "Mast", at(0, 0, 0), fixture(1))
    given = {("access", "position mast"): "climb", ("code", "type Spot"): "IP65"}
    assert ("height_m", "position mast") not in asked(lay(folder, drawing(folder, layer), given))
    given["height_m", "fixture 1"] = "4"
    found = lay(folder, drawing(folder, layer), given)
    assert found.positions[0].values["height_m"] == pytest.approx(4.0)


def test_a_position_of_the_show_at_another_height_is_told(folder):
    layer = node("Layer", "Lip", at(0, 0, 0), fixture(1, at(0, 0, 6000)))
    said = " ".join(note.says for note in lay(folder, drawing(folder, layer)).notes)
    assert "position lip is in the show already, at 0.4 m" in said
    assert "are at 6 m" in said


def test_an_invitation_to_run_something_is_no_cell(folder):
    layer = node("Layer", "Lip", at(0, 0, 0), fixture("=1+1", at(0, 0, 400), name="@SUM(A1)"))
    given = {("code", "type Spot"): "IP65"}
    text = lay(folder, drawing(folder, layer), given).files["fixtures.csv"].decode("utf-8")
    assert "'=1+1" in text
    assert "'@SUM" in text
    assert ",=" not in text


# ---------------------------------------------------------------- lists


def test_a_list_that_says_it_all(folder):
    file = listed(
        folder,
        "id,code,position,height_m,access,hung,fed_by",
        "D1,IP44,Mast,0.5,ladder,standing,",
        "M1,IP65,Mast,6,ladder,hung,D1",
    )
    found = lay(folder, file)
    assert found.needed == ()
    made = rows(found)
    assert (made["M1"]["mount"], made["M1"]["fed_by"]) == ("inverted", "D1")
    assert found.positions[0].values["height_m"] == pytest.approx(6.0)


def test_heights_of_a_list_that_has_none_are_asked_by_position(folder):
    file = listed(folder, "id,code,position", "M1,IP65,Mast", "M2,IP65,Mast")
    found = lay(folder, file)
    assert ("height_m", "position mast") in asked(found)
    given = {("height_m", "position mast"): "6", ("access", "position mast"): "climb"}
    found = lay(folder, file, given)
    assert found.positions[0].values["height_m"] == pytest.approx(6.0)
    assert rows(found)["M1"]["height_m"] == ""


def test_one_height_for_all_but_one_row_is_the_position_s(folder):
    file = listed(folder, "id,code,position,height_m", "M1,IP65,Mast,6", "M2,IP65,Mast,")
    found = lay(folder, file, {("access", "position mast"): "climb"})
    assert found.needed == ()


def test_several_heights_leave_a_row_without_one_asked(folder):
    file = listed(
        folder, "id,code,position,height_m", "M1,IP65,Mast,6", "M2,IP65,Mast,4", "M3,IP65,Mast,"
    )
    found = lay(folder, file, {("access", "position mast"): "climb"})
    assert ("height_m", "fixture M3") in asked(found)
    assert [row.id for row, _ in found.left_out] == ["M3"]


def test_what_is_fed_by_something_left_out_waits_with_it(folder):
    file = listed(folder, "id,code,position,fed_by", "D1,,lip,", "M1,IP65,lip,D1", "M2,IP65,lip,M1")
    found = lay(folder, file)
    assert [(row.id, why) for row, why in found.left_out] == [
        ("D1", "its code"),
        ("M1", "D1, which feeds it"),
        ("M2", "M1, which feeds it"),
    ]


def test_a_row_without_a_position_is_asked(folder):
    file = listed(folder, "id,code,position", "M1,IP65,")
    found = lay(folder, file)
    assert ("position", "fixture M1") in asked(found)
    found = lay(folder, file, {("position", "fixture M1"): "lip"})
    assert rows(found)["M1"]["position"] == "lip"


def test_a_fault_of_a_row_is_told_where_the_list_has_it(folder):
    file = listed(
        folder,
        "id,code,position,condition,cover",
        "M1,IP65,lip,hire,bag",
        "M2,IP6Q,lip,hire,bag",
        "M3,IP65,lip,fine,bagg",
    )
    with pytest.raises(BadInputError) as fault:
        lay(folder, file)
    told = {(p.code, p.file) for p in fault.value.problems}
    assert told == {
        ("code-unreadable", "list.csv, row 3"),
        ("unknown-choice", "list.csv, row 4"),
        ("unknown-cover", "list.csv, row 4"),
    }
    assert all(p.says.startswith(("M2:", "M3:")) for p in fault.value.problems)


def test_ways_to_reach_a_place_that_differ_are_asked(folder):
    file = listed(
        folder, "id,code,position,height_m,access", "M1,IP65,Mast,6,climb", "M2,IP65,Mast,6,ladder"
    )
    ask = asked(lay(folder, file))["access", "position mast"]
    assert "climb, ladder" in ask.says


@pytest.mark.parametrize(
    "before",
    [
        "id,code,position\nLIP-1,IP65,lip\n",
        "id;code;position;height_m\r\nLIP-1;IP65;lip;0,4\r\n",
        "\n\nid,code,position,height_m\n\nLIP-1,IP65,lip,0.4",
        'Id,Code,Position,Height m\nLIP-1,IP65,"lip",0.4\n',
        "\ufeffid,code,position\nLIP-1,IP65,lip\n",
    ],
)
def test_rows_are_added_as_the_file_is_written(folder, before):
    (folder / "fixtures.csv").write_bytes(before.encode("utf-8"))
    was = read_show(folder, {}).show.fixtures
    file = listed(folder, "id,code,position,height_m,owner", 'M1,IP65,lip,1.5,"Pennywort, hire"')
    found = lay(folder, file)
    (folder / "fixtures.csv").write_bytes(found.files["fixtures.csv"])
    show = read_show(folder, {}).show
    assert show.fixtures[:1] == was
    assert show.fixture("M1").height_m == pytest.approx(1.5)
    assert show.fixture("M1").owner == "Pennywort, hire"


# ---------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("name", "position"),
    [
        ("Downstage truss", "downstage-truss"),
        ("LX 1 (front)", "lx-1-front"),
        ("  -- ", None),
        ("Bühne_2.Zug", "bühne-2.zug"),
        ("../../etc", "etc"),
        ("a" * 90, "a" * 60),
    ],
)
def test_positions_are_called_as_a_show_folder_can(name, position):
    assert position_id(name) == position


def test_positions_of_one_name_take_their_surroundings_along():
    names = position_names([("Stage", "Left", "Truss"), ("Field", "Truss"), ("Field", "Mast")])
    assert list(names.values()) == ["Left Truss", "Field Truss", "Mast"]


def test_names_that_come_to_the_same_are_numbered():
    assert list(position_names([("LX 1",), ("lx-1",)]).values()) == ["LX 1", "lx-1 2"]


def test_every_fixture_has_an_id_of_its_own(folder):
    lamps = [
        fixture(7, at(0, 0, 1000)),
        fixture(7, at(0, 0, 1000)),
        fixture(0, at(0, 0, 1000), name="Blinder"),
        fixture(None, at(0, 0, 1000), name="Blinder"),
        fixture(None, at(0, 0, 1000), name="7-1"),
        fixture(9, at(0, 0, 1000)),
    ]
    rig = read_rig(drawing(folder, node("Layer", "Lip", at(0, 0, 0), *lamps)), answered({}))
    ids, told = fixture_ids(rig.fixtures, {})
    assert ids == ["7-1", "7-2", "Blinder-1", "Blinder-2", "7-1-2", "9"]
    assert len(told) == 2


# ---------------------------------------------------------------- questions there and back


def test_questions_go_out_and_answers_come_back(folder):
    found = lay(folder, drawing(folder, TRUSS))
    table = list(csv.reader(written(found.asks).decode("utf-8-sig").splitlines()))
    assert table[0][:3] == ["ask", "of", "answer"]
    said = {("code", "type Spot"): "IP20", ("code", "type Wash"): "IP65"}
    filled = [[k, o, said.get((k, o), ""), *rest] for k, o, _, *rest in table[1:]]
    text = "\r\n".join(";".join(f'"{cell}"' for cell in row) for row in [table[0], *filled])
    back = read_answers(text.encode("cp1252"), "answers.csv")
    assert back.of("code", "type Spot") == "IP20"
    assert back.of("Code", "type  Wash") == "IP65"
    assert back.of("access", "position downstage-truss") is None
    assert back.unused() == []


def test_a_name_like_a_formula_is_the_same_when_it_comes_back(folder):
    file = listed(folder, "id,position,type", "M1,lip,=cmd")
    found = lay(folder, file)
    table = written(found.asks).decode("utf-8-sig")
    assert "type =cmd" in table
    answers = read_answers(table.replace("type =cmd,,", "type =cmd,IP65,").encode(), "a.csv")
    assert answers.of("code", "type =cmd") == "IP65"


def test_two_answers_to_one_question(folder):
    answers = read_answers(b"ask,of,answer\ncode,type A,IP20\ncode,type A,IP65\n", "a.csv")
    assert answers.problems[0].code == "two-answers"
    assert answers.problems[0].line == 3


def test_a_table_that_is_no_table_of_answers():
    with pytest.raises(BadInputError) as fault:
        read_answers(b"question,reply\na,b\n", "a.csv")
    assert {problem.key for problem in fault.value.problems} == {"ask", "of", "answer"}
