"""A table pasted from a spreadsheet: columns recognised, codes read back, nothing invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.setup.pasted import MOST_ROWS, pasted

WITH_HEADINGS = (
    "Unit\tInstrument\tIP rating\tQty\tS/N\nA1\tWash\tIP65\t1\t4711\nA2\tBeam\tip 54\t3\t"
)


def paste(text, position="tower", chosen=None, known=None):
    return pasted(text, position, chosen or {}, known or {})


def test_headings_of_a_lighting_plan():
    found = paste(WITH_HEADINGS)
    assert found.columns == ("id", "name", "code", "count", "serial")
    assert [dict(row.cells) for row in found.rows] == [
        {
            "id": "A1",
            "name": "Wash",
            "code": "IP65",
            "count": "1",
            "serial": "4711",
            "position": "tower",
        },
        {"id": "A2", "name": "Beam", "code": "ip 54", "count": "3", "position": "tower"},
    ]
    assert found.problems == ()
    assert all(row.is_new for row in found.rows)


def test_each_code_is_read_back():
    first, second = paste(WITH_HEADINGS).rows
    assert first.reads[0].startswith("IP65: ")
    # what was mended is said
    assert second.reads[0].startswith("IP54 (")


def test_headings_of_a_hire_list():
    heads = "id\tdescription\tip code\tconnector mated ip\tconnector unmated ip\towner ref"
    found = paste(f"{heads}\tconnector\nA\tWash\tIP65\tIP44\tIP20\tPWL-1\tIP54")
    assert found.columns == (
        *("id", "name", "code", "connector_code", "connector_open_code", "owner"),
        "",  # codes under a heading that means none of them: somebody has to say which
    )


def test_lines_as_a_browser_sends_them():
    assert len(paste(WITH_HEADINGS.replace("\n", "\r\n")).rows) == 2


def test_without_headings_codes_and_counts_show_themselves():
    found = paste("A1;Wash;IP65;2\nA2;Beam;IP54;3")
    assert found.headings == ("1", "2", "3", "4")
    assert found.columns == ("id", "name", "code", "count")


def test_a_name_of_its_own_is_made_where_there_is_none_and_none_is_taken_twice():
    found = paste("Wash,IP65\nWash,IP65", known={"tower-01": "tower", "x": "bar"})
    assert found.columns == ("name", "code")
    assert [row.cells["id"] for row in found.rows] == ["tower-02", "tower-03"]


def test_a_known_row_is_changed_and_one_from_elsewhere_moves():
    found = paste("id,code\nA,IP65\nB,IP65\nC,IP65", known={"A": "tower", "B": "bar"})
    assert [(row.is_new, row.elsewhere) for row in found.rows] == [
        (False, None),
        (False, "bar"),
        (True, None),
    ]


def test_what_somebody_says_of_a_column_counts():
    text = "lamp,thing\nWash,IP65"
    assert paste(text).columns == ("name", "")
    assert paste(text, chosen={1: "code"}).columns == ("name", "code")
    assert paste(text, chosen={0: "", 1: "code"}).columns == ("", "code")


def says(found):
    return " ".join(problem.says for problem in found.problems)


def test_every_bad_row_is_said_at_once():
    found = paste("id,code\nA,IP99\nB,\nC,IP65\nA,IP20")
    assert "Line 2, A" in says(found)
    assert "Line 3, B: no code." in says(found)
    assert "A stands in line 2 and line 5." in says(found)
    assert len(found.problems) == 3


def test_the_line_of_a_paste_without_headings_counts_from_one():
    assert "Line 1, A" in says(paste("A,IP99\nB,IP20"))


def test_no_code_is_said_as_none():
    found = paste("id,code\nA,none")
    assert found.problems == ()
    assert found.rows[0].reads


@pytest.mark.parametrize("text", ["", "  \n\t\n"])
def test_nothing_pasted(text):
    assert says(paste(text)) == "Nothing was pasted."


def test_headings_and_no_more():
    assert says(paste("id,code")) == "Only headings were pasted."


def test_a_quote_left_open_over_more_than_a_cell_can_be():
    assert "longer than any cell" in says(paste('A,"IP65\n' + "B,IP65\n" * 20_000))


def test_no_column_with_codes():
    assert "No column is known" in says(paste("name,count\nWash,2"))


def test_one_meaning_for_two_columns():
    found = paste("id,code,label\nA,IP65,IP20", chosen={2: "code"})
    assert "Two columns are taken for code: code, label." in says(found)


def test_too_much_at_once_is_refused_whole():
    found = paste("\n".join(["A,IP65"] * (MOST_ROWS + 1)))
    assert found.rows == ()
    assert str(MOST_ROWS) in found.problems[0].remedy


def test_cells_with_line_breaks_and_decimal_commas():
    found = paste('id\tname\tcode\theight_m\nA\t"Wash\nleft"\tIP65\t2,5')
    assert found.rows[0].cells["name"] == "Wash left"
    assert found.rows[0].cells["height_m"] == "2.5"


@given(st.text(max_size=200))
def test_anything_pasted_is_answered(text):
    found = paste(text)
    assert len(found.headings) == len(found.columns)
    assert found.rows or found.problems
    for row in found.rows:
        assert row.cells["id"]
        assert row.cells["position"] == "tower"
