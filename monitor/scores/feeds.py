"""Every feed's runs against what was measured, by how long before the hour they were issued."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.domain import Bools, Floats, Terrain, Weather
from monitor.scores.hours import Hours, on_hours
from monitor.scores.measures import Contingency, brier, crps_ecdf, crps_fair
from monitor.units import SECONDS_PER_HOUR, to_epoch

WET_MM = 0.2
"""An hour with this much is wet [mm]: one tip of a common tipping bucket, the least that a gauge
on site can see. Less is drizzle that a forecast may be right about and the gauge blind to.
"""
FEWEST_CASES = 10
"""A share of fewer than this is not given: each single hour would move it by over a tenth."""
FEWEST_HOURS = 24
"""A mean over fewer hours than a day's is not given: it would be one afternoon's weather."""
_SAME = 1e-9


class Lead(NamedTuple):
    """A class of lead times, from (at least) and to (under) [h]."""

    from_h: float
    to_h: float

    @property
    def says(self) -> str:
        """`6 to 12 h before`."""
        if self.to_h == np.inf:
            return f"over {self.from_h:g} h before"
        return f"{self.from_h:g} to {self.to_h:g} h before"


LEADS = (
    Lead(0, 3),
    Lead(3, 6),
    Lead(6, 12),
    Lead(12, 24),
    Lead(24, 48),
    Lead(48, 72),
    Lead(72, np.inf),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One feed at one lead. A figure is None where there were too few hours to say."""

    lead: Lead
    table: Contingency
    brier: float | None = None
    """Of the members' share with rain"""
    crps_mm: float | None = None
    """Of the hour's amount; of one member the mean absolute error"""
    crps_fair_mm: float | None = None
    """The same without regard to how many members; None under two"""
    wind_hours: int = 0
    wind_bias_mps: float | None = None
    """Forecast less measured, mean wind at 10 m over the site's terrain"""
    gust_hours: int = 0
    gust_bias_mps: float | None = None

    @property
    def hit_rate(self) -> float | None:
        """POD, or None where too few wet hours were measured."""
        return self.table.hit_rate if self.table.wet >= FEWEST_CASES else None

    @property
    def false_alarm_ratio(self) -> float | None:
        """FAR, or None where too few wet hours were forecast."""
        return self.table.false_alarm_ratio if self.table.forecast >= FEWEST_CASES else None

    @property
    def false_alarm_rate(self) -> float | None:
        """POFD, or None where too few dry hours were measured."""
        return self.table.false_alarm_rate if self.table.dry >= FEWEST_CASES else None

    @property
    def frequency_bias(self) -> float | None:
        """Or None where too few wet hours were measured."""
        return self.table.frequency_bias if self.table.wet >= FEWEST_CASES else None


@dataclass(frozen=True, slots=True)
class FeedScores:
    """One feed: a row for each lead at which it was compared, shortest first."""

    source: str
    members: int
    """Most that any of its runs had"""
    runs: int
    rows: tuple[Row, ...]
    coarse_steps: bool = False
    """Some of its steps are longer than an hour, and were left out"""


@dataclass(frozen=True, slots=True)
class Scores:
    """All feeds against what was measured on site."""

    feeds: tuple[FeedScores, ...]
    measured_hours: int
    """Whole hours whose rain was measured"""
    wet_hours: int
    wet_mm: float
    risk: float
    """Share of members with rain at which rain counts as forecast"""
    measured_by: str = ""


def score(
    runs: Sequence[Weather],
    measured: Weather | None,
    *,
    terrain: Terrain,
    risk: float,
    start_s: float = -np.inf,
    end_s: float = np.inf,
    wet_mm: float = WET_MM,
) -> Scores:
    """Score every feed over the measured hours that begin in [start_s, end_s).

    Parameters
    ----------
    runs : every run received; steps that are no forecast are left out
    measured : one member; only steps whose `forecast` is False count. None: nothing was measured
    terrain : of the site
    risk : share of members at which rain counts as forecast: the share that sets a do-by
    start_s, end_s : period [s]
    wet_mm : rain in an hour from which it is wet [mm]

    Notes
    -----
    Lead is from the issue of a run (its fetch where it does not say) to the begin of the hour.
    An hour that had begun when the run came is not scored. For each hour and lead the run
    issued last counts, so that a count of pairs is a count of hours.
    """
    truth = _truth(measured, terrain, start_s, end_s)
    by_source: dict[str, list[Weather]] = {}
    for run in runs:
        if run.forecast.any():
            by_source.setdefault(run.source, []).append(run)
    known = np.isfinite(truth.rain_mm[0])
    wet = truth.rain_mm[0] >= wet_mm - _SAME
    feeds = [
        _feed(source, theirs, truth, terrain, risk, wet_mm)
        for source, theirs in by_source.items()
        if known.any()
    ]
    return Scores(
        feeds=tuple(feeds),
        measured_hours=int(known.sum()),
        wet_hours=int(wet.sum()),
        wet_mm=wet_mm,
        risk=risk,
        measured_by=measured.source if measured is not None and known.any() else "",
    )


def _truth(measured: Weather | None, terrain: Terrain, start_s: float, end_s: float) -> Hours:
    none = np.zeros((1, 0))
    if measured is None:
        return Hours(np.zeros(0), none, none, none)
    of_forecast = np.atleast_2d(measured.forecast).any(axis=0)
    hours = on_hours(measured.take(np.flatnonzero(~of_forecast)), terrain)
    keep = (hours.starts >= start_s) & (hours.starts + SECONDS_PER_HOUR <= end_s)
    return Hours(
        hours.starts[keep],
        hours.rain_mm[:1, keep],
        hours.wind_mps[:1, keep],
        hours.gust_mps[:1, keep],
    )


