"""The log as a track per fixture: where it was, covered or not, from when to when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.domain import LogEntry
from monitor.exposure.rig import Chain, Kind, Place, Rig, place_of
from monitor.units import to_epoch


class Segment(NamedTuple):
    """A span in which nothing about the fixture changes. It is out during a segment."""

    start_s: float
    end_s: float
    position: str
    place: Place
    covered_since_s: float | None
    """When the cover that is on was last logged on; None: no cover"""
    connector_open: bool

    @property
    def covered(self) -> bool:
        """Whether a cover was logged on."""
        return self.covered_since_s is not None


@dataclass(frozen=True, slots=True)
class Track:
    """Everything the log says about one exposure."""

    segments: tuple[Segment, ...]
    dry_inspections: tuple[float, ...] = ()
    cleanings: tuple[float, ...] = ()
    out_of_service_s: float | None = None
    """From an inspection that found water inside, until one finds it dry."""
    notes: tuple[str, ...] = ()


class Group(NamedTuple):
    """A kind with one track: the unit everything is computed for."""

    kind: Kind
    track: Track

    @property
    def connector_open(self) -> bool:
        """As the log leaves it."""
        last = self.track.segments[-1:]
        return last[0].connector_open if last else self.kind.connector_open

    @property
    def chain(self) -> Chain:
        """Standing, damp and dust as the log leaves them."""
        return self.kind.chain(connector_open=self.connector_open)


_WHERE_IT_IS = ("put-out", "brought-in", "covered", "uncovered", "moved")
_FOR_THE_BETTER = ("covered", "brought-in", "capped", "cleaned", "moved")
"""Entries that count only when all of a row is done; the rest count from the first piece."""


def _part_only(entry: LogEntry) -> bool:
    if entry.count is None or entry.count[0] >= entry.count[1]:
        return False
    return entry.entry in _FOR_THE_BETTER or entry.result == "dry"


class _Walk:
    """The log walked once for one exposure; `fixture_id` None: entries for positions only."""

    def __init__(self, kind: Kind, fixture_id: str | None, rig: Rig) -> None:
        self._kind, self._fixture_id, self._rig = kind, fixture_id, rig
        self._position, self._place = kind.position, kind.place
        self._covered_since: float | None = None
        self._connector_open = kind.connector_open
        self._out_since: float | None = None
        self._segments: list[Segment] = []
        self._dry: list[float] = []
        self._cleaned: list[float] = []
        self._notes: list[str] = []
        self._wet_inside: float | None = None

    def _concerns(self, entry: LogEntry) -> bool:
        if entry.fixture is not None:
            return entry.fixture == self._fixture_id
        return entry.position == self._position

    def track(self, log: Sequence[LogEntry], out_from_s: float) -> Track:
        placed = next(
            (e for e in log if self._concerns(e) and e.entry in _WHERE_IT_IS), None
        )  # what is covered or brought in with no put-out before it was out from load-in
        if placed is None or placed.entry != "put-out":
            self._out_since = out_from_s
        for entry in log:
            if self._concerns(entry):
                self._take(entry, to_epoch(entry.at))
        self._close(np.inf)
        return Track(
            tuple(self._segments),
            tuple(self._dry),
            tuple(self._cleaned),
            self._wet_inside,
            tuple(dict.fromkeys(self._notes)),
        )

    def _close(self, at: float) -> None:
        """End the span that runs, because something about it changes."""
        if self._out_since is None:
            return
        if at > self._out_since:
            self._segments.append(
                Segment(
                    self._out_since,
                    at,
                    self._position,
                    self._place,
                    self._covered_since,
                    self._connector_open,
                )
            )
        self._out_since = max(at, self._out_since)

    def _take(self, entry: LogEntry, at: float) -> None:
        if _part_only(entry):
            self._notes.append(f"{entry.entry} in part only: counts as not done")
            return
        if entry.entry == "put-out":
            self._out_since = at if self._out_since is None else self._out_since
        elif entry.entry == "brought-in":
            self._close(at)
            self._out_since = self._covered_since = None
        elif entry.entry in ("covered", "uncovered"):
            self._cover(at, on=entry.entry == "covered")
        elif entry.entry in ("capped", "uncapped"):
            self._close(at)
            self._connector_open = entry.entry == "uncapped"
        elif entry.entry == "moved" and entry.to is not None:
            self._close(at)
            self._position = entry.to
            self._place = place_of(self._rig.show.positions[entry.to], self._rig.show)
            self._covered_since = None
        elif entry.entry == "cleaned":
            self._cleaned.append(at)
        elif entry.entry == "inspected":
            self._inspect(entry, at)
        elif entry.entry == "wet":
            self._notes.append("reported wet")

    def _cover(self, at: float, *, on: bool) -> None:
        if on and self._kind.cover is None:
            self._notes.append("logged covered, but no cover is named for it: counted as uncovered")
            return
        self._close(at)
        self._covered_since = at if on else None

    def _inspect(self, entry: LogEntry, at: float) -> None:
        if entry.result == "dry":
            self._dry.append(at)
            self._wet_inside = None
        elif entry.result == "water-inside":
            self._wet_inside = at
            self._notes.append("water inside: keep it isolated and out of service")
        elif entry.result is not None:
            result = entry.result.replace("-", " ")
            self._notes.append(f"inspected, {result}: used stays as it was")


def groups_of(
    rig: Rig, log: Sequence[LogEntry], out_from_s: float
) -> tuple[tuple[Group, ...], NDArray[np.intp]]:
    """Distinct exposures under a log, and which one each fixture has.

    Parameters
    ----------
    rig : compiled show
    log : entries in any order
    out_from_s : when fixtures with no put-out entry went out

    Returns
    -------
    groups : one per kind, and one more per fixture the log names on its own
    group_of : (fixture,) index into groups

    Notes
    -----
    Costs by kinds and log entries, not by fixtures.
    """
    ordered = sorted(log, key=lambda e: e.at)
    groups = [Group(kind, _Walk(kind, None, rig).track(ordered, out_from_s)) for kind in rig.kinds]
    group_of = rig.kind_of.copy()
    named = dict.fromkeys(e.fixture for e in ordered if e.fixture in rig.index_of)
    seen: dict[Group, int] = {}
    for fixture_id in named:
        assert fixture_id is not None
        i = rig.index_of[fixture_id]
        kind = rig.kinds[rig.kind_of[i]]
        group = Group(kind, _Walk(kind, fixture_id, rig).track(ordered, out_from_s))
        at = seen.setdefault(group, len(groups))
        if at == len(groups):
            groups.append(group)
        group_of[i] = at
    return tuple(groups), group_of
