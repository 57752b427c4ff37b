"""What is dark without a part: everything it feeds, through whatever stands between. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from monitor.domain import Fixture, Show

_NAMED = 4
"""So many places are named; what hangs at more is counted."""


@dataclass(frozen=True, slots=True)
class Dark:
    """What is lost with one part."""

    part: Fixture
    fixtures: tuple[Fixture, ...]
    """Everything that dies with it, itself not counted"""
    places: tuple[tuple[str, int], ...]
    """Ids of the positions where that hangs and how many pieces, most first"""

    @property
    def pieces(self) -> int:
        """How many fixtures that is."""
        return sum(number for _, number in self.places)


@dataclass(frozen=True, slots=True)
class Feeding:
    """Which part feeds what, and where it hangs."""

    fed: Mapping[str, tuple[Fixture, ...]] = field(default_factory=dict)
    """By part, what names it in fed_by"""
    where: Mapping[str, str] = field(default_factory=dict)
    """By id, the position of a fixture that is out"""
    names: Mapping[str, str] = field(default_factory=dict)
    """Names of the positions"""

    @classmethod
    def of(cls, show: Show, where: Mapping[str, str] | None = None) -> Feeding:
        """The feeding of a show.

        Parameters
        ----------
        show : its rows say by fed_by what they die with
        where : by id, where each fixture hangs that is out; None: all are, at their position
        """
        fed: dict[str, list[Fixture]] = {}
        for fixture in show.fixtures:
            if fixture.fed_by is not None:
                fed.setdefault(fixture.fed_by, []).append(fixture)
        hung = {f.id: f.position for f in show.fixtures} if where is None else where
        names = {p.id: p.name or p.id for p in show.positions.values()}
        return cls({part: tuple(rows) for part, rows in fed.items()}, hung, names)

    def dark(self, part: Fixture, apart: Iterable[str] = ()) -> Dark | None:
        """What is lost with a part; None where nothing is. A ring is cut where it closes.

        Parameters
        ----------
        part : a row of the show
        apart : ids that are not counted, as those of the same job
        """
        left_out = {part.id, *apart}
        seen, found, waiting = {part.id}, [], [part.id]
        while waiting:
            for fixture in self.fed.get(waiting.pop(), ()):
                if fixture.id not in seen:
                    seen.add(fixture.id)
                    waiting.append(fixture.id)
                    if fixture.id in self.where and fixture.id not in left_out:
                        found.append(fixture)
        if not found:
            return None
        places: dict[str, int] = {}
        for fixture in found:
            at = self.where[fixture.id]
            places[at] = places.get(at, 0) + fixture.count
        most = sorted(places.items(), key=lambda one: -one[1])
        return Dark(part, tuple(found), tuple(most))

    def every(self, parts: Iterable[Fixture]) -> tuple[Dark, ...]:
        """What is lost with each of some parts, those that cost most first."""
        lost = (self.dark(part) for part in parts if part.id in self.fed)
        return tuple(sorted((one for one in lost if one is not None), key=lambda d: -d.pieces))

    def says(self, fixtures: Iterable[Fixture]) -> tuple[str, ...]:
        """What is dark without the parts among some fixtures, a sentence for each.

        What is among them itself is not counted: it is spoken of anyway.
        """
        rows = tuple(fixtures)
        own = [fixture.id for fixture in rows]
        lost = (self.dark(fixture, own) for fixture in rows if fixture.id in self.fed)
        return tuple(self._sentence(one) for one in lost if one is not None)

    def _sentence(self, lost: Dark) -> str:
        are = "1 fixture" if lost.pieces == 1 else f"{lost.pieces} fixtures"
        is_ = "is" if lost.pieces == 1 else "are"
        if len(lost.places) == 1:
            return f"{are} at {self._name(lost.places[0][0])} {is_} dark without {lost.part.id}."
        return f"{are} {is_} dark without {lost.part.id}: {self.at_places(lost)}."

    def at_places(self, lost: Dark) -> str:
        """As in "15 at Downstage truss, 10 at Upstage truss and 14 elsewhere"."""
        named = lost.places if len(lost.places) <= _NAMED else lost.places[: _NAMED - 1]
        said = [f"{number} at {self._name(at)}" for at, number in named]
        rest = lost.pieces - sum(number for _, number in named)
        said += [f"{rest} elsewhere"] if rest else []
        return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"

    def _name(self, position: str) -> str:
        return self.names.get(position, position)
