"""The rig as the page shows it: position by position, made once of what an evaluation saw.

Two thousand fixtures are walked here, once in a minute, so that no request has to.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from monitor.briefing.access import closed_spans
from monitor.briefing.known import Known
from monitor.domain import Fixture, Position
from monitor.exposure.tracks import Group
from monitor.page.power import Power
from monitor.planning.chance import Reach, do_by_s
from monitor.planning.covers_on import on_part_of_a_row
from monitor.planning.dark import Dark
from monitor.planning.workable import Span
from monitor.units import to_moment

if TYPE_CHECKING:
    from monitor.service.seen import Seen
    from monitor.store.history import StoredEntry


@dataclass(frozen=True, slots=True)
class Row:
    """One row of fixtures.csv as it stands."""

    fixture: Fixture
    position: str
    """Where it hangs, or hung last"""
    group: int
    out: bool
    used: float | None
    """Share of its allowance; None: no rain counts against it, or nothing is known"""
    limited: bool
    """Whether it has an allowance that rain uses"""
    crosses_at: datetime | None
    """When its allowance is spent, at the risk the show takes; None: not on this forecast"""
    cover: str | None
    """Name of the cover that is on"""
    covered_at: datetime | None
    blown: bool
    """Logged covered, and the wind counts as having taken the cover off since"""
    wet_inside: bool
    isolated_at: datetime | None
    energised_at: datetime | None

    @property
    def count(self) -> int:
        """Pieces."""
        return self.fixture.count

    @property
    def is_live_spent(self) -> bool:
        """Whether it is to be taken as wet and live: spent, and not logged as isolated."""
        return self.out and (self.used or 0.0) >= 1.0 and self.isolated_at is None


@dataclass(frozen=True, slots=True)
class Place:
    """One position."""

    position: Position
    rows: tuple[Row, ...]
    """Most used first"""
    pieces: int
    out: int
    """Pieces that are out"""
    used: float | None
    """Of the row that used most; None: as of a row"""
    limited: bool
    """Whether rain uses the allowance of any that is out"""
    crosses_at: datetime | None
    """The first of its rows"""
    covered: int
    covered_at: datetime | None
    """Since when so many are"""
    covers: tuple[str, ...]
    """Names of those that are on"""
    in_part: int
    """Covers logged on a part of a row, which counts as uncovered"""
    blown: int
    isolated: int
    isolated_at: datetime | None
    energised: int
    live_spent: int
    """Past their allowance, and nothing in the log says that they are isolated"""
    wet_inside: int
    blocked: Span | None
    closes: Span | None
    """What closes it next"""
    loose: int = 0
    """Pieces whose connector counts as open because it is load-in"""
    lost: tuple[Dark, ...] = ()
    """What is dark without which part that hangs here"""
    fed_from: tuple[tuple[Row, int], ...] = ()
    """Parts that hang elsewhere, and how many pieces here are dark without each"""

    @property
    def id(self) -> str:
        """As the show folder has it."""
        return self.position.id


@dataclass(frozen=True, slots=True, eq=False)
class RigNow:
    """Every position of the show, those that use most first."""

    places: tuple[Place, ...]
    by_id: Mapping[str, Place]
    known: Known

    @property
    def at(self) -> datetime:
        """The moment it is of."""
        return self.known.now


def known_of(seen: Seen) -> Known:
    """What an evaluation saw, as the sheets' sums take it."""
    log = tuple(entry for entry in seen.log if entry.at <= seen.at)
    return Known(seen.rig, seen.at, seen.found, log, closed=seen.closed)


def rig_now(seen: Seen) -> RigNow:
    """The rig of one evaluation."""
    known = known_of(seen)
    rows = _rows(known)
    by_place: dict[str, list[Row]] = {position: [] for position in known.show.positions}
    for row in rows:
        by_place.setdefault(row.position, []).append(row)
    parts = _in_part(known, rows)
    lost, fed_from = _dark(known, rows)
    places = [
        replace(
            _place(known, known.show.positions[place], there, parts.get(place, 0)),
            lost=tuple(lost.get(place, ())),
            fed_from=tuple(fed_from.get(place, ())),
        )
        for place, there in by_place.items()
        if there and place in known.show.positions
    ]
    places.sort(key=lambda p: (-(p.used or 0.0), _when(p.crosses_at), p.position.name))
    return RigNow(tuple(places), {place.id: place for place in places}, known)


def _rows(known: Known) -> list[Row]:
    present, ahead = known.present, known.found.ahead
    crosses = _crossings(known)
    limited = _limited(known)
    power = Power.of(known.log)
    found = []
    for fixture, g in zip(known.show.fixtures, ahead.group_of.tolist(), strict=True):
        segment, track = present.segment.get(g), ahead.groups[g].track
        since_s = None if segment is None else segment.covered_since_s
        cover = None if segment is None or since_s is None else segment.kind.cover
        isolated_at, energised_at = power.of_fixture(fixture.id, present.where[g])
        found.append(
            Row(
                fixture,
                present.where[g],
                g,
                g in present.out,
                float(present.used[g]) if limited[g] and known.past_known else None,
                limited[g],
                crosses.get(g),
                None if cover is None else cover.name,
                None if cover is None or since_s is None else to_moment(since_s),
                g in present.blown,
                track.out_of_service_s is not None and track.out_of_service_s <= known.now_s,
                isolated_at,
                energised_at,
            )
        )
    return found


