"""What the weather was, and what is still to come, out of all the runs that were received.

The past is made step by step: what was measured where it is known, else what was forecast
last before the step ended, else nothing. A run that came later never rewrites a step that
was over when it came, so what is counted does not move under the crew's feet. Pure.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.domain import WEATHER_VALUES as VALUES
from monitor.domain import Bools, Floats, Terrain, Weather
from monitor.exposure.wind import gust_10m, roughness_coefficient, wind_10m
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence

_OPEN_HEIGHT_M = 10.0

Index = NDArray[np.intp]


def as_it_was(
    runs: Sequence[Weather], start_s: float, end_s: float, *, terrain: Terrain | None = None
) -> Weather:
    """The weather of [start_s, end_s) as one member, as far as it is known.

    Parameters
    ----------
    runs : every run received, in any order
    start_s, end_s : steps that reach over either are cut there, their rain in proportion [s]
    terrain : of the site; needed only where runs differ in how their wind was measured

    Returns
    -------
    Weather of one member. `forecast` is False where a step was measured. What no run says
    is no step: a gap, which is not known and not dry.

    Notes
    -----
    A measured step without rain data gives way to a forecast of it. Of several measurements
    of a step the one received last counts: a record that was mended mends the past.

    Several members, and several sources of forecasts, are pooled to their weighted mean
    before anything is computed from them (thunder: yes where one says so). Water taken grows
    faster than in proportion once a credit is passed, so the mean of the weather takes a
    little less than the mean over the members would.
    """
    runs = _one_wind(runs, terrain)
    tables = [_steps_of(run, start_s, end_s) for run in runs]
    edges = np.unique(np.concatenate([*(e for t in tables for e in (t.starts, t.ends)), [start_s]]))
    spots = max(len(edges) - 1, 0)
    names = list(dict.fromkeys(run.source for run in runs))
    owners = np.full((1 + len(names), spots), -1, dtype=np.intp)
    steps = _joined(tables)
    offsets = np.cumsum([0, *(len(t.starts) for t in tables)])
    # Later in this order is laid over earlier; a step without rain data covers none that has.
    known = np.isfinite(steps.values[0])
    order = np.lexsort((steps.known_at, known))
    source = np.repeat([names.index(run.source) for run in runs], np.diff(offsets)).astype(np.intp)
    for row in range(len(owners)):
        measured = row == 0
        ours = order[~steps.forecast[order] if measured else steps.forecast[order]]
        if not measured:
            ours = ours[source[ours] == row - 1]
        _lay(owners[row], ours, steps, edges)
    first = owners[0]
    blank = (first < 0) | ~known[first]
    said = ((owners[1:] >= 0) & known[owners[1:]]).any(axis=0)
    owners[0, blank & said] = -1
    owners[1:, owners[0] >= 0] = -1
    kept, starts, ends = _merged(owners, edges)
    return _pooled(steps, owners[:, kept], starts, ends, runs)


def still_to_come(
    runs: Sequence[Weather], now_s: float, *, terrain: Terrain | None = None
) -> Weather | None:
    """The newest run of each source from `now_s` on, members kept; None where none reaches it.

    The step that is running is cut at `now_s`, its rain in proportion, so that nothing is
    counted here and in the past too. With several sources each has an equal share of the
    weight; where one of them says nothing its members are not known.
    """
    newest: dict[str, Weather] = {}
    for run in runs:
        last = newest.get(run.source)
        if last is None or _known_at(run) >= _known_at(last):
            newest[run.source] = run
    ahead = [run for run in newest.values() if len(run.ends) and run.ends[-1] > now_s]
    if not ahead:
        return None
    cut = [_cut(run, now_s) for run in _one_wind(ahead, terrain)]
    return cut[0] if len(cut) == 1 else _side_by_side(cut)


def without_overtaken(older: Weather, newer: Weather) -> Weather:
    """`older` without the steps that `as_it_was` can never take from it again.

    Those are the steps that a newer run of the same source has too, with rain data, and
    that were not over when it came.
    """
    if older.source != newer.source or _known_at(newer) < _known_at(older):
        return older
    said = np.isfinite(newer.rain_mm).any(axis=0)
    spans = {
        (start, end, forecast)
        for start, end, forecast in zip(
            newer.starts[said].tolist(),
            newer.ends[said].tolist(),
            newer.forecast[said].tolist(),
            strict=True,
        )
        if not forecast or end >= _known_at(newer)
    }
    theirs = zip(older.starts.tolist(), older.ends.tolist(), older.forecast.tolist(), strict=True)
    keep = np.array([span not in spans for span in theirs], dtype=np.bool_)
    return older if keep.all() else older.take(np.flatnonzero(keep))


def without_hindsight(run: Weather) -> Weather:
    """`run` without the forecast steps that were over before it came: they tell nothing."""
    keep = ~run.forecast | (run.ends >= _known_at(run))
    return run if keep.all() else run.take(np.flatnonzero(keep))


# ---------------------------------------------------------------- steps in one table


class _Steps(NamedTuple):
    """Steps of one member, cut to the span asked for.

    `values` is (variable, step) in the order of VALUES, rain as a rate [mm/s].
    """

    starts: Floats
    ends: Floats
    known_at: Floats
    forecast: Bools
    values: Floats
    whole_hours: Floats
    """(step,) length as issued [h]"""


def _known_at(run: Weather) -> float:
    """When a run was known here; one that does not say was known all along [s]."""
    moment = run.fetched_at or run.issued_at
    return -np.inf if moment is None else to_epoch(moment)


def _steps_of(run: Weather, start_s: float, end_s: float) -> _Steps:
    known_at = _known_at(run)
    wanted = (run.ends > start_s) & (run.starts < end_s)
    wanted &= ~run.forecast | (known_at <= run.ends)
    part = run.take(np.flatnonzero(wanted))
    return _Steps(
        np.maximum(part.starts, start_s),
        np.minimum(part.ends, end_s),
        np.full(len(part.starts), known_at),
        part.forecast,
        _mean_member(part),
        part.whole_hours,
    )


def _mean_member(run: Weather) -> Floats:
    """The weighted mean over the members that say something (variable, step)."""
    if len(run.members) == 1:
        mean = np.array([getattr(run, name)[0] for name in VALUES])
    else:
        mean = _mean(np.array([getattr(run, name) for name in VALUES]), run.weights)
    mean[0] /= run.ends - run.starts
    return mean


def _mean(values: Floats, weights: Floats) -> Floats:
    """The weighted mean of (variable, member, step) over members, not known left out."""
    known = np.isfinite(values)
    share = np.where(known, weights[:, np.newaxis], 0.0)
    total = share.sum(axis=1)
    mean = np.full(total.shape, np.nan)
    np.divide((np.where(known, values, 0.0) * share).sum(axis=1), total, out=mean, where=total > 0)
    wind, direction = values[1], values[3]
    both = known[1] & known[3]
    turn = np.exp(1j * np.radians(np.where(both, direction, 0.0)))
    vector = (np.where(both, wind, 0.0) * turn * weights[:, np.newaxis]).sum(axis=0)
    mean[3] = np.where(np.abs(vector) > 0, np.degrees(np.angle(vector)) % 360.0, np.nan)
    # One direction alone is kept to the last bit, and in a calm too.
    alone = known[3].sum(axis=0) == 1
    mean[3] = np.where(alone, np.where(known[3], direction, 0.0).sum(axis=0), mean[3])
    thunder = np.where(known[7], values[7], -1.0).max(axis=0)
    mean[7] = np.where(thunder < 0, np.nan, thunder)
    return mean


def _joined(tables: Sequence[_Steps]) -> _Steps:
    none = np.zeros(0)
    if not tables:
        return _Steps(none, none, none, none > 0, np.zeros((len(VALUES), 0)), none)
    return _Steps(
        np.concatenate([t.starts for t in tables]),
        np.concatenate([t.ends for t in tables]),
        np.concatenate([t.known_at for t in tables]),
        np.concatenate([t.forecast for t in tables]),
        np.concatenate([t.values for t in tables], axis=1),
        np.concatenate([t.whole_hours for t in tables]),
    )


def _lay(owner: Index, order: Index, steps: _Steps, edges: Floats) -> None:
    """Write each step's number over the spots it covers; a later one covers an earlier."""
    first = np.searchsorted(edges, steps.starts[order])
    count = np.searchsorted(edges, steps.ends[order]) - first
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    owner[np.repeat(first, count) + within] = np.repeat(order, count)


