"""The past put together: measured values laid over the members of the feeds that stand in. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.domain import WEATHER_VALUES as VALUES
from monitor.domain import Bools, Floats, Weather
from monitor.exposure.pool import mean_direction_deg, mean_known
from monitor.feeds.laid import Index, Owners, Table, listed
from monitor.feeds.winds import OPEN_HEIGHT_M

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_RAIN, _WIND, _GUST, _FROM = (
    VALUES.index(name) for name in ("rain_mm", "wind_mps", "gust_mps", "wind_from_deg")
)


def composed(
    runs: Sequence[Weather],
    derived: Sequence[Weather],
    rows: Table,
    owners: Owners,
    span: tuple[Floats, Floats],
) -> Weather:
    """The weather of spots out of those who are believed in each.

    Parameters
    ----------
    runs, rows : every run, and the table of their steps
    derived : the same runs, with the gusts that are derived where none was given
    owners : (…, spot) rows of the table
    span : starts and ends of the spots (spot,) [s]
    """
    members = _Members(runs, rows, owners)
    measured = _measured(runs, rows, owners)
    is_known = owners.values >= 0
    floor = _rates(runs, rows, owners.floor, VALUES[_RAIN])
    values = members.values
    fill = members.mean()
    rain_measured = is_known[_RAIN]
    alone = rain_measured | ~members.speak
    # Members go on whole, with what was measured of their weather put right.
    for v, known in enumerate(is_known):
        values[v][:, known] = measured[v, known]
    lifted = members.there & (floor >= 0.0)
    values[_RAIN] = np.where(lifted, np.fmax(values[_RAIN], floor), values[_RAIN])
    shares = members.shares_of(values)
    # Where one is enough there is one.
    values[:, :, alone] = np.nan
    one = np.where(is_known, measured, fill)
    one[_RAIN] = np.where(rain_measured, np.fmax(measured[_RAIN], floor), floor)
    values[:, 0, alone] = one[:, alone]
    shares[:, alone] = 0.0
    shares[0, alone] = 1.0
    # A forecast's gust below the measured mean is no gust: it is derived from what was measured.
    under = is_known[_WIND] & ~is_known[_GUST] & (values[_GUST] < measured[_WIND])
    values[_GUST] = np.where(under, np.nan, values[_GUST])
    missing = is_known[_WIND] & np.isnan(values[_GUST]) & (shares > 0.0)
    own_gust = _rates(derived, rows, owners.values[_WIND], VALUES[_GUST])
    values[_GUST] = np.where(missing, own_gust, values[_GUST])
    own = _hours(runs, rows, owners)
    hours = np.where(alone, own, members.hours)
    forecast = np.broadcast_to(~alone, hours.shape).copy()
    values[_RAIN] *= span[1] - span[0]
    return _weather(runs, owners, members, span, values, shares, forecast, hours)


class _Members:
    """The members of the feeds that stand in, side by side: feed by feed, padded."""

    def __init__(self, runs: Sequence[Weather], rows: Table, owners: Owners) -> None:
        self.blocks: list[slice] = []
        count = 0
        for owner in owners.feeds:
            most = max((len(runs[r].members) for r, _, _ in _by_run(rows, owner)), default=0)
            self.blocks.append(slice(count, count + most))
            count += most
        spots = owners.all.shape[1]
        shape = (max(count, 1), spots)
        self.values = np.full((len(VALUES), *shape), np.nan)
        """(variable, member, spot), rain as a rate [mm/s]"""
        self._weights = np.zeros(shape)
        self.hours = np.zeros(shape)
        """(member, spot) length of each one's step as issued [h]"""
        for block, owner in zip(self.blocks, owners.feeds, strict=True):
            for r, spot, step in _by_run(rows, owner):
                run, first = runs[r], block.start
                into = slice(first, first + len(run.members))
                for v, name in enumerate(VALUES):
                    self.values[v][into, spot] = _of_steps(run, name, step)
                self._weights[into, spot] = run.weights[:, np.newaxis]
                self.hours[into, spot] = run.whole_hours[step]
        self.there: Bools = self._weights > 0.0
        self.speak: Bools = np.asarray(self.there.any(axis=0))
        """(spot,) where any feed stands in"""
        self.shares = self._pooled(self.there)

    def _pooled(self, heard: Bools) -> Floats:
        """Equal shares to the feeds that are heard, within each by weight to those heard."""
        shares = np.where(heard, self._weights, 0.0)
        feeds = np.zeros(shares.shape[1])
        for block in self.blocks:
            total = shares[block].sum(axis=0)
            shares[block] /= np.where(total > 0.0, total, 1.0)
            feeds += total > 0.0
        return np.asarray(shares / np.maximum(feeds, 1.0))

    def shares_of(self, values: Floats) -> Floats:
        """The shares of those who say enough; where nobody does, of all, which is not known."""
        rain, wind = values[_RAIN], values[_WIND]
        enough = self.there & np.isfinite(rain) & ((rain == 0.0) | np.isfinite(wind))
        return np.where(enough.any(axis=0), self._pooled(enough), self.shares)

    def mean(self) -> Floats:
        """(variable, spot) what the feeds say by their mean, NaN where none does."""
        found = np.array([mean_known(each, self.shares)[0] for each in self.values])
        found[_FROM] = mean_direction_deg(self.values[_WIND], self.values[_FROM], self.shares)[0]
        return found


