"""What each unit took, as the record has it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.report.covers import cover_spans
from monitor.report.findings import BANDS, ORDERS, Do, Line
from monitor.report.rainfall import worst_hour
from monitor.report.record_parts import figure, known
from monitor.report.record_units import (
    CareRow,
    Carried,
    CoverSpan,
    PositionRow,
    Stay,
    Unit,
    UnitEntry,
)
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from monitor.domain import Fixture, LogEntry
    from monitor.report.found import Found
    from monitor.report.places import Place

DRYING: tuple[Do, ...] = ("isolate", "inspect", "dry", "look")
CLEANING: tuple[Do, ...] = ("clean",)
_STILL_ON_S = 1.0


def units(found: Found, carried: Mapping[str, Sequence[Carried]]) -> tuple[Unit, ...]:
    """Every row of fixtures.csv, worst first; `carried` by fixture id."""
    gusts = {place.position.id: place.gust_mps for place in found.places}
    spans = {line.group: _Spans(found, line) for line in found.lines}
    return tuple(
        _unit(found, line, fixture, spans[line.group], gusts, carried.get(fixture.id, ()))
        for line in found.lines
        for fixture in line.fixtures
    )


class _Spans:
    """What all fixtures of one exposure have in common: where, and the water of each step."""

    def __init__(self, found: Found, line: Line) -> None:
        material, local = found.material, found.times.local
        start, end = material.period
        segments = [
            (max(s.start_s, start), min(s.end_s, end), s)
            for s in material.exposure.groups[line.group].track.segments
        ]
        self.segments = [(a, b, s) for a, b, s in segments if b > a]
        self.stays = tuple(
            Stay(position=name, begins_at=local(to_moment(a)), ends_at=local(to_moment(b)))
            for name, a, b in _joined([(a, b, s.position) for a, b, s in self.segments])
        )
        self.counted = cover_spans(material, line.group)
        weather = material.exposure.steps.weather
        water = material.exposure.wetting_mm[0, :, line.group]
        self.worst_mm, worst_s = worst_hour(weather.starts, weather.ends, water)
        self.worst_at = to_moment(worst_s) if self.worst_mm > 0.0 else None

    def covers(self, found: Found, entries: Sequence[LogEntry]) -> tuple[CoverSpan, ...]:
        """Covers on and off, with who logged it."""
        local, (_, end) = found.times.local, found.material.period
        spans = [
            (a, b, s.kind.cover.id if s.kind.cover is not None else "")
            for a, b, s in self.segments
            if s.covered
        ]
        return tuple(
            CoverSpan(
                cover=name,
                on_at=local(to_moment(a)),
                off_at=None if b > end - _STILL_ON_S else local(to_moment(b)),
                on_by=_by(entries, a, ("covered",)),
                off_by=_by(entries, b, ("uncovered", "brought-in", "moved")),
                counts_until=local(
                    to_moment(max([a, *(t for s, t in self.counted if a <= s < b)]))
                ),
            )
            for name, a, b in _joined(spans)
        )


def _joined(spans: Sequence[tuple[float, float, str]]) -> list[tuple[str, float, float]]:
    """Spans that follow on each other under one name, drawn together."""
    found: list[tuple[str, float, float]] = []
    for a, b, name in spans:
        if found and found[-1][0] == name and a - found[-1][2] < _STILL_ON_S:
            found[-1] = (name, found[-1][1], b)
        else:
            found.append((name, a, b))
    return found


def _by(entries: Sequence[LogEntry], at_s: float, kinds: Sequence[str]) -> str | None:
    return next(
        (e.by for e in entries if e.entry in kinds and abs(to_epoch(e.at) - at_s) < _STILL_ON_S),
        None,
    )


def _unit(
    found: Found,
    line: Line,
    fixture: Fixture,
    spans: _Spans,
    gusts: Mapping[str, float],
    carried: Sequence[Carried],
) -> Unit:
    positions, at = found.material.show.positions, found.times.maybe
    last = line.positions[-1]
    entries = found.log.mentioning(fixture.id)
    before = sum(one.used_total for one in carried)
    return Unit(
        id=fixture.id,
        name=fixture.name,
        type=fixture.type,
        serial=fixture.serial,
        owner=fixture.owner,
        count=fixture.count,
        code=fixture.code.canonical,
        part=line.part,
        part_code=line.part_code,
        standing=line.standing,
        condition=fixture.condition,
        mount=fixture.mount,
        fed_by=fixture.fed_by,
        position=last,
        position_name=positions[last].name,
        positions_in_order=" > ".join(line.positions),
        basis="estimate",
        allowance_mm=figure(line.allowance_mm),
        wetting_mm=known(line.wetting_mm),
        used=known(line.used),
        used_total=known(line.used_total),
        half_used_at=at(line.half_at),
        spent_at=at(line.spent_at),
        wet_hours=known(line.wet_h),
        damp_hours=known(line.damp_h),
        dusty_hours=known(line.dusty_h),
        covered_hours=known(line.covered_h),
        unknown_hours=known(line.unknown_h),
        hours_out=known(line.out_h),
        cover_counts_off_from=at(line.cover_off_at),
        state=line.band,
        to_do="; ".join(ORDERS[care.do] for care in line.cares),
        why="; ".join(care.why for care in line.cares if care.why),
        notes="; ".join(line.notes),
        truck=fixture.truck,
        case=fixture.case,
        worst_hour_mm=known(spans.worst_mm),
        worst_hour_at=at(spans.worst_at),
        strongest_gust_mps=figure(gusts.get(last)),
        carried_used=known(before),
        used_all_shows=known(before + line.used_total),
        carried_shows=len(carried),
        stays=spans.stays,
        covers=spans.covers(found, entries),
        log=tuple(_entry(found, e) for e in entries if _in_period(found, e.at)),
        carried=tuple(carried),
    )


def _in_period(found: Found, at: datetime) -> bool:
    since = found.material.from_
    return since is None or at >= since


def _entry(found: Found, entry: LogEntry) -> UnitEntry:
    done, of = entry.count or (None, None)
    return UnitEntry(
        at=found.times.local(entry.at),
        entry=entry.entry,
        done=done,
        of=of,
        to=entry.to,
        result=entry.result,
        earth_ohm=figure(entry.earth_ohm),
        insulation_mohm=figure(entry.insulation_mohm),
        by=entry.by,
        note=entry.note,
    )


def position_row(found: Found, place: Place) -> PositionRow:
    """One position."""
    bands, there, at = place.bands(), place.lines, found.times.maybe
    over, half, within, no_limit, not_out = (bands.get(band, 0) for band in BANDS)
    return PositionRow(
        position=place.position.id,
        name=place.position.name,
        height_m=known(place.position.height_m),
        fixtures=place.count,
        basis="estimate",
        over=over,
        half=half,
        within=within,
        no_limit=no_limit,
        not_out=not_out,
        worst_fixture=place.worst.first.id,
        worst_used=known(place.worst.used),
        worst_used_total=known(place.worst.used_total),
        first_half_used_at=at(min((x.half_at for x in there if x.half_at), default=None)),
        first_spent_at=at(min((x.spent_at for x in there if x.spent_at), default=None)),
        most_wetting_mm=known(max(x.wetting_mm for x in there)),
        most_wet_hours=known(max(x.wet_h for x in there)),
        most_damp_hours=known(max(x.damp_h for x in there)),
        most_dusty_hours=known(max(x.dusty_h for x in there)),
        most_unknown_hours=known(max(x.unknown_h for x in there)),
        strongest_gust_mps=figure(place.gust_mps),
        strongest_gust_at=at(place.gust_at),
        log_entries=len(place.entries),
    )


def care_rows(found: Found, wanted: Sequence[Do]) -> tuple[CareRow, ...]:
    """What wants drying, or cleaning: by truck and case, in each the most urgent first.

    Trucks and cases that nobody named come last.
    """
    rows: list[tuple[tuple[object, ...], CareRow]] = []
    for line in found.lines:
        cares = [care for care in line.cares if care.do in wanted]
        for fixture in line.fixtures if cares else ():
            row = CareRow(
                truck=fixture.truck,
                case=fixture.case,
                id=fixture.id,
                serial=fixture.serial,
                name=fixture.name or fixture.type,
                owner=fixture.owner,
                count=fixture.count,
                position_name=found.material.show.positions[line.positions[-1]].name,
                to_do="; ".join(ORDERS[care.do] for care in cares),
                why="; ".join(care.why for care in cares if care.why),
                used=known(line.used),
                dusty_hours=known(line.dusty_h),
            )
            urgent = min(wanted.index(care.do) for care in cares)
            where = (fixture.truck is None, fixture.truck or "", fixture.case is None,
                     fixture.case or "")  # fmt: skip
            rows.append(((*where, urgent, -line.used_total, fixture.id), row))
    return tuple(row for _, row in sorted(rows, key=lambda pair: pair[0]))