def _merged(owners: Index, edges: Floats) -> tuple[Index, Floats, Floats]:
    """Spots joined again where they are of the same steps; those of none are left out."""
    if not owners.shape[1]:
        return np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0)
    changes = np.any(owners[:, 1:] != owners[:, :-1], axis=0)
    first = np.concatenate([[0], np.flatnonzero(changes) + 1])
    last = np.concatenate([first[1:], [owners.shape[1]]])
    some = (owners[:, first] >= 0).any(axis=0)
    return first[some], edges[first[some]], edges[last[some]]


def _pooled(
    steps: _Steps, owners: Index, starts: Floats, ends: Floats, runs: Sequence[Weather]
) -> Weather:
    values = np.full((len(VALUES), owners.shape[1]), np.nan)
    if owners.shape[1]:
        each = np.where(owners >= 0, steps.values[:, owners], np.nan)
        values = _mean(each, np.ones(len(owners)))
    values[0] *= ends - starts
    whole = np.where(owners >= 0, steps.whole_hours[owners], 0.0) if owners.size else owners * 0.0
    columns = {name: values[i][np.newaxis, :] for i, name in enumerate(VALUES)}
    pattern = runs[0] if runs else None
    return Weather(
        starts=starts,
        ends=ends,
        weights=np.ones(1),
        forecast=owners[0] < 0,
        cut_from_hours=whole.max(axis=0, initial=0.0),
        wind_basis=pattern.wind_basis if pattern else "open",
        wind_height_m=pattern.wind_height_m if pattern else _OPEN_HEIGHT_M,
        source=_listed([run.source for run in runs]),
        credit=_listed([run.credit for run in runs]),
        **columns,
    )


