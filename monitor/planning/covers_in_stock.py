"""Which position gets covers from the stock, and why another does not.

No cover is promised twice. Out of stock count the covers that are on, and those that belong to
a position though they are not: blown off, or on part of a row.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isnan

from monitor.domain import Cover, Fixture, Show
from monitor.planning.covers_at_once import AtOnce, Wanted, at_once


@dataclass(frozen=True, slots=True)
class Allotment:
    """What a position gets for one job."""

    covers: tuple[tuple[str, int], ...] = ()
    """Names and numbers, most numerous first; empty: it is not covered"""
    not_covered_because: str | None = None
    """None where it is covered, and where no cover was named for any of it"""
    only_short: bool = False
    """More covers are all it would take"""

    @property
    def covered(self) -> bool:
        """Whether every fixture gets one."""
        return bool(self.covers)


class CoversInStock:
    """The stock as one plan hands it out.

    Parameters
    ----------
    show : its covers
    on : fixtures whose cover is on
    beside : by position and cover, how many are there without protecting a whole row
    """

    def __init__(
        self,
        show: Show,
        on: Iterable[Fixture],
        beside: Mapping[tuple[str, str], int] | None = None,
    ) -> None:
        self._covers = show.covers
        self._on = counted(on)
        self._beside = dict(beside or {})
        self._promised: dict[str, int] = {}
        self._wanted: dict[str, int] = {}
        self._timed: list[Wanted] = []

    def left(self, cover_id: str, position: str) -> int:
        """How many of a cover a position could still have."""
        elsewhere = sum(
            n for (at, c), n in self._beside.items() if c == cover_id and at != position
        )
        gone = self._on.get(cover_id, 0) + self._promised.get(cover_id, 0) + elsewhere
        return max(0, self._covers[cover_id].in_stock - gone)

    def offer(self, position: str, fixtures: Sequence[Fixture], peak_gust: float) -> Allotment:
        """What a position could have now, or why it could not. Nothing is promised yet.

        Parameters
        ----------
        position : id of the place
        fixtures : that need a cover
        peak_gust : greatest gust there while the covers would be on; NaN: not known, which
            is not below any limit [m/s]

        Notes
        -----
        Exposure model section 9: cover where every fixture has one in stock that the gusts stay
        below, else none.
        """
        wanted = counted(fixtures)
        if not wanted:
            return Allotment()
        unnamed = sum(f.count for f in fixtures if f.cover is None)
        why = [f"no cover named for {unnamed} of them"] if unnamed else []
        for cover_id in wanted:
            limit = self._covers[cover_id].gust_limit_mps
            if limit is not None and not peak_gust < limit:
                name = crew_name(self._covers[cover_id])
                blows = "gusts not known" if isnan(peak_gust) else f"gusts to {peak_gust:.3g} m/s"
                why.append(f"{blows}, {name} stands {limit:g}")
        only_short = not why
        for cover_id, number in wanted.items():
            left = self.left(cover_id, position)
            if left < number:
                why.append(f"{how_many(left, self._covers[cover_id])} left, {number} wanted")
        if why:
            return Allotment((), "; ".join(why), only_short)
        return Allotment(self._told(wanted))

    def settle(
        self,
        position: str,
        fixtures: Sequence[Fixture],
        offered: Allotment,
        while_s: tuple[float, float] | None = None,
    ) -> Allotment:
        """Promise to fixtures, all or some, what was offered; or note that it was short.

        Whoever settles first gets them. `while_s` is from when they must be on and until when;
        None: no rain that is known asks for them.
        """
        if not offered.covered and not offered.only_short:
            return offered
        for cover_id, number in counted(fixtures).items():
            if while_s is not None:
                self._timed.append(Wanted(position, cover_id, number, *while_s, offered.covered))
            self._wanted[cover_id] = self._wanted.get(cover_id, 0) + number
            if offered.covered:
                self._promised[cover_id] = self._promised.get(cover_id, 0) + number
                self._beside.pop((position, cover_id), None)
        return Allotment(self._told(counted(fixtures))) if offered.covered else offered

    def _told(self, wanted: Mapping[str, int]) -> tuple[tuple[str, int], ...]:
        most = sorted(wanted.items(), key=lambda one: -one[1])
        return tuple((self._covers[cover_id].name, number) for cover_id, number in most)

    def frailest(self, fixtures: Iterable[Fixture]) -> Cover | None:
        """The cover among theirs that stands the least wind."""

        def stands(cover_id: str) -> float:
            limit = self._covers[cover_id].gust_limit_mps
            return float("inf") if limit is None else limit

        weakest = min(counted(fixtures), key=stands, default=None)
        return None if weakest is None else self._covers[weakest]

    def at_once(self, apart: Collection[str] = ()) -> dict[str, AtOnce]:
        """Of each cover that rain asks for, how many the plan needs at one moment.

        `apart`: positions where the crew has said that it is not needed.
        """
        taken, timed = dict(self._on), [w for w in self._timed if w.position not in apart]
        wanting = {(one.position, one.cover) for one in timed}
        for key, number in self._beside.items():
            if key not in wanting:
                taken[key[1]] = taken.get(key[1], 0) + number
        return at_once(timed, taken, self._covers)

    def short(self) -> dict[str, tuple[int, int]]:
        """Covers that are short: how many the jobs want that gusts and names let have them, and
        how many are not on.
        """
        there = {c: max(0, self._covers[c].in_stock - self._on.get(c, 0)) for c in self._wanted}
        return {c: (n, there[c]) for c, n in self._wanted.items() if n > there[c]}


def counted(fixtures: Iterable[Fixture]) -> dict[str, int]:
    """How many of each cover fixtures take."""
    found: dict[str, int] = {}
    for fixture in fixtures:
        if fixture.cover is not None:
            found[fixture.cover] = found.get(fixture.cover, 0) + fixture.count
    return found


def crew_name(cover: Cover) -> str:
    """A cover inside a sentence: "rain hood"."""
    first, rest = cover.name[:1], cover.name[1:]
    return cover.name if rest[:1].isupper() else first.lower() + rest


def how_many(number: int, cover: Cover) -> str:
    """As in "4 hoods"; names that are no plain words are left as they are: "4 of Bag, large"."""
    name = crew_name(cover)
    if not name.replace(" ", "").replace("-", "").isalpha():
        return f"{number} of {cover.name}"
    if number == 1:
        return f"1 {name}"
    return f"{number} {name}" if name.endswith("s") else f"{number} {name}s"
