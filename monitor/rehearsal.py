"""The whole logic over a weather record with a simulated clock.

The record itself is the forecast: what comes is known. That shows what the rig and the crew
would have met, not how good a forecast is, and the output says so.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from monitor.alerts.lifecycle import Change, Source, WatchState
from monitor.alerts.wording import as_json as alert_json
from monitor.domain import LogEntry, Show, Weather
from monitor.evaluation import HORIZON_S, judge, until_now
from monitor.exposure.assess import assess
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Rig, compile_rig
from monitor.exposure.tracks import groups_of
from monitor.exposure.wetting import driving_rain_index
from monitor.exposure.wind import wind_10m
from monitor.planning.fell import last_rain
from monitor.report.bare import with_bare
from monitor.report.material import Material
from monitor.simulated_crew import SimulatedCrew, Worked
from monitor.units import iso_utc, to_epoch, to_moment

Crew = Literal["absent", "follows"]
WALLS_DEG = (0, 45, 90, 135, 180, 225, 270, 315)
_NEAR_S, _QUIET_S = 3 * 3600.0, 6 * 3600.0
"""How often a time with rain near, and one with none, is looked at."""
CAUTIONS = (
    "The record itself was the forecast: a real one knows less.",
    (
        "Used below 1 is no promise, above 1 no prediction: the tests behind a code are made on "
        "new specimens with fresh water."
    ),
    "Isolate before touching wet gear; test it before it is energised again.",
    (
        "Nobody works at height over a wind limit or in thunder. This monitor does not detect "
        "lightning."
    ),
    "The maker's instructions, local rules and the competent person on site prevail.",
)


@dataclass(frozen=True, slots=True, eq=False)
class Rehearsal:
    """A record gone through to its end."""

    show: Show
    rig: Rig
    weather: Weather
    crew: Crew
    log: tuple[LogEntry, ...]
    """What was logged, what the simulated crew did included."""
    changes: tuple[Change, ...]
    exposure: Exposure
    worked: tuple[Worked, ...] = ()


def rehearse(
    show: Show,
    weather: Weather,
    log: Sequence[LogEntry] = (),
    *,
    crew: Crew = "absent",
    progress: Callable[[int, int], None] | None = None,
) -> Rehearsal:
    """Go through a record as the service would.

    Parameters
    ----------
    show : the rig and its policy
    weather : the record, one member
    log : the folder's log.csv; each entry is known from its own time on
    crew : `absent`, nobody acts; `follows`, each start is acted on in its minutes
    progress : called with (steps done, steps in all)
    """
    rig = compile_rig(show)
    starts, ends = weather.starts, weather.ends
    if not len(starts):
        exposure = assess(rig, weather, log, out_from_s=to_epoch(show.event.load_in_at))
        return Rehearsal(show, rig, weather, crew, tuple(log), (), exposure)
    out_from = min(to_epoch(show.event.load_in_at), float(starts[0]))
    run = _Run(rig, weather, sorted(log, key=lambda e: e.at), out_from, crew)
    total = len(starts)
    while run.now < ends[-1]:
        run.step()
        if progress is not None:
            progress(int(np.searchsorted(starts, run.now)), total)
    everything = tuple(sorted(run.log, key=lambda e: e.at))
    exposure = assess(rig, weather, everything, out_from_s=out_from)
    changes, worked = tuple(run.changes), tuple(run.worked)
    return Rehearsal(show, rig, weather, crew, everything, changes, exposure, worked)


class _Run:
    """The simulated clock, and what is known at it."""

    def __init__(
        self, rig: Rig, weather: Weather, log: Sequence[LogEntry], out_from: float, crew: Crew
    ) -> None:
        self._rig, self._weather, self._out_from, self._crew = rig, weather, out_from, crew
        self._steps = sorted({*weather.starts.tolist(), *weather.ends.tolist()})
        self._rain_at = weather.starts[np.nan_to_num(weather.rain_mm[0], nan=1.0) > 0.0]
        self._thunder_at = weather.starts[weather.thunder[0] > 0.0]
        self.log = list(log)
        self.changes: list[Change] = []
        self.now = float(weather.starts[0])
        self._state = WatchState()
        self._counted_to = self.now
        groups, self._group_of = groups_of(rig, self._known(), out_from)
        self._so_far = Carried.nothing(len(groups))
        self._put_out = 0
        self._hands = SimulatedCrew(rig, weather)

    @property
    def worked(self) -> list[Worked]:
        return self._hands.worked

    def _known(self) -> list[LogEntry]:
        return [e for e in self.log if to_epoch(e.at) <= self.now]

    def step(self) -> None:
        """Count what fell, judge, act, and move the clock to the next moment that matters."""
        known = self._known()
        self._count(known)
        at = to_moment(self.now)
        found = judge(
            self._rig,
            so_far=self._so_far,
            ahead=self._weather,
            log=known,
            state=self._state,
            now=at,
            source=Source(
                ("the record itself",), (), to_moment(self._weather.starts[0]), str(self.now)
            ),
            out_from_s=self._out_from,
            fell=last_rain(until_now(self._weather, self.now - HORIZON_S, self.now)),
        )
        self._state = found.state
        self.changes.extend(found.changes)
        if self._crew == "follows":
            for change in found.changes:
                self.log += self._hands.follow(change.alert, self.now)
        coming = [self._later(self._pace()), *(t for t in found.plan.changes_s[:1])]
        coming += [to_epoch(e.at) for e in self.log if to_epoch(e.at) > self.now]
        self.now = max(self.now + 1.0, min(coming))

    def _pace(self) -> float:
        """Seconds to the next look. What comes is known, and every moment at which the plan
        turns is looked at anyway; so only dew, dust and stand-downs wait for the pace.
        """
        if any(o.family not in ("inspect", "clean") for o in self._state.open):
            return 3600.0
        ahead = [
            float(at[i]) - self.now
            for at in (self._rain_at, self._thunder_at)
            if (i := int(np.searchsorted(at, self.now))) < len(at)
        ]
        notice = self._rig.show.policy.notice_hours * 3600.0 + _QUIET_S
        return _NEAR_S if min(ahead, default=np.inf) < notice else _QUIET_S

    def _later(self, seconds: float) -> float:
        """The first edge of a step at least this far on, or the end."""
        i = bisect_left(self._steps, self.now + seconds - 1.0)
        return float(self._steps[min(i, len(self._steps) - 1)])

    def _count(self, known: Sequence[LogEntry]) -> None:
        """Bring what every group has taken up to now."""
        groups, group_of = groups_of(self._rig, known, self._out_from)
        put_out = sum(entry.entry == "put-out" for entry in known)
        if put_out > self._put_out:
            # Now it is known that it was not out before: the past is counted again.
            self._put_out, self._group_of = put_out, group_of
            self._so_far = Carried.nothing(len(groups))
            self._counted_to = float(self._weather.starts[0])
        if len(groups) != self._so_far.used.shape[1] or (group_of != self._group_of).any():
            index = np.zeros(len(groups), dtype=np.intp)
            index[: len(self._rig.kinds)] = np.arange(len(self._rig.kinds))
            index[group_of] = self._group_of
            self._so_far = self._so_far.regrouped(index)
        self._group_of = group_of
        fell = until_now(self._weather, self._counted_to, self.now)
        if len(fell.starts):
            done = assess(self._rig, fell, known, out_from_s=self._out_from, carried=self._so_far)
            self._so_far = done.carried
        self._counted_to = self.now


def material(rehearsal: Rehearsal) -> Material:
    """What the report of a rehearsal is made of; it is dated at the record's end."""
    weather = rehearsal.weather
    load_in = rehearsal.show.event.load_in_at
    end = to_moment(weather.ends[-1]) if len(weather.ends) else load_in
    out_from = min([to_epoch(load_in), *weather.starts[:1].tolist()])
    found = Material(
        show=rehearsal.show,
        rig=rehearsal.rig,
        exposure=rehearsal.exposure,
        log=rehearsal.log,
        changes=tuple((c.alert, c.reason, c.alert.at) for c in rehearsal.changes),
        made_at=end,
        rehearsed=True,
        notes=CAUTIONS[:1],
    )
    return with_bare(found, weather, out_from)


