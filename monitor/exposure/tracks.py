"""The log as a track per fixture: where it was, covered or not, from when to when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.domain import LogEntry
from monitor.exposure.rig import Kind, Place, Rig, place_of
from monitor.units import to_epoch


class Segment(NamedTuple):
    """A span in which nothing about the fixture changes. It is out during a segment."""

    start_s: float
    end_s: float
    position: str
    place: Place
    covered: bool
    connector_open: bool


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


def _all_of(entry: LogEntry) -> bool:
    return entry.count is None or entry.count[0] >= entry.count[1]


def _track(
    kind: Kind, fixture_id: str | None, rig: Rig, log: Sequence[LogEntry], out_from_s: float
) -> Track:
    """Walk the log once for one exposure; `fixture_id` None: entries for positions only."""
    position, place = kind.position, kind.place
    covered, connector_open = False, kind.connector_open
    segments: list[Segment] = []
    dry: list[float] = []
    cleaned: list[float] = []
    notes: list[str] = []
    wet_inside: float | None = None

    def concerns(entry: LogEntry, position: str) -> bool:
        if entry.fixture is not None:
            return entry.fixture == fixture_id
        return entry.position == position

    put_out_logged = False
    where = position
    for entry in log:  # a put-out anywhere on the track means load-in does not count
        if concerns(entry, where):
            put_out_logged |= entry.entry == "put-out"
            where = entry.to or where if entry.entry == "moved" else where
    out_since: float | None = None if put_out_logged else out_from_s

    def close(at: float) -> None:
        nonlocal out_since
        if out_since is not None and at > out_since:
            segments.append(Segment(out_since, at, position, place, covered, connector_open))
        if out_since is not None:
            out_since = max(at, out_since)

    for entry in log:
        if not concerns(entry, position):
            continue
        at = to_epoch(entry.at)
        close(at)
        if entry.entry == "put-out":
            out_since = at if out_since is None else out_since
        elif entry.entry == "brought-in" and _all_of(entry):
            out_since, covered = None, False
        elif entry.entry == "covered":
            if not _all_of(entry):
                notes.append("part covered counts as uncovered")
            elif kind.cover is None:
                notes.append("logged covered, but no cover is named for it: counted as uncovered")
            else:
                covered = True
        elif entry.entry == "uncovered":
            covered = False
        elif entry.entry in ("capped", "uncapped"):
            connector_open = entry.entry == "uncapped"
        elif entry.entry == "moved" and entry.to is not None:
            position = entry.to
            place = place_of(rig.show.positions[position], rig.show)
            covered = False
        elif entry.entry == "cleaned":
            cleaned.append(at)
        elif entry.entry == "inspected":
            if entry.result == "dry":
                dry.append(at)
                wet_inside = None
            elif entry.result == "water-inside":
                wet_inside = at
                notes.append("water inside: keep it isolated and out of service")
            elif entry.result in ("damp", "not-tested"):
                notes.append(f"inspected, {entry.result.replace('-', ' ')}: used stays as it was")
        elif entry.entry == "wet":
            notes.append("reported wet")
    close(np.inf)
    return Track(
        tuple(segments), tuple(dry), tuple(cleaned), wet_inside, tuple(dict.fromkeys(notes))
    )


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
    groups = [Group(kind, _track(kind, None, rig, ordered, out_from_s)) for kind in rig.kinds]
    group_of = rig.kind_of.copy()
    named = dict.fromkeys(e.fixture for e in ordered if e.fixture in rig.index_of)
    seen: dict[Group, int] = {}
    for fixture_id in named:
        assert fixture_id is not None
        i = rig.index_of[fixture_id]
        kind = rig.kinds[rig.kind_of[i]]
        group = Group(kind, _track(kind, fixture_id, rig, ordered, out_from_s))
        at = seen.setdefault(group, len(groups))
        if at == len(groups):
            groups.append(group)
        group_of[i] = at
    return tuple(groups), group_of
