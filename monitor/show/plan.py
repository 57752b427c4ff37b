"""Sections of show.toml to records: roofs, positions, covers, the event.

A section may come here with some of its items refused already; what is sound is still
checked, so that every fault of the file is told at once.
"""

from __future__ import annotations

import tomllib
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar, cast

from monitor.builtin import builtin
from monitor.domain import Cover, Crew, Event, Hours, Person, Policy, Position, Puddle, Roof, Spray
from monitor.show.clock import ClockError, daily_hours, moment
from monitor.show.nearest import suggestion
from monitor.show.under_roof import misfits

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from monitor.show.findings import Findings
    from monitor.show.settings import (
        CoverPart,
        CrewPart,
        EventPart,
        PersonPart,
        PolicyPart,
        PositionPart,
        RoofPart,
    )
    from monitor.show.water_parts import SprayPart
    from monitor.toml_places import Path

T = TypeVar("T")


@cache
def access_defaults() -> Mapping[str, Mapping[str, float]]:
    """What a position takes by the way it is reached (config/access.toml)."""
    return cast(
        "Mapping[str, Mapping[str, float]]",
        tomllib.loads(builtin("access.toml").read_text(encoding="utf-8")),
    )


def refuse_twins(section: str, key: str, items: Sequence[Any], findings: Findings) -> None:
    """Two items of one section with one name, with both their lines."""
    first: dict[str, int] = {}
    for index, item in enumerate(items):
        name = item.get(key) if isinstance(item, dict) else None
        if not isinstance(name, str):
            continue
        if name not in first:
            first[name] = index
            continue
        here, there = (findings.line((section, i, key)) for i in (index, first[name]))
        findings.refuse(
            (section, index, key),
            "duplicate-id",
            f"{section} has {key} {name} twice, on lines {there} and {here}.",
            "Give each its own.",
        )


def roof(part: RoofPart) -> Roof:
    """One roof."""
    fields = part.model_dump()
    return Roof(**{**fields, "closed": frozenset(part.closed), "facing_deg": part.facing_deg % 360})


def cover(part: CoverPart, path: Path, findings: Findings) -> Cover:
    """One kind of cover, open-bottomed or sealed."""
    if part.sealed == (part.keeps_out_to_deg is not None):
        both = part.sealed
        findings.refuse(
            path,
            "cover-kind",
            f"cover {part.id} is {'both sealed and' if both else 'neither sealed nor'} "
            "open-bottomed.",
            "Give keeps_out_to_deg for a hood that is open below, or sealed = true; one of them.",
        )
    return Cover(**{**part.model_dump(), "name": part.name or part.id})


def position(
    part: PositionPart,
    path: Path,
    roofs: Mapping[str, Roof],
    roof_ids: Iterable[str],
    findings: Findings,
) -> Position:
    """One position, with what its access implies filled in."""
    usual = access_defaults()[part.access]
    limit = part.access_limit_mps
    if limit is None:
        limit = usual.get("access_limit_mps")
        limit = None if limit is None else float(limit)
    if part.access == "lowered-truss" and limit is None:
        findings.refuse(
            (*path, "access_limit_mps"),
            "missing-key",
            f"access_limit_mps of position {part.id} is missing: a truss has no usual limit.",
            "Ask the rigger in what gust the truss may still be moved, in metres per second.",
        )
    if part.roof is not None and part.roof not in roof_ids:
        findings.refuse(
            (*path, "roof"),
            "unknown-roof",
            f"position {part.id} stands under roof {part.roof}, which is not in this file.",
            suggestion(part.roof, roof_ids),
        )
    over = roofs.get(part.roof) if part.roof is not None else None
    if over is not None:
        insets = (part.in_from_front_m, part.in_from_right_m)
        for key, code, says, remedy in misfits(over, part.height_m, *insets):
            findings.refuse((*path, key), code, f"position {part.id} is {says}.", remedy)
    if part.roof is None and (part.in_from_front_m, part.in_from_right_m) != (None, None):
        findings.tell(
            path,
            "no-roof",
            f"position {part.id} says how far in it is and stands under no roof.",
            "It counts as open sky; give roof, or leave in_from_... out.",
        )
    if part.washdown_times and part.washdown == "none":
        findings.tell(
            (*path, "washdown_times"),
            "no-washdown",
            f"position {part.id} has washdown_times and no washdown.",
            'Nothing is counted then; give washdown = "low" for a hose, "high" for a pressure '
            "washer, or a [[washdowns]] of kind sprinkler.",
        )
    return Position(
        id=part.id,
        name=part.name or part.id,
        height_m=part.height_m,
        access=part.access,
        access_limit_mps=limit,
        setup_minutes=_given(part.setup_minutes, usual["setup_minutes"]),
        cover_minutes_each=_given(part.cover_minutes_each, usual["cover_minutes_each"]),
        bring_in_minutes_each=_given(part.bring_in_minutes_each, usual["bring_in_minutes_each"]),
        tickets=part.tickets,
        daylight=part.daylight,
        people_needed=int(_given(part.people_needed, usual["people_needed"])),
        isolate_at=part.isolate_at,
        roof=part.roof,
        in_from_front_m=part.in_from_front_m,
        in_from_right_m=part.in_from_right_m,
        terrain=part.terrain,
        washdown=part.washdown,
        washdown_times=read_spans(part.washdown_times, (*path, "washdown_times"), findings),
        may_flood_m=part.may_flood_m,
        puddle=_puddle(part, path, findings),
        spray=None if part.spray is None else _spray(part.spray, (*path, "spray"), findings),
    )