def _crossings(known: Known) -> dict[int, datetime]:
    """By group, when its allowance is spent at the risk the show takes."""
    ahead, risk = known.found.ahead, known.show.policy.risk
    steps = ahead.steps
    weather = steps.weather
    reach = Reach.of(weather.starts, weather.ends, ~steps.unknown, weather.feed_of)
    found = {}
    for g in known.present.out:
        at = do_by_s(ahead.next_spent_s[:, g], weather.weights, risk, reach)
        if math.isfinite(at):
            found[g] = to_moment(at)
    return found


def _limited(known: Known) -> list[bool]:
    """Which groups have an allowance that rain uses."""
    policy = known.show.policy

    def counts(group: Group) -> bool:
        is_open = group.open_at(known.now_s)
        return any(
            group.kind.allowance_mm(part, policy, connector_open=is_open) is not None
            for part in group.kind.codes(connector_open=is_open)
        )

    return [counts(group) for group in known.found.ahead.groups]


def _in_part(known: Known, rows: Iterable[Row]) -> dict[str, int]:
    bare = [(row.fixture, row.position) for row in rows if row.out and row.cover is None]
    found: dict[str, int] = {}
    for (place, _), count in on_part_of_a_row(known.log, bare, known.now).items():
        found[place] = found.get(place, 0) + count
    return found


def _dark(
    known: Known, rows: Iterable[Row]
) -> tuple[dict[str, list[Dark]], dict[str, list[tuple[Row, int]]]]:
    """By position: what is lost with each part there, and which parts elsewhere it dies with.

    A part that is brought in feeds nothing any more.
    """
    out = {row.fixture.id: row for row in rows if row.out}
    here: dict[str, list[Dark]] = {}
    elsewhere: dict[str, list[tuple[Row, int]]] = {}
    for lost in known.found.plan.feeding.every(row.fixture for row in out.values()):
        part = out[lost.part.id]
        here.setdefault(part.position, []).append(lost)
        for place, pieces in lost.places:
            if place != part.position:
                elsewhere.setdefault(place, []).append((part, pieces))
    return here, elsewhere


def _place(known: Known, position: Position, rows: list[Row], in_part: int) -> Place:
    rows.sort(key=lambda r: (not r.out, -(r.used or 0.0), _when(r.crosses_at), r.fixture.id))
    out = [row for row in rows if row.out]
    on = [row for row in out if row.cover is not None and not row.blown]
    isolated = [row for row in out if row.isolated_at is not None]
    spans = () if position.access == "none" else closed_spans(known, position.id)
    return Place(
        position=position,
        rows=tuple(rows),
        pieces=_pieces(rows),
        out=_pieces(out),
        used=max((row.used for row in out if row.used is not None), default=None),
        limited=any(row.limited for row in out),
        crosses_at=min((row.crosses_at for row in out if row.crosses_at), default=None),
        covered=_pieces(on),
        covered_at=max((row.covered_at for row in on if row.covered_at), default=None),
        covers=tuple(dict.fromkeys(row.cover for row in on if row.cover is not None)),
        in_part=in_part,
        blown=_pieces(row for row in out if row.blown),
        isolated=_pieces(isolated),
        isolated_at=max((row.isolated_at for row in isolated if row.isolated_at), default=None),
        energised=_pieces(row for row in out if row.energised_at is not None),
        live_spent=_pieces(row for row in out if row.is_live_spent),
        wet_inside=_pieces(row for row in rows if row.wet_inside),
        blocked=known.found.plan.blocked.get(position.id),
        loose=_pieces(row for row in out if _is_loose(known, row)),
        closes=next((span for span in spans if span.start_s > known.now_s), None),
    )


def _is_loose(known: Known, row: Row) -> bool:
    rigged, group = known.show.event.load_in_ends_at, known.found.ahead.groups[row.group]
    if rigged is None or known.now >= rigged or group.kind.connector_open:
        return False
    return group.kind.loose_at_load_in and group.open_at(known.now_s)


def _pieces(rows: Iterable[Row]) -> int:
    return sum(row.count for row in rows)


def _when(moment: datetime | None) -> float:
    return math.inf if moment is None else moment.timestamp()


def logged_at(place: Place, log: Iterable[StoredEntry]) -> list[StoredEntry]:
    """What stands in the log of it and of what hangs there, newest first."""
    ids = {row.fixture.id for row in place.rows}
    mine = [
        stored
        for stored in log
        if stored.replaced_by is None
        and stored.withdraws is None
        and (place.id in (stored.entry.position, stored.entry.to) or stored.entry.fixture in ids)
    ]
    return sorted(mine, key=lambda stored: (stored.entry.at, stored.id), reverse=True)
