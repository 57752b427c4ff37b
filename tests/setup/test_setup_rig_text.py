"""fixtures.csv with rows put in, changed and taken out."""

from __future__ import annotations

from monitor.setup.rig_text import sheet_of, with_columns_at, with_rows, without

CSV = """\
id,IP code,position,name,colour,fed_by
T-1,IP65,truss,wash,red,D-1
T-2,IP20,truss,,blue,
D-1,IP44,lip,"dimmer, six ways",,
"""


def test_what_is_not_touched_is_the_very_same():
    assert sheet_of(CSV.encode()).written().decode() == CSV


def test_a_new_row_stands_with_its_position_and_a_known_one_is_changed_where_it_stands():
    rows = [
        {"id": "T-3", "ip_code": "IP54", "position": "truss", "name": "beam"},
        {"id": "T-1", "ip_code": "IP66"},
    ]
    made = with_rows(sheet_of(CSV.encode()), rows).written().decode().splitlines()
    assert made == [
        "id,IP code,position,name,colour,fed_by",
        "T-1,IP66,truss,wash,red,D-1",
        "T-2,IP20,truss,,blue,",
        "T-3,IP54,truss,beam,,",
        'D-1,IP44,lip,"dimmer, six ways",,',
    ]


def test_a_column_that_is_new_is_added_once_it_holds_something():
    rows = [{"id": "T-1", "serial": "4711", "owner": ""}]
    head, first, *_ = with_rows(sheet_of(CSV.encode()), rows).written().decode().splitlines()
    assert head == "id,IP code,position,name,colour,fed_by,serial"
    assert first == "T-1,IP65,truss,wash,red,D-1,4711"


def test_taken_out_feeds_nothing_any_more():
    made = without(sheet_of(CSV.encode()), {"D-1"}).written().decode().splitlines()
    assert made[1:] == ["T-1,IP65,truss,wash,red,", "T-2,IP20,truss,,blue,"]


def test_said_of_all_at_a_position():
    made = with_columns_at(sheet_of(CSV.encode()), "truss", {"mount": "inverted"})
    assert made.written().decode().splitlines() == [
        "id,IP code,position,name,colour,fed_by,mount",
        "T-1,IP65,truss,wash,red,D-1,inverted",
        "T-2,IP20,truss,,blue,,inverted",
        'D-1,IP44,lip,"dimmer, six ways",,,',
    ]
    assert with_columns_at(sheet_of(CSV.encode()), "bar", {"mount": "any"}).written() == (
        CSV.encode()
    )


def test_semicolons_and_windows_line_ends_stay_and_letters_are_kept():
    data = "id;code;position;name\r\nA;IP65;bar;Büfett\r\n".encode("cp1252")
    made = with_rows(sheet_of(data), [{"id": "B", "code": "IP20", "position": "bar"}])
    assert (
        made.written() == "id;code;position;name\r\nA;IP65;bar;Büfett\r\nB;IP20;bar;\r\n".encode()
    )


def test_an_empty_file_gets_its_headings():
    made = with_rows(sheet_of(b""), [{"id": "A", "code": "IP20", "position": "bar"}])
    assert made.written() == b"id,code,position\nA,IP20,bar\n"


def test_empty_rows_and_short_ones():
    made = with_rows(sheet_of(b"id,code,position,name\n\nA,IP20,bar\n,,,\n"), [])
    assert [made.at(row, "id") for row in made.rows] == ["A"]
    assert made.at(made.rows[0], "name") == ""