def as_json(rehearsal: Rehearsal) -> dict[str, Any]:
    """The rehearsal as `dryspell.rehearsal/1`."""
    show, weather, exposure = rehearsal.show, rehearsal.weather, rehearsal.exposure
    known_rain = np.nan_to_num(weather.rain_mm[0])
    return {
        "schema": "dryspell.rehearsal/1",
        "weather": {
            "from": _iso(weather.starts[0]) if len(weather.starts) else None,
            "to": _iso(weather.ends[-1]) if len(weather.ends) else None,
            "steps": len(weather.starts),
            "rain_mm": round(float(known_rain.sum()), 6),
            "unknown_steps": _unknown_steps(exposure),
            "missing_hours": _missing_hours(weather),
            "driving_rain_index_mm": driving_rain(show, weather),
            "driving_rain_index_left_out_steps": _left_out(weather),
            "gust_derived_steps": int(
                (np.isnan(weather.gust_mps) & ~np.isnan(weather.wind_mps)).sum()
            ),
        },
        "crew": rehearsal.crew,
        "fixtures": [_fixture(rehearsal, i) for i in range(len(show.fixtures))],
        "alerts": [{**alert_json(c.alert), "reason": c.reason} for c in rehearsal.changes],
        "cautions": list(CAUTIONS),
    }


