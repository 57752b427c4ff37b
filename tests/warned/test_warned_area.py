"""Whether a warning is for the site: shapes, codes, and a service asked for the point."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from warned_samples import SITE, THUNDERSTORM_A2, warning

from monitor.domain import WarningsFrom
from monitor.feeds.cap import read_cap
from monitor.feeds.cap_area import (
    SiteArea,
    apart_km,
    concerns,
    in_polygon,
    point_asked_for,
    site_area,
)
from monitor.feeds.cap_fields import closed, polygon
from monitor.planning.official import WarnedArea

SQUARE = polygon("51,-3 51,-1 53,-1 53,-3 51,-3")
FAR = polygon("10,10 10,11 11,11 11,10 10,10")
assert SQUARE is not None
assert FAR is not None


def at(lat: float, lon: float):
    return replace(SITE, latitude=lat, longitude=lon)


# ---------------------------------------------------------------- distance


def test_a_published_distance():
    # rosettacode.org/wiki/Haversine_formula (read): Nashville (36.12, -86.67) to Los Angeles
    # (33.94, -118.40) is 2886.444442837983 km on a sphere of 6371.0 km.
    found = apart_km((36.12, -86.67), (33.94, -118.40))
    assert found == pytest.approx(2886.444442837983, rel=1e-12)


def test_a_degree_along_a_meridian_and_half_way_round():
    # one degree is pi R / 180; two poles are pi R apart
    assert apart_km((10, 20), (11, 20)) == pytest.approx(math.pi * 6371 / 180)
    assert apart_km((90, 0), (-90, 77)) == pytest.approx(math.pi * 6371)
    assert apart_km((0, 179.5), (0, -179.5)) == pytest.approx(math.pi * 6371 / 180)


# ---------------------------------------------------------------- polygon


@pytest.mark.parametrize(
    ("point", "inside"),
    [
        ((52, -2), True),
        ((51, -2), True),  # on an edge
        ((51, -3), True),  # on a corner
        ((52, -1), True),
        ((50.999, -2), False),
        ((52, -0.999), False),
        ((52, -3.001), False),
        ((53.001, -1), False),
        ((51, -0.5), False),  # in line with an edge, beyond its end
        ((53, -3.5), False),
    ],
)
def test_in_and_out_of_a_square(point, inside):
    assert in_polygon(point, SQUARE) is inside


def test_a_notch_is_outside():
    # A square of 4 with a notch cut from its top to the middle.
    ring = closed([(0, 0), (0, 4), (4, 4), (4, 3), (2, 2), (4, 1), (4, 0)])
    assert in_polygon((3.5, 2), ring) is False
    assert in_polygon((1.5, 2), ring) is True
    assert in_polygon((2, 2), ring) is True
    assert in_polygon((3.5, 0.5), ring) is True


@pytest.mark.parametrize(
    ("lon", "inside"),
    [
        (179.5, True),
        (-179.5, True),
        (180.0, True),
        (-180.0, True),
        (178.5, False),
        (-178.5, False),
        (0.0, False),
    ],
)
def test_over_the_antimeridian(lon, inside):
    for ring in (
        polygon("-18,179 -18,-179 -16,-179 -16,179 -18,179"),
        polygon("-18,-179 -16,-179 -16,179 -18,179 -18,-179"),
    ):
        assert in_polygon((-17, lon), ring) is inside


def test_the_whole_globe_and_the_shape_round_a_pole():
    globe = polygon("-90,-180 90,-180 90,180 -90,180 -90,-180")
    assert in_polygon((52, -2), globe) is True
    assert in_polygon((52, -2), polygon("60,0 60,120 60,-120 60,0")) is None


def test_the_polygon_of_the_standard():
    (warned,) = read_cap(THUNDERSTORM_A2.encode(), "Office")
    # Its corners span 38.34 to 38.62 N; the middle of its diagonal 38.47,-120.14 to
    # 38.52,-119.74 lies inside.
    assert concerns(warned, at(38.495, -119.94), SiteArea()) == "site"
    assert concerns(warned, at(38.47, -120.14), SiteArea()) == "site"
    # Sacramento, where it was written
    assert concerns(warned, at(38.58, -121.49), SiteArea()) == "elsewhere"


@given(
    st.tuples(st.floats(-80, 80), st.floats(-170, 170)),
    st.lists(st.tuples(st.floats(0.1, 5), st.floats(0.1, 5)), min_size=4, max_size=4),
)
def test_the_middle_of_a_box_is_in_it_wherever_it_starts_and_whichever_way_it_turns(middle, sizes):
    lat, lon = middle
    (up, east), (down, west) = sizes[0], sizes[1]
    corners = [
        (lat - down, lon - west),
        (lat - down, lon + east),
        (lat + up, lon + east),
        (lat + up, lon - west),
    ]
    for turn in range(4):
        ring = corners[turn:] + corners[:turn]
        assert in_polygon(middle, closed(ring)) is True
        assert in_polygon(middle, closed(ring[::-1])) is True
        assert in_polygon((lat + up + 1, lon), closed(ring)) is False


# ---------------------------------------------------------------- what decides


def where(area: WarnedArea, **ours) -> str:
    return concerns(warning(areas=(area,)), SITE, SiteArea(**ours))


def test_a_circle():
    # The site is at 52 N: one degree of longitude is 111.195 km x cos 52 deg = 68.5 km.
    assert where(WarnedArea(circles=((52.0, -1.0, 69.0),))) == "site"
    assert where(WarnedArea(circles=((52.0, -1.0, 68.0),))) == "elsewhere"
    assert where(WarnedArea(circles=((52.0, -2.0, 0.0),))) == "site"


def test_one_shape_of_several_is_enough():
    assert where(WarnedArea(polygons=(FAR, SQUARE))) == "site"
    assert where(WarnedArea(polygons=(FAR,), circles=((52.0, -2.0, 1.0),))) == "site"


@pytest.mark.parametrize(
    ("geocodes", "codes", "found"),
    [
        ((("UGC", "XXZ001"),), ("XXZ001",), "site"),
        ((("UGC", "XXZ001"),), ("ugc:xxz001",), "site"),
        ((("UGC", "XXZ001"), ("SAME", "1")), ("SAME:1",), "site"),
        # codes of the same list that do not match tell that it is another area
        ((("UGC", "XXZ002"),), ("UGC:XXZ001",), "elsewhere"),
        # codes of another list tell nothing
        ((("UGC", "XXZ001"),), ("SAME:1",), "unknown"),
        ((("UGC", "XXZ001"),), (), "unknown"),
        ((("UGC", "XXZ001"),), ("XXZ002",), "elsewhere"),
        ((), ("XXZ001",), "unknown"),
    ],
)
def test_area_codes(geocodes, codes, found):
    assert where(WarnedArea(geocodes=geocodes), codes=codes) == found


def test_a_code_holds_although_the_shape_is_elsewhere():
    area = WarnedArea(polygons=(FAR,), geocodes=(("UGC", "XXZ001"),))
    assert where(area, codes=("XXZ001",)) == "site"
    assert where(area, codes=("XXZ009",)) == "elsewhere"


def test_what_cannot_be_placed_is_never_elsewhere():
    assert where(WarnedArea(description="The north")) == "unknown"
    assert concerns(warning(areas=()), SITE, SiteArea()) == "unknown"
    assert where(WarnedArea(polygons=(FAR,), unreadable=True)) == "unknown"
    pole = polygon("60,0 60,120 60,-120 60,0")
    assert where(WarnedArea(polygons=(pole,))) == "unknown"
    both = (WarnedArea(polygons=(FAR,)), WarnedArea(description="and the hills"))
    assert concerns(warning(areas=both), SITE, SiteArea()) == "unknown"


def test_a_service_asked_for_the_sites_point_means_the_site():
    def asked(url: str) -> bool:
        return site_area(WarningsFrom("Office", url), SITE).asked_here

    assert asked("https://weather.example/alerts?point=52.0,-2.0")
    assert asked("https://weather.example/alerts?lat=52.03&lon=-2.05&x=1")
    assert asked("https://weather.example/alerts?latitude=52&longitude=-2")
    # copied from another show: 1 degree north is 111 km
    assert not asked("https://weather.example/alerts?point=53.0,-2.0")
    assert not asked("https://weather.example/alerts?point=here")
    assert not asked("https://weather.example/alerts")
    assert where(WarnedArea(polygons=(FAR,)), asked_here=True) == "site"
    assert point_asked_for("https://[::1") is None
