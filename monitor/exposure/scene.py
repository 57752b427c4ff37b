"""The weather as each place and each span of a track meets it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.domain import Bools, Floats, Mount
from monitor.exposure.arrivals import PlaceWater, Rain
from monitor.exposure.credit import Credit
from monitor.exposure.damp import damp_open, damp_sheltered, evaporation_mm_h, sun
from monitor.exposure.dust import dusty, surface_water_mm
from monitor.exposure.pool import Cells
from monitor.exposure.rig import Kind, Rig
from monitor.exposure.steps import Steps, by_cell, site_day
from monitor.exposure.tracks import Segment
from monitor.exposure.washing import Washing
from monitor.exposure.wind import gust_10m, gust_at, wind_10m

_ALL_ROUND_DEG = 90.0
"""A hood that keeps out rain as flat as this keeps out what is thrown at it (judgement)."""


class Scene:
    """The steps of a weather, and the cells of its members where those are pooled.

    `each` holds what water is reckoned from: members whole, or the cells as one long member.
    `steps` are the steps everything is counted in.
    """

    def __init__(self, steps: Steps, rig: Rig) -> None:
        self.steps = self.each = steps
        self.cells: Cells | None = None
        if steps.weather.shares is not None:
            found = by_cell(steps, rig.show.policy.risk, rig.show.site.terrain)
            self.steps, self.each, self.cells = found

    def mean(self, values: NDArray[Any]) -> NDArray[Any]:
        """Values (member or 1, step or cell) as they are counted: (member or 1, step)."""
        return values if self.cells is None else self.cells.mean(values)

    def share_of(self, flags: Bools, known: Bools) -> NDArray[Any]:
        """Flags as they are counted: as they are, or the share of the cells that have them."""
        return flags if self.cells is None else self.cells.share_of(flags, known)

    def over_cells(self, values: NDArray[Any]) -> NDArray[Any]:
        """Values (..., step) for what lies in each cell of it."""
        return values if self.cells is None else values[..., self.cells.step]


class Shared:
    """Weather quantities that no place changes. Flags are shares where cells are pooled."""

    def __init__(self, scene: Scene, rig: Rig, surface_mm: float) -> None:
        steps, each, site, policy = scene.steps, scene.each, rig.show.site, rig.show.policy
        weather, own = steps.weather, each.weather
        source = (weather.wind_basis, weather.wind_height_m, site.terrain)
        u10 = wind_10m(own.wind_mps, *source)
        gust = gust_10m(own.gust_mps, own.wind_mps, *source)
        self.gust_10m = gust
        if scene.cells is not None:
            self.gust_10m = gust_10m(weather.gust_mps, weather.wind_mps, *source)
        self.sun_sine, _ = at = sun(each.own_middle_s, site.latitude, site.longitude)
        self.evaporation_mm_h = evaporation_mm_h(
            own.temp_c, own.dew_point_c, u10, own.cloud_pct, at, site.elevation_m
        )
        dried = scene.mean(self.evaporation_mm_h) * steps.hours
        surface = surface_water_mm(weather.rain_mm, dried, policy.dust_bucket_mm, surface_mm)
        self.surface_end_mm = float(surface[:, -1].mean()) if surface.shape[1] else surface_mm
        lifted = dusty(u10, gust, scene.over_cells(surface), site.ground, policy)
        self.dusty = scene.share_of(lifted, ~np.isnan(gust))
        self.knows_damp = ~np.isnan(own.temp_c + own.dew_point_c)
        close = damp_sheltered(own.temp_c, own.dew_point_c)
        self.damp_sheltered = scene.share_of(close, self.knows_damp)
        self.days = site_day(steps.middle_s, site.timezone)
        self.nights = site_day(steps.middle_s, site.timezone, from_noon=True)
        self.day_starts = np.flatnonzero(np.diff(self.days, prepend=-1))
        self.night_starts = np.flatnonzero(np.diff(self.nights, prepend=-1))


class PlaceWeather:
    """One place's weather, and the use rates found there so far, over (member, step)."""

    def __init__(
        self, segment: Segment, rain: Rain, scene: Scene, shared: Shared, rig: Rig
    ) -> None:
        self.place, self._scene = segment.place, scene
        each = scene.each
        self._water = PlaceWater(self.place, rain, each, rig.show.site, rig.show.policy)
        self._found: dict[object, Floats] = {}
        weather = each.weather
        self.unknown = scene.mean(each.unknown | self._water.spray_unknown)
        """(member, step) where what falls here cannot be known; a share where cells are pooled"""
        self.washing = Washing(self.place.washed, scene.steps, rig.show.site.timezone)
        self.gust_mps = gust_at(shared.gust_10m, self.place.height_m, self.place.terrain)
        self.damp = shared.damp_sheltered
        if self.place.spot is None:
            damp = damp_open(
                weather.temp_c,
                weather.dew_point_c,
                self._water.wind_mps,
                weather.cloud_pct,
                shared.sun_sine,
            )
            self.damp = scene.share_of(damp, shared.knows_damp & ~np.isnan(self._water.wind_mps))

    def wetting(self, hood: float | None) -> Floats:
        """On the worst plane (member, step or cell) [mm/h].

        Cells are not pooled yet, because their films differ, but charged each as its member is.
        """
        if hood not in self._found:
            self._found[hood] = self._charged(self._water.arrival(hood).wetting)
        return self._found[hood]

    def _charged(self, in_wet_cells: Floats) -> Floats:
        spread = self._water.spread(in_wet_cells)
        return spread if self._scene.cells is None else spread * self._scene.each.charge

    def use(
        self, kind: Kind, credited: Credit, inverse: Floats | None, hood: float | None, *, own: bool
    ) -> Floats:
        """Share of an allowance used per hour (member, step) [1/h]; of cells charged, the mean."""
        mount: tuple[Mount, float, float] = ("any", 0.0, 0.0)
        if own:
            mount = (kind.mount, kind.tilt_deg, kind.facing_deg)
        key = (credited, mount, hood)
        if key not in self._found:
            rate = self._water.use_rate(credited, inverse, *mount, hood)
            self._found[key] = self._scene.mean(self._charged(rate))
        return self._found[key]


