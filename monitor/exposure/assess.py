"""The one way in: weather + rig + log -> what every exposure took."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.domain import Bools, Floats, LogEntry, Weather
from monitor.exposure.accumulate import crossing_s, running_use
from monitor.exposure.arrivals import Rain
from monitor.exposure.credit import Credit
from monitor.exposure.damp import film_step
from monitor.exposure.days import damp_nights, days_in_the_wet
from monitor.exposure.films import MemberFilms
from monitor.exposure.pool import reaches
from monitor.exposure.puddle import Puddles, immersion_limit
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import PARTS, Kind, Rig, part_credits
from monitor.exposure.scene import PlaceWeather, Scene, Shared, Span
from monitor.exposure.steps import cut, daily_spans
from monitor.exposure.tracks import Group, Segment, groups_of
from monitor.exposure.washing import washdown_spans, washdowns_at

_LEVELS = (0.5, 1.0)


def assess(
    rig: Rig,
    weather: Weather,
    log: Sequence[LogEntry] = (),
    *,
    out_from_s: float,
    carried: Carried | None = None,
) -> Exposure:
    """What every distinct exposure of a rig took from a weather under a log.

    Parameters
    ----------
    rig : compiled show
    weather : (member, step); members run whole, or where it has `shares` are pooled to one
        at each step by what each adds
    log : the crew's entries, in any order
    out_from_s : when fixtures without a put-out entry went out (seconds)
    carried : where an earlier record left off; the rig and the log must be the same

    Returns
    -------
    Exposure

    Notes
    -----
    Sections 1 to 7 of the exposure model. Work is done once per place and cover, then per
    distinct exposure; fixtures only share results.

    Missing: a step without rain, or with rain and no wind, adds nothing and is counted in
    `unknown_hours`; it never lowers anything.
    """
    groups, group_of = groups_of(rig, log, out_from_s)
    steps = cut(weather, _moments(rig, groups, weather), rig.show.policy)
    if carried is None:
        carried = Carried.nothing(len(groups))
    return _Assessment(rig, groups, Scene(steps, rig), carried).result(group_of)


def _moments(rig: Rig, groups: Sequence[Group], weather: Weather) -> list[float]:
    """Every moment at which something on site changes."""
    found: set[float] = set()
    for track in (group.track for group in groups):
        found.update(chain.from_iterable((s.start_s, s.end_s) for s in track.segments))
        found.update(track.dry_inspections, track.cleanings)
    for position in rig.show.positions.values():
        if position.spray is not None and position.spray.on and len(weather.starts):
            zone = rig.show.site.timezone
            spans = daily_spans(position.spray.on, weather.starts[0], weather.ends[-1], zone)
            found.update(chain.from_iterable(spans))
        for washed in washdowns_at(position, rig.show) if len(weather.starts) else ():
            zone = rig.show.site.timezone
            ran = washdown_spans(washed, weather.starts[0], weather.ends[-1], zone)
            found.update(chain.from_iterable(ran))
    return [moment for moment in found if np.isfinite(moment)]


class _Assessment:
    """Arrays being filled, (step, group, member): each step's groups lie together."""

    def __init__(self, rig: Rig, groups: tuple[Group, ...], scene: Scene, carried: Carried) -> None:
        self._rig, self._groups, self._scene, self._carried = rig, groups, scene, carried
        self._steps = steps = scene.steps
        self._shared = Shared(scene, rig, carried.surface_mm)
        self._rain = Rain(scene.each, rig.show.policy)
        members, n_steps = steps.rate_mm_h.shape
        shape = (n_steps, len(groups), members)
        self.wetting, self.used = np.zeros(shape), np.zeros(shape)
        pooled = scene.cells is not None
        flags = np.float64 if pooled else np.bool_  # shares of flags where cells are pooled
        self.wet: NDArray[Any] = np.zeros(shape, dtype=flags)
        self.damp: NDArray[Any] = np.zeros(shape, dtype=flags)
        self._in_cells = np.zeros((len(groups), len(scene.each.hours))) if pooled else None
        """(group, cell) wetting of each cell by itself [mm/h]"""
        self.out = np.zeros((n_steps, len(groups)), dtype=bool)
        per_group = (members, len(groups))
        self.part_used = np.zeros((members, len(PARTS), len(groups)))
        self.part_dose = np.zeros((members, len(PARTS), len(groups)))
        self.part_total = np.zeros((members, len(PARTS), len(groups)))
        self.crossed = {level: np.full(per_group, np.nan) for level in _LEVELS}
        self.sums = {
            name: np.zeros(per_group)
            for name in ("covered", "dusty", "dusty_since_clean", "unknown", "wet", "clock")
        }
        self.sums["dusty_since_clean"] += carried.dusty_since_clean
        per_part = (members, len(PARTS), len(groups))
        self.undrained, self.undrained_most = np.zeros(per_part), np.zeros(per_part)
        self.hours_out = np.zeros(len(groups))
        self.blown = np.full(per_group, np.nan)
        self.last_cover_off: dict[int, tuple[float, bool]] = {}
        before = dict(carried.puddles_mm)
        self._puddles = Puddles(rig.show, steps, before, carried.until_s)
        self.under_water, self.flooded = np.zeros(per_group), np.full(per_group, np.nan)
        self.film = np.broadcast_to(carried.film_mm[:, None], per_group[::-1]).copy()

    def _resets(self, moments: Sequence[float]) -> list[int]:
        """Steps before which something logged takes effect; earlier entries are in `carried`."""
        new = [moment for moment in moments if moment >= self._carried.until_s]
        first = np.searchsorted(self._steps.weather.starts, new)
        return sorted({int(i) for i in first if i < len(self._steps.hours)})

    def result(self, group_of: np.ndarray) -> Exposure:
        by_place: dict[object, list[int]] = {}
        for g, group in enumerate(self._groups):
            home = group.track.segments[0].place if group.track.segments else None
            by_place.setdefault(home, []).append(g)
        for members_of_place in by_place.values():
            places: dict[object, PlaceWeather] = {}  # only this place's arrays are held at a time
            for g in members_of_place:
                self._fill(g, places)
        self._run_films()
        for g, group in enumerate(self._groups):
            if group.kind.wet_hours_limit is not None:
                self._run_clock(g, group.kind.wet_hours_limit)
        return self._pack(group_of)

    def _fill(self, g: int, places: dict[object, PlaceWeather]) -> None:
        track = self._groups[g].track
        steps = self._steps
        weight = steps.hours * steps.charge
        members, n_steps = steps.rate_mm_h.shape
        parts = np.zeros((len(PARTS), members, n_steps))
        resets = self._resets(track.dry_inspections)
        cleanings = self._resets(track.cleanings)
        cleaned = max(cleanings, default=0)
        if cleanings:
            self.sums["dusty_since_clean"][:, g] = 0.0
        for segment in track.segments:
            kind = segment.kind
            if segment.place not in places:
                places[segment.place] = PlaceWeather(
                    segment, self._rain, self._scene, self._shared, self._rig
                )
            here = places[segment.place]
            blown = bool(self._carried.blown[g]) and self._was_on(segment)
            span = Span(segment, kind, steps, here.gust_mps, blown=blown)
            self._count(g, kind, span, here, cleaned)
            where = span.steps
            if where.start == where.stop:
                continue
            self._fill_wetting(g, span, here, weight)
            salt = segment.place.spray is not None and segment.place.spray.salt
            credited_parts = part_credits(
                kind, self._rig.show.policy, connector_open=segment.connector_open, salt=salt
            )
            for part, credited in credited_parts.items():
                if not credited.limited or credited.film_may_dry:
                    continue
                inverse = None if credited.flat_mm is not None else credited.inverse_table()

                def rate(
                    hood: float | None,
                    credited: Credit = credited,
                    inverse: Floats | None = inverse,
                    here: PlaceWeather = here,
                    kind: Kind = kind,
                    own: bool = part == "fixture",
                ) -> Floats:
                    return here.use(kind, credited, inverse, hood, own=own)

                parts[PARTS.index(part), :, where] = span.through(kind, rate) * weight[..., where]
            if here.washing.any:
                self._wash(g, span, here, parts)
            self._stand_in_water(g, span, parts)
        self._sum_parts(g, parts, resets)
        self._film_that_may_dry(g, resets)

    def _fill_wetting(self, g: int, span: Span, here: PlaceWeather, weight: Floats) -> None:
        where, cells = span.steps, self._scene.cells
        wetting = span.through(span.segment.kind, here.wetting, cells)
        if cells is not None and self._in_cells is not None:
            own = cells.of_steps(where)
            self._in_cells[g, own] = wetting[0]
            wetting = cells.mean_within(where, wetting)
        self.wetting[where, g] = (wetting * weight[..., where]).T

    def _wash(self, g: int, span: Span, here: PlaceWeather, parts: Floats) -> None:
        """What is thrown at it at known times; no forecast's margin is charged on that."""
        where, segment, policy = span.steps, span.segment, self._rig.show.policy
        kind, washing, cells = segment.kind, here.washing, self._scene.cells
        hours, reaches_it = self._steps.hours[where], span.bare_share(segment.kind)
        thrown = washing.rate_mm_h[where] * reaches_it
        self.wetting[where, g] += (thrown * hours).T
        if cells is not None and self._in_cells is not None:
            own = cells.of_steps(where)
            self._in_cells[g, own] += thrown[0, cells.step[own] - where.start]
        codes = kind.codes(connector_open=segment.connector_open)
        salt = segment.place.spray is not None and segment.place.spray.salt
        credited_parts = part_credits(
            kind, policy, connector_open=segment.connector_open, salt=salt
        )
        for part, credited in credited_parts.items():
            if not credited.film_may_dry:
                use = washing.use_rate(codes[part], kind.condition, credited, policy)
                parts[PARTS.index(part), :, where] += use[where] * hours * reaches_it

    def _stand_in_water(self, g: int, span: Span, parts: Floats) -> None:
        """What a puddle does to it; neither cover nor roof keeps that out."""
        dip, where, kind = span.segment.place.dip, span.steps, span.segment.kind
        if dip is None or not dip.reached:
            return
        over = self._puddles.over_hours(dip)[:, where]
        self.under_water[:, g] += over.sum(axis=1)
        first = np.where(
            over.any(axis=1), self._steps.weather.starts[where][(over > 0.0).argmax(axis=1)], np.nan
        )
        self.flooded[:, g] = np.fmin(self.flooded[:, g], first)
        for part, code in kind.codes(connector_open=span.segment.connector_open).items():
            stated = kind.under_water if part == "fixture" else None
            limit = immersion_limit(code, kind.condition, stated)
            parts[PARTS.index(part), :, where] += self._puddles.use(dip, limit)[:, where]

    def _count(self, g: int, kind: Kind, span: Span, here: PlaceWeather, cleaned: int) -> None:
        """Hours of a span: out, covered, unknown, damp and dusty."""
        steps, where, segment = self._steps, span.steps, span.segment
        hours = steps.hours[where]
        begin, end = steps.weather.starts[:1], steps.weather.ends[-1:]
        if not len(begin):
            return
        lasted_h = max(0.0, min(segment.end_s, end[0]) - max(segment.start_s, begin[0])) / 3600.0
        self.hours_out[g] += lasted_h
        self.out[where, g] = True
        gaps_h = lasted_h - hours.sum()
        self.sums["unknown"][:, g] += here.unknown[:, where] @ hours + max(0.0, gaps_h)
        sealed_on = np.zeros((1, 1), dtype=bool)
        if span.cover_on is not None and kind.cover is not None:
            self.sums["covered"][:, g] += span.cover_on @ hours
            first = np.isnan(self.blown[:, g])
            self.blown[:, g] = np.where(first, span.blown_s, self.blown[:, g])
            self.last_cover_off[g] = (segment.start_s, bool((~span.cover_on[:, -1]).all()))
            if kind.cover.sealed:
                sealed_on = span.cover_on
        chain_now = kind.chain(connector_open=segment.connector_open)
        if chain_now.damp_counts:
            damp = np.where(sealed_on, self._shared.damp_sheltered[:, where], here.damp[:, where])
            self.damp[where, g] = damp.T
        if chain_now.dust is None or chain_now.dust < 6:
            dusty_hours = (self._shared.dusty[:, where] * ~sealed_on) * hours
            self.sums["dusty"][:, g] += dusty_hours.sum(axis=1)
            self.sums["dusty_since_clean"][:, g] += dusty_hours[
                :, max(0, cleaned - where.start) :
            ].sum(axis=1)

    def _sum_parts(self, g: int, parts: Floats, resets: list[int]) -> None:
        weather = self._steps.weather
        for p in range(len(PARTS)):
            start = float(self._carried.dose[p, g])
            self.part_dose[:, p, g] = start
            self.part_total[:, p, g] = self._carried.total[p, g]
            if start == 0.0 and not parts[p].any():
                continue
            used = running_use(parts[p], start, resets)
            self.part_dose[:, p, g] = used[:, -1] if used.shape[1] else start
            self._worse(g, p, used, start, resets)
            self.part_total[:, p, g] += parts[p].sum(axis=1)
        if not len(weather.starts):
            self.part_used[:, :, g] = self._carried.used[:, g]

    def _worse(self, g: int, p: int | None, used: Floats, start: float, resets: list[int]) -> None:
        """Take a running use (member, step) into the group's worst."""
        weather = self._steps.weather
        if not used.shape[1]:
            return
        np.maximum(self.used[:, g], used.T, out=self.used[:, g])
        if p is not None:
            self.part_used[:, p, g] = np.maximum(self.part_used[:, p, g], used[:, -1])
        for level, crossed in self.crossed.items():
            at = crossing_s(used, start, resets, weather.starts, weather.ends, level)
            crossed[:, g] = np.fmin(crossed[:, g], at)

    def _film_that_may_dry(self, g: int, resets: list[int]) -> None:
        """`run_off_dries`: where no test covers, used is the highest film since inspection."""
        policy = self._rig.show.policy
        if not policy.run_off_dries:
            return
        track = self._groups[g].track
        evaporated = self._scene.mean(self._shared.evaporation_mm_h).T * self._steps.hours[:, None]
        for p, part in enumerate(PARTS):
            bare = np.zeros(len(self._steps.hours), dtype=bool)
            for segment in track.segments:
                is_open = segment.connector_open
                credited = part_credits(
                    segment.kind, policy, connector_open=is_open, salt=False
                ).get(part)
                if credited is not None and credited.film_may_dry:
                    bare[self._steps_of(segment)] = True
            if not bare.any() and not self._carried.undrained_most_mm[p, g]:
                continue
            gain = np.where(bare[:, None], self.wetting[:, g], 0.0)
            change = np.where(self._steps.unknown.T, gain, gain - evaporated)
            film = np.full(change.shape[1], self._carried.undrained_mm[p, g])
            most = np.full(change.shape[1], self._carried.undrained_most_mm[p, g])
            start = float(most[0]) / policy.run_off_mm
            highest = np.empty_like(change)
            for step, more in enumerate(change):
                if step in resets:
                    film, most = np.zeros_like(film), np.zeros_like(most)
                film = np.maximum(0.0, film + more)
                most = np.maximum(most, film)
                highest[step] = most
            self.undrained[:, p, g], self.undrained_most[:, p, g] = film, most
            self._worse(g, p, highest.T / policy.run_off_mm, start, resets)
            if len(highest):
                self.part_total[:, p, g] = np.maximum(
                    self.part_total[:, p, g], highest.max(axis=0) / policy.run_off_mm
                )

    def _steps_of(self, segment: Segment) -> slice:
        starts = self._steps.weather.starts
        first, last = (int(i) for i in np.searchsorted(starts, (segment.start_s, segment.end_s)))
        return slice(first, last)

    def _run_films(self) -> None:
        """The water film on every group, step by step, and the hours it stood while out."""
        steps, policy = self._steps, self._rig.show.policy
        resets: dict[int, list[int]] = {}
        for g, group in enumerate(self._groups):
            for first in self._resets(group.track.dry_inspections):
                resets.setdefault(first, []).append(g)
        wet_hours = np.zeros_like(self.film)
        clock = np.broadcast_to(self._carried.clock_hours[:, None], self.film.shape).copy()
        self._clock_at = np.zeros(self.wetting.shape) if self._clocked() else None
        cells, films = self._scene.cells, None
        if cells is not None:
            films = MemberFilms(cells, self._carried.film_mm, policy.film_mm)
        for step, hours in enumerate(steps.hours):
            for g in resets.get(step, ()):
                clock[g] = 0.0
                self.film[g] = 0.0
                if films is not None:
                    films.dry(g)
            wet: NDArray[Any]
            if films is not None and cells is not None and self._in_cells is not None:
                own = cells.of_steps(slice(step, step + 1))
                gain = self._in_cells[:, own]
                dries = np.where(
                    self._scene.each.unknown[0, own], 0.0, self._shared.evaporation_mm_h[0, own]
                )
                stood, wet = films.step(step, gain, dries, hours, policy.wet_rate_mm_h)
            else:
                gain = self.wetting[step] / hours
                unknown = steps.unknown[:, step]
                dries = np.where(unknown, 0.0, self._shared.evaporation_mm_h[:, step])
                self.film, stood = film_step(self.film, gain, dries, hours, policy.film_mm)
                stood = np.where(gain >= policy.wet_rate_mm_h, hours, stood)
                wet = stood > 0.0
            stood *= self.out[step][:, None]
            self.wet[step] = wet * self.out[step][:, None]
            wet_hours += stood
            clock += stood
            if self._clock_at is not None:
                self._clock_at[step] = clock
        self.sums["wet"], self.sums["clock"] = wet_hours.T, clock.T
        if films is not None:
            self.film = films.mean_mm()

    def _clocked(self) -> bool:
        return any(group.kind.wet_hours_limit is not None for group in self._groups)

    def _run_clock(self, g: int, limit_hours: float) -> None:
        assert self._clock_at is not None
        start = float(self._carried.clock_hours[g]) / limit_hours
        resets = self._resets(self._groups[g].track.dry_inspections)
        self._worse(g, 0, self._clock_at[:, g].T / limit_hours, start, resets)
        self.part_total[:, 0, g] = np.maximum(
            self.part_total[:, 0, g],
            (self.sums["wet"][:, g] + self._carried.wet_hours[g]) / limit_hours,
        )

    def _inspected(self) -> list[int | None]:
        """The step before which each group was found dry last."""
        resets = (self._resets(group.track.dry_inspections) for group in self._groups)
        return [steps[-1] if steps else None for steps in resets]

    def _counts(self, flags: NDArray[Any]) -> Bools:
        """Where a flag counts for its step; a share of cells does at the risk."""
        return reaches(flags, self._rig.show.policy.risk)

    def _pack(self, group_of: np.ndarray) -> Exposure:
        def axes(a: np.ndarray) -> np.ndarray:
            return np.transpose(a, (2, 0, 1))

        carried, shared, inspected = self._carried, self._shared, self._inspected()
        night_most, tonight = damp_nights(self.damp, self._steps.hours, inspected, shared, carried)
        counts = self._counts(self.wet) | self._counts(self.damp)
        stay_days, today = days_in_the_wet(counts, inspected, shared, carried)
        following = {level: crossed.copy() for level, crossed in self.crossed.items()}
        for level, before in ((0.5, carried.half_used_s), (1.0, carried.spent_s)):
            known = ~np.isnan(before)
            self.crossed[level][:, known] = before[known]
        weights = self._steps.weather.weights

        def pooled(per_group: np.ndarray) -> Floats:
            """(member, ...) to its weighted mean."""
            return np.tensordot(weights, per_group, axes=1)

        def earliest(moments: Floats) -> Floats:
            return np.asarray(np.fmin.reduce(moments, axis=0))

        n_steps = len(self._steps.hours)
        damp_hours = np.tensordot(self._steps.hours, self.damp, axes=1)
        return Exposure(
            steps=self._steps,
            groups=self._groups,
            group_of=group_of,
            wetting_mm=axes(self.wetting),
            used=axes(self.used),
            part_used=self.part_used,
            used_total=self.part_total.max(axis=1),
            half_used_s=self.crossed[0.5],
            spent_s=self.crossed[1.0],
            next_half_s=following[0.5],
            next_spent_s=following[1.0],
            wet=axes(self._counts(self.wet)),
            damp=axes(self._counts(self.damp)),
            wet_hours=self.sums["wet"],
            damp_hours=damp_hours.T,
            damp_night_most=night_most.T,
            dusty_hours=self.sums["dusty"],
            dusty_since_clean=self.sums["dusty_since_clean"],
            stay_days=stay_days.T,
            covered_hours=self.sums["covered"],
            unknown_hours=self.sums["unknown"],
            hours_out=self.hours_out,
            under_water_hours=self.under_water,
            flooded_s=self.flooded,
            puddles_mm=self._puddles.end_mm,
            blown_s=self.blown,
            carried=Carried(
                until_s=float(self._steps.weather.ends[-1]) if n_steps else carried.until_s,
                used=pooled(self.part_used),
                dose=pooled(self.part_dose),
                total=pooled(self.part_total),
                half_used_s=earliest(self.crossed[0.5]),
                spent_s=earliest(self.crossed[1.0]),
                film_mm=pooled(self.film.T),
                undrained_mm=pooled(self.undrained),
                undrained_most_mm=pooled(self.undrained_most),
                clock_hours=pooled(self.sums["clock"]),
                wet_hours=carried.wet_hours + pooled(self.sums["wet"]),
                night=int(shared.nights[-1]) if n_steps else carried.night,
                damp_tonight=pooled(tonight.T),
                damp_night_most=pooled(night_most.T),
                day=int(shared.days[-1]) if n_steps else carried.day,
                today_counts=np.asarray(today.any(axis=1)),
                stay_days=pooled(stay_days.T),
                dusty_since_clean=pooled(self.sums["dusty_since_clean"]),
                surface_mm=shared.surface_end_mm,
                blown=self._blown_now(),
                thunder_until_s=self._thunder_until_s(),
                puddles_mm={
                    key: float(pooled(mm[:, -1])) if n_steps else carried.puddles_mm.get(key, 0.0)
                    for key, mm in self._puddles.end_mm.items()
                },
            ),
        )

    def _thunder_until_s(self) -> float:
        weather = self._steps.weather
        thunder = weather.weights @ np.nan_to_num(weather.thunder) >= self._rig.show.policy.risk
        return float(max([self._carried.thunder_until_s, *weather.ends[thunder]]))

    def _was_on(self, segment: Segment) -> bool:
        """Whether the cover of a segment was logged on before this weather begins."""
        since = segment.covered_since_s
        return since is not None and since < self._carried.until_s

    def _blown_now(self) -> Bools:
        """Covers that count as off at the end: logged on, and a gust passed their limit since."""
        now = np.zeros(len(self._groups), dtype=bool)
        ends = self._steps.weather.ends
        end = float(ends[-1]) if len(ends) else self._carried.until_s
        for g, group in enumerate(self._groups):
            here = next((s for s in group.track.segments if s.start_s < end <= s.end_s), None)
            if here is None or not here.covered:
                continue
            before = bool(self._carried.blown[g]) and self._was_on(here)
            now[g] = before or (here.start_s, True) == self.last_cover_off.get(g)
        return now
