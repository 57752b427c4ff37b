"""How many of each cover a plan needs at one moment, beside how many there are. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from monitor.domain import Cover


class Wanted(NamedTuple):
    """Covers of one kind that a job wants, from when they must be on until its rain is over."""

    position: str
    cover: str
    number: int
    from_s: float
    until_s: float
    given: bool
    """Whether the stock has them for it"""


@dataclass(frozen=True, slots=True)
class AtOnce:
    """The greatest number of one kind of cover that is needed at one moment."""

    cover: str
    most: int
    """Those that are on already among them"""
    at_s: float
    """The first moment at which so many are needed"""
    stock: int
    on: int
    """Already on, or left at a position without protecting it"""
    without: tuple[Wanted, ...]
    """Jobs that get none, where the stock is short; first the one that wants them first"""

    @property
    def missing(self) -> int:
        """How many too few there are."""
        return max(0, self.most - self.stock)


def at_once(
    wanted: Iterable[Wanted], on: Mapping[str, int], covers: Mapping[str, Cover]
) -> dict[str, AtOnce]:
    """Of every cover that some job wants, the most that are needed at one moment.

    Parameters
    ----------
    wanted : what the jobs of a plan want
    on : by cover, how many are taken already, for as long as the plan looks ahead: nobody is
        told to take them off for another position
    covers : of the show

    Notes
    -----
    What is needed rises only where a job begins to want, so the greatest number stands at one of
    these moments.
    """
    by_cover: dict[str, list[Wanted]] = {}
    for one in wanted:
        by_cover.setdefault(one.cover, []).append(one)
    found = {}
    for cover, wants in by_cover.items():
        taken = on.get(cover, 0)
        most, at_s = 0, 0.0
        for moment in sorted({one.from_s for one in wants}):
            now = sum(w.number for w in wants if w.from_s <= moment < w.until_s)
            if now > most:
                most, at_s = now, moment
        stock = covers[cover].in_stock
        short = taken + most > stock
        denied = [one for one in wants if short and not one.given]
        found[cover] = AtOnce(
            cover, taken + most, at_s, stock, taken, tuple(sorted(denied, key=lambda w: w.from_s))
        )
    return found
