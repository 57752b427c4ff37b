"""The rig at this moment: who is out, where, covered, and how much of each is used."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from monitor.domain import Cover, Fixture
from monitor.exposure.results import Carried, Exposure
from monitor.exposure.rig import Place, Rig
from monitor.exposure.tracks import Segment
from monitor.exposure.washing import jets_beyond


@dataclass(frozen=True, slots=True)
class RowOn:
    """One row of fixtures under its cover."""

    fixture: Fixture
    group: int
    cover: Cover
    since_s: float
    position: str
    place: Place


class Present:
    """Groups as the log leaves them at a moment.

    What was logged since the last step counted takes hold at once: the sums in `so_far` learn
    of it only with the next step.
    """

    def __init__(self, ahead: Exposure, so_far: Carried, now_s: float) -> None:
        self.now_s = now_s
        self.out: set[int] = set()
        self.covered: set[int] = set()
        self.blown: set[int] = set()
        """Logged covered, and the wind has taken the cover off since."""
        self.segment: dict[int, Segment] = {}
        self.where: dict[int, str] = {}
        self.inspected: set[int] = set()
        self.cleaned: set[int] = set()
        """Found dry, or cleaned, since the last step counted."""
        self.used = so_far.used.max(axis=0)
        for g, group in enumerate(ahead.groups):
            track = group.track
            for segment in track.segments:
                if not segment.start_s <= now_s < segment.end_s:
                    continue
                self.out.add(g)
                self.where[g] = segment.position
                self.segment[g] = segment
                since = segment.covered_since_s
                blown = bool(so_far.blown[g]) and since is not None and since < so_far.until_s
                if segment.covered:
                    (self.blown if blown else self.covered).add(g)
            if g not in self.where:
                last = track.segments[-1:]
                self.where[g] = last[0].position if last else group.kind.position
            if any(so_far.until_s <= at <= now_s for at in track.dry_inspections):
                self.inspected.add(g)
                self.used[g] = 0.0
            if any(so_far.until_s <= at <= now_s for at in track.cleanings):
                self.cleaned.add(g)
        self.rain_alerts = {
            g for g in self.out if _rain_alerts(ahead, g, now_s) or self._other_water(ahead, g)
        }

    def _other_water(self, ahead: Exposure, g: int) -> bool:
        """Whether a puddle may reach it, or jets come by the clock that its code never met."""
        segment, in_service = self.segment[g], ahead.groups[g].track.out_of_service_s is None
        kind = segment.kind
        codes = kind.codes(connector_open=segment.connector_open)
        dip = segment.place.dip
        if in_service and dip is not None and dip.reached:
            return True
        return in_service and jets_beyond(segment.place.washed, codes, kind.condition)

    def rows_on(self, groups: Iterable[int], rows: Mapping[int, Sequence[Fixture]]) -> list[RowOn]:
        """What is covered of some groups, row by row; what the wind has bared is not."""
        found: list[RowOn] = []
        for g in groups:
            if g not in self.covered:
                continue
            segment = self.segment[g]
            cover, since = segment.kind.cover, segment.covered_since_s
            if cover is not None and since is not None:
                found += [
                    RowOn(f, g, cover, since, segment.position, segment.place)
                    for f in rows.get(g, ())
                ]
        return found


def _rain_alerts(ahead: Exposure, g: int, now_s: float) -> bool:
    """Only indoor and temporary gear is covered for rain, and what its maker set a limit."""
    group = ahead.groups[g]
    limited = group.kind.stated_mm is not None or group.kind.wet_hours_limit is not None
    short = group.chain_at(now_s).standing in ("indoor", "temporary") or limited
    return short and group.track.out_of_service_s is None


def rows_by_group(rig: Rig, ahead: Exposure) -> dict[int, list[Fixture]]:
    """Rows of fixtures.csv by group."""
    by_group: dict[int, list[Fixture]] = {}
    for fixture, group in zip(rig.show.fixtures, ahead.group_of.tolist(), strict=True):
        by_group.setdefault(group, []).append(fixture)
    return by_group
