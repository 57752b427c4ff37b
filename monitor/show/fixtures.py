"""fixtures.csv: one row for each part that is out, with its code and where it sits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from monitor.domain import Code, Condition, ConnectorState, Fixture, Mount
from monitor.show.nearest import suggestion
from monitor.show.under_roof import misfits
from monitor.show.values import Between, OneOf

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from monitor.domain import Position, Roof
    from monitor.show.csv_file import CsvFile, Row

FIXTURES_FILE = "fixtures.csv"

COLUMNS = [
    "id",
    "code",
    "position",
    "name",
    "type",
    "serial",
    "owner",
    "count",
    "supply_code",
    "connector_code",
    "connector_open_code",
    "connector_state",
    "mount",
    "tilt_deg",
    "facing_deg",
    "condition",
    "surface_m2",
    "height_m",
    "in_from_front_m",
    "in_from_right_m",
    "fed_by",
    "cover",
    "fan_cooled",
    "may_run_covered",
    "stated_mm",
    "stated_hours_in_rain",
    "immersion_m",
    "immersion_minutes",
    "value",
    "truck",
    "case",
]
OTHER_NAMES = {
    **dict.fromkeys(("ip", "ip_code", "ip_rating", "rating", "protection"), "code"),
    **dict.fromkeys(("qty", "quantity", "number", "amount", "pieces"), "count"),
    **dict.fromkeys(("location", "place", "truss"), "position"),
    **dict.fromkeys(("supply", "psu", "psu_code"), "supply_code"),
    **dict.fromkeys(("hung", "mounting", "orientation"), "mount"),
    **dict.fromkeys(("from_front",), "in_from_front_m"),
    **dict.fromkeys(("from_right",), "in_from_right_m"),
    **dict.fromkeys(("lorry", "vehicle"), "truck"),
    **dict.fromkeys(("flight_case", "flightcase", "crate"), "case"),
}
"""What lists from elsewhere call a column that counts here."""

REQUIRED = ("id", "code", "position")

_UNREAD = Code(label="", canonical="IPXX", dust=None, water=())
"""Stands in while the rest of a refused row is looked at."""

_COUNT = Between(1, 1_000_000, whole=True)
_TILT = Between(0, 180)
_AZIMUTH = Between(0, 360)
_SURFACE = Between(0, 1000, above=True)
_HEIGHT = Between(-2, 150)
_INSET = Between(0, 500)
_DEPTH = Between(0, 1000, above=True)
_STATED = Between(0, 1_000_000, above=True)
_VALUE = Between(0, 1e12)
_STATE = OneOf("mated", "open", "capped")
_MOUNT = OneOf("upright", "inverted", "tilted", "any")
_CONDITION = OneOf("new", "hire", "worn")


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What rows refer to. Ids None: show.toml could not be read, so nothing is held against
    them; `positions` and `roofs` have only the sound ones.
    """

    position_ids: Collection[str] | None
    cover_ids: Collection[str] | None
    positions: Mapping[str, Position]
    roofs: Mapping[str, Roof]


def fixtures(file: CsvFile, around: Surroundings) -> tuple[Fixture, ...]:
    """Every row that can be read; faults go to the file's."""
    rows = list(file.rows())
    if not rows and not file.problems:
        file.tell(
            "empty-file", 1, "id", f"{file.name} has no rows.", "Give a row for each fixture."
        )
    first: dict[str, int] = {}
    read: list[tuple[Row, Fixture]] = []
    for row in rows:
        found = _fixture(row, around)
        name = row.text("id")
        if name is not None and name in first:
            row.refuse(
                "duplicate-id",
                "id",
                f"id {name} stands in row {first[name]} already.",
                "Give each row an id of its own; for several alike use count.",
            )
        elif name is not None:
            first[name] = row.line
        if found is not None:
            read.append((row, found))
    _feeding(read, first)
    _without_place(file, read, around)
    return tuple(fixture for _, fixture in read)


