"""Water at a place, once for everything that hangs there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.domain import Floats, Mount, Policy, Site
from monitor.exposure.credit import Credit, table_index
from monitor.exposure.drops import RAIN, RAIN_AND_SNOW, Classes, arriving_shares, frozen_share
from monitor.exposure.rig import Place
from monitor.exposure.shelter import share_let_in, spray_rates
from monitor.exposure.steps import Steps, daily_spans
from monitor.exposure.wetting import Arrival, cosine_from_up, on_worst_plane
from monitor.exposure.wind import wind_at

_SPRAY_SPECTRUM_MM_H = 10.0
"""Spray breaks up like rain of this rate (judgement)."""


class Rain:
    """The wet (member, step) cells of a weather, as drops. Made once, read by every place."""

    def __init__(self, steps: Steps, policy: Policy) -> None:
        self.shape = steps.rate_mm_h.shape
        wet = (np.nan_to_num(steps.rate_mm_h) > 0.0) & ~steps.unknown
        self.cells = np.flatnonzero(wet)
        self.rate = steps.rate_mm_h.ravel()[self.cells]
        self.classes, self.shares = self._drops(steps, policy, self.cells, self.rate)

    @staticmethod
    def _drops(
        steps: Steps, policy: Policy, cells: NDArray[np.intp], rate: Floats
    ) -> tuple[Classes, Floats]:
        frozen = frozen_share(
            steps.weather.temp_c.ravel()[cells], policy.frozen_all_c, policy.frozen_none_c
        )
        if not frozen.any():
            return RAIN, arriving_shares(rate)
        return RAIN_AND_SNOW, arriving_shares(rate, frozen)


class PlaceWater:
    """What arrives at one place, bare or under each cover, in its wet cells."""

    def __init__(self, place: Place, rain: Rain, steps: Steps, site: Site, policy: Policy) -> None:
        weather = steps.weather
        self._place, self._policy = place, policy
        self.shape, self.classes = rain.shape, rain.classes
        wind = wind_at(
            weather.wind_mps,
            place.height_m,
            place.terrain,
            basis=weather.wind_basis,
            wind_height_m=weather.wind_height_m,
            site=site.terrain,
        )
        self.wind_mps = wind
        """(member, step) at the fixture"""
        self.cells = rain.cells
        rates: Floats | None = rain.rate[:, None] * rain.shares
        self.spray_unknown: NDArray[np.bool_] = np.zeros(rain.shape, dtype=bool)
        """(member, step) where a fountain runs in a wind that is not known"""
        if place.spray is not None:
            on = self._spray_cells(steps, site)
            self.spray_unknown = on & np.isnan(wind)
            sprayed = on & ~np.isnan(wind)
            self.cells = np.union1d(rain.cells, np.flatnonzero(sprayed))
            rates = np.zeros((len(self.cells), len(self.classes.speed)))
            rates[np.searchsorted(self.cells, rain.cells)] = rain.rate[:, None] * rain.shares
        assert rates is not None
        self._wind = wind.ravel()[self.cells]
        self._from = weather.wind_from_deg.ravel()[self.cells]
        self._rates = rates
        self._spray: Floats | None = None
        if place.spray is not None:
            shares = arriving_shares(np.array(_SPRAY_SPECTRUM_MM_H), np.array(0.0))
            shares = shares[: len(self.classes.speed)]
            on = sprayed.ravel()[self.cells]
            spray = spray_rates(self.classes, shares, place.spray, self._wind, self._from)
            self._spray = spray * on[:, None]
        self._arrivals: dict[float | None, Arrival] = {}
        self._angles: dict[tuple[Mount, float, float], NDArray[np.intp]] = {}
        below = policy.splash_height_m
        self._splash = (
            float(np.clip(1.0 - place.height_m / below, 0.0, 1.0)) if below > 0.0 else 0.0
        )

    def _spray_cells(self, steps: Steps, site: Site) -> NDArray[np.bool_]:
        spray = self._place.spray
        assert spray is not None
        on = np.ones(len(steps.hours), dtype=bool)
        if spray.on and len(on):
            starts = steps.weather.starts
            spans = daily_spans(spray.on, starts[0], steps.weather.ends[-1], site.timezone)
            on = np.zeros(len(starts), dtype=bool)
            for begin, end in spans:
                on |= (starts >= begin) & (starts < end)
        return np.broadcast_to(on, self.shape)

    def arrival(self, keeps_out_to_deg: float | None) -> Arrival:
        """Water in the place's wet cells; `keeps_out_to_deg` of a hood that is on, else None."""
        if keeps_out_to_deg not in self._arrivals:
            share = share_let_in(
                self.classes,
                self._wind,
                self._from,
                spot=self._place.spot,
                keeps_out_to_deg=keeps_out_to_deg,
                spread_deg=self._policy.direction_spread_deg,
                eddy_share=self._policy.eddy_share,
            )
            rates = self._rates if share is None else self._rates * share
            if self._spray is not None:
                past_cover = self._spray
                if keeps_out_to_deg is not None:
                    past_cover = past_cover * share_let_in_open(
                        self.classes, self._wind, self._from, keeps_out_to_deg
                    )
                rates = rates + past_cover
            self._arrivals[keeps_out_to_deg] = on_worst_plane(rates, self.classes.speed, self._wind)
        return self._arrivals[keeps_out_to_deg]

    def _angle_rows(self, mount: Mount, tilt_deg: float, facing_deg: float) -> NDArray[np.intp]:
        key = (mount, tilt_deg, facing_deg)
        if key not in self._angles:
            cosine = cosine_from_up(
                mount, self.classes.speed, self._wind, self._from, tilt_deg, facing_deg
            )
            self._angles[key] = table_index(cosine)
        return self._angles[key]

    def use_rate(
        self,
        credited: Credit,
        inverse: Floats | None,
        mount: Mount,
        tilt_deg: float,
        facing_deg: float,
        keeps_out_to_deg: float | None,
    ) -> Floats:
        """Allowance used per hour in the wet cells (n,) [1/h].

        `inverse` is `credited.inverse_table()`, handed in because it is shared.
        """
        arrival = self.arrival(keeps_out_to_deg)
        if not credited.limited:
            return np.zeros(len(self.cells))
        if credited.flat_mm is not None:
            return arrival.wetting / credited.flat_mm
        assert inverse is not None
        from_below: Floats = arrival.wetting / float(credited.at(180.0))
        if mount == "any":
            return from_below
        rows = self._angle_rows(mount, tilt_deg, facing_deg)
        own: Floats = np.einsum("nc,nc->n", arrival.by_class, inverse.take(rows))
        splash = self._splash if keeps_out_to_deg is None else 0.0
        return np.asarray(own * (1.0 - splash) + from_below * splash)

    def spread(self, in_cells: Floats) -> Floats:
        """Values of the wet cells over (member, step), 0 elsewhere."""
        out = np.zeros(self.shape[0] * self.shape[1])
        out[self.cells] = in_cells
        return out.reshape(self.shape)


def share_let_in_open(
    classes: Classes, wind_mps: Floats, wind_from_deg: Floats, keeps_out_to_deg: float
) -> Floats:
    """Share of each class past a hood with no roof above: what spray meets."""
    share = share_let_in(
        classes,
        wind_mps,
        wind_from_deg,
        spot=None,
        keeps_out_to_deg=keeps_out_to_deg,
        spread_deg=0.0,
        eddy_share=0.0,
    )
    assert share is not None
    return share
