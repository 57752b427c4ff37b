"""Rig files made by hand: heights, ways up and places from nested matrices, and what is missing.

Every expected figure is worked in a comment from the file's own numbers.
"""

from __future__ import annotations

import io
import zipfile

import pymvr
import pytest
from rig_samples import LEVEL, ON_ITS_HEAD, answered, at, fixture, node, rig_file, scene

from monitor.domain import BadInputError
from monitor.imports.rig_file import read_rig_file

QUARTER_LEFT = "{0,1,0}{-1,0,0}{0,0,1}"
"""A quarter turn anticlockwise seen from above: x goes to y, y to -x."""
BASE_TO_X = "{0,0,-1}{0,1,0}{1,0,0}"
"""A quarter turn about y: z, out of the base, goes to x."""
RAKED = "{1,0,0}{0,0.8660254,0.5}{0,-0.5,0.8660254}"
"""30 degrees about x: y rises by sin 30, z tips back toward -y."""


def read(tmp_path, description, given=None, zero_at=0.0, **others):
    file = rig_file(tmp_path / "rig.mvr", description, **others)
    return read_rig_file(file, answered(given or {}), zero_at)


def by_number(rig):
    return {one.number: one for one in rig.fixtures}


def problems(tmp_path, description, **others):
    with pytest.raises(BadInputError) as refused:
        read(tmp_path, description, **others)
    return refused.value.problems


@pytest.fixture
def nested():
    """A layer on a deck, in it a turned group, in that a truss with lamps."""
    return scene(
        node(
            "Layer",
            "Stage",
            at(0, 0, 1200),
            node(
                "GroupObject",
                "Downstage",
                at(1000, 2000, 6000, QUARTER_LEFT),
                node(
                    "Truss",
                    "LX 1",
                    at(500, 0, 300),
                    fixture(101, at(250, 0, -100)),
                    fixture(102, at(0, 0, 450, ON_ITS_HEAD)),
                    fixture(103, at(-250, 100, 0, BASE_TO_X)),
                ),
                fixture(104, at(0, 0, 0)),
            ),
            node("GroupObject", "Ramp", at(0, 0, 3000, RAKED), fixture(105, at(0, 2000, 0))),
        )
    )


def test_heights_through_nested_groups(tmp_path, nested):
    found = by_number(read(tmp_path, nested))
    # 101: in the truss z -100; +300 in the group; +6000 in the layer; +1200: 7400 mm.
    assert found["101"].height_m == pytest.approx(7.40, abs=0.001)
    # 102: 450 + 300 + 6000 + 1200 = 7950 mm.
    assert found["102"].height_m == pytest.approx(7.95, abs=0.001)
    # 104: 0 + 6000 + 1200 = 7200 mm.
    assert found["104"].height_m == pytest.approx(7.20, abs=0.001)
    # 105: y 2000 on a ramp of 30 degrees rises 2000 sin 30 = 1000; + 3000 + 1200 = 5200 mm.
    assert found["105"].height_m == pytest.approx(5.20, abs=0.001)


def test_places_in_plan_turn_with_their_group(tmp_path, nested):
    found = by_number(read(tmp_path, nested))
    # 101: x 250 + 500 = 750 along the truss; the group turns x to y: (0, 750) + (1000, 2000).
    assert found["101"].plan_m == pytest.approx((1.0, 2.75))
    # 103: (-250 + 500, 100) = (250, 100); turned: x -> y, y -> -x: (-100, 250) + (1000, 2000).
    assert found["103"].plan_m == pytest.approx((0.9, 2.25))


def test_ways_up(tmp_path, nested):
    found = by_number(read(tmp_path, nested))
    assert found["101"].stance.way_up == "hung"
    assert found["104"].stance.way_up == "hung"
    assert found["102"].stance.way_up == "standing"
    # 103: the base points to the truss's x, which the group turns to y; the other side to -y.
    assert found["103"].stance.way_up == "side"
    assert found["103"].stance.tilt_deg == pytest.approx(90)
    assert found["103"].stance.lean_deg == pytest.approx(180)
    # 105: z becomes (0, -sin 30, cos 30), so the side away from the base (0, 0.5, -0.866):
    # 150 degrees from up, toward +y.
    assert found["105"].stance.way_up == "leaning"
    assert found["105"].stance.tilt_deg == pytest.approx(150, abs=0.01)
    assert found["105"].stance.lean_deg == pytest.approx(0, abs=0.01)


def test_positions_are_the_nearest_group_or_truss(tmp_path, nested):
    found = by_number(read(tmp_path, nested))
    assert found["101"].path == ("Stage", "Downstage", "LX 1")
    assert found["104"].path == ("Stage", "Downstage")
    assert found["105"].path == ("Stage", "Ramp")


def test_a_hanging_position_that_is_named_comes_first(tmp_path):
    hung = "<Position>ABCD-1</Position>"
    aux = '<Position uuid="abcd-1" name="Front bar"/><Position uuid="abcd-2" name=""/>'
    rig = read(
        tmp_path,
        scene(
            node(
                "Layer",
                "All",
                at(0, 0, 0),
                fixture(1, at(0, 0, 5000), extra=hung),
                fixture(2, at(9000, 0, 5000), extra="<Position>abcd-2</Position>"),
            ),
            aux=aux,
        ),
    )
    assert [one.path for one in rig.fixtures] == [("Front bar",), ("All",)]


