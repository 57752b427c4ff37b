"""After the rain: what is looked at first, why, and what to do with it in order.

What was seen wet comes first, then what used most of its allowance; of equal use, what has no
test against water. Only an inspection that finds a fixture dry takes it off the queue.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from monitor.domain import Fixture, LogEntry, Position
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig
from monitor.exposure.tracks import Group, groups_of
from monitor.planning.tested import Tested, baseline, readings_of
from monitor.planning.weathered import weathered
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch, to_moment

LEAST_SHOWN = 0.01
"""Less use than this is said as 0 %: nothing to look at."""

_FOUL_WATER = (
    "Salt, dirty or standing water: no power; tag it and set it apart for somebody qualified to "
    "judge"
)
_DEAD = "lock it, prove it dead before a hand touches it"
_LOOK = "Look: drain and dry it, photograph water, mist, rust and tide marks"
_EARTH = "Earth continuity, where it has an earth"
_INSULATION = (
    "Insulation at 500 V DC, or 250 V where its electronics ask for it; surge parts may have to "
    "come off for it"
)
_FUNCTION = "Function, alone on its circuit behind a residual-current device"
IN_ORDER = (f"Isolate it, {_DEAD}", _LOOK, _EARTH, _INSULATION, _FUNCTION)
"""Common practice for gear that got wet, each step only after the one before went well"""


@dataclass(frozen=True, slots=True)
class Inspect:
    """One row of fixtures.csv that wants looking at."""

    fixture: str
    position: str
    """Where it hangs, or hung last"""
    count: int
    what: str
    """In crew words: "dimmer, IP20"."""
    used: float
    """Share of its allowance since it was last found dry"""
    seen_wet: bool
    """Somebody reported it wet, or found it damp or with water inside"""
    water_inside: bool
    """Found with water inside: isolated and out of service until it is found dry"""
    needed: bool
    """To be inspected before it is used again; else worth a look while there is time"""
    why: tuple[str, ...]
    isolate_at: str | None
    do: tuple[str, ...]
    """What to do with it, in order"""
    baseline: Tested | None = None
    """The readings of the load-in, else its first"""
    last: Tested | None = None
    """The latest readings, where they are others than those"""


def queue(
    rig: Rig,
    past: Exposure | None,
    log: Sequence[LogEntry],
    now: datetime,
    out_from_s: float | None = None,
) -> tuple[Inspect, ...]:
    """What wants looking at, in order.

    Parameters
    ----------
    rig : compiled show
    past : what everything took until now under this log; None: no weather is known, and only
        what people reported counts
    log : entries in any order
    now : aware
    out_from_s : when fixtures with no put-out entry went out, as `past` has it; default load-in

    Notes
    -----
    Damp nights, days in the wet and allowances are those of the policy. What is damp, holds
    water or was not tested stays on the queue; so does what only has readings.
    """
    now_s = to_epoch(now)
    known = [entry for entry in log if to_epoch(entry.at) <= now_s]
    if past is None:
        out_from = to_epoch(rig.show.event.load_in_at) if out_from_s is None else out_from_s
        groups, group_of = groups_of(rig, known, out_from)
        so_far = Carried.nothing(len(groups))
    else:
        groups, group_of, so_far = past.groups, past.group_of, past.carried
    found = []
    for fixture, g in zip(rig.show.fixtures, group_of.tolist(), strict=True):
        seen = _Seen(rig, groups[g], g, past, so_far, now_s)
        item = _item(rig, fixture, seen, known)
        if item is not None:
            found.append((not item.seen_wet, -percent(item.used), seen.protected, item))
    order = sorted(found, key=lambda row: (*row[:3], row[3].position, row[3].fixture))
    return tuple(row[3] for row in order)


def share(used: float) -> str:
    """A share of an allowance in words: "240 %", "14 times its allowance"."""
    return f"{percent(used)} %" if used < 10.0 else f"{math.floor(used)} times its allowance"


def percent(used: float) -> int:
    """A share in whole per cent, never rounded up: what is short of all never reads as all."""
    return math.floor(used * 100 + 1e-6)


class _Seen:
    """One exposure as it stands now."""

    def __init__(
        self,
        rig: Rig,
        group: Group,
        g: int,
        past: Exposure | None,
        so_far: Carried,
        now_s: float,
    ) -> None:
        self.rig, self.group, self.g = rig, group, g
        self.past, self.so_far, self.now_s = past, so_far, now_s
        self.track = group.track
        self.protected = group.chain_at(now_s).standing != "indoor"
        self.dry_s = max((t for t in self.track.dry_inspections if t <= now_s), default=-np.inf)
        # What has been counted ends a little ago; an inspection since then is not in it yet.
        self.just_dry = self.dry_s >= so_far.until_s
        self.used = 0.0 if self.just_dry else float(so_far.used[:, g].max())
        begun = [s for s in self.track.segments if s.start_s <= now_s]
        self.place = begun[-1].position if begun else group.kind.position
        self.in_since_s = begun[-1].end_s if begun and begun[-1].end_s <= now_s else None

    @property
    def water_inside(self) -> bool:
        """Found with water inside, and not found dry since."""
        inside_s = self.track.out_of_service_s
        return inside_s is not None and inside_s <= self.now_s

    @property
    def part(self) -> str:
        """The part that used most, where it is not the fixture itself."""
        part = "fixture" if self.past is None else self.past.weakest_part(self.g)
        return "" if part == "fixture" or self.used < LEAST_SHOWN else f" (its {part})"

    def at(self, moment_s: float) -> str:
        """The position at a moment."""
        begun = [s.position for s in self.track.segments if s.start_s <= moment_s]
        return begun[-1] if begun else self.group.kind.position

    def first_wet_s(self) -> float | None:
        """When water first reached it; None: it has not."""
        if self.past is None:
            return None
        wet = np.flatnonzero((self.past.wetting_mm[:, :, self.g] > 0.0).any(axis=0))
        return float(self.past.steps.weather.starts[wet[0]]) if len(wet) else None

    def came_in_wet(self) -> bool:
        """Brought in while there was water or dew on it."""
        end_s = self.in_since_s
        if self.past is None or end_s is None or end_s <= self.dry_s:
            return False
        weather = self.past.steps.weather
        step = int(np.searchsorted(weather.starts, end_s)) - 1
        if step < 0 or weather.ends[step] < end_s:
            return False
        wet, damp = self.past.wet[:, step, self.g], self.past.damp[:, step, self.g]
        return bool(wet.any() or damp.any())

    def cover_off(self) -> str | None:
        """That its cover counted as blown off since it was last found dry; None: it did not."""
        if self.past is None:
            return None
        first_s = float(np.fmin.reduce(self.past.blown_s[:, self.g]))
        if np.isfinite(first_s) and first_s > self.dry_s:
            return f"its cover counts as blown off, {_on_site(self, first_s)}"
        # The first one was looked at since; another counts where a cover went on after that.
        now = next((s for s in self.track.segments if s.start_s <= self.now_s < s.end_s), None)
        since_s = None if now is None else now.covered_since_s
        again = since_s is not None and since_s > self.dry_s
        return "its cover counts as blown off" if again and self.so_far.blown[self.g] else None

    def stood_in_water(self) -> list[str]:
        """That a puddle has reached it, where no inspection has found it dry since."""
        if self.past is None:
            return []
        hours, first_s = self.past.under_water_hours[:, self.g], self.past.flooded_s[:, self.g]
        if np.isnan(first_s).all() or np.nanmin(first_s) < self.dry_s:
            return []
        minutes = float(hours.max()) * SECONDS_PER_HOUR / SECONDS_PER_MINUTE
        return [f"stood in a puddle for about {minutes:.0f} min, as rain and drain-down give it"]


def _item(rig: Rig, fixture: Fixture, seen: _Seen, log: Sequence[LogEntry]) -> Inspect | None:
    position = rig.show.positions[seen.place]
    reports = _reports(fixture, seen, log)
    wanted = [*reports, *_not_tested(fixture, seen, log), *_wanted(seen)]
    shown = [f"used {share(seen.used)}"] if seen.used >= LEAST_SHOWN else []
    if not wanted and not shown:
        return None
    stood = seen.stood_in_water()
    foul = stood or _foul(position, wet=bool(reports))
    wet_s = [to_epoch(e.at) for e in log if e.entry == "wet" and _concerns(e, fixture, seen)]
    first_wet = min((s for s in (seen.first_wet_s(), *wet_s) if s is not None), default=None)
    tests = readings_of(fixture.id, log)
    first = baseline(tests, first_wet)
    return Inspect(
        fixture=fixture.id,
        position=position.id,
        count=fixture.count,
        what=f"{fixture.type or fixture.name or 'fixture'}, {fixture.code.canonical}{seen.part}",
        used=seen.used,
        seen_wet=bool(reports),
        water_inside=seen.water_inside,
        needed=bool(wanted) or seen.used >= 1.0,
        why=(*reports, *shown, *wanted[len(reports) :], *foul),
        isolate_at=position.isolate_at,
        do=_do(position, first, inside=seen.track.out_of_service_s is not None, foul=bool(foul)),
        baseline=first,
        last=tests[-1] if first is not None and tests[-1].at > first.at else None,
    )


def _concerns(entry: LogEntry, fixture: Fixture, seen: _Seen) -> bool:
    if entry.fixture is not None:
        return entry.fixture == fixture.id
    return entry.position == seen.at(to_epoch(entry.at))


def _reports(fixture: Fixture, seen: _Seen, log: Sequence[LogEntry]) -> list[str]:
    """What people saw since it was last found dry."""
    said = []
    inside_s = seen.track.out_of_service_s
    if inside_s is not None and seen.water_inside:
        said.append(f"water found inside, {_on_site(seen, inside_s)}")
    since = [e for e in log if to_epoch(e.at) > seen.dry_s and _concerns(e, fixture, seen)]
    for words, told in (
        ("found damp", [e for e in since if e.entry == "inspected" and e.result == "damp"]),
        ("reported wet", [e for e in since if e.entry == "wet"]),
    ):
        if told:
            said.append(f"{words}, {_on_site(seen, max(to_epoch(e.at) for e in told))}")
    return said


def _not_tested(fixture: Fixture, seen: _Seen, log: Sequence[LogEntry]) -> list[str]:
    """That somebody came and could not test it, where that was the last word on it."""
    results = [
        e
        for e in log
        if e.entry == "inspected" and e.result is not None and _concerns(e, fixture, seen)
    ]
    last = max(results, key=lambda e: e.at, default=None)
    if last is None or last.result != "not-tested" or to_epoch(last.at) <= seen.dry_s:
        return []
    return [f"not tested, {_on_site(seen, to_epoch(last.at))}"]


def _wanted(seen: _Seen) -> list[str]:
    """What the weather did to it that asks for an inspection, beside the use itself."""
    said: list[str] = []
    if not seen.just_dry:
        said += weathered(
            seen.so_far, seen.g, seen.group.chain_at(seen.now_s), seen.rig.show.policy
        )
    off = seen.cover_off()
    if off is not None:
        said.append(off)
    if seen.came_in_wet():
        said.append("came in wet or damp: its case stays open")
    return said


def _foul(position: Position, *, wet: bool) -> list[str]:
    """Water that no test of a code stands for."""
    said = []
    if position.spray is not None and position.spray.salt:
        said.append("the water there is salt")
    if wet and position.may_flood_m is not None:
        said.append(f"water may stand {position.may_flood_m:g} m deep there: perhaps submerged")
    return said


def _do(position: Position, first: Tested | None, *, inside: bool, foul: bool) -> tuple[str, ...]:
    """Common practice, in order; the competent person on site decides."""
    cut_off = position.isolate_at or "its cut-off, which the show folder does not name"
    steps = [f"Isolate at {cut_off}, {_DEAD}"]
    if foul:
        return (
            *steps,
            "Look at it and photograph it; rinse nothing into it",
            _FOUL_WATER,
        )
    earth = "" if first is None or first.earth_ohm is None else _then(first, first.earth_ohm, "ohm")
    insulation = (
        ""
        if first is None or first.insulation_mohm is None
        else _then(first, first.insulation_mohm, "megohm")
    )
    steps.append(_LOOK)
    if inside:
        steps.append("It stays out of service until it is found dry inside")
    return (
        *steps,
        f"{_EARTH}{earth}",
        f"{_INSULATION}{insulation}",
        _FUNCTION,
    )


def _then(first: Tested, value: float, unit: str) -> str:
    when = "at load-in" if first.at_load_in else "at its first reading"
    return f" ({value:g} {unit} {when})"


def _on_site(seen: _Seen, moment_s: float) -> str:
    return f"{to_moment(moment_s).astimezone(seen.rig.show.site.timezone):%a %H:%M}"
