"""The log as a track per fixture: where it was, covered or not, from when to when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
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
    kind: Kind
    """As the show folder had it then"""

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

    def open_at(self, moment_s: float) -> bool:
        """Whether the connector counts as open at a moment; where it is not out, as at the end."""
        here = (s for s in self.track.segments if s.start_s <= moment_s < s.end_s)
        return next((s.connector_open for s in here), self.connector_open)

    def chain_at(self, moment_s: float) -> Chain:
        """Standing, damp and dust at a moment."""
        return self.kind.chain(connector_open=self.open_at(moment_s))


_WHERE_IT_IS = ("put-out", "brought-in", "covered", "uncovered", "moved")
_FOR_THE_BETTER = ("covered", "brought-in", "capped", "cleaned", "moved")
"""Entries that count only when all of a row is done; the rest count from the first piece."""


def _part_only(entry: LogEntry) -> bool:
    if entry.count is None or entry.count[0] >= entry.count[1]:
        return False
    return entry.entry in _FOR_THE_BETTER or entry.result == "dry"


def _positions(kind: Kind) -> set[str]:
    """Every position that the show folder ever gave it."""
    return {kind.position} | {old.position for _, old in kind.earlier if old is not None}


def _successions(kind: Kind) -> list[tuple[tuple[float, Kind | None], Kind | None]]:
    """Each earlier kind with the one that took over from it."""
    after = [old for _, old in kind.earlier[1:]] + [replace(kind, earlier=())]
    return list(zip(kind.earlier, after, strict=True)) if kind.earlier else []


class _Walk:
    """The log walked once for one exposure; `fixture_id` None: entries for positions only."""

    def __init__(self, kind: Kind, fixture_id: str | None, rig: Rig) -> None:
        self._turns = [(until_s, after) for (until_s, _), after in _successions(kind)]
        first = kind.earlier[0][1] if kind.earlier else kind
        self._there = first is not None
        self._kind, self._fixture_id, self._rig = first or kind, fixture_id, rig
        self._position, self._place = self._kind.position, self._kind.place
        self._covered_since: float | None = None
        rigged = rig.show.event.load_in_ends_at
        self._load_in_ends_s = None if rigged is None else to_epoch(rigged)
        self._logged_open: bool | None = None
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

    @property
    def _connector_open(self) -> bool:
        """As logged last; else as the show folder has it, and open until load-in ends."""
        if self._logged_open is not None:
            return self._logged_open
        loose = self._load_in_ends_s is not None and self._kind.loose_at_load_in
        return self._kind.connector_open or loose

    def _end_load_in(self, until_s: float) -> None:
        """From its end on, connectors are as the show folder has them."""
        ends_s = self._load_in_ends_s
        if ends_s is None or ends_s > until_s:
            return
        if self._connector_open and not (self._logged_open or self._kind.connector_open):
            self._close(ends_s)
        self._load_in_ends_s = None

    def track(self, log: Sequence[LogEntry], out_from_s: float) -> Track:
        placed = next(
            (e for e in log if self._concerns(e) and e.entry in _WHERE_IT_IS), None
        )  # what is covered or brought in with no put-out before it was out from load-in
        unplaced = placed is None or placed.entry != "put-out"
        if unplaced and self._there:
            self._out_since = out_from_s
        for entry in log:
            at = to_epoch(entry.at)
            self._turn(at, unplaced=unplaced, out_from_s=out_from_s)
            if self._there and self._concerns(entry):
                self._take(entry, at)
        self._turn(np.inf, unplaced=unplaced, out_from_s=out_from_s)
        self._close(np.inf)
        return Track(
            tuple(self._segments),
            tuple(self._dry),
            tuple(self._cleaned),
            self._wet_inside,
            tuple(dict.fromkeys(self._notes)),
        )

    def _turn(self, until_s: float, *, unplaced: bool, out_from_s: float) -> None:
        """Take up every revision of the show folder that came into force by a moment."""
        while self._turns and self._turns[0][0] <= until_s:
            at, kind = self._turns.pop(0)
            self._end_load_in(at)
            self._close(at)
            was_there, self._there = self._there, kind is not None
            if kind is None:
                self._out_since = self._covered_since = None
                continue
            if not was_there and unplaced:
                self._out_since = max(at, out_from_s)
            before, self._kind = self._kind, kind
            if not was_there or self._position == before.position:
                self._position, self._place = kind.position, kind.place
            if kind.connector_open != before.connector_open:
                self._logged_open = None
            if kind.cover is None:
                self._covered_since = None
        self._end_load_in(until_s)

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
                    self._kind,
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
            self._logged_open = entry.entry == "uncapped"
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
    Costs by kinds, and by entries that are about them or somebody names; not by fixtures.
    """
    ordered = sorted(log, key=lambda e: e.at)
    moved_to = {e.to for e in ordered if e.entry == "moved"}

    @cache
    def about(places: frozenset[str | None], fixture_id: str | None) -> list[LogEntry]:
        return [
            e for e in ordered if (e.fixture == fixture_id if e.fixture else e.position in places)
        ]

    def group_as(kind: Kind, fixture_id: str | None) -> Group:
        # Hundreds of entries from all over the site, and few of them can be about it.
        places = frozenset((*moved_to, *_positions(kind)))
        walk = _Walk(kind, fixture_id, rig)
        return Group(kind, walk.track(about(places, fixture_id), out_from_s))

    groups = [group_as(kind, None) for kind in rig.kinds]
    group_of = rig.kind_of.copy()
    named = dict.fromkeys(e.fixture for e in ordered if e.fixture in rig.index_of)
    seen: dict[Group, int] = {}
    for fixture_id in named:
        assert fixture_id is not None
        i = rig.index_of[fixture_id]
        kind = rig.kinds[rig.kind_of[i]]
        group = group_as(kind, fixture_id)
        at = seen.setdefault(group, len(groups))
        if at == len(groups):
            groups.append(group)
        group_of[i] = at
    return tuple(groups), group_of
