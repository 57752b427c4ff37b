"""Lines of keys, counted by hand, and that no key of any document is missed."""

from __future__ import annotations

import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.builtin import builtin
from monitor.toml_places import line_of, toml_places

TEXT = '''# 1 a comment with "quotes" and [brackets]
[site]
name = "a # no comment [x]"
"odd key".'b.c' = 1

[[roofs]]
id = "one"
closed = [
    "back", # = 9
    "left",
]
[[roofs]]
id = """
two"""
[roofs.edge]
height = 2
[[roofs.legs]]
n = 1
[[roofs.legs]]
n = 2
[last]
list = [
    { a = 1, b = [1, 2] },
    { a = 2 },
]
when = 2027-07-15 13:00:00
'''


def test_lines_counted_by_hand():
    places = toml_places(TEXT)
    assert places["site",] == 2
    assert places["site", "name"] == 3
    assert places["site", "odd key", "b.c"] == 4
    assert places["roofs", 0] == places["roofs",] == 6
    assert places["roofs", 0, "closed", 1] == 10
    assert places["roofs", 1] == 12
    assert places["roofs", 1, "id"] == 13
    assert places["roofs", 1, "edge", "height"] == 16
    assert places["roofs", 1, "legs", 1, "n"] == 20
    assert places["last", "list", 0, "b", 1] == 23
    assert places["last", "list", 1, "a"] == 24
    assert places["last", "when"] == 26


def test_nearest_place_of_what_is_not_there():
    places = toml_places(TEXT)
    assert line_of(places, ("roofs", 1, "facing_deg")) == 12
    assert line_of(places, ("nothing",)) is None


def paths(value, at=()):
    if at:
        yield at
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from paths(inner, (*at, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from paths(inner, (*at, index))


def test_every_path_of_the_shipped_files_has_a_line():
    for name in (
        ("demo", "show.toml"),
        ("policy.toml",),
        ("access.toml",),
        ("starters", "tent", "show.toml"),
    ):
        text = builtin(*name).read_text(encoding="utf-8")
        assert set(paths(tomllib.loads(text))) == set(toml_places(text))


PIECES = [
    "a", "b-1", '"q#"', "'l]'", ".", " = ", "1", '"s"', "'''x\n'''", '"""y\\""""', "[", "]", "[[", "]]",
    "{", "}", ", ", "\n", "# c\n", "true", "2027-01-01 10:00:00", "\r\n", " ", "[1, [2]]", "{ k = 1 }",
    "\n[t]\n", "\n[[l]]\n", "k = 1\n", "[[l.m]]\n", "[l.n]\n",
]  # fmt: skip


@settings(max_examples=400, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=14).map("".join))
def test_whatever_the_reader_takes_has_all_its_places(text):
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert set(paths(document)) <= set(toml_places(text))