def _listed(names: Sequence[str]) -> str:
    return "; ".join(dict.fromkeys(name for name in names if name))


# ---------------------------------------------------------------- ahead


def _cut(run: Weather, now_s: float) -> Weather:
    """The steps that end after `now_s`, the running one from there."""
    part = run.take(np.flatnonzero(run.ends > now_s))
    starts = np.maximum(part.starts, now_s)
    share = (part.ends - starts) / (part.ends - part.starts)
    return replace(
        part, starts=starts, rain_mm=part.rain_mm * share, cut_from_hours=part.whole_hours
    )


def _side_by_side(runs: Sequence[Weather]) -> Weather:
    """Every member of every run over the steps of all of them."""
    edges = np.unique(np.concatenate([e for run in runs for e in (run.starts, run.ends)]))
    owners = np.full((len(runs), len(edges) - 1), -1, dtype=np.intp)
    for row, run in zip(owners, runs, strict=True):
        nothing = np.zeros((len(VALUES), len(run.starts)))
        steps = _Steps(run.starts, run.ends, run.starts, run.forecast, nothing, run.whole_hours)
        _lay(row, np.arange(len(run.starts)), steps, edges)
    kept, starts, ends = _merged(owners, edges)
    owners = owners[:, kept]
    columns: dict[str, Any] = {
        name: np.concatenate(
            [_laid(run, name, row, ends - starts) for run, row in zip(runs, owners, strict=True)]
        )
        for name in VALUES
    }
    charged = [run.forecast[row] & (row >= 0) for run, row in zip(runs, owners, strict=True)]
    issued = [run.issued_at for run in runs]
    fetched = [run.fetched_at for run in runs if run.fetched_at is not None]
    return replace(
        runs[0],
        starts=starts,
        ends=ends,
        weights=np.concatenate([run.weights / len(runs) for run in runs]),
        forecast=np.any(charged, axis=0),
        cut_from_hours=np.max(
            [
                np.where(row >= 0, run.whole_hours[row], 0.0)
                for run, row in zip(runs, owners, strict=True)
            ],
            axis=0,
        ),
        source=_listed([run.source for run in runs]),
        credit=_listed([run.credit for run in runs]),
        # The age of the whole is that of its oldest part.
        issued_at=None if None in issued else min(i for i in issued if i is not None),
        fetched_at=min(fetched, default=None),
        members=tuple(f"{run.source}/{member}" for run in runs for member in run.members),
        feed_of=tuple(n for n, run in enumerate(runs) for _ in run.members),
        dropped=tuple(said for run in runs for said in run.dropped),
        **columns,
    )


def _laid(run: Weather, name: str, row: Index, seconds: Floats) -> Floats:
    values: Floats = getattr(run, name)
    if name == "rain_mm":
        values = values / (run.ends - run.starts)
    laid = np.where(row >= 0, values[:, row], np.nan)
    return laid * seconds if name == "rain_mm" else laid


# ---------------------------------------------------------------- wind


def _one_wind(runs: Sequence[Weather], terrain: Terrain | None) -> Sequence[Weather]:
    """The runs with their wind on one footing: as it is, or all at 10 m over open country."""
    if len({(run.wind_basis, run.wind_height_m) for run in runs}) <= 1:
        return runs
    if terrain is None:
        raise ValueError("winds measured in different ways are joined only for a known terrain")
    return [_over_open_country(run, terrain) for run in runs]


def _over_open_country(run: Weather, terrain: Terrain) -> Weather:
    local = wind_10m(run.wind_mps, run.wind_basis, run.wind_height_m, terrain)
    if run.wind_basis == "local":
        # The site's roughness is put back on at the fixture, so it is taken off here.
        wind = local / roughness_coefficient(_OPEN_HEIGHT_M, terrain)
    else:
        wind = local
    gust = gust_10m(run.gust_mps, run.wind_mps, run.wind_basis, run.wind_height_m, terrain)
    return replace(
        run, wind_mps=wind, gust_mps=gust, wind_basis="open", wind_height_m=_OPEN_HEIGHT_M
    )
