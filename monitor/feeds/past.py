"""What the weather was, out of all the runs and readings that were received.

The past is made step by step and value by value: what was measured where it is known, else
what was forecast last before the step ended, else nothing. A run that came later never
rewrites a step that was over when it came, so what is counted does not move under the crew's
feet. Pure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from monitor.domain import WEATHER_VALUES
from monitor.feeds.composed import composed
from monitor.feeds.laid import Owners, Table, Turn, known_at, lay, lay_in_turn, merged, table
from monitor.feeds.side_by_side import still_to_come
from monitor.feeds.winds import one_wind

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from monitor.domain import Bools, Floats, Terrain, Weather

__all__ = ["as_it_was", "still_to_come", "without_hindsight", "without_overtaken"]


def as_it_was(
    runs: Sequence[Weather],
    start_s: float,
    end_s: float,
    *,
    terrain: Terrain | None = None,
    prefer: Sequence[str] = (),
    floor_sources: Collection[str] = (),
    lifted_sources: Collection[str] = (),
) -> Weather:
    """The weather of [start_s, end_s), as far as it is known.

    Parameters
    ----------
    runs : every run and every batch of readings received, in any order
    start_s, end_s : steps that reach over either are cut there, their rain in proportion [s]
    terrain : of the site; needed only where runs differ in how their wind was measured
    prefer : sources that measure, the best first; those not named come after them
    floor_sources : sources whose rain is "at least so much", as a person on site tells it
    lifted_sources : sources whose measured rain such a word lifts: records of another place

    Returns
    -------
    Weather. `forecast` is False where the rain was measured, `measured` marks each value that
    was. One member where one will do; else the members of the feeds that stand in, with their
    `shares` in each step. What no run says is no step: a gap, not known and not dry.

    Notes
    -----
    A measured value that is empty gives way to a worse measurement of it, then to the
    forecasts. Of several measurements from one source, or from sources not in `prefer`, the one
    received last counts: a record that was mended mends the past. Where rain was measured and
    wind was not, the forecasts' mean wind drives it, without a direction where they have none
    in common.

    Feeds weigh the same, members of a feed by their weights; those that do not say enough leave
    their share to the others. A floor lifts a forecast or a record that says less rain, and
    counts alone where nothing else is said; a measurement stands as it is, but for a record that
    did not measure it here.
    """
    derived, runs = one_wind(runs, terrain), one_wind(runs, terrain, derive=False)
    rows = table(runs, [_wanted(run, start_s, end_s) for run in runs], start_s, end_s)
    edges = np.unique(np.concatenate([rows.starts, rows.ends, [start_s]]))
    owners = _owners(runs, rows, edges, prefer, floor_sources, lifted_sources)
    kept, starts, ends = merged(owners.all, edges)
    return composed(runs, derived, rows, owners.take(kept), (starts, ends))


def _wanted(run: Weather, start_s: float, end_s: float) -> Bools:
    """The steps of a run in a span, without forecasts of what was over when it came."""
    wanted = (run.ends > start_s) & (run.starts < end_s)
    return np.asarray(wanted & (~run.forecast | (known_at(run) <= run.ends)))


def _owners(
    runs: Sequence[Weather],
    rows: Table,
    edges: Floats,
    prefer: Sequence[str],
    floor_sources: Collection[str],
    lifted_sources: Collection[str],
) -> Owners:
    """Who is believed in every spot between two edges."""
    came = np.array([known_at(run) for run in runs], dtype=float)[rows.run]
    forecast = _of_rows(rows, [run.forecast for run in runs]).astype(np.bool_)
    floor = np.array([run.source in floor_sources for run in runs], dtype=np.bool_)[rows.run]
    rank = {source: len(prefer) - place for place, source in enumerate(prefer)}
    better = np.array([rank.get(run.source, 0) for run in runs], dtype=float)[rows.run]
    # Later in this order is laid over earlier.
    order = np.lexsort((came, better))
    measured = order[~forecast[order] & ~floor[order]]
    feeds = tuple(sorted({runs[r].source for r in rows.run[forecast & ~floor]}))
    owners = Owners.none(feeds, max(len(edges) - 1, 0))
    lay(owners.measured, measured, rows, edges)
    for owner, name in zip(owners.values, WEATHER_VALUES, strict=True):
        known = _of_rows(rows, [_says(run, name) for run in runs])
        lay(owner, measured[known[measured] > 0], rows, edges)
    lay(owners.floor, order[floor[order]], rows, edges)
    rain = _of_rows(rows, [_says(run, "rain_mm") for run in runs])
    turn = Turn(came, _of_rows(rows, [run.ends for run in runs]), rain)
    # A step of a feed without rain data covers none that has.
    order = np.lexsort((came, rain))
    source = np.array([feeds.index(r.source) if r.source in feeds else -1 for r in runs], dtype=int)
    for number, owner in enumerate(owners.feeds):
        mine = forecast & ~floor & (source[rows.run] == number)
        lay_in_turn(owner, order[mine[order]], rows, edges, turn)
    lifted = np.array([run.source in lifted_sources for run in runs], dtype=np.bool_)
    owners.believe_what_was_measured(lifted[rows.run])
    return owners


def _says(run: Weather, name: str) -> Bools:
    """(step,) where any member of a run knows a value."""
    return np.asarray(np.isfinite(getattr(run, name)).any(axis=0))


def _of_rows(rows: Table, values: Sequence[Floats | Bools]) -> Floats:
    """A figure of each run's steps (step,), for the rows of the table."""
    found = np.zeros(len(rows.run))
    edges = np.searchsorted(rows.run, np.arange(len(values) + 1))
    for of_run, first, last in zip(values, edges[:-1], edges[1:], strict=True):
        found[first:last] = of_run[rows.step[first:last]]
    return found


def without_overtaken(older: Weather, newer: Weather) -> Weather:
    """`older` without the steps that `as_it_was` can never take from it again.

    Those are the steps that a newer run of the same source has too, with all that the older
    says of them, and that had not begun when it came: of one that had, the part that was over
    may still be the older's.
    """
    if older.source != newer.source or known_at(newer) < known_at(older):
        return older
    spans = {
        span: known
        for span, known in zip(_spans(newer), _known(newer), strict=True)
        if known & 1 and (not span[2] or span[0] >= known_at(newer))
    }
    keep = np.array(
        [
            # A measurement is overtaken value by value, a forecast as a whole.
            span not in spans or (not span[2] and bool(known & ~spans[span]))
            for span, known in zip(_spans(older), _known(older), strict=True)
        ],
        dtype=np.bool_,
    )
    return older if keep.all() else older.take(np.flatnonzero(keep))


def _spans(run: Weather) -> list[tuple[float, float, bool]]:
    """Begin, end and kind of every step."""
    return list(zip(run.starts.tolist(), run.ends.tolist(), run.forecast.tolist(), strict=True))


def _known(run: Weather) -> list[int]:
    """Which values each step knows, as bits; rain is the lowest, and all that is asked of a
    forecast.
    """
    bits = np.zeros(len(run.starts), dtype=int)
    asked = WEATHER_VALUES[:1] if run.forecast.all() else WEATHER_VALUES
    for bit, name in enumerate(asked):
        bits |= _says(run, name).astype(int) << bit
    found: list[int] = bits.tolist()
    return found


def without_hindsight(run: Weather) -> Weather:
    """`run` without the forecast steps that were over before it came: they tell nothing."""
    keep = ~run.forecast | (run.ends >= known_at(run))
    return run if keep.all() else run.take(np.flatnonzero(keep))
