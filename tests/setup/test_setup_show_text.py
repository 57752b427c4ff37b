"""show.toml with an item changed: comments, order and everything else stay as they were."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.builtin import builtin
from monitor.domain import BadInputError
from monitor.setup.show_text import item, items, place_of, with_item

TEXT = """\
# The show of the summer.
format = 1

[site]
name = "Marrowmere"   # by the lake

[[roofs]]
id = "stage"
facing_deg = 225             # into the weather
closed = ["back"]

# ------------------------------------------------ positions

[[positions]]
id = "truss"
height_m = 7.5               # measured in May
access = "lowered-truss"
# four hoists
setup_minutes = 10

[[positions]]
id = "tower"
height_m = 9.0

# ------------------------------------------------ covers
[[covers]]
id = "hood"
"""


def lines_apart(before, after):
    """Lines that went and lines that came."""
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


def test_one_value_changed_is_one_line_changed_and_its_remark_stays():
    gone, came = lines_apart(TEXT, with_item(TEXT, "positions", "truss", {"height_m": 8.0}))
    assert gone == ["height_m = 7.5               # measured in May"]
    assert len(came) == 1
    assert came[0].startswith("height_m = 8.0")
    assert came[0].endswith("# measured in May")


def test_a_new_key_stands_in_its_item():
    made = with_item(TEXT, "positions", "truss", {"people_needed": 3})
    assert lines_apart(TEXT, made) == ([], ["people_needed = 3"])
    assert item(made, "positions", "truss")["people_needed"] == 3
    assert "people_needed" not in item(made, "positions", "tower")


def test_a_value_taken_out():
    made = with_item(TEXT, "positions", "truss", {"setup_minutes": None, "roof": None})
    assert lines_apart(TEXT, made) == (["setup_minutes = 10"], [])


def test_nothing_changed_is_the_very_same_text():
    assert with_item(TEXT, "positions", "truss", {"height_m": 7.5, "roof": None}) == TEXT


def test_a_new_item_stands_after_the_last_of_its_section():
    made = with_item(TEXT, "positions", "bar", {"height_m": 2.6, "roof": None})
    assert lines_apart(TEXT, made) == ([], ['id = "bar"', "height_m = 2.6"])
    assert [found["id"] for found in items(made, "positions")] == ["truss", "tower", "bar"]
    # and before the heading of what comes next
    assert made.index('"bar"') < made.index("# ------------------------------------------------ c")


def test_the_first_item_of_a_section_that_is_not_there():
    made = with_item('format = 1\n[site]\nname = "A"', "positions", "bar", {"height_m": 2.6})
    assert tomllib.loads(made) == {
        "format": 1,
        "site": {"name": "A"},
        "positions": [{"id": "bar", "height_m": 2.6}],
    }


def test_a_fountain_is_one_line():
    spray = {"height_m": 5.0, "on": ["10:00-23:00"]}
    made = with_item(TEXT, "positions", "tower", {"spray": spray})
    assert lines_apart(TEXT, made)[1] == ['spray = {height_m = 5.0, on = ["10:00-23:00"]}']


def test_a_table_below_an_item_keeps_its_place():
    text = TEXT.replace("height_m = 9.0\n", "height_m = 9.0\n[positions.spray]\nheight_m = 5.0\n")
    made = with_item(text, "positions", "tower", {"people_needed": 2})
    assert item(made, "positions", "tower") == {
        "id": "tower",
        "height_m": 9.0,
        "people_needed": 2,
        "spray": {"height_m": 5.0},
    }
    after = with_item(made, "positions", "bar", {"height_m": 1.0})
    assert item(after, "positions", "tower") == item(made, "positions", "tower")


def test_line_ends_of_windows_stay():
    made = with_item(TEXT.replace("\n", "\r\n"), "positions", "truss", {"height_m": 8.0})
    assert made.count("\r\n") == made.count("\n") == TEXT.count("\n")
    added = with_item(TEXT.replace("\n", "\r\n"), "positions", "bar", {"height_m": 8.0})
    assert added.count("\r\n") == added.count("\n")


def test_words_with_quotes_and_other_letters_come_back():
    name = 'Bühne "links" \\ 舞台 #1'
    made = with_item(TEXT, "positions", "tower", {"name": name})
    assert tomllib.loads(made)["positions"][1]["name"] == name


@pytest.mark.parametrize(
    "text",
    [
        'positions = [{ id = "truss", height_m = 7.5 }]\n',
        'positions = [\n  { id = "truss", height_m = 7.5 },  # inline\n]\n',
    ],
)
def test_what_cannot_be_kept_is_refused(text):
    """Tables written in one line: whoever wrote them changes them by hand. One more is added."""
    with pytest.raises(BadInputError) as refused:
        with_item(text, "positions", "truss", {"height_m": 8.0})
    assert refused.value.problems[0].code == "kept-by-hand"
    added = tomllib.loads(with_item(text, "positions", "bar", {"height_m": 8.0}))["positions"]
    assert added == [{"id": "truss", "height_m": 7.5}, {"id": "bar", "height_m": 8.0}]


def test_where_an_item_stands():
    """As the show folder's reading names it: from 1."""
    assert place_of(TEXT, "positions", "truss") == "positions[1]"
    assert place_of(TEXT, "positions", "tower") == "positions[2]"


DEMO = builtin("demo").joinpath("show.toml").read_text(encoding="utf-8")
VALUES = st.dictionaries(
    st.sampled_from(["height_m", "name", "setup_minutes", "tickets", "daylight", "spray", "roof"]),
    st.one_of(
        st.none(),
        st.booleans(),
        st.floats(-2, 150),
        st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20),
        st.lists(st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=9)),
        st.fixed_dictionaries({"height_m": st.floats(0, 9), "salt": st.booleans()}),
    ),
    min_size=1,
)


@given(st.sampled_from([found["id"] for found in items(DEMO, "positions")] + ["new"]), VALUES)
def test_whatever_is_written_says_what_was_asked_and_nothing_else(name, values):
    """Against the standard library's own reader; every remark of the demo stays."""
    wanted = tomllib.loads(DEMO)
    found = next((one for one in wanted["positions"] if one["id"] == name), None)
    if found is None:
        found = {"id": name}
        wanted["positions"].append(found)
    for key, value in values.items():
        found.pop(key, None) if value is None else found.update({key: value})
    made = with_item(DEMO, "positions", name, values)
    assert tomllib.loads(made) == wanted
    whole = [line for line in DEMO.splitlines() if line.startswith("#")]
    assert [line for line in made.splitlines() if line.startswith("#")] == whole