def _given(value: float | None, usual: float) -> float:
    return float(usual if value is None else value)


def _puddle(part: PositionPart, path: Path, findings: Findings) -> Puddle | None:
    """How a puddle fills and drains; how deep it gets is may_flood_m."""
    if part.puddle is None:
        return None
    if not part.may_flood_m:
        findings.refuse(
            (*path, "puddle"),
            "missing-key",
            f"position {part.id} has a puddle and no may_flood_m.",
            "Give may_flood_m: how deep it stands before it runs off, in metres.",
        )
        return None
    return Puddle(part.puddle.gathers, part.puddle.half_gone_hours, part.may_flood_m)


def _spray(part: SprayPart, path: Path, findings: Findings) -> Spray:
    fields = part.model_dump()
    return Spray(**{**fields, "on": read_spans(part.on, (*path, "on"), findings)})


def read_spans(texts: Sequence[str], path: Path, findings: Findings) -> tuple[Hours, ...]:
    """Daily spans of site time."""
    read = (_read(daily_hours, text, (*path, i), findings) for i, text in enumerate(texts))
    return tuple(span for span in read if span is not None)


def read_moment(
    text: str | None, zone: ZoneInfo, path: Path, findings: Findings
) -> datetime | None:
    """A time of the site; None where there is none or it cannot be read."""
    return _read(lambda t: moment(t, zone), text, path, findings)


def event(part: EventPart, zone: ZoneInfo, findings: Findings) -> Event | None:
    """When gear is out; None where that cannot be read."""

    def at(key: str, text: str | None) -> datetime | None:
        return read_moment(text, zone, ("event", key), findings)

    def hours(key: str, text: str | None) -> Hours | None:
        return _read(daily_hours, text, ("event", key), findings)

    load_in = at("load_in_at", part.load_in_at)
    load_out = at("load_out_at", part.load_out_at)
    rigged = at("load_in_ends_at", part.load_in_ends_at)
    show_hours = hours("show_hours", part.show_hours)
    quiet_hours = hours("quiet_hours", part.quiet_hours)
    if load_in is None:
        return None
    if load_out is not None and load_out <= load_in:
        findings.refuse(
            ("event", "load_out_at"),
            "bad-time",
            "load_out_at of [event] is not after load_in_at.",
            "Give the end of the load-out, or leave it out where gear stays for good.",
        )
    if rigged is not None and rigged <= load_in:
        findings.refuse(
            ("event", "load_in_ends_at"),
            "bad-time",
            "load_in_ends_at of [event] is not after load_in_at.",
            "Give the time by which every connector is mated or capped, or leave it out.",
        )
    if rigged is not None and load_out is not None and rigged > load_out:
        findings.refuse(
            ("event", "load_in_ends_at"),
            "bad-time",
            "load_in_ends_at of [event] is after load_out_at.",
            "Load-in ends before the load-out does: see which of the two is meant.",
        )
    return Event(load_in, load_out, show_hours, quiet_hours, rigged)


def _read(reader: Callable[[str], T], text: str | None, path: Path, findings: Findings) -> T | None:
    if text is None:
        return None
    try:
        return reader(text)
    except ClockError as fault:
        key = next(step for step in reversed(path) if isinstance(step, str))
        says = f"{key} of {findings.owner(path)}: {fault.says}"
        findings.refuse(path, fault.code, says, fault.remedy)
        return None


def crew(part: CrewPart, people: tuple[Person, ...]) -> Crew:
    """Who is there."""
    return Crew(**part.model_dump(), people=people)


def person(part: PersonPart, path: Path, contacts: Collection[str], findings: Findings) -> Person:
    """Somebody of the crew; the contact that reaches them must be there."""
    if part.contact is not None and part.contact not in contacts:
        findings.refuse(
            (*path, "contact"),
            "unknown-contact",
            f"{part.name} is reached by contact {part.contact}, which is not in this file.",
            suggestion(part.contact, contacts),
        )
    return Person(
        name=part.name,
        tickets=part.tickets,
        shifts=read_spans(part.shifts, (*path, "shifts"), findings),
        call_out_minutes=part.call_out_minutes,
        contact=part.contact,
    )


def tell_unheld(
    positions: Iterable[Position], people: Sequence[Person], findings: Findings
) -> None:
    """Tell of tickets that a position asks for and nobody holds."""
    held = {ticket for person in people for ticket in person.tickets}
    for number, position in enumerate(positions):
        for ticket in position.tickets:
            if people and ticket not in held:
                findings.tell(
                    ("positions", number, "tickets"),
                    "ticket-not-held",
                    f"position {position.id} asks for the ticket {ticket}, which nobody holds.",
                    "Give it to somebody in [[people]], or nobody can be sent there.",
                )


def policy(part: PolicyPart, findings: Findings) -> Policy:
    """The settings, where one leans on another too."""
    if part.frozen_none_c <= part.frozen_all_c:
        findings.refuse(
            ("policy", "frozen_none_c"),
            "out-of-range",
            f"frozen_none_c of [policy] is {part.frozen_none_c:g}, not above frozen_all_c, "
            f"which is {part.frozen_all_c:g}.",
            "All is frozen at frozen_all_c and below, nothing at frozen_none_c and above.",
        )
    return Policy(**part.model_dump())
