"""Files that were made to harm: bombs, entities, ways out of the archive, and mere wrecks."""

from __future__ import annotations

import copy
import io
import os
import struct
import zipfile

import pytest
from rig_samples import SCENE, answered, at, fixture, node, rig_file, scene

from monitor.domain import BadInputError
from monitor.imports import archive
from monitor.imports.rig_file import read_rig_file
from monitor.imports.workbook import read_workbook

LAMP = scene(node("Layer", "Stage", at(0, 0, 0), fixture(1, at(0, 0, 3000))))
LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE lol [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9))
    + "]>{}"
)


def refused(file):
    """The one problem for which a rig file is not read."""
    with pytest.raises(BadInputError) as fault:
        read_rig_file(file, answered({}))
    (problem,) = fault.value.problems
    assert problem.says
    assert problem.remedy
    assert problem.file
    return problem


def zipped(entries, method=zipfile.ZIP_DEFLATED):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", method) as package:
        for name, content in entries.items():
            package.writestr(name, content)
    return data.getvalue()


def put(tmp_path, data, name="rig.mvr"):
    file = tmp_path / name
    file.write_bytes(data)
    return file


# ---------------------------------------------------------------- bombs


def test_a_scene_of_blanks_is_never_unpacked(tmp_path, monkeypatch):
    file = rig_file(tmp_path / "rig.mvr", LAMP + " " * 30_000_000)
    assert file.stat().st_size < 100_000
    monkeypatch.setattr(zipfile.ZipFile, "open", None)
    assert refused(file).code == "zip-bomb"


