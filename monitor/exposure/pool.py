"""Members pooled to one, step by step: how the past is counted where forecasts stand in for it.

What is pooled is what each member adds in a step, not the members' weather: water taken grows
faster than in proportion once a credit is passed, and the mean of opposite winds is no wind.
The weather made here beside it is for people to read.

A cell is one member in one step. Only cells with a share are computed, so a year of one gauge
costs nothing for the ensemble that stood in for it in one hour.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.domain import WEATHER_VALUES, Bools, Floats, Weather

ONE_DIRECTION = 0.25
"""Mean vector over mean speed below which members have no direction in common (judgement): two
equal winds more than 151 degrees apart.
"""
_TOUCHES = 1e-9
Index = NDArray[np.intp]


class Cells(NamedTuple):
    """Every member in every step in which it has a share, step by step."""

    step: Index
    """(cell,)"""
    member: Index
    """(cell,)"""
    share: Floats
    """(cell,) 1 in all in each step"""
    first: Index
    """(step,) the first cell of each"""

    @classmethod
    def of(cls, shares: Floats) -> Cells:
        """The cells of shares (member, step)."""
        step, member = np.nonzero(shares.T > 0.0)
        first = np.searchsorted(step, np.arange(shares.shape[1]))
        return cls(step, member, shares[member, step], first.astype(np.intp))

    def mean(self, values: NDArray[Any]) -> Floats:
        """The mean of (..., cell) by shares (..., step)."""
        if not len(self.first):
            return np.zeros((*values.shape[:-1], 0))
        return np.asarray(np.add.reduceat(values * self.share, self.first, axis=-1))

    def share_of(self, flags: Bools, known: Bools) -> Floats:
        """Share of the cells with a flag, of those that know it (..., step).

        Where none knows, of all: a flag that stands on nothing known is False and stays so.
        """
        heard = self.mean(known)
        say = self.mean(flags & known) / np.where(heard > 0.0, heard, 1.0)
        return np.asarray(np.where(heard > 0.0, say, self.mean(flags)))

    def mean_within(self, steps: slice, values: Floats) -> Floats:
        """The same of the cells of some steps alone."""
        own = self.of_steps(steps)
        first = self.first[steps] - own.start
        return np.asarray(np.add.reduceat(values * self.share[own], first, axis=-1))

    def of_steps(self, steps: slice) -> slice:
        """The cells of some steps."""
        edges = np.append(self.first, len(self.step))
        return slice(int(edges[steps.start]), int(edges[steps.stop]))


def reaches(share: NDArray[Any], risk: float) -> Bools:
    """Where a pooled share counts as so; a flag of one member stays as it is."""
    if share.dtype == np.bool_:
        return np.asarray(share, dtype=np.bool_)
    return np.asarray((share > 0.0) & (share >= risk - _TOUCHES))


def reached_at_risk(values: Floats, shares: Floats, risk: float) -> Floats:
    """The greatest value that the share `risk` of the members reaches (1, step), NaN unknown.

    Parameters
    ----------
    values : (member, step); NaN has no share
    shares : (member, step)
    risk : share, 0 to 1
    """
    known = np.isfinite(values) & (shares > 0.0)
    heard = np.where(known, shares, 0.0)
    order = np.argsort(-np.where(known, values, -np.inf), axis=0, kind="stable")
    ranked = np.take_along_axis(heard, order, axis=0).cumsum(axis=0)
    total = heard.sum(axis=0)
    first = (ranked >= np.minimum(risk, 1.0) * total - _TOUCHES).argmax(axis=0)
    row = np.take_along_axis(order, first[np.newaxis], axis=0)
    found: Floats = np.take_along_axis(values, row, axis=0)
    return np.where(total > 0.0, found, np.nan)


def mean_known(values: Floats, shares: Floats) -> Floats:
    """The mean over the members that say something (1, step), NaN where none does."""
    known = np.isfinite(values) & (shares > 0.0)
    heard = np.where(known, shares, 0.0)
    total = heard.sum(axis=0, keepdims=True)
    summed = (np.where(known, values, 0.0) * heard).sum(axis=0, keepdims=True)
    return np.where(total > 0.0, summed / np.where(total > 0.0, total, 1.0), np.nan)


def mean_direction_deg(wind_mps: Floats, wind_from_deg: Floats, shares: Floats) -> Floats:
    """Direction of the mean wind vector (1, step) [deg].

    NaN where the members have none in common: opposite winds make no wind from the side.
    """
    known = np.isfinite(wind_mps) & np.isfinite(wind_from_deg) & (shares > 0.0)
    speed = np.where(known, wind_mps * shares, 0.0)
    turn = np.exp(1j * np.radians(np.where(known, wind_from_deg, 0.0)))
    vector = (speed * turn).sum(axis=0, keepdims=True)
    length = speed.sum(axis=0, keepdims=True)
    agreed = (length > 0.0) & (np.abs(vector) >= ONE_DIRECTION * length)
    found = np.where(agreed, np.degrees(np.angle(vector)) % 360.0, np.nan)
    # One that speaks alone is kept to the last bit, and in a calm too.
    alone = np.isfinite(wind_from_deg) & (shares > 0.0)
    own = np.where(alone, wind_from_deg, 0.0).sum(axis=0, keepdims=True)
    return np.where(alone.sum(axis=0, keepdims=True) == 1, own, found)


def pooled_weather(weather: Weather, risk: float) -> Weather:
    """Weather of one member to read beside what was pooled; as it is where nothing is shared.

    Rain, wind, temperatures and cloud are the members' means by share; the gust is the one that
    the share `risk` reaches, and there is thunder where that share says so.
    """
    shares = weather.shares
    if shares is None:
        return weather
    columns: dict[str, Any] = {
        name: mean_known(getattr(weather, name), shares) for name in WEATHER_VALUES
    }
    columns["wind_from_deg"] = mean_direction_deg(weather.wind_mps, weather.wind_from_deg, shares)
    columns["gust_mps"] = reached_at_risk(weather.gust_mps, shares, risk)
    thunder = reaches(columns["thunder"], risk).astype(float)
    columns["thunder"] = np.where(np.isnan(columns["thunder"]), np.nan, thunder)
    forecast = np.broadcast_to(weather.forecast, shares.shape)
    whole = np.broadcast_to(weather.whole_hours, shares.shape)
    return replace(
        weather,
        **columns,
        weights=np.ones(1),
        members=("0",),
        feed_of=(0,),
        feeds=(),
        shares=None,
        cut_from_starts=None,
        cut_from_hours=np.where(shares > 0.0, whole, 0.0).max(axis=0, initial=0.0),
        forecast=np.asarray((forecast & (shares > 0.0)).any(axis=0)),
    )
