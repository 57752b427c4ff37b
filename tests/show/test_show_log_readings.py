"""Readings of inspections in log.csv, with points and with decimal commas."""

from __future__ import annotations

import pytest
from show_samples import ENVIRON, small

from monitor.domain import BadInputError
from monitor.show import read_log, read_show


@pytest.fixture
def show(tmp_path):
    return read_show(small(tmp_path), ENVIRON).show


HEAD = b"at,entry,position,fixture,result,earth_ohm,insulation_mohm\n"


def test_readings_as_written(show):
    data = HEAD + (
        b"2027-07-15T13:30,inspected,,T-1,not-tested,0.08,250\n"
        b"2027-07-16T13:30,inspected,,T-1,damp,0.31,\n"
    )
    first, second = read_log(data, show)
    assert (first.earth_ohm, first.insulation_mohm) == (0.08, 250.0)
    assert (second.earth_ohm, second.insulation_mohm) == (0.31, None)


def test_decimal_commas_between_semicolons(show):
    data = HEAD.replace(b",", b";") + b"2027-07-15T13:30;inspected;;T-1;dry;0,08;2,5\n"
    (entry,) = read_log(data, show)
    assert (entry.earth_ohm, entry.insulation_mohm) == (0.08, 2.5)


@pytest.mark.parametrize(
    ("row", "code", "column"),
    [
        (b"cleaned,,T-1,,0.1,", "not-for-entry", "earth_ohm"),
        (b"inspected,truss,,dry,,5", "not-one-fixture", "insulation_mohm"),
        (b"inspected,,T-1,dry,low,", "bad-number", "earth_ohm"),
        (b"inspected,,T-1,dry,-0.1,", "out-of-range", "earth_ohm"),
        (b"inspected,,T-1,dry,,1000001", "out-of-range", "insulation_mohm"),
    ],
)
def test_what_is_no_reading_is_refused_with_its_row(show, row, code, column):
    with pytest.raises(BadInputError) as fault:
        read_log(HEAD + b"2027-07-15T13:30," + row + b"\n", show)
    assert [(p.code, p.line, p.key) for p in fault.value.problems] == [(code, 2, column)]
