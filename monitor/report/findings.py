"""What every fixture took and what it wants now: one line an exposure, worst first."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from monitor.domain import Fixture, Part
from monitor.exposure.rig import PARTS
from monitor.exposure.tracks import Group
from monitor.report.material import Material
from monitor.units import SECONDS_PER_HOUR, to_moment

Band = Literal["over", "half", "within", "no-limit", "not-out"]
BANDS: tuple[Band, ...] = ("over", "half", "within", "no-limit", "not-out")
Do = Literal["isolate", "inspect", "dry", "clean", "look", "none"]
DOES: tuple[Do, ...] = ("isolate", "inspect", "dry", "clean", "look", "none")
ORDERS: dict[Do, str] = {
    "isolate": "Keep isolated and out of service",
    "inspect": "Dry and inspect",
    "dry": "Dry before it is packed",
    "clean": "Clean",
    "look": "Look inside: not all is known",
    "none": "Nothing",
}
_ROUNDING_H = 1 / 3600
"""Less than a second of unknown time is a matter of rounding [h]."""
_WET_FILM_MM = 0.01
"""Film left at the end that still counts as wet [mm]."""


@dataclass(frozen=True, slots=True)
class Care:
    """One thing to do now, and why."""

    do: Do
    why: str


@dataclass(frozen=True, slots=True)
class Line:
    """One exposure and every fixture that had it. Depths in mm, lengths of time in hours."""

    group: int
    fixtures: tuple[Fixture, ...]
    count: int
    """Fixtures, rows of several counted in full"""
    positions: tuple[str, ...]
    """Where it hung, in order of time"""
    part: Part
    part_code: str
    standing: str
    allowance_mm: float | None
    """None: no limit from rain"""
    clock_hours: float | None
    """Limit in wet hours that runs beside it"""
    band: Band
    wetting_mm: float
    used: float
    used_total: float
    half_at: datetime | None
    spent_at: datetime | None
    wet_h: float
    damp_h: float
    dusty_h: float
    covered_h: float
    unknown_h: float
    out_h: float
    cover_off_at: datetime | None
    """When a gust over the cover's limit made it count as off"""
    cares: tuple[Care, ...]
    notes: tuple[str, ...]

    @property
    def first(self) -> Fixture:
        """The first fixture of the line, in the order of fixtures.csv."""
        return self.fixtures[0]


def lines(material: Material) -> tuple[Line, ...]:
    """Every exposure that a fixture had, worst first.

    Worst is what used most of its allowance over the whole time, inspected since or not; of
    those that used none, what took most water.
    """
    by_group: dict[int, list[Fixture]] = {}
    of = material.exposure.group_of.tolist()
    for fixture, group in zip(material.show.fixtures, of, strict=True):
        by_group.setdefault(group, []).append(fixture)
    fed: Counter[str] = Counter()
    for fixture in material.show.fixtures:
        if fixture.fed_by is not None:
            fed[fixture.fed_by] += fixture.count
    found = [_line(material, g, tuple(rows), fed) for g, rows in by_group.items()]
    return tuple(
        sorted(
            found,
            key=lambda x: (BANDS.index(x.band), -x.used_total, -x.wetting_mm, x.first.id),
        )
    )


def _line(material: Material, g: int, fixtures: tuple[Fixture, ...], fed: Counter[str]) -> Line:
    exposure, policy = material.exposure, material.show.policy
    group = exposure.groups[g]
    kind = group.kind
    part = exposure.weakest_part(g)
    used = used_now(material, g)
    total = max(float(exposure.used_total[0, g]), used)
    allowance = kind.allowance_mm(part, policy)
    unlimited = kind.wet_hours_limit is None and all(
        kind.allowance_mm(p, policy) is None for p in PARTS
    )
    half, spent = moment(exposure.half_used_s[0, g]), moment(exposure.spent_s[0, g])
    band: Band = "within"
    if exposure.hours_out[g] <= 0.0 and total <= 0.0:
        band = "not-out"
    elif spent is not None or total >= 1.0:
        band = "over"
    elif half is not None or total >= 0.5:
        band = "half"
    elif unlimited and total <= 0.0:
        band = "no-limit"
    codes = kind.codes(connector_open=_open_at_end(group))
    return Line(
        group=g,
        fixtures=fixtures,
        count=sum(f.count for f in fixtures),
        positions=_positions(group),
        part=part,
        part_code=codes[part].canonical if part in codes else kind.code.canonical,
        standing=kind.standing,
        allowance_mm=allowance,
        clock_hours=kind.wet_hours_limit,
        band=band,
        wetting_mm=float(exposure.wetting_mm[0, :, g].sum()),
        used=used,
        used_total=total,
        half_at=half,
        spent_at=spent,
        wet_h=float(exposure.wet_hours[0, g]),
        damp_h=float(exposure.damp_hours[0, g]),
        dusty_h=float(exposure.dusty_hours[0, g]),
        covered_h=float(exposure.covered_hours[0, g]),
        unknown_h=unknown_h(material, g),
        out_h=out_h(material, g),
        cover_off_at=moment(exposure.blown_s[0, g]),
        cares=_cares(material, g, used, total, limited=not unlimited),
        notes=_notes(group, fixtures, fed),
    )


