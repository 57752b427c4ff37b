"""The GeoJSON form: features whose properties are named after CAP."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.feeds.cap_fields import Refused
from monitor.feeds.cap_geojson import read_geojson
from monitor.planning.official import OfficialWarning, Reference


def feature(geometry: object = None, **more: object) -> dict[str, object]:
    """One feature of an invented service in the shape of a national one."""
    said: dict[str, object] = {
        "@id": "https://weather.example/alerts/urn:oid:1.1",
        "id": "urn:oid:1.1",
        "areaDesc": "Meadow County; Hill County",
        "geocode": {"SAME": ["051001", "051003"], "UGC": ["XXZ001"]},
        "references": [
            {
                "@id": "https://weather.example/alerts/urn:oid:1.0",
                "identifier": "urn:oid:1.0",
                "sender": "w@weather.example",
                "sent": "2027-07-15T11:00:00-05:00",
            }
        ],
        "sent": "2027-07-15T11:30:00-05:00",
        "effective": "2027-07-15T11:30:00-05:00",
        "onset": "2027-07-15T12:00:00-05:00",
        "expires": "2027-07-15T13:00:00-05:00",
        "ends": "2027-07-15T15:00:00-05:00",
        "status": "Actual",
        "messageType": "Update",
        "category": "Met",
        "severity": "Severe",
        "certainty": "Likely",
        "urgency": "Expected",
        "event": "Severe Thunderstorm Warning",
        "sender": "w@weather.example",
        "senderName": "Example office",
        "headline": "Severe Thunderstorm Warning issued July 15",
        "description": "At 1130 AM, storms.\n\n* WHERE...Meadow County.",
        "instruction": None,
        "response": "Shelter",
        "parameters": {"eventEndingTime": ["2027-07-15T20:00:00+00:00"], "hailThreat": ["RADAR"]},
        "eventCode": {"SAME": ["SVR"]},
        **more,
    }
    return {"id": "https://x", "type": "Feature", "geometry": geometry, "properties": said}


def body(*features: object) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()


def one(*features: object) -> OfficialWarning:
    (found,), faults = read_geojson(body(*features), "Office")
    assert faults == ()
    return found


def test_a_feature_whole():
    found = one(feature())
    assert found.identifier == "urn:oid:1.1"
    # 11:30 at five hours behind UTC
    assert found.sent == datetime(2027, 7, 15, 16, 30, tzinfo=UTC)
    assert found.onset == datetime(2027, 7, 15, 17, 0, tzinfo=UTC)
    # the event goes on after the message has expired
    assert found.until == datetime(2027, 7, 15, 20, 0, tzinfo=UTC)
    assert (found.status, found.msg_type) == ("Actual", "Update")
    earlier = datetime(2027, 7, 15, 16, 0, tzinfo=UTC)
    assert found.references == (Reference("w@weather.example", "urn:oid:1.0", earlier),)
    (area,) = found.areas
    assert area.geocodes == (("SAME", "051001"), ("SAME", "051003"), ("UGC", "XXZ001"))
    assert (area.polygons, area.unreadable) == ((), False)
    assert found.description == "At 1130 AM, storms.\n\n* WHERE...Meadow County."
    assert found.instruction == ""
    assert found.event_codes == (("SAME", "SVR"),)


def test_a_shape_is_turned_from_longitude_first():
    ring = [[-2.2, 51.9], [-1.8, 51.9], [-1.8, 52.1], [-2.2, 51.9]]
    found = one(feature({"type": "Polygon", "coordinates": [ring]}))
    assert found.areas[0].polygons == (((51.9, -2.2), (51.9, -1.8), (52.1, -1.8), (51.9, -2.2)),)


def test_several_shapes_and_a_hole():
    ring = [[0, 0], [4, 0], [4, 4], [0, 0]]
    hole = [[1, 1], [2, 1], [2, 2], [1, 1]]
    found = one(feature({"type": "MultiPolygon", "coordinates": [[ring, hole], [ring]]}))
    assert len(found.areas[0].polygons) == 2


@pytest.mark.parametrize(
    "geometry",
    [
        {"type": "Point", "coordinates": [1, 2]},
        {"type": "Polygon", "coordinates": [[[1, "2"], [2, 3], [3, 4]]]},
        {"type": "Polygon", "coordinates": [[1, 2]]},
        {"type": "Polygon", "coordinates": 7},
        {"type": "Polygon", "coordinates": [[[1, 2], [1, 2]]]},
        {"type": "MultiPolygon"},
        {"type": "GeometryCollection", "geometries": [{"type": "GeometryCollection"}]},
        "here",
    ],
    ids=str,
)
def test_a_shape_that_cannot_be_read_is_said(geometry):
    assert one(feature(geometry)).areas[0].unreadable


def test_one_bad_feature_does_not_take_the_others_along():
    found, faults = read_geojson(
        body(feature(), feature(sent="soon"), 7, feature(id="", identifier="")), "O"
    )
    assert len(found) == 2  # the last falls back on the feature's own id
    assert len(faults) == 2


@pytest.mark.parametrize(
    "bad", [b"", b"[]", b"{}", b"<html>", b'{"features": {}}', b'{"features": [', b"[" * 100_000]
)
def test_what_is_no_collection_is_refused(bad):
    with pytest.raises(Refused):
        read_geojson(bad, "Office")


def test_no_features_are_no_warnings():
    assert read_geojson(body(), "Office") == ((), ())


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(bad):
    try:
        read_geojson(bad, "Office")
    except Refused:
        return


@given(name=st.sampled_from(sorted(feature()["properties"])), value=JSON, geometry=JSON)  # type: ignore[call-overload]
def test_any_value_of_a_property_is_read_or_told(name, value, geometry):
    made = json.dumps({"features": [feature(geometry, **{name: value})]}).encode()
    try:
        found, faults = read_geojson(made, "Office")
    except Refused:
        return
    assert len(found) + len(faults) == 1
    assert all(w.until and w.key for w in found)
