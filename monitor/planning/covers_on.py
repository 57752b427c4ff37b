"""Which covers are on, since when, and who put them on: as the log tells it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.domain import Fixture, LogEntry
from monitor.exposure.rig import Rig
from monitor.exposure.tracks import Group, Segment, groups_of
from monitor.units import to_epoch, to_moment

_MOVES_COVERS = ("put-out", "covered", "uncovered", "brought-in", "moved")


@dataclass(frozen=True, slots=True)
class CoverOn:
    """Fixtures at one position under one kind of cover since one moment."""

    position: str
    fixtures: tuple[str, ...]
    count: int
    """How many covers that is: rows with a count carry one each."""
    cover: str
    """Id of the cover, as show.toml has it"""
    since: datetime
    by: str | None
    """Who logged it; None: not said"""


def covers_on(
    rig: Rig, log: Sequence[LogEntry], now: datetime, *, out_from_s: float | None = None
) -> tuple[CoverOn, ...]:
    """What stands covered at a moment.

    Parameters
    ----------
    rig : compiled show
    log : entries in any order
    now : aware
    out_from_s : when fixtures without a put-out entry went out; default load-in

    Returns
    -------
    those on longest first

    Notes
    -----
    By the log alone: a cover the wind has taken off since is still in it, since only somebody
    who looks can tell. "3 of 15" counts as uncovered, as everywhere.
    """
    out_from = to_epoch(rig.show.event.load_in_at) if out_from_s is None else out_from_s
    now_s, known = to_epoch(now), [e for e in log if e.at <= now]
    groups, group_of = groups_of(rig, known, out_from)
    found: dict[tuple[str, str, float, str | None], list[Fixture]] = {}
    for fixture, g in zip(rig.show.fixtures, group_of.tolist(), strict=True):
        segment = segment_at(groups[g], now_s)
        if segment is None or segment.covered_since_s is None or segment.kind.cover is None:
            continue
        since_s = segment.covered_since_s
        by = _who(fixture, segment.position, since_s, known)
        key = (segment.position, segment.kind.cover.id, since_s, by)
        found.setdefault(key, []).append(fixture)
    return tuple(
        CoverOn(
            position,
            tuple(f.id for f in fixtures),
            sum(f.count for f in fixtures),
            cover,
            to_moment(since_s),
            by,
        )
        for (position, cover, since_s, by), fixtures in sorted(
            found.items(), key=lambda one: (one[0][2], one[0][0], one[0][1])
        )
    )


def segment_at(group: Group, moment_s: float) -> Segment | None:
    """The span of a track a moment lies in; None: not out then."""
    segments = group.track.segments
    return next((s for s in segments if s.start_s <= moment_s < s.end_s), None)


def _who(fixture: Fixture, position: str, since_s: float, log: Sequence[LogEntry]) -> str | None:
    """Who logged the covering that is still on."""
    mine = [
        e
        for e in log
        if e.entry == "covered" and to_epoch(e.at) == since_s and _concerns(e, fixture, position)
    ]
    return mine[-1].by if mine else None


def on_part_of_a_row(
    log: Sequence[LogEntry], bare: Iterable[tuple[Fixture, str]], now: datetime
) -> dict[tuple[str, str], int]:
    """Covers on some pieces of rows that count as uncovered, by position and cover.

    Parameters
    ----------
    bare : rows that count as uncovered, each with the position it is at

    Notes
    -----
    Of "3 of 15" logged for a whole position no one can tell which: of each kind of cover there
    as many as could be on are taken as on.
    """
    ordered = sorted((e for e in log if e.at <= now and e.entry in _MOVES_COVERS), key=_when)
    found: dict[tuple[str, str], int] = {}
    shared: dict[tuple[LogEntry, str, str], int] = {}
    for fixture, position in bare:
        mine = [e for e in ordered if _concerns(e, fixture, position)]
        if fixture.cover is None or not mine or mine[-1].count is None:
            continue
        last, key = mine[-1], (position, fixture.cover)
        if last.fixture is not None:
            found[key] = found.get(key, 0) + min(_still_on(last), fixture.count)
        else:
            shared[(last, *key)] = shared.get((last, *key), 0) + fixture.count
    for (entry, position, cover), count in shared.items():
        key = (position, cover)
        found[key] = found.get(key, 0) + min(_still_on(entry), count)
    return {key: number for key, number in found.items() if number}


def _when(entry: LogEntry) -> datetime:
    return entry.at


def _concerns(entry: LogEntry, fixture: Fixture, position: str) -> bool:
    if entry.fixture is not None:
        return entry.fixture == fixture.id
    return entry.position == position


def _still_on(entry: LogEntry) -> int:
    """Covers left on by an entry that was for a part."""
    assert entry.count is not None
    done, of = entry.count
    return {"covered": done, "uncovered": max(0, of - done)}.get(entry.entry, 0)
