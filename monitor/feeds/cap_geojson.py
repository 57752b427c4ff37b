"""Warnings as GeoJSON features whose properties are named after CAP. Pure.

The form of national services that answer a query for a point; the geometry is often null,
because they warn by zone. A hole in a polygon counts as warned.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.feeds.cap import event_end
from monitor.feeds.cap_fields import (
    MOST_POINTS,
    Refused,
    closed,
    distinct,
    moment,
    one_line,
    place,
    whole_text,
)
from monitor.feeds.strict_json import parse_json
from monitor.planning.official import OfficialWarning, Reference, WarnedArea

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_BYTES = 20_000_000
_MOST_FEATURES = 20_000

Ring = tuple[tuple[float, float], ...]


def read_geojson(body: bytes, service: str) -> tuple[tuple[OfficialWarning, ...], tuple[str, ...]]:
    """The warnings of a collection, and why others of it could not be read; raises Refused."""
    if len(body) > MOST_BYTES:
        raise Refused(f"it is larger than {MOST_BYTES} bytes")
    try:
        parsed = parse_json(body)
    except (ValueError, RecursionError):
        raise Refused("it is no whole JSON") from None
    features = parsed.get("features") if isinstance(parsed, dict) else None
    if not isinstance(features, list):
        raise Refused("it is no GeoJSON collection: it has no list of features")
    if len(features) > _MOST_FEATURES:
        raise Refused(f"it has more than {_MOST_FEATURES} features")
    found, faults = [], []
    for feature in features:
        try:
            found.append(_warning(feature, service))
        except Refused as fault:
            faults.append(fault.says)
    return tuple(found), tuple(faults)


def _warning(feature: Any, service: str) -> OfficialWarning:
    said = feature.get("properties") if isinstance(feature, dict) else None
    if not isinstance(said, dict):
        raise Refused("a feature has no properties")
    # The identifier of the message, before the address under which it is found.
    identifier = _line(said, "identifier") or _line(said, "id") or one_line(feature.get("id"))
    sent = moment(said.get("sent"))
    if not identifier:
        raise Refused("a feature names no identifier")
    if sent is None:
        raise Refused(f"the time of sending of {identifier[:80]} is missing, or has no offset")
    parameters = _pairs(said.get("parameters"))
    return OfficialWarning(
        service=service,
        identifier=identifier,
        sender=_line(said, "sender"),
        sent=sent,
        status=_line(said, "status"),
        msg_type=_line(said, "messageType") or _line(said, "msgType"),
        references=tuple(_references(said.get("references"))),
        language=_line(said, "language"),
        event=_line(said, "event"),
        headline=_line(said, "headline"),
        description=whole_text(said.get("description")),
        instruction=whole_text(said.get("instruction")),
        urgency=_line(said, "urgency") or "Unknown",
        severity=_line(said, "severity") or "Unknown",
        certainty=_line(said, "certainty") or "Unknown",
        responses=_responses(said),
        effective=moment(said.get("effective")),
        onset=moment(said.get("onset")),
        expires=moment(said.get("expires")),
        ends=moment(said.get("ends")) or event_end(parameters),
        areas=(_area(said, feature.get("geometry")),),
        web=_line(said, "web"),
        sender_name=_line(said, "senderName"),
        event_codes=_pairs(said.get("eventCode")),
        parameters=parameters,
    )


def _line(said: dict[str, Any], name: str) -> str:
    return one_line(said.get(name))


def _responses(said: dict[str, Any]) -> tuple[str, ...]:
    given = said.get("response", said.get("responseType"))
    several = given if isinstance(given, list) else [given]
    return tuple(line for line in map(one_line, several) if line)


def _pairs(given: Any) -> tuple[tuple[str, str], ...]:
    """`{"NAME": ["a", "b"]}` or `{"NAME": "a"}` as pairs."""
    if not isinstance(given, dict):
        return ()
    return distinct(
        (one_line(name), one_line(str(value)))
        for name, values in given.items()
        for value in (values if isinstance(values, list) else [values])
        if isinstance(value, str | int | float)
    )


def _references(given: Any) -> Iterator[Reference]:
    for item in given if isinstance(given, list) else ():
        if isinstance(item, dict):
            identifier = _line(item, "identifier") or _line(item, "@id")
            if identifier:
                yield Reference(_line(item, "sender"), identifier, moment(item.get("sent")))
        elif one_line(item):
            yield Reference("", one_line(item))


def _area(said: dict[str, Any], geometry: Any) -> WarnedArea:
    rings = list(_rings(geometry))
    return WarnedArea(
        description=_line(said, "areaDesc"),
        polygons=tuple(ring for ring in rings if ring is not None),
        geocodes=_pairs(said.get("geocode")),
        unreadable=None in rings,
    )


def _rings(geometry: Any) -> Iterator[Ring | None]:
    """Outer rings, turned from (longitude, latitude); None for what cannot be read."""
    if geometry is None:
        return
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    shapes = geometry.get("coordinates") if isinstance(geometry, dict) else None
    if kind == "GeometryCollection" and isinstance(geometry.get("geometries"), list):
        for inner in geometry["geometries"]:
            nested = isinstance(inner, dict) and inner.get("type") == "GeometryCollection"
            yield from (None,) if nested else _rings(inner)
        return
    if kind == "Polygon":
        shapes = [shapes]
    if kind not in ("Polygon", "MultiPolygon") or not isinstance(shapes, list):
        yield None
        return
    for shape in shapes:
        outer = shape[0] if isinstance(shape, list) and shape else None
        yield _ring(outer) if isinstance(outer, list) else None


def _ring(points: list[Any]) -> Ring | None:
    if len(points) > MOST_POINTS:
        return None
    ring = []
    for point in points:
        at = (
            place(point[1], point[0])
            if isinstance(point, list)
            and len(point) >= 2
            and not any(isinstance(number, str) for number in point[:2])
            else None
        )
        if at is None:
            return None
        ring.append(at)
    return closed(ring)
