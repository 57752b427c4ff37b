"""What means the same as the file says is left as the file says it."""

from __future__ import annotations

import pytest

from monitor.setup.same import as_it_stood


@pytest.mark.parametrize(
    ("before", "after", "kept"),
    [
        # written out though it is the usual
        ({"washdown": "none"}, {"washdown": None}, {"washdown": "none"}),
        ({"daylight": False}, {"daylight": None}, {"daylight": False}),
        ({"tickets": []}, {"tickets": None}, {"tickets": []}),
        # one text is a list of it
        ({"tickets": "hoists"}, {"tickets": ["hoists"]}, {"tickets": "hoists"}),
        ({"height_m": 9}, {"height_m": 9.0}, {"height_m": 9}),
        # what is another thing is another thing
        ({"washdown": "low"}, {"washdown": None}, {"washdown": None}),
        ({"tickets": "hoists"}, {"tickets": ["ladder"]}, {"tickets": ["ladder"]}),
        ({"roof": "stage"}, {"roof": None}, {"roof": None}),
        ({}, {"roof": None, "height_m": 1.0}, {"roof": None, "height_m": 1.0}),
        # a name that was left to the id
        ({"id": "bar"}, {"name": "bar"}, {"name": None}),
        ({"id": "bar"}, {"name": "The bar"}, {"name": "The bar"}),
        ({"id": "bar", "name": "bar"}, {"name": "bar"}, {"name": "bar"}),
        # within a table
        (
            {"spray": {"height_m": 5.0, "salt": False}},
            {"spray": {"height_m": 5.0}},
            {"spray": {"height_m": 5.0, "salt": False}},
        ),
        (
            {"spray": {"height_m": 5.0, "salt": True}},
            {"spray": {"height_m": 4.0}},
            {"spray": {"height_m": 4.0}},
        ),
        (
            {"spray": {"height_m": 5.0, "salt": False}},
            {"spray": {"height_m": 4.0}},
            {"spray": {"height_m": 4.0, "salt": False}},
        ),
    ],
)
def test_what_is_kept(before, after, kept):
    assert as_it_stood(before, after) == kept


def test_a_new_item_has_no_empty_keys():
    assert as_it_stood(None, {"roof": None, "height_m": 1.0}) == {"height_m": 1.0}