def _fixture(row: Row, around: Surroundings) -> Fixture | None:
    name, position = row.needed("id"), row.needed("position")
    if name is not None and len(name) > 60:
        row.refuse("bad-id", "id", "id is longer than 60 letters.", "Give a short one.")
    if row.lacks("code"):
        row.refuse(
            "missing-value",
            "code",
            "code is empty.",
            "Give what the label says, or none where it has no code: it counts as unprotected.",
        )
    position = _known(row, "position", position, around.position_ids)
    cover = _known(row, "cover", row.text("cover"), around.cover_ids)
    count = int(row.number("count", _COUNT) or 1)
    serial = row.text("serial")
    if serial is not None and count > 1:
        row.refuse(
            "serial-of-many",
            "serial",
            f"serial {serial} stands for {count} fixtures.",
            "Give each fixture with a serial its own row, or leave the serial out.",
        )
    mount, tilt, facing = _mounted(row)
    code = row.code("code")
    connector_open = row.code("connector_open_code")
    state = row.one_of("connector_state", _STATE) or "mated"
    if state == "open" and not row.has("connector_open_code"):
        row.tell(
            "open-connector",
            "connector_open_code",
            "the connector is open and no connector_open_code is given.",
            "It counts as unprotected until it is logged capped.",
        )
    found = Fixture(
        id=name or "",
        code=code or _UNREAD,
        position=position or "",
        name=row.text("name"),
        type=row.text("type"),
        serial=serial,
        owner=row.text("owner"),
        count=count,
        supply_code=row.code("supply_code"),
        connector_code=row.code("connector_code"),
        connector_open_code=connector_open,
        connector_state=cast("ConnectorState", state),
        mount=mount,
        tilt_deg=tilt,
        facing_deg=facing,
        condition=cast("Condition", row.one_of("condition", _CONDITION) or "hire"),
        surface_m2=row.number("surface_m2", _SURFACE, "square metres") or 0.5,
        height_m=row.number("height_m", _HEIGHT, "metres"),
        in_from_front_m=row.number("in_from_front_m", _INSET, "metres"),
        in_from_right_m=row.number("in_from_right_m", _INSET, "metres"),
        fed_by=row.text("fed_by"),
        cover=cover,
        fan_cooled=row.yes("fan_cooled"),
        may_run_covered=row.yes("may_run_covered"),
        stated_mm=row.number("stated_mm", _STATED, "millimetres"),
        stated_hours_in_rain=row.number("stated_hours_in_rain", _STATED, "hours"),
        immersion_m=row.number("immersion_m", _DEPTH, "metres"),
        immersion_minutes=row.number("immersion_minutes", _STATED, "minutes"),
        value=_value(row),
        truck=row.text("truck"),
        case=row.text("case"),
    )
    _under_water(row, found)
    _under_roof(row, found, around)
    return found if name and position and code is not None else None


def _under_water(row: Row, found: Fixture) -> None:
    """What a maker states of an 8: a depth, and for how long."""
    if found.immersion_minutes is not None and found.immersion_m is None:
        row.refuse(
            "missing-value",
            "immersion_m",
            "immersion_minutes is given, and no immersion_m.",
            "Give the depth that its maker states for so long, in metres.",
        )
    if found.immersion_m is not None and 8 not in found.code.water:
        row.tell(
            "immersion-without-8",
            "immersion_m",
            f"immersion_m is given for {found.code.canonical or 'a code'}, which has no 8.",
            "It does not count: a 7 is half an hour under up to one metre.",
        )


def _value(row: Row) -> float:
    value = row.number("value", _VALUE)
    return 1.0 if value is None else value


def _known(row: Row, column: str, name: str | None, ids: Collection[str] | None) -> str | None:
    """The id that a cell refers to; several words may stand with spaces."""
    if name is None or ids is None or name in ids:
        return name
    joined = "-".join(name.split())
    if joined in ids:
        return joined
    remedy = suggestion(joined, ids)
    row.refuse(f"unknown-{column}", column, f"{column} {name} is not in show.toml.", remedy)
    return None


