"""What each inspection found, and what the fixture had taken by then.

Raw material, for learning from the trade's own results how much gear really stands. It is no
finding: who is inspected is not chosen by chance, and what is not inspected has no row.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from monitor.evaluation import until_now
from monitor.exposure.assess import assess
from monitor.exposure.results import Carried
from monitor.exposure.tracks import groups_of
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import Condition, InspectionResult, LogEntry, Weather
    from monitor.exposure.rig import Rig
    from monitor.exposure.tracks import Group

_ROUNDING_H = 1 / 3600
"""Less than a second of unknown time is a matter of rounding [h]."""


@dataclass(frozen=True, slots=True)
class Inspected:
    """One row of fixtures.csv at one inspection. Sums are since it was last found dry."""

    at: datetime
    fixture: str
    type: str | None
    code: str
    condition: Condition
    count: int
    position: str
    used: float
    """Share of the allowance [1]"""
    wetting_mm: float
    """Water on the worst plane [mm]"""
    wet_hours: float
    """[h]"""
    covered_hours: float
    """[h]"""
    result: InspectionResult | None
    part: tuple[int, int] | None = None
    """(3, 15): so many of them"""
    earth_ohm: float | None = None
    insulation_mohm: float | None = None
    known: bool = True
    """The weather is known up to then; else the sums leave something out"""


def inspections(
    rig: Rig, past: Weather | None, log: Sequence[LogEntry], out_from_s: float
) -> tuple[Inspected, ...]:
    """Every inspection in the log, oldest first.

    Parameters
    ----------
    rig : compiled show
    past : the weather since anything was out; None: not known, and all sums are 0
    log : entries until now, in any order
    out_from_s : when fixtures with no put-out entry went out (seconds)

    Notes
    -----
    The record is gone over in pieces that end at the inspections. An inspection that finds a
    fixture dry takes effect with the piece after it, so each piece ends as the inspector came.
    """
    entries = sorted((e for e in log if e.entry == "inspected"), key=lambda e: e.at)
    if not entries:
        return ()
    groups, group_of = groups_of(rig, log, out_from_s)
    so_far, sums = Carried.nothing(len(groups)), _Sums(len(groups))
    found: list[Inspected] = []
    for at in dict.fromkeys(e.at for e in entries):
        at_s = to_epoch(at)
        piece = None if past is None else until_now(past, so_far.until_s, at_s)
        if piece is not None and len(piece.starts):
            taken = assess(rig, piece, log, out_from_s=out_from_s, carried=so_far)
            so_far = taken.carried
            sums.wetting += taken.wetting_mm.sum(axis=(0, 1))
            sums.covered += taken.covered_hours.mean(axis=0)
            sums.unknown += taken.unknown_hours.mean(axis=0)
        for entry in (e for e in entries if e.at == at):
            found += _rows(rig, entry, groups, group_of.tolist(), so_far, sums, at_s)
        for g, group in enumerate(groups):
            if at_s in group.track.dry_inspections:
                sums.found_dry(g)
    return tuple(found)


class _Sums:
    """What is added up since each group was last found dry."""

    def __init__(self, groups: int) -> None:
        self.wetting, self.covered, self.unknown = (np.zeros(groups) for _ in range(3))

    def found_dry(self, g: int) -> None:
        self.wetting[g] = self.covered[g] = self.unknown[g] = 0.0


def _rows(
    rig: Rig,
    entry: LogEntry,
    groups: Sequence[Group],
    group_of: Sequence[int],
    so_far: Carried,
    sums: _Sums,
    at_s: float,
) -> list[Inspected]:
    rows = []
    for fixture, g in zip(rig.show.fixtures, group_of, strict=True):
        where = _position(groups[g], at_s)
        if entry.fixture != fixture.id and (entry.fixture or entry.position != where):
            continue
        rows.append(
            Inspected(
                at=entry.at,
                fixture=fixture.id,
                type=fixture.type,
                code=fixture.code.canonical,
                condition=fixture.condition,
                count=fixture.count,
                position=where,
                used=float(so_far.used[:, g].max()),
                wetting_mm=float(sums.wetting[g]),
                wet_hours=float(so_far.clock_hours[g]),
                covered_hours=float(sums.covered[g]),
                result=entry.result,
                part=entry.count,
                earth_ohm=entry.earth_ohm,
                insulation_mohm=entry.insulation_mohm,
                known=bool(so_far.until_s >= at_s - 1.0 and sums.unknown[g] < _ROUNDING_H),
            )
        )
    return rows


def _position(group: Group, at_s: float) -> str:
    begun = [s.position for s in group.track.segments if s.start_s <= at_s]
    return begun[-1] if begun else group.kind.position