def test_a_fixture_without_a_matrix_is_not_at_the_origin(tmp_path):
    rig = read(
        tmp_path,
        scene(
            node(
                "Layer",
                "Stage",
                at(0, 0, 0),
                fixture(1, at(0, 0, 6000)),
                fixture(2),
                fixture(3, "<Matrix></Matrix>"),
            )
        ),
    )
    one, two, three = rig.fixtures
    assert one.height_m == pytest.approx(6.0)
    for missing in (two, three):
        assert (missing.placed, missing.height_m, missing.stance) == (False, None, None)
        assert missing.waits_on is None


GROUPED = scene(
    node(
        "Layer",
        "Stage",
        at(0, 0, 1000),
        node(
            "GroupObject",
            "Side",
            "",
            node("Truss", "Bar", at(0, 0, 4000), fixture(1, at(0, 0, -100))),
        ),
    )
)


def test_a_group_without_a_matrix_is_asked_and_what_is_in_it_waits(tmp_path):
    rig = read(tmp_path, GROUPED)
    (lamp,) = rig.fixtures
    assert (lamp.height_m, lamp.waits_on) == (None, "layer Stage > group Side")
    (ask,) = rig.asks
    assert (ask.kind, ask.of, ask.needed) == ("zero", "layer Stage > group Side", True)


def test_the_answer_places_the_group(tmp_path):
    rig = read(tmp_path, GROUPED, {("zero", "layer Stage > group Side"): "0.5"})
    # -100 + 4000 + 500 (answered) + 1000 = 5400 mm.
    assert rig.fixtures[0].height_m == pytest.approx(5.40)
    assert rig.fixtures[0].waits_on is None
    assert rig.asks == ()


@pytest.mark.parametrize("said", ["half", "1e9", "-5", "0,5", "nan", ""])
def test_a_wrong_answer_for_a_group_is_no_height(tmp_path, said):
    file = rig_file(tmp_path / "rig.mvr", GROUPED)
    given = answered({("zero", "layer Stage > group Side"): said})
    rig = read_rig_file(file, given)
    assert rig.fixtures[0].height_m is None
    assert given.problems[0].code == "bad-answer"


def test_a_group_with_nothing_to_place_is_not_asked(tmp_path):
    rig = read(
        tmp_path,
        scene(
            node(
                "Layer",
                "Stage",
                at(0, 0, 0),
                node("SceneObject", "Deck"),
                node("GroupObject", "Trees", "", node("SceneObject", "Tree")),
                fixture(1, at(0, 0, 3000)),
            )
        ),
    )
    assert rig.asks == ()


def test_a_layer_without_a_matrix_is_at_the_drawing_s_zero_and_that_is_told(tmp_path):
    rig = read(tmp_path, scene(node("Layer", "Stage", "", fixture(1, at(0, 0, 3000)))))
    assert rig.fixtures[0].height_m == pytest.approx(3.0)
    assert "layer-at-zero" in [note.code for note in rig.notes]


def test_the_drawing_s_zero_lies_above_the_ground(tmp_path):
    rig = read(
        tmp_path, scene(node("Layer", "Deck", at(0, 0, 0), fixture(1, at(0, 0, -500)))), zero_at=1.2
    )
    # -500 mm below a zero that is 1.2 m up: 0.7 m.
    assert rig.fixtures[0].height_m == pytest.approx(0.7)


def test_fixtures_in_a_fixture_are_placed_from_it(tmp_path):
    part = fixture(2, at(0, 0, -300), name="Part")
    whole = fixture(1, at(0, 0, 5000, ON_ITS_HEAD), extra=f"<ChildList>{part}</ChildList>")
    rig = read(tmp_path, scene(node("Layer", "Stage", at(0, 0, 0), whole)))
    # The whole stands on its head, so -300 of its own z is up: 5300 mm; and the part stands too.
    assert by_number(rig)["2"].height_m == pytest.approx(5.3)
    assert by_number(rig)["2"].stance.way_up == "standing"
    assert by_number(rig)["2"].path == ("Stage",)


def test_two_groups_of_one_name_are_told_apart_where_they_are_asked(tmp_path):
    twice = [node("GroupObject", "Side", "", fixture(number, at(0, 0, 1000))) for number in (1, 2)]
    rig = read(tmp_path, scene(node("Layer", "Stage", at(0, 0, 0), *twice)))
    assert [ask.of for ask in rig.asks] == [
        "layer Stage > group Side",
        "layer Stage > group Side (2)",
    ]


def test_screens_and_projectors_are_told_of_and_not_taken(tmp_path):
    rig = read(
        tmp_path,
        scene(
            node(
                "Layer",
                "Stage",
                at(0, 0, 0),
                fixture(1, at(0, 0, 3000)),
                node("VideoScreen", "Left", at(0, 0, 2000)),
                node("Projector", "Front", at(0, 0, 2000)),
            )
        ),
    )
    (note,) = [note for note in rig.notes if note.code == "not-read"]
    assert "1 video screens, 1 projectors" in note.says