def _by_run(rows: Table, owner: Index) -> Iterator[tuple[int, Index, Index]]:
    """Of every run believed somewhere: its number, the spots, and its steps there."""
    spots = np.flatnonzero(owner >= 0)
    of_run = rows.run[owner[spots]]
    order = np.argsort(of_run, kind="stable")
    numbers, first = np.unique(of_run[order], return_index=True)
    edges = [*first.tolist(), len(order)]
    for number, begin, end in zip(numbers, edges, edges[1:], strict=False):
        mine = spots[order[begin:end]]
        yield int(number), mine, rows.step[owner[mine]]


def _of_steps(run: Weather, name: str, step: Index) -> Floats:
    """Values of some steps (member, step), rain as a rate [mm/s]."""
    values: Floats = getattr(run, name)[:, step]
    return values / (run.ends - run.starts)[step] if name == VALUES[_RAIN] else values


def _rates(runs: Sequence[Weather], rows: Table, owner: Index, name: str) -> Floats:
    """(spot,) one value of those believed, NaN where there is none."""
    found = np.full(len(owner), np.nan)
    for r, spot, step in _by_run(rows, owner):
        values = _of_steps(runs[r], name, step)
        weights = np.broadcast_to(runs[r].weights[:, np.newaxis], values.shape)
        found[spot] = values[0] if len(values) == 1 else mean_known(values, weights)[0]
    return found


def _measured(runs: Sequence[Weather], rows: Table, owners: Owners) -> Floats:
    """(variable, spot) what was measured, NaN where it was not."""
    return np.array(
        [_rates(runs, rows, own, name) for own, name in zip(owners.values, VALUES, strict=True)]
    )


def _hours(runs: Sequence[Weather], rows: Table, owners: Owners) -> Floats:
    """(spot,) length of the step that its one rain is from, as it was measured or told [h]."""
    found = np.zeros(owners.all.shape[1])
    for owner in (owners.floor, owners.measured, owners.values[_RAIN]):
        for r, spot, step in _by_run(rows, owner):
            found[spot] = runs[r].whole_hours[step]
    return found


def _weather(
    runs: Sequence[Weather],
    owners: Owners,
    members: _Members,
    span: tuple[Floats, Floats],
    values: Floats,
    shares: Floats,
    forecast: Bools,
    hours: Floats,
) -> Weather:
    several = len(shares) > 1
    pattern = runs[0] if runs else None
    feed_of = tuple(f for f, b in enumerate(members.blocks) for _ in range(b.start, b.stop))
    columns: dict[str, Any] = dict(zip(VALUES, values, strict=True))
    return Weather(
        starts=span[0],
        ends=span[1],
        weights=np.full(len(shares), 1.0 / len(shares)),
        forecast=forecast if several else forecast[0],
        cut_from_hours=hours if several else hours[0],
        shares=shares if several else None,
        measured=owners.values >= 0,
        wind_basis=pattern.wind_basis if pattern else "open",
        wind_height_m=pattern.wind_height_m if pattern else OPEN_HEIGHT_M,
        source=listed([run.source for run in runs]),
        credit=listed([run.credit for run in runs]),
        members=tuple(str(m) for m in range(len(shares))),
        feed_of=feed_of if several else (0,),
        feeds=owners.names if several else (),
        **columns,
    )
