"""Lists from spreadsheets: headings as people write them, units, formulas, and what is asked."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest
from rig_samples import answered

from monitor.domain import BadInputError
from monitor.imports.cells import Cells
from monitor.imports.lengths import metres
from monitor.imports.reading import read_rig


def csv_list(tmp_path, *lines, given=None, encoding="utf-8"):
    file = tmp_path / "list.csv"
    file.write_bytes("\n".join(lines).encode(encoding))
    return read_rig(file, answered(given or {}))


def workbook(tmp_path, *rows, title="Fixtures", more=()):
    """A workbook as the library writes it: formulas are left without a value."""
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for name, lines in more:
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append(line)
    book.save(tmp_path / "list.xlsx")
    return tmp_path / "list.xlsx"


def rewritten(file, change):
    """The workbook with one part of it changed by hand, as another program might have saved it."""
    entry = "xl/worksheets/sheet1.xml"
    with zipfile.ZipFile(file) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    parts[entry] = change(parts[entry].decode()).encode()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in parts.items():
            package.writestr(name, data)
    return file


def problems(reads, *arguments, **options):
    with pytest.raises(BadInputError) as fault:
        reads(*arguments, **options)
    return fault.value.problems


# ---------------------------------------------------------------- headings


def test_columns_of_the_show_folder(tmp_path):
    rig = csv_list(
        tmp_path,
        "id,code,position,type,height_m,serial,mount",
        "L1,IP65,lip,flood,0.4,S-77,upright",
    )
    (lamp,) = rig.fixtures
    assert (lamp.number, lamp.type, lamp.path, lamp.height_m) == ("L1", "flood", ("lip",), 0.4)
    assert lamp.cells == {"code": "IP65", "serial": "S-77", "mount": "upright"}
    assert lamp.where == "list.csv, row 2"
    assert rig.notes == ()


def test_columns_as_people_call_them(tmp_path):
    rig = csv_list(
        tmp_path,
        "Channel;Hang position;Instrument Type;IP rating;Trim height (m);Hung;Colour",
        "101;Downstage truss;Spot;IP20;7,5;hung;blue",
    )
    (lamp,) = rig.fixtures
    assert (lamp.number, lamp.path, lamp.type) == ("101", ("Downstage truss",), "Spot")
    assert lamp.height_m == pytest.approx(7.5)
    assert lamp.cells == {"code": "IP20", "mount": "inverted"}
    told = {note.code: note.says for note in rig.notes}
    assert '"Channel" is read as id' in told["columns-read"].replace("channel", "Channel")
    assert "colour" in told["column-ignored"].lower()


def test_the_exact_name_wins_over_one_like_it(tmp_path):
    rig = csv_list(tmp_path, "place,position,id", "Warehouse 4,truss,1")
    assert rig.fixtures[0].path == ("truss",)


def test_two_columns_that_could_both_be_meant_are_refused(tmp_path):
    (problem,) = problems(csv_list, tmp_path, "id,place,location", "1,here,there")
    assert problem.code == "two-columns"
    assert problem.line == 1
    assert "position" in problem.remedy


def test_a_list_without_headings_is_refused(tmp_path):
    (problem,) = problems(csv_list, tmp_path, "101,Downstage,Spot", "102,Downstage,Spot")
    assert problem.code == "no-headings"


def test_headings_without_rows(tmp_path):
    assert problems(csv_list, tmp_path, "id,position")[0].code == "no-fixtures"


def test_old_encodings_are_read_and_told(tmp_path):
    rig = csv_list(tmp_path, "id,position", "1,Bühne", encoding="cp1252")
    assert rig.fixtures[0].path == ("Bühne",)
    assert any("Windows-1252" in note.says for note in rig.notes)


# ---------------------------------------------------------------- heights


@pytest.mark.parametrize(
    ("text", "unit", "height"),
    [
        ("7.5", "m", 7.5),
        ("7,5", "m", 7.5),
        ("7500", "mm", 7.5),
        ("750 cm", None, 7.5),
        ("7.5m", "mm", 7.5),  # a unit in the cell beats that of the column
        ("24'", None, 7.315),  # 24 x 0.3048 = 7.3152
        ("24'6\"", None, 7.468),  # 294 x 0.0254 = 7.4676
        ("24 ft 6 in", None, 7.468),
        ("24", "ft", 7.315),
        ("-0.6", "m", -0.6),
        ("1,250", "mm", None),  # one and a quarter, or over a thousand?
        ("7.5", None, None),
        ("high", "m", None),
        ("7.5 furlongs", "m", None),
        ("nan", "m", None),
        ("1e3", "m", None),
    ],
)
def test_heights_as_people_write_them(text, unit, height):
    assert metres(text, unit) == (None if height is None else pytest.approx(height, abs=5e-4))


def test_numbers_without_a_unit_are_asked(tmp_path):
    lines = ("id,position,Trim", "1,truss,24", "2,truss,25 ft", "3,truss,")
    rig = csv_list(tmp_path, *lines)
    (ask,) = rig.asks
    assert (ask.kind, ask.of.lower(), ask.needed) == ("unit", "trim", True)
    assert [lamp.height_m for lamp in rig.fixtures] == [None, pytest.approx(7.62), None]
    assert [lamp.waits_on is not None for lamp in rig.fixtures] == [True, False, False]


def test_the_unit_is_taken_as_answered(tmp_path):
    given = {("unit", "trim"): "ft"}
    rig = csv_list(tmp_path, "id,position,trim", "1,truss,24", given=given)
    assert rig.fixtures[0].height_m == pytest.approx(7.315)
    assert rig.asks == ()


@pytest.mark.parametrize("height", ["200 m", "-3 m", "99999999 ft", "up there"])
def test_heights_that_cannot_be(tmp_path, height):
    (problem,) = problems(csv_list, tmp_path, "id,position,height", f"1,truss,{height}")
    assert problem.code == "bad-height"
    assert problem.line == 2


# ---------------------------------------------------------------- ways up


@pytest.mark.parametrize(
    ("said", "cells"),
    [
        ("hung", {"mount": "inverted"}),
        ("Upside down", {"mount": "inverted"}),
        ("standing", {"mount": "upright"}),
        ("on its side", {"mount": "tilted", "tilt_deg": "90"}),
        ("any", {"mount": "any"}),
        ("", {}),
    ],
)
def test_ways_up_as_people_say_them(tmp_path, said, cells):
    rig = csv_list(tmp_path, "id,position,way up", f"1,truss,{said}")
    assert rig.fixtures[0].cells == cells


def test_a_way_up_that_nobody_knows(tmp_path):
    (problem,) = problems(csv_list, tmp_path, "id,position,mount", "1,truss,dangling")
    assert problem.code == "unknown-choice"
    assert "hung" in problem.remedy


# ---------------------------------------------------------------- workbooks


def test_a_workbook_with_a_title_above_its_headings(tmp_path):
    file = workbook(
        tmp_path,
        ["Meadow festival, lighting"],
        [],
        ["Unit ID", "Position", "Type", "Height (m)", "Qty", "IP"],
        [101, "Downstage truss", "Spot", 7.5, None, "IP20"],
        [None, None, None, None, None, None],
        ["102", "Downstage truss", "Wash", 7.25, 3, "IP65"],
    )
    one, two = read_rig(file, answered({})).fixtures
    assert (one.number, one.height_m, one.cells) == ("101", 7.5, {"code": "IP20"})
    assert (two.number, two.height_m, two.cells) == ("102", 7.25, {"code": "IP65", "count": "3"})
    assert two.where == "list.xlsx, sheet Fixtures, row 6"


def test_a_formula_counts_by_the_value_it_was_saved_with(tmp_path):
    file = workbook(tmp_path, ["id", "position", "height_m"], [1, "truss", "=3+4.5"])
    # What the library writes: <f>3+4.5</f><v></v>. What a spreadsheet saves: the value behind.
    rewritten(file, lambda xml: re.sub(r"</f><v ?/?>(</v>)?", "</f><v>7.5</v>", xml))
    rig = read_rig(file, answered({}))
    assert rig.fixtures[0].height_m == pytest.approx(7.5)
    assert rig.asks == ()


def test_a_formula_saved_without_a_value_is_asked(tmp_path):
    file = workbook(
        tmp_path, ["id", "position", "height_m"], [1, "truss", "=3+4.5"], [2, "truss", 7]
    )
    rig = read_rig(file, answered({}))
    (ask,) = rig.asks
    assert (ask.kind, ask.of, ask.needed) == ("cell", "Fixtures!C2", True)
    assert "save it" in ask.remedy
    assert [lamp.waits_on for lamp in rig.fixtures] == ["Fixtures!C2", None]


def test_an_answered_cell_takes_its_place(tmp_path):
    file = workbook(tmp_path, ["id", "position", "height_m"], [1, "truss", "=3+4.5"])
    rig = read_rig(file, answered({("cell", "Fixtures!C2"): "6.8"}))
    assert rig.fixtures[0].height_m == pytest.approx(6.8)
    assert rig.fixtures[0].waits_on is None


def test_a_formula_in_a_column_that_is_not_used_is_nobody_s_business(tmp_path):
    file = workbook(tmp_path, ["id", "position", "Price"], [1, "truss", "=1+1"])
    assert read_rig(file, answered({})).asks == ()


def test_a_cell_that_shows_a_fault_is_asked(tmp_path):
    file = workbook(tmp_path, ["id", "position", "code"], [1, "truss", "#REF!"])
    (ask,) = read_rig(file, answered({})).asks
    assert "#REF!" in ask.says


def test_text_that_looks_like_a_formula_stays_text(tmp_path):
    file = workbook(tmp_path, ["id", "position", "name"], [1, "truss", "x"])
    rewritten(file, lambda xml: xml.replace(">x<", ">=HYPERLINK(1)<"))
    rig = read_rig(file, answered({}))
    assert rig.fixtures[0].name == "=HYPERLINK(1)"
    assert rig.asks == ()


def test_a_formula_that_came_to_an_empty_text_is_an_empty_cell(tmp_path):
    file = workbook(tmp_path, ["id", "position", "serial"], [1, "truss", '=IF(1,"","x")'])
    # As a spreadsheet saves it: <c r="C2" t="str"><f>...</f><v></v></c>.
    rewritten(file, lambda xml: xml.replace('<c r="C2"', '<c r="C2" t="str"'))
    rig = read_rig(file, answered({}))
    assert rig.asks == ()
    assert rig.fixtures[0].cells == {}


def test_several_sheets_that_could_be_it_are_asked(tmp_path):
    heads = [["id", "position"], [1, "truss"]]
    file = workbook(tmp_path, *heads, more=[("Cables", [["id", "position"], ["C1", "lip"]])])
    (problem,) = problems(read_rig, file, answered({}))
    assert problem.code == "which-sheet"
    assert "Fixtures, Cables" in problem.says
    chosen = read_rig(file, answered({}), sheet="cables")
    assert chosen.fixtures[0].number == "C1"
    assert problems(read_rig, file, answered({}), sheet="Lamps")[0].code == "unknown-sheet"


def test_sheets_with_something_else_are_passed_over(tmp_path):
    file = workbook(tmp_path, ["id", "position"], [1, "truss"], more=[("Notes", [["Call Ines"]])])
    assert len(read_rig(file, answered({})).fixtures) == 1


def test_a_workbook_without_a_list(tmp_path):
    assert problems(read_rig, workbook(tmp_path, ["Hello"]), answered({}))[0].code == "no-headings"


def test_a_sheet_that_says_it_is_endless_is_read_as_far_as_it_goes(tmp_path):
    file = workbook(tmp_path, ["id", "position"], [1, "truss"])
    rewritten(file, lambda xml: re.sub(r'ref="A1:[A-Z]+\d+"', 'ref="A1:XFD1048576"', xml, count=1))
    assert len(read_rig(file, answered({})).fixtures) == 1


def test_a_sheet_with_more_rows_than_anybody_has(tmp_path, monkeypatch):
    monkeypatch.setattr("monitor.imports.workbook.MOST_ROWS", 5)
    rows = [["id", "position"], *([n, "truss"] for n in range(6))]
    (problem,) = problems(read_rig, workbook(tmp_path, *rows), answered({}))
    assert problem.code == "too-large"


def test_a_row_far_below_is_not_passed_over_in_silence(tmp_path):
    file = workbook(tmp_path, ["id", "position"], [1, "truss"])
    rewritten(file, lambda xml: xml.replace('r="2"', 'r="1048576"').replace("A2", "A1048576"))
    assert problems(read_rig, file, answered({}))[0].code == "too-large"


@pytest.mark.parametrize(
    ("column", "place"),
    [(0, "S!A3"), (25, "S!Z3"), (26, "S!AA3"), (51, "S!AZ3"), (52, "S!BA3"), (701, "S!ZZ3")],
)
def test_cells_are_called_as_a_spreadsheet_calls_them(column, place):
    """Z is the 26th letter; AA follows; ZZ is the 26 + 26 x 26 = 702nd column."""
    assert Cells("S", ()).place(3, column) == place


@pytest.mark.parametrize("name", ["list.pdf", "list", "list.ods", "rig.gdtf"])
def test_a_file_of_another_kind(tmp_path, name):
    (tmp_path / name).write_bytes(b"x")
    assert problems(read_rig, tmp_path / name, answered({}))[0].code == "unknown-kind"


@pytest.mark.parametrize("name", ["none.csv", "none.xlsx", "none.mvr"])
def test_a_file_that_is_not_there(tmp_path, name):
    assert problems(read_rig, tmp_path / name, answered({}))[0].code == "missing-file"
