"""Whatever bytes come in, the reader reads or refuses in words; it never falls over."""

from __future__ import annotations

import io
import zipfile

import openpyxl
from hypothesis import given, settings
from hypothesis import strategies as st
from rig_samples import SCENE, answered, at, fixture, node, scene

from monitor.domain import BadInputError
from monitor.imports.reading import read_rig

GOOD = scene(
    node(
        "Layer", "Stage", at(0, 0, 0), node("Truss", "LX", at(0, 0, 6000), fixture(1, at(0, 0, 0)))
    )
).encode()
PIECES = st.sampled_from(
    [
        *(b"<", b">", b"</", b"/>", b"&", b"&#0;", b"&lt;", b"{", b"}", b",", b"nan", b"1e999"),
        *(b"<Matrix>", b"</Matrix>", b"<ChildList>", b"</ChildList>", b"<Fixture>", b"</Fixture>"),
        *(b"<FixtureID/>", b"<GDTFSpec/>", b"<Position>x</Position>", b"<!DOCTYPE a>", b"\0"),
        *(b"\xff", b"\xef\xbb\xbf", b'name="', b"<?xml?>", b"<![CDATA[", b"]]>", b"<!--", b"-->"),
    ]
)


def workbook():
    book = openpyxl.Workbook()
    book.active.append(["id", "position", "height_m"])
    book.active.append([1, "truss", "=1+1"])
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


BOOK = workbook()


def mended(base):
    """`base` with pieces put in, cut out or written over."""
    cuts = st.tuples(st.integers(0, len(base)), st.integers(0, 30), PIECES | st.binary(max_size=4))

    def apply(changes):
        data = bytearray(base)
        for start, length, piece in changes:
            data[start : start + length] = piece
        return bytes(data)

    return st.lists(cuts, min_size=1, max_size=4).map(apply)


def survives(folder, name, data):
    file = folder / name
    file.write_bytes(data)
    try:
        rig = read_rig(file, answered({}))
    except BadInputError as fault:
        refused = fault.problems
    else:
        refused = ()
        assert rig.fixtures
    assert all(problem.says and problem.remedy for problem in refused)
    if refused:
        return
    for lamp in rig.fixtures:
        assert lamp.height_m is None or -2 <= lamp.height_m <= 150


def zipped(description):
    with io.BytesIO() as out:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
            package.writestr(SCENE, description)
        return out.getvalue()


@settings(max_examples=150)
@given(data=mended(GOOD))
def test_a_scene_with_anything_in_it(tmp_path_factory, data):
    survives(tmp_path_factory.getbasetemp(), "rig.mvr", zipped(data))


@settings(max_examples=150)
@given(data=mended(zipped(GOOD)))
def test_a_zip_with_anything_in_it(tmp_path_factory, data):
    survives(tmp_path_factory.getbasetemp(), "rig.mvr", data)


@settings(max_examples=100)
@given(data=mended(BOOK))
def test_a_workbook_with_anything_in_it(tmp_path_factory, data):
    survives(tmp_path_factory.getbasetemp(), "list.xlsx", data)


@settings(max_examples=150)
@given(data=mended(b'id,position,height,way up\n1,truss,"6,5 m",hung\n2,lip,7 ft,side\n'))
def test_a_list_with_anything_in_it(tmp_path_factory, data):
    survives(tmp_path_factory.getbasetemp(), "list.csv", data)
