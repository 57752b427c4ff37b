"""Which covers are on, since when, and who put them on: as the log tells it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.domain import Fixture, LogEntry
from monitor.exposure.rig import Rig
from monitor.exposure.tracks import Group, Segment, groups_of
from monitor.units import to_epoch, to_moment


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
        if e.entry == "covered"
        and to_epoch(e.at) == since_s
        and (e.fixture == fixture.id or (e.fixture is None and e.position == position))
    ]
    return mine[-1].by if mine else None
