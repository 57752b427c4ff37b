"""Lengths, winds and directions as people say them, worked by hand.

A foot is 0.3048 m, a mile an hour 0.44704 m/s, a knot 1852 m in 3600 s, all exactly.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.setup.said import POINTS, azimuth_deg, length_m, number, point_of, speed_mps


@pytest.mark.parametrize(
    ("said", "metres"),
    [
        ("2.2", 2.2),
        (" 2,2 m ", 2.2),
        (".5", 0.5),
        ("-0.6", -0.6),
        ("60 cm", 0.6),
        ("250mm", 0.25),
        ("3 steps", 2.25),  # 3 times 0.75
        ("1 step", 0.75),
        ("4 Schritte", 3.0),
        ("7 ft", 2.134),  # 7 times 0.3048 is 2.1336
        ("18 in", 0.457),  # 1.5 ft is 0.4572
        ("7'6\"", 2.286),  # 7.5 ft
        ("7 ft 6 in", 2.286),
        ("7' 6", 2.286),
        ("knee", 0.5),
        ("Hand", 0.1),
    ],
)
def test_lengths(said, metres):
    assert length_m(said) == pytest.approx(metres, abs=1e-9)


@pytest.mark.parametrize(
    "said", ["", "high", "2 m 3", "2 km/h", "1e3", "nan", "inf", "2..2", "--1", "٣", "3 m steps"]
)
def test_what_is_no_length(said):
    assert length_m(said) is None


@pytest.mark.parametrize(
    ("said", "mps"),
    [
        ("12.5", 12.5),
        ("12,5 m/s", 12.5),
        ("45 km/h", 12.5),  # 45 / 3.6
        ("45kph", 12.5),
        ("28 mph", 12.517),  # 28 times 0.44704 is 12.51712
        ("24 kn", 12.347),  # 24 times 1852 / 3600 is 12.34667
    ],
)
def test_winds(said, mps):
    assert speed_mps(said) == pytest.approx(mps, abs=1e-9)


def test_a_length_is_no_wind_and_no_number():
    assert speed_mps("3 steps") is None
    assert number("3 m") is None
    assert number("1,5 min") == 1.5


@pytest.mark.parametrize(
    ("said", "degrees"),
    [
        ("225", 225.0),
        ("225°", 225.0),
        ("0", 0.0),
        ("360", 360.0),
        ("SW", 225.0),
        ("sw", 225.0),
        ("south-west", 225.0),
        ("southwest", 225.0),
        ("south west", 225.0),
        ("NNE", 22.5),
        ("north north east", 22.5),
        ("west", 270.0),
        ("SO", 135.0),
        ("Südost", 135.0),
        ("Nordnordost", 22.5),
        ("Süd-West", 225.0),
        ("NORD", 0.0),
        ("W", 270.0),
    ],
)
def test_directions(said, degrees):
    assert azimuth_deg(said) == degrees


@pytest.mark.parametrize("said", ["", "361", "-5", "up", "SWS", "stage front", "12 km/h"])
def test_what_is_no_direction(said):
    assert azimuth_deg(said) is None


@pytest.mark.parametrize(
    ("azimuth", "point"), [(0, "N"), (11, "N"), (12, "NNE"), (225, "SW"), (349, "N"), (360, "N")]
)
def test_the_nearest_point(azimuth, point):
    assert point_of(azimuth) == point


@pytest.mark.parametrize("point", POINTS)
def test_every_point_there_and_back(point):
    found = azimuth_deg(point)
    assert found is not None
    assert point_of(found) == point


@given(st.text(max_size=30))
def test_anything_typed_is_read_or_is_not_and_nothing_else(text):
    for reader in (length_m, speed_mps, number, azimuth_deg):
        found = reader(text)
        assert found is None or isinstance(found, float)
