"""That covers run short is told once, and ends when the plan has had enough for long enough."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace

import pytest
from exposure.rigs import after, fixture, hours, position, show
from planning.planned import bag, planned

from monitor.domain import Contact
from monitor.service.covers_words import tell_covers
from monitor.store.database import immediate, open_database

RAIN, DRY = hours([0, 0, 1, 1], 0.0), hours([0, 0, 0, 0], 0.0)


def two(stock=6):
    rows = [
        fixture("IP20", f"f-{place}", cover="bag", count=4, position=place)
        for place in ("pole", "tower")
    ]
    described = show(rows, positions=[position(), position("tower")], covers=[bag(in_stock=stock)])
    return replace(described, contacts=(Contact("crew", "folder"),))


@pytest.fixture
def step(tmp_path):
    described = two()
    db = open_database(tmp_path / "dryspell.db")

    def at(at_h, weather, shown=described, **changes):
        plan = replace(planned(shown, weather, 0.0), **changes)
        with immediate(db):
            return tell_covers(db, shown, plan, after(at_h))

    with closing(db.conn):
        yield at


def test_it_is_told_once(step):
    (told,) = step(0.0, RAIN)
    assert told.stage == "notice"
    assert "8 bags needed at once, 14:30, and 6 in stock: 2 too few" in told.text
    # both are due at 14:30, and worth the same: the first by its id gets them
    assert "None for tower: 4 wanted by 14:30" in told.text
    assert "No forecast is not a dry forecast" not in told.text
    for later in (0.1, 0.5, 1.5, 8.0):
        assert step(later, RAIN) == []


def test_enough_for_half_an_hour_ends_it(step):
    """stand_down_minutes is 30 by default."""
    step(0.0, RAIN)
    assert step(1.0, DRY) == []
    assert step(1.4, DRY) == []
    # short again within the half hour: the count begins anew, and nothing is told again
    assert step(1.45, RAIN) == []
    assert step(1.6, DRY) == []
    assert step(2.0, DRY) == []
    (over,) = step(2.1, DRY)
    assert over.stage == "stood-down"
    assert "enough again" in over.text
    assert step(2.2, DRY) == []
    # and a new shortage is told anew
    (again,) = step(3.0, RAIN)
    assert again.stage == "notice"


def test_missing_weather_ends_nothing(step):
    step(0.0, RAIN)
    assert step(1.0, DRY, blind=True) == []
    assert step(9.0, DRY, blind=True) == []


def test_where_there_are_enough_nothing_is_told(step):
    assert step(0.0, RAIN, two(8)) == []