def driving_rain(show: Show, weather: Weather) -> dict[str, float]:
    """Airfield driving-rain index by wall azimuth [L/m2]."""
    u10 = wind_10m(
        weather.wind_mps[0], weather.wind_basis, weather.wind_height_m, show.site.terrain
    )
    return {
        str(wall): driving_rain_index(
            weather.rain_mm[0], weather.hours, u10, weather.wind_from_deg[0], float(wall)
        )
        for wall in WALLS_DEG
    }


def _left_out(weather: Weather) -> int:
    lost = np.isnan(weather.rain_mm[0]) | np.isnan(weather.wind_mps[0])
    lost |= np.isnan(weather.wind_from_deg[0]) & (weather.wind_mps[0] > 0.0)
    return int((lost & (np.nan_to_num(weather.rain_mm[0], nan=1.0) > 0.0)).sum())


def _unknown_steps(exposure: Exposure) -> int:
    """Steps of the record, however often the log cut them, that cannot be known."""
    steps = exposure.steps
    return len(np.unique(steps.middle_s[steps.unknown[0]]))


def _missing_hours(weather: Weather) -> float:
    if not len(weather.starts):
        return 0.0
    span = (weather.ends[-1] - weather.starts[0]) / 3600.0
    return round(float(span - weather.hours.sum()), 6)


def _iso(moment_s: float) -> str | None:
    return None if np.isnan(moment_s) else iso_utc(to_moment(moment_s))


def _fixture(rehearsal: Rehearsal, i: int) -> dict[str, Any]:
    exposure, show = rehearsal.exposure, rehearsal.show
    fixture, g = show.fixtures[i], int(exposure.group_of[i])
    group = exposure.groups[g]
    part = exposure.weakest_part(g)
    allowance = group.kind.allowance_mm(part, show.policy, connector_open=group.connector_open)
    notes = list(group.track.notes)
    if group.kind.wet_hours_limit is not None:
        notes.append(f"a clock of {group.kind.wet_hours_limit:g} wet hours runs beside the dose")
    if exposure.unknown_hours[0, g] > 0.0:
        notes.append(f"{exposure.unknown_hours[0, g]:.1f} h not known: weather missing")
    if not np.isnan(exposure.blown_s[0, g]):
        notes.append(
            f"cover counts as off from {_iso(exposure.blown_s[0, g])}: gust over its limit"
        )
    used = exposure.used[0, -1, g] if exposure.used.shape[1] else 0.0
    return {
        "id": fixture.id,
        "code": fixture.code.canonical,
        "position": fixture.position,
        "standing": group.chain.standing,
        "weakest_part": part,
        "allowance_mm": allowance,
        "wetting_mm": float(exposure.wetting_mm[0, :, g].sum()),
        "used": float(used),
        "used_total": float(exposure.used_total[0, g]),
        "half_used_at": _iso(exposure.half_used_s[0, g]),
        "spent_at": _iso(exposure.spent_s[0, g]),
        "wet_hours": float(exposure.wet_hours[0, g]),
        "damp_hours": float(exposure.damp_hours[0, g]),
        "under_water_hours": float(exposure.under_water_hours[0, g]),
        "dusty_hours": float(exposure.dusty_hours[0, g]),
        "covered_hours": float(exposure.covered_hours[0, g]),
        "unknown_hours": float(exposure.unknown_hours[0, g]),
        "hours_out": float(exposure.hours_out[g]),
        "notes": notes,
    }