@pytest.mark.parametrize(
    ("matrix", "says"),
    [
        ("<Matrix>{1,0,0}{0,1,0}{0,0,1}{0,0,nan}</Matrix>", "four times three numbers"),
        ("<Matrix>here</Matrix>", "four times three numbers"),
        ("<Matrix>{1,0,0}{0,1,0}{0,0,1}{0,0,1e99}</Matrix>", "ten kilometres"),
        ("<Matrix>{1,0,0}{0,1,0}{0,0,9e9}{0,0,1}</Matrix>", "thousandfold"),
        (at(0, 0, 200_000), "200.00 m above the ground"),
        (at(0, 0, -3000), "-3.00 m above the ground"),
    ],
)
def test_absurd_numbers_are_refused_with_their_place(tmp_path, matrix, says):
    (problem,) = problems(
        tmp_path, scene(node("Layer", "Stage", at(0, 0, 0), fixture(7, matrix, name="Spot")))
    )
    assert says in problem.says
    assert "layer Stage > fixture Spot" in problem.says
    assert problem.remedy


def test_every_fault_is_told_at_once(tmp_path):
    lamps = [fixture(n, at(0, 0, 10**6), name=f"L{n}") for n in range(3)]
    assert len(problems(tmp_path, scene(node("Layer", "Stage", at(0, 0, 0), *lamps)))) == 3


def test_a_drawing_in_metres_is_told_of(tmp_path):
    lamps = [fixture(n, at(n * 2, 0, 7)) for n in (1, 2, 3)]
    rig = read(tmp_path, scene(node("Layer", "Stage", at(0, 0, 0), *lamps)))
    assert "small-rig" in [note.code for note in rig.notes]


def test_what_another_program_writes(tmp_path):
    """A file as the open library's own writer makes it."""
    turned = pymvr.Matrix([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1.0, 0], [0, 0, 4250.0, 0]])
    lamp = pymvr.Fixture(name="Flood", fixture_id="21", matrix=turned)
    group = pymvr.GroupObject(name="Mast", child_list=pymvr.ChildList(fixtures=[lamp]))
    group.matrix = pymvr.Matrix([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 1000.0, 0]])
    layer = pymvr.Layer(name="Field", child_list=pymvr.ChildList(group_objects=[group]))
    writer = pymvr.GeneralSceneDescriptionWriter()
    writer.serialize_scene(pymvr.Scene(layers=pymvr.Layers([layer])))
    writer.write_mvr(tmp_path / "rig.mvr")
    rig = read_rig_file(tmp_path / "rig.mvr", answered({}))
    # 4250 + 1000 mm; the layer has no matrix.
    assert [(f.number, f.height_m, f.path) for f in rig.fixtures] == [
        ("21", 5.25, ("Field", "Mast"))
    ]


# ---------------------------------------------------------------- types


def type_file(description):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("description.xml", description)
    return data.getvalue()


TYPE = '<GDTF DataVersion="1.2"><FixtureType Name="Flood 12" LongName="{}"/></GDTF>'


def one_lamp(spec):
    return scene(node("Layer", "Stage", at(0, 0, 0), fixture(1, at(0, 0, 3000, LEVEL), spec=spec)))


@pytest.mark.parametrize(
    ("spec", "inside", "name"),
    [
        ("Lamps@Flood.gdtf", {}, "Flood"),
        ("Lamps@Flood@rev 3", {}, "Flood"),
        ("Flood", {}, "Flood"),
        (None, {}, None),
        ("Lamps@F.gdtf", {"Lamps@F.gdtf": type_file(TYPE.format("Long Flood"))}, "Long Flood"),
        ("Lamps@F", {"Lamps@F.gdtf": type_file(TYPE.format(""))}, "Flood 12"),
        ("Lämps@F", {"Lämps@F.gdtf": type_file(TYPE.format("Läng"))}, "Läng"),
        ("Lamps@F", {"Lamps@F.gdtf": type_file("<GDTF/>")}, "F"),
    ],
)
def test_the_type_is_named_by_its_file(tmp_path, spec, inside, name):
    assert read(tmp_path, one_lamp(spec), **inside).fixtures[0].type == name


def other_zip():
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as package:
        package.writestr("other.xml", "<a/>")
    return data.getvalue()


@pytest.mark.parametrize(
    "content", [b"", b"no zip", other_zip(), type_file("<GDTF"), type_file("")]
)
def test_a_type_file_that_cannot_be_read_gives_its_own_name(tmp_path, content):
    rig = read(tmp_path, one_lamp("Lamps@F"), **{"Lamps@F.gdtf": content})
    assert rig.fixtures[0].type == "F"
    assert "type-file" in [note.code for note in rig.notes]


def test_no_code_comes_from_a_drawing(tmp_path):
    """A type called IP65 is no statement of its maker's."""
    rig = read(tmp_path, one_lamp("Lamps@Flood IP65"))
    assert "code" not in rig.fixtures[0].cells