def _mounted(row: Row) -> tuple[Mount, float | None, float | None]:
    """How it hangs: tilted needs its angles, and other mounts have none."""
    mount = row.one_of("mount", _MOUNT)
    tilt = row.number("tilt_deg", _TILT, "degrees")
    facing = row.number("facing_deg", _AZIMUTH, "degrees")
    if mount is None and not row.has("mount") and tilt is not None:
        mount = "tilted"
    if mount == "tilted" and not row.has("tilt_deg"):
        row.refuse(
            "missing-value",
            "tilt_deg",
            "mount is tilted and tilt_deg is empty.",
            "Give the lean of the enclosure's tested up from vertical, in degrees.",
        )
    if mount == "tilted" and not row.has("facing_deg"):
        row.tell(
            "tilt-any-way",
            "facing_deg",
            "mount is tilted and facing_deg is empty, so it counts as mount any.",
            "Give the way it leans, in degrees clockwise from north.",
        )
        return "any", tilt, None
    if mount in {"upright", "inverted"} and tilt is not None:
        row.refuse(
            "mount-and-tilt",
            "tilt_deg",
            f"mount is {mount} and tilt_deg is given too.",
            "Write mount tilted, or leave tilt_deg out.",
        )
    return cast("Mount", mount or "any"), tilt, None if facing is None else facing % 360


def _under_roof(row: Row, fixture: Fixture, around: Surroundings) -> None:
    position = around.positions.get(fixture.position)
    over = around.roofs.get(position.roof) if position is not None and position.roof else None
    own = (fixture.height_m, fixture.in_from_front_m, fixture.in_from_right_m)
    if over is not None:
        for key, code, says, remedy in misfits(over, *own):
            row.refuse(code, key, f"{fixture.id} is {says}.", remedy)
    elif position is not None and position.roof is None and own[1:] != (None, None):
        row.tell(
            "no-roof",
            "in_from_front_m",
            f"{fixture.id} says how far in it is and its position stands under no roof.",
            "It counts as open sky.",
        )


def _without_place(file: CsvFile, read: list[tuple[Row, Fixture]], around: Surroundings) -> None:
    """Under a roof every fixture needs both its insets, its own or its position's."""
    for key in ("in_from_front_m", "in_from_right_m"):
        lacking: dict[str, list[str]] = {}
        lines: dict[str, int] = {}
        for row, fixture in read:
            position = around.positions.get(fixture.position)
            if position is None or position.roof is None or getattr(position, key) is not None:
                continue
            if not row.has(key):
                lacking.setdefault(position.id, []).append(fixture.id)
                lines.setdefault(position.id, row.line)
        for position_id, ids in lacking.items():
            named = ", ".join(ids[:5]) + (", ..." if len(ids) > 5 else "")
            file.faults.add(
                "no-place-under-roof",
                lines[position_id],
                key,
                f"position {position_id} is under a roof, and {key} is not given for {named}.",
                f"Give {key} on the position in show.toml, or on every fixture there.",
            )


def _feeding(read: list[tuple[Row, Fixture]], ids: Mapping[str, int]) -> None:
    """fed_by names a row, and following it never comes back to where it began."""
    above = {fixture.id: fixture.fed_by for _, fixture in read}
    settled: set[str] = set()
    for row, fixture in read:
        if fixture.fed_by is None:
            continue
        if fixture.fed_by not in ids:
            row.refuse(
                "unknown-fixture",
                "fed_by",
                f"fed_by {fixture.fed_by} is not the id of a row.",
                suggestion(fixture.fed_by, ids),
            )
            continue
        circle = _circle(fixture.id, above, settled)
        if circle:
            row.refuse(
                "fed-by-circle",
                "fed_by",
                f"fed_by goes round: {' from '.join([*circle, circle[0]])}.",
                "Leave fed_by empty on the one that the power comes in at.",
            )


def _circle(start: str, above: Mapping[str, str | None], settled: set[str]) -> list[str]:
    """The ids of a circle on the way up from `start`; what is `settled` is not gone over again."""
    chain: dict[str, None] = {}
    at: str | None = start
    while at is not None and at not in chain and at not in settled:
        chain[at] = None
        at = above.get(at)
    settled.update(chain)
    way = list(chain)
    return way[way.index(at) :] if at in chain else []
