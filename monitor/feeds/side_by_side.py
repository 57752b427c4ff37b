"""What is still to come: the newest run of every source, members whole, side by side. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.domain import WEATHER_VALUES
from monitor.feeds.laid import Index, known_at, lay, listed, merged, table
from monitor.feeds.winds import one_wind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from monitor.domain import Floats, Terrain, Weather


def still_to_come(
    runs: Sequence[Weather], now_s: float, *, terrain: Terrain | None = None
) -> Weather | None:
    """The newest run of each source from `now_s` on, members kept; None where none reaches it.

    The step that is running is cut at `now_s`, its rain in proportion, so that nothing is
    counted here and in the past too. With several sources each has an equal share of the
    weight; where one of them says nothing its members are not known. The steps of one source
    cut up those of another, and each member keeps the length, the begin and the kind of its
    own: what goes by them comes out as if it stood alone.
    """
    newest: dict[str, Weather] = {}
    for run in runs:
        last = newest.get(run.source)
        if last is None or known_at(run) >= known_at(last):
            newest[run.source] = run
    ahead = [run for run in newest.values() if len(run.ends) and run.ends[-1] > now_s]
    if not ahead:
        return None
    cut = [_cut(run, now_s) for run in one_wind(ahead, terrain)]
    return cut[0] if len(cut) == 1 else _side_by_side(cut)


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
    for owner, run in zip(owners, runs, strict=True):
        rows = table([run], [np.ones(len(run.starts), dtype=np.bool_)], edges[0], edges[-1])
        lay(owner, np.arange(len(run.starts)), rows, edges)
    kept, starts, ends = merged(owners, edges)
    owners = owners[:, kept]
    columns: dict[str, Any] = {
        name: np.concatenate(
            [_laid(run, name, row, ends - starts) for run, row in zip(runs, owners, strict=True)]
        )
        for name in WEATHER_VALUES
    }

    def by_member(values: Sequence[NDArray[Any]], empty: float) -> NDArray[Any]:
        """Each run's own (step,) for every member of it."""
        each = [
            np.repeat(np.where(row >= 0, own[row], empty)[np.newaxis], len(run.members), axis=0)
            for run, row, own in zip(runs, owners, values, strict=True)
        ]
        return np.concatenate(each)

    issued = [run.issued_at for run in runs]
    fetched = [run.fetched_at for run in runs if run.fetched_at is not None]
    return replace(
        runs[0],
        starts=starts,
        ends=ends,
        weights=np.concatenate([run.weights / len(runs) for run in runs]),
        forecast=by_member([run.forecast for run in runs], 0.0).astype(np.bool_),
        cut_from_hours=by_member([run.whole_hours for run in runs], 0.0),
        cut_from_starts=by_member([_own_starts(run) for run in runs], 0.0),
        source=listed([run.source for run in runs]),
        credit=listed([run.credit for run in runs]),
        # The age of the whole is that of its oldest part.
        issued_at=None if None in issued else min(i for i in issued if i is not None),
        fetched_at=min(fetched, default=None),
        members=tuple(f"{run.source}/{member}" for run in runs for member in run.members),
        feed_of=tuple(n for n, run in enumerate(runs) for _ in run.members),
        feeds=tuple(run.source for run in runs),
        dropped=tuple(said for run in runs for said in run.dropped),
        **columns,
    )


def _own_starts(run: Weather) -> Floats:
    """Where a step would begin for its middle to stay where it is when the run stands alone."""
    return (run.starts + run.ends) / 2 - run.whole_hours * 1800.0


def _laid(run: Weather, name: str, row: Index, seconds: Floats) -> Floats:
    values: Floats = getattr(run, name)
    if name == "rain_mm":
        values = values / (run.ends - run.starts)
    laid = np.where(row >= 0, values[:, row], np.nan)
    return laid * seconds if name == "rain_mm" else laid
