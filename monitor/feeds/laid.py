"""Steps of several runs laid over each other on one line of time. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.domain import WEATHER_VALUES
from monitor.units import to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Bools, Floats, Weather

Index = NDArray[np.intp]


class Table(NamedTuple):
    """Steps of many runs in one table (row,), cut to a span."""

    starts: Floats
    ends: Floats
    run: Index
    """Which run a row is of"""
    step: Index
    """Which step of that run"""


class Turn(NamedTuple):
    """What decides which of two rows has the last word (row,)."""

    came: Floats
    """When its run was known here [s]"""
    ends: Floats
    """Of its step as issued [s]"""
    rain: Floats
    """1 where it knows the rain, else 0"""


class Owners(NamedTuple):
    """Which row of a table is believed in every spot between two edges; -1 none."""

    all: Index
    """(owner, spot) everything below, as one array that the others look into"""
    names: tuple[str, ...]
    """(feed,)"""

    @classmethod
    def none(cls, feeds: tuple[str, ...], spots: int) -> Owners:
        """Nobody is believed yet."""
        rows = 2 + len(WEATHER_VALUES) + len(feeds)
        return cls(np.full((rows, spots), -1, dtype=np.intp), feeds)

    @property
    def measured(self) -> Index:
        """(spot,) the best measurement, whatever it knows"""
        return np.asarray(self.all[0])

    @property
    def floor(self) -> Index:
        """(spot,) who tells of rain without its amount"""
        return np.asarray(self.all[1])

    @property
    def values(self) -> Index:
        """(variable, spot) the best measurement that knows the value"""
        return self.all[2 : 2 + len(WEATHER_VALUES)]

    @property
    def feeds(self) -> Index:
        """(feed, spot) the last word of each feed"""
        return self.all[2 + len(WEATHER_VALUES) :]

    def believe_what_was_measured(self, lifted: Bools) -> None:
        """Forget who is not needed: a floor under measured rain, feeds where all is measured.

        Parameters
        ----------
        lifted : (row of the table,) whose measured rain a floor lifts all the same
        """
        rain = self.values[0]
        self.floor[(rain >= 0) & ~lifted[rain]] = -1
        self.feeds[:, (self.values >= 0).all(axis=0)] = -1

    def take(self, index: Index) -> Owners:
        """Those of some spots."""
        return Owners(self.all[:, index], self.names)


def table(runs: Sequence[Weather], wanted: Sequence[Bools], start_s: float, end_s: float) -> Table:
    """The wanted steps of every run, cut to [start, end)."""
    found = [np.flatnonzero(w) for w in wanted]
    none = np.zeros(0)
    starts = [run.starts[i] for run, i in zip(runs, found, strict=True)]
    ends = [run.ends[i] for run, i in zip(runs, found, strict=True)]
    counts = [len(i) for i in found]
    return Table(
        np.maximum(np.concatenate([none, *starts]), start_s),
        np.minimum(np.concatenate([none, *ends]), end_s),
        np.repeat(np.arange(len(runs)), counts).astype(np.intp),
        np.concatenate([none, *found]).astype(np.intp),
    )


def known_at(run: Weather) -> float:
    """When a run was known here; one that does not say was known all along [s]."""
    moment = run.fetched_at or run.issued_at
    return -np.inf if moment is None else to_epoch(moment)


def lay(owner: Index, order: Index, rows: Table, edges: Floats) -> None:
    """Write each row's number over the spots it covers; a later one covers an earlier."""
    first = np.searchsorted(edges, rows.starts[order])
    count = np.searchsorted(edges, rows.ends[order]) - first
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    owner[np.repeat(first, count) + within] = np.repeat(order, count)


def lay_in_turn(owner: Index, order: Index, rows: Table, edges: Floats, of: Turn) -> None:
    """As `lay`, but a step that had begun when it came leaves alone what was over by then.

    It says one thing of all its length, however much of that was past: of the part that an
    earlier step had told and ended, the earlier one has had the last word.
    """
    begun = np.flatnonzero(rows.starts[order] < of.came[order])
    lay(owner, order[: begun[0]] if len(begun) else order, rows, edges)
    for at, following in zip(begun, [*begun[1:], len(order)], strict=False):
        row = order[at]
        first, last = np.searchsorted(edges, (rows.starts[row], rows.ends[row]))
        there = owner[first:last]
        over = (there >= 0) & (of.ends[there] < of.came[row]) & (of.rain[there] >= of.rain[row])
        owner[first:last] = np.where(over, there, row)
        lay(owner, order[at + 1 : following], rows, edges)


def merged(owners: Index, edges: Floats) -> tuple[Index, Floats, Floats]:
    """Spots joined again where they are of the same steps; those of none are left out."""
    if not owners.shape[1]:
        return np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0)
    changes = np.any(owners[:, 1:] != owners[:, :-1], axis=0)
    first = np.concatenate([[0], np.flatnonzero(changes) + 1])
    last = np.concatenate([first[1:], [owners.shape[1]]])
    some = (owners[:, first] >= 0).any(axis=0)
    return first[some], edges[first[some]], edges[last[some]]


def listed(names: Sequence[str]) -> str:
    """Names in one line, each once."""
    return "; ".join(dict.fromkeys(name for name in names if name))