def test_a_scene_longer_than_any_rig(tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.imports.rig_file._MOST_SCENE", 10_000)
    noise = os.urandom(9_000).hex()
    assert refused(rig_file(tmp_path / "rig.mvr", f"{LAMP}<!--{noise}-->")).code == "zip-bomb"


def test_more_files_than_any_rig(tmp_path):
    data = zipped({SCENE: LAMP, **{f"{n}.txt": "" for n in range(archive.MOST_FILES)}})
    assert "5001 files" in refused(put(tmp_path, data)).says


def test_models_that_unpack_to_gigabytes_are_never_opened(tmp_path):
    """Sizes as a bomb declares them: only what the list of contents says is looked at."""
    data = bytearray(zipped({SCENE: LAMP, "stage.glb": "x"}, zipfile.ZIP_STORED))
    record = data.rindex(b"PK\x01\x02")
    data[record + 24 : record + 28] = struct.pack("<I", 4_200_000_000)
    assert refused(put(tmp_path, data)).code == "zip-bomb"


def test_files_over_one_another(tmp_path):
    """Many entries that share one packed body: small on disk, endless unpacked."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr(SCENE, LAMP)
        package.writestr("a.bin", os.urandom(50_000))
        for n in range(5):
            twin = copy.copy(package.getinfo("a.bin"))
            twin.filename = f"twin{n}.bin"
            package.filelist.append(twin)
    assert "over one another" in refused(put(tmp_path, data.getvalue())).says


def test_a_scene_that_lies_about_its_length(tmp_path):
    """Declared short, packed long: no more is taken than was declared, and that does not fit."""
    data = bytearray(zipped({SCENE: LAMP + " " * 200_000}))
    record = data.rindex(b"PK\x01\x02")
    data[record + 24 : record + 28] = struct.pack("<I", 500)
    assert refused(put(tmp_path, data)).code == "broken-archive"


def test_a_bomb_inside_a_type_file(tmp_path):
    nested = zipped({"description.xml": "<GDTF>" + " " * 30_000_000 + "</GDTF>"})
    problem = refused(rig_file(tmp_path / "rig.mvr", LAMP, **{"Lanternworks@Spot.gdtf": nested}))
    assert problem.code == "zip-bomb"
    assert "Spot.gdtf" in problem.file


def test_zips_within_zips_are_not_opened(tmp_path):
    """A type file holds nothing that is opened but its description, however deep it nests."""
    inner = zipped({"x": "y" * 1000})
    for _ in range(20):
        inner = zipped({"inner.zip": inner})
    nested = zipped({"description.xml": "<GDTF/>", "inner.zip": inner})
    file = rig_file(tmp_path / "rig.mvr", LAMP, **{"Lanternworks@Spot.gdtf": nested})
    assert read_rig_file(file, answered({})).fixtures[0].type == "Spot"


# ---------------------------------------------------------------- entities


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "utf-16-be"])
def test_entities_in_the_scene(tmp_path, encoding):
    text = LAUGHS.replace('version="1.0"', f'version="1.0" encoding="{encoding}"')
    text = text.format(LAMP.partition("?>")[2].replace("Stage", "&j;"))
    assert refused(rig_file(tmp_path / "rig.mvr", text.encode(encoding))).code in {
        "unsafe-xml",
        "broken-xml",  # an encoding that the reader does not take at all
    }


def test_a_bare_document_type(tmp_path):
    text = LAMP.replace("<General", "<!DOCTYPE GeneralSceneDescription><General", 1)
    assert refused(rig_file(tmp_path / "rig.mvr", text)).code == "unsafe-xml"


def test_an_entity_that_reads_a_file(tmp_path):
    secret = put(tmp_path, b"correct horse", "secret.txt")
    text = f'<!DOCTYPE x [<!ENTITY s SYSTEM "file://{secret}">]>' + LAMP.partition("?>")[2]
    problem = refused(rig_file(tmp_path / "rig.mvr", text.replace("Stage", "&s;")))
    assert problem.code == "unsafe-xml"
    assert "horse" not in f"{problem.says}{problem.remedy}"


def test_entities_in_a_type_file(tmp_path):
    nested = zipped({"description.xml": LAUGHS.format("<GDTF>&j;</GDTF>")})
    file = rig_file(tmp_path / "rig.mvr", LAMP, **{"Lanternworks@Spot.gdtf": nested})
    assert refused(file).code == "unsafe-xml"


def test_groups_without_end(tmp_path):
    deep = fixture(1, at(0, 0, 0))
    for n in range(200):
        deep = node("Truss", f"t{n}", at(0, 0, 1), deep)
    problem = refused(rig_file(tmp_path / "rig.mvr", scene(node("Layer", "S", "", deep))))
    assert "deep" in problem.says


def test_trusses_in_trusses_take_no_time(tmp_path):
    """A reader that goes twice into each would be at it for hours: 2 to the power of 25."""
    deep = fixture(1, at(0, 0, 0))
    for n in range(25):
        deep = node("Truss", f"t{n}", at(0, 0, 100), deep)
    file = rig_file(tmp_path / "rig.mvr", scene(node("Layer", "S", at(0, 0, 0), deep)))
    # 25 times 100 mm.
    assert read_rig_file(file, answered({})).fixtures[0].height_m == pytest.approx(2.5)


def test_more_elements_than_any_rig(tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.imports.plain_xml.MOST_ELEMENTS", 20)
    lamps = [fixture(n, at(0, 0, 1000)) for n in range(20)]
    file = rig_file(tmp_path / "rig.mvr", scene(node("Layer", "S", at(0, 0, 0), *lamps)))
    assert "more than 20 elements" in refused(file).says


def test_more_fixtures_than_any_rig(tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.imports.rig_file.MOST_FIXTURES", 3)
    lamps = [fixture(n, at(0, 0, 1000)) for n in range(4)]
    file = rig_file(tmp_path / "rig.mvr", scene(node("Layer", "S", at(0, 0, 0), *lamps)))
    assert refused(file).code == "too-many-fixtures"


# ---------------------------------------------------------------- ways out


@pytest.mark.parametrize(
    "name",
    [
        "../outside.xml",
        "a/../../outside.xml",
        "..\\outside.xml",
        "a\\..\\..\\outside.xml",
        "/etc/outside",
        "\\\\host\\share",
        "C:\\outside.xml",
    ],
)
def test_a_name_that_leads_out_of_the_archive(tmp_path, name):
    problem = refused(put(tmp_path, zipped({SCENE: LAMP, name: "x"})))
    assert problem.code == "path-out-of-archive"
    assert [path.name for path in tmp_path.iterdir()] == ["rig.mvr"]


def test_points_in_a_name_lead_nowhere(tmp_path):
    file = put(tmp_path, zipped({SCENE: LAMP, "stage..v2.glb": "x", "models/a.glb": "x"}))
    assert len(read_rig_file(file, answered({})).fixtures) == 1


def test_a_type_file_named_outside_is_not_looked_for(tmp_path):
    put(tmp_path, b"x", "outside.gdtf")
    text = scene(node("Layer", "S", at(0, 0, 0), fixture(1, at(0, 0, 0), spec="../outside.gdtf")))
    rig = read_rig_file(rig_file(tmp_path / "rig.mvr", text), answered({}))
    assert rig.fixtures[0].type == "../outside"


# ---------------------------------------------------------------- wrecks


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "broken-archive"),
        (b"PK\x03\x04 half a file", "broken-archive"),
        (b"\0" * 500, "broken-archive"),
        (zipped({"other.xml": "<a/>"}), "no-scene"),
        (zipped({SCENE: "<a/>"}), "no-scene"),
        (zipped({SCENE: "<GeneralSceneDescription/>"}), "no-scene"),
        (zipped({SCENE: ""}), "broken-xml"),
        (zipped({SCENE: LAMP[:-20]}), "broken-xml"),
        (zipped({SCENE: LAMP.replace("UTF-8", "no-such")}), "broken-xml"),
        (zipped({SCENE: LAMP.encode() + b"\xff"}), "broken-xml"),
        (zipped({SCENE: scene()}), "no-fixtures"),
        (zipped({SCENE: LAMP}, zipfile.ZIP_LZMA), "broken-archive"),
        (zipped({SCENE: LAMP})[:-60], "broken-archive"),
    ],
)
def test_a_wreck_is_told_as_one(tmp_path, data, code):
    assert refused(put(tmp_path, data)).code == code


def test_a_body_that_does_not_unpack(tmp_path):
    data = bytearray(zipped({SCENE: LAMP}))
    start = data.index(SCENE.encode()) + len(SCENE)
    data[start + 20 : start + 40] = b"\xff" * 20
    assert refused(put(tmp_path, data)).code == "broken-archive"


def test_a_locked_file(tmp_path):
    data = bytearray(zipped({SCENE: LAMP}))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(signature) + offset] |= 1
    assert refused(put(tmp_path, data)).code == "locked-archive"


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_two_scenes(tmp_path):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as package:
        package.writestr(SCENE, LAMP)
        package.writestr(SCENE, scene())
    assert "twice" in refused(put(tmp_path, data.getvalue())).says


def test_no_file_at_all(tmp_path):
    assert refused(tmp_path / "none.mvr").code == "missing-file"


def test_a_scene_that_ends_in_zeros_is_read(tmp_path):
    file = rig_file(tmp_path / "rig.mvr", LAMP + "\0")
    assert len(read_rig_file(file, answered({})).fixtures) == 1


# ---------------------------------------------------------------- the same of workbooks

TYPES = '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>'


@pytest.mark.parametrize(
    ("entries", "code"),
    [
        ({"[Content_Types].xml": TYPES, "xl/workbook.xml": LAUGHS.format("<a/>")}, "unsafe-xml"),
        ({"[Content_Types].xml": TYPES, "xl/big.xml": "<a>" + " " * 20_000_000}, "zip-bomb"),
        ({"[Content_Types].xml": TYPES, "../up.xml": "<a/>"}, "path-out-of-archive"),
        ({"[Content_Types].xml": TYPES}, "broken-workbook"),
        ({"x.xml": "<a/>"}, "broken-workbook"),
    ],
)
def test_workbooks_made_to_harm(tmp_path, entries, code):
    file = put(tmp_path, zipped(entries), "list.xlsx")
    with pytest.raises(BadInputError) as fault:
        read_workbook(file)
    assert fault.value.problems[0].code == code


def test_a_workbook_of_an_older_kind(tmp_path):
    file = put(tmp_path, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "list.xlsx")
    with pytest.raises(BadInputError) as fault:
        read_workbook(file)
    assert fault.value.problems[0].code == "broken-archive"
