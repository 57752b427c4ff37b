"""The weather as each place and each span of a track meets it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from monitor.domain import Bools, Floats, Mount
from monitor.exposure.arrivals import PlaceWater, Rain
from monitor.exposure.credit import Credit
from monitor.exposure.damp import damp_open, damp_sheltered, evaporation_mm_h, sun
from monitor.exposure.dust import dusty, surface_water_mm
from monitor.exposure.rig import Kind, Rig
from monitor.exposure.steps import Steps, site_day
from monitor.exposure.tracks import Segment
from monitor.exposure.wind import gust_10m, gust_at, wind_10m


class Shared:
    """Weather quantities that no place changes."""

    def __init__(self, steps: Steps, rig: Rig, surface_mm: float) -> None:
        weather, site, policy = steps.weather, rig.show.site, rig.show.policy
        source = (weather.wind_basis, weather.wind_height_m, site.terrain)
        u10 = wind_10m(weather.wind_mps, *source)
        self.gust_10m = gust_10m(weather.gust_mps, weather.wind_mps, *source)
        self.sun_sine, _ = at = sun(steps.middle_s, site.latitude, site.longitude)
        self.evaporation_mm_h = evaporation_mm_h(
            weather.temp_c, weather.dew_point_c, u10, weather.cloud_pct, at, site.elevation_m
        )
        surface = surface_water_mm(
            weather.rain_mm, self.evaporation_mm_h * steps.hours, policy.dust_bucket_mm, surface_mm
        )
        self.surface_end_mm = float(surface[:, -1].mean()) if surface.shape[1] else surface_mm
        self.dusty = dusty(u10, self.gust_10m, surface, site.ground, policy)
        self.damp_sheltered = damp_sheltered(weather.temp_c, weather.dew_point_c)
        self.days = site_day(steps.middle_s, site.timezone)
        self.nights = site_day(steps.middle_s, site.timezone, from_noon=True)
        self.day_starts = np.flatnonzero(np.diff(self.days, prepend=-1))
        self.night_starts = np.flatnonzero(np.diff(self.nights, prepend=-1))


class PlaceWeather:
    """One place's weather, and the use rates found there so far, over (member, step)."""

    def __init__(
        self, segment: Segment, rain: Rain, steps: Steps, shared: Shared, rig: Rig
    ) -> None:
        self.place = segment.place
        self._water = PlaceWater(self.place, rain, steps, rig.show.site, rig.show.policy)
        self._found: dict[object, Floats] = {}
        weather = steps.weather
        self.unknown = steps.unknown | self._water.spray_unknown
        """(member, step) where what falls here cannot be known"""
        self.gust_mps = gust_at(shared.gust_10m, self.place.height_m, self.place.terrain)
        self.damp = shared.damp_sheltered
        if self.place.spot is None:
            self.damp = damp_open(
                weather.temp_c,
                weather.dew_point_c,
                self._water.wind_mps,
                weather.cloud_pct,
                shared.sun_sine,
            )

    def wetting(self, hood: float | None) -> Floats:
        """On the worst plane (member, step) [mm/h]."""
        if hood not in self._found:
            self._found[hood] = self._water.spread(self._water.arrival(hood).wetting)
        return self._found[hood]

    def use(
        self, kind: Kind, credited: Credit, inverse: Floats | None, hood: float | None, *, own: bool
    ) -> Floats:
        """Share of an allowance used per hour (member, step) [1/h]."""
        mount: tuple[Mount, float, float] = ("any", 0.0, 0.0)
        if own:
            mount = (kind.mount, kind.tilt_deg, kind.facing_deg)
        key = (credited, mount, hood)
        if key not in self._found:
            rate = self._water.use_rate(credited, inverse, *mount, hood)
            self._found[key] = self._water.spread(rate)
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

    def through(self, kind: Kind, rate: Callable[[float | None], Floats]) -> Floats:
        """A rate over the span: bare where no cover is on, through it where one is."""
        bare = rate(None)[:, self.steps]
        if self.cover_on is None or kind.cover is None:
            return bare
        hood = kind.cover.keeps_out_to_deg
        under = 0.0 if kind.cover.sealed or hood is None else rate(hood)[:, self.steps]
        return np.where(self.cover_on, under, bare)