class _Figure:
    """One figure for each (lead, hour): the one of the run issued last is kept."""

    def __init__(self, hours: int) -> None:
        self.values = np.full((len(LEADS), hours), np.nan)
        self._lead_s = np.full((len(LEADS), hours), np.inf)

    def lay(self, classes: np.ndarray, hours: np.ndarray, lead_s: Floats, values: Floats) -> None:
        known = np.isfinite(values)
        classes, hours, lead_s, values = (a[known] for a in (classes, hours, lead_s, values))
        newer = lead_s <= self._lead_s[classes, hours]
        at = (classes[newer], hours[newer])
        self.values[at], self._lead_s[at] = values[newer], lead_s[newer]


def _feed(
    source: str, runs: Sequence[Weather], truth: Hours, terrain: Terrain, risk: float, wet_mm: float
) -> FeedScores:
    names = ("chance", "brier", "crps", "fair", "wind", "gust")
    figures = {name: _Figure(len(truth.starts)) for name in names}
    came = _as_number(truth.rain_mm[0] >= wet_mm - _SAME, np.isfinite(truth.rain_mm[0]))
    edges = np.array([lead.from_h for lead in LEADS]) * SECONDS_PER_HOUR
    coarse = False
    for run in runs:
        coarse |= bool((run.whole_hours[run.forecast] > 1.0 + _SAME).any())
        ahead = on_hours(run.take(np.flatnonzero(run.forecast)), terrain)
        issued, known_at = _issued_s(run), _known_at_s(run)
        keep = (ahead.starts >= max(known_at, issued)) & np.isin(ahead.starts, truth.starts)
        columns = np.flatnonzero(keep)
        if not len(columns):
            continue
        hours = np.searchsorted(truth.starts, ahead.starts[columns])
        lead_s = ahead.starts[columns] - issued
        classes = np.searchsorted(edges, lead_s + _SAME, side="right") - 1
        rain = ahead.rain_mm[:, columns]
        chance = _chance(rain, run.weights, wet_mm)
        said = {
            "chance": np.where(np.isfinite(came[hours]), chance, np.nan),
            "brier": brier(chance, came[hours]),
            "crps": crps_ecdf(rain, truth.rain_mm[0, hours]),
            "fair": crps_fair(rain, truth.rain_mm[0, hours]),
            "wind": _mean(ahead.wind_mps[:, columns], run.weights) - truth.wind_mps[0, hours],
            "gust": _mean(ahead.gust_mps[:, columns], run.weights) - truth.gust_mps[0, hours],
        }
        for name, values in said.items():
            figures[name].lay(classes, hours, lead_s, values)
    rows = [_row(i, figures, came, risk) for i in range(len(LEADS))]
    return FeedScores(
        source,
        max(len(run.members) for run in runs),
        len(runs),
        tuple(row for row in rows if row.table.hours or row.wind_hours or row.gust_hours),
        coarse,
    )


def _row(i: int, figures: dict[str, _Figure], came: Floats, risk: float) -> Row:
    chance = figures["chance"].values[i]
    compared = np.isfinite(chance)
    said, wet = chance[compared] >= risk - _SAME, came[compared] > 0.0
    wind, gust = figures["wind"].values[i], figures["gust"].values[i]
    return Row(
        lead=LEADS[i],
        table=Contingency(
            hits=int((said & wet).sum()),
            misses=int((~said & wet).sum()),
            false_alarms=int((said & ~wet).sum()),
            correct_negatives=int((~said & ~wet).sum()),
        ),
        brier=_mean_or_none(figures["brier"].values[i]),
        crps_mm=_mean_or_none(figures["crps"].values[i]),
        crps_fair_mm=_mean_or_none(figures["fair"].values[i]),
        wind_hours=int(np.isfinite(wind).sum()),
        wind_bias_mps=_mean_or_none(wind),
        gust_hours=int(np.isfinite(gust).sum()),
        gust_bias_mps=_mean_or_none(gust),
    )


def _mean_or_none(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) >= FEWEST_HOURS else None


def _chance(rain_mm: Floats, weights: Floats, wet_mm: float) -> Floats:
    """Share of the members that are known with a wet hour (hour,)."""
    return _mean(_as_number(rain_mm >= wet_mm - _SAME, np.isfinite(rain_mm)), weights)


def _mean(values: Floats, weights: Floats) -> Floats:
    """Weighted mean over the members that are known (hour,); NaN where none is."""
    share = np.where(np.isfinite(values), weights[:, np.newaxis], 0.0)
    total = share.sum(axis=0)
    mean = np.full(values.shape[1], np.nan)
    known = np.where(np.isfinite(values), values, 0.0)
    np.divide((known * share).sum(axis=0), total, out=mean, where=total > 0.0)
    return mean


def _as_number(yes: Bools, known: Bools) -> Floats:
    return np.where(known, yes.astype(np.float64), np.nan)


def _known_at_s(run: Weather) -> float:
    """When a run was here; one that does not say was here when it was issued [s]."""
    moment = run.fetched_at or run.issued_at
    return -np.inf if moment is None else to_epoch(moment)


def _issued_s(run: Weather) -> float:
    """From when lead is counted; a run without any time has no lead [s]."""
    moment = run.issued_at or run.fetched_at
    return np.inf if moment is None else to_epoch(moment)