class Span:
    """A segment as a slice of steps, and where in it a cover keeps water out."""

    def __init__(
        self, segment: Segment, kind: Kind, steps: Steps, gust_mps: Floats, *, blown: bool
    ) -> None:
        starts = steps.weather.starts
        first, last = (int(i) for i in np.searchsorted(starts, (segment.start_s, segment.end_s)))
        self.steps = slice(first, last)
        self.segment = segment
        self.cover_on: Bools | None = None
        self.blown_s = np.full(len(gust_mps), np.nan)
        since = segment.covered_since_s
        if since is None or kind.cover is None or first == last:
            return
        limit = kind.cover.gust_limit_mps
        off = np.zeros((len(gust_mps), last - first), dtype=bool)
        if limit is not None:
            on = int(np.searchsorted(starts, since))  # before the span, maybe
            over = np.logical_or.accumulate(gust_mps[:, on:last] > limit, axis=1)
            off = over[:, first - on :]
        if blown:
            off[:] = True
        self.cover_on = ~off
        self.blown_s = np.where(off[:, -1], starts[first + off.argmax(axis=1)], np.nan)

    def bare_share(self, kind: Kind) -> Floats:
        """(member or 1, step) 1 where water from every side reaches it, 0 under a closed cover."""
        bare = np.ones((1, self.steps.stop - self.steps.start))
        cover = kind.cover
        if self.cover_on is None or cover is None:
            return bare
        closed = cover.sealed or (cover.keeps_out_to_deg or 0.0) >= _ALL_ROUND_DEG
        return np.where(self.cover_on, 0.0, bare) if closed else bare

    def through(
        self, kind: Kind, rate: Callable[[float | None], Floats], cells: Cells | None = None
    ) -> Floats:
        """A rate over the span: bare where no cover is on, through it where one is.

        `cells` where the rate is of these.
        """
        where = self.steps if cells is None else cells.of_steps(self.steps)
        bare = rate(None)[:, where]
        if self.cover_on is None or kind.cover is None:
            return bare
        on = self.cover_on
        if cells is not None:
            on = on[:, cells.step[where] - self.steps.start]
        hood = kind.cover.keeps_out_to_deg
        under = 0.0 if kind.cover.sealed or hood is None else rate(hood)[:, where]
        return np.where(on, under, bare)