def _cares(
    material: Material, g: int, used: float, total: float, *, limited: bool
) -> tuple[Care, ...]:
    """What the figures ask for, in the order of DOES; the marks are those of the alerts."""
    exposure, policy = material.exposure, material.show.policy
    kind, track = exposure.groups[g]
    found: list[Care] = []
    if track.out_of_service_s is not None:
        found.append(Care("isolate", "water was found inside, and nothing dry logged since"))
    stay_limit = {
        "temporary": policy.stay_days_temporary,
        "extended": policy.stay_days_extended,
    }.get(kind.standing)
    night, stay = exposure.damp_night_most[0, g], exposure.stay_days[0, g]
    why = []
    if used >= 1.0:
        why.append("allowance spent")
    if kind.damp_counts and night >= policy.damp_hours_check:
        why.append(f"{night:.0f} damp hours in one night")
    if stay_limit is not None and stay > stay_limit:
        why.append(f"{stay:.0f} days out with wet or damp hours")
    if why:
        found.append(Care("inspect", "; ".join(why)))
    elif exposure.carried.film_mm[g] > _WET_FILM_MM:
        found.append(Care("dry", "still wet at the end"))
    dusty = exposure.dusty_since_clean[0, g]
    mark = policy.clean_after_hours if kind.dust == 5 else 1.0
    if kind.dust != 6 and dusty >= mark:
        found.append(Care("clean", f"{dusty:.0f} dusty hours since cleaned"))
    unknown = unknown_h(material, g)
    if unknown > 0.0 and limited and not why:
        found.append(Care("look", f"{unknown:.1f} h not known"))
    if not found:
        found.append(Care("none", _why_nothing(used, total)))
    return tuple(found)


def _why_nothing(used: float, total: float) -> str:
    if used >= 0.5:
        return "over half used, and stays so until an inspection finds it dry"
    if total >= 1.0:
        return "spent once, and found dry since"
    return ""


def _notes(group: Group, fixtures: tuple[Fixture, ...], fed: Counter[str]) -> tuple[str, ...]:
    notes = list(group.track.notes)
    feeds = sum(fed[f.id] for f in fixtures)
    if feeds:
        plural = "s" if feeds > 1 else ""
        notes.append(f"feeds {feeds} fixture{plural}, dark if it fails")
    if group.kind.wet_hours_limit is not None:
        notes.append(f"a limit of {group.kind.wet_hours_limit:g} wet hours runs beside the depth")
    return tuple(notes)


def _positions(group: Group) -> tuple[str, ...]:
    names = tuple(dict.fromkeys(s.position for s in group.track.segments))
    return names or (group.kind.position,)


def _open_at_end(group: Group) -> bool:
    segments = group.track.segments
    return segments[-1].connector_open if segments else group.kind.connector_open


def used_now(material: Material, g: int) -> float:
    """Share of the allowance used at the end, worst part."""
    exposure = material.exposure
    if exposure.used.shape[1]:
        return float(exposure.used[0, -1, g])
    return float(exposure.part_used[0, :, g].max())


def out_h(material: Material, g: int) -> float:
    """Hours of the period that it was out, those that no weather is known of too."""
    start, end = material.period
    spans = material.exposure.groups[g].track.segments
    seconds = sum(max(0.0, min(s.end_s, end) - max(s.start_s, start)) for s in spans)
    return max(seconds / SECONDS_PER_HOUR, float(material.exposure.hours_out[g]))


def unknown_h(material: Material, g: int) -> float:
    """Hours out in which what it took is not known, gaps in the weather included."""
    gaps = out_h(material, g) - float(material.exposure.hours_out[g])
    lost = float(material.exposure.unknown_hours[0, g]) + gaps
    return lost if lost >= _ROUNDING_H else 0.0


def moment(seconds: float) -> datetime | None:
    """A moment of an array, None where it never came."""
    return None if np.isnan(seconds) else to_moment(float(seconds))


def id_ranges(ids: list[str], most: int = 12) -> tuple[list[str], int]:
    """Ids with runs drawn together ("DS-01 to DS-09"), and how many ids are left off.

    A run is of neighbours in the list that count up by one behind the same letters.
    """
    runs: list[list[str]] = []
    for name in ids:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    said: list[str] = []
    for run in runs[:most]:
        said += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else run
    return said, sum(len(run) for run in runs[most:])


def _follows(before: str, name: str) -> bool:
    stem, digits = _parted(before)
    next_stem, next_digits = _parted(name)
    if not digits or stem != next_stem or not next_digits:
        return False
    return next_digits == str(int(digits) + 1).rjust(len(digits), "0")


def _parted(name: str) -> tuple[str, str]:
    stem = name.rstrip("0123456789")
    return stem, name[len(stem) :]
