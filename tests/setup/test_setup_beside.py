"""Which field a problem stands beside. Keys are those that the show folder's reading gives."""

from __future__ import annotations

import pytest

from monitor.domain import Problem
from monitor.setup.beside import PLACE_FIELDS, ROOF_FIELDS, by_field

ITEMS = {"positions[2]": PLACE_FIELDS, "roofs[1]": ROOF_FIELDS}


@pytest.mark.parametrize(
    ("code", "key", "field"),
    [
        ("form", "in_side", "in_side"),
        ("out-of-range", "positions[2].height_m", "height"),
        ("bad-time", "positions[2].washdown_times[2]", "washdown_times"),
        ("out-of-range", "positions[2].spray.height_m", "spray_height"),
        ("bad-time", "positions[2].spray.on[1]", "spray_times"),
        ("out-of-range", "roofs[1].edge_height_m", "roof_edge"),
        # another position, another roof, another section, a column, a whole file, no key at all
        ("above-roof-edge", "positions[1].height_m", ""),
        ("above-roof-edge", "positions[21].height_m", ""),
        ("out-of-range", "roofs[2].width_m", ""),
        ("out-of-range", "site.latitude", ""),
        ("bad-code", "code", ""),
        ("unknown-key", "positions[2].colour", ""),
        ("missing-file", None, ""),
    ],
)
def test_where_it_stands(code, key, field):
    problem = Problem(code, "It is so.", "Do so.", key=key)
    assert by_field([problem], ITEMS) == {field: [problem]}
