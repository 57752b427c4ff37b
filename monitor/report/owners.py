"""Whose fixtures took what: one row an owner, for the company that let them out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.alerts.words import one_line
from monitor.report.findings import BANDS, DOES, ORDERS, Band, Do, id_ranges

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.domain import Fixture
    from monitor.report.findings import Line
    from monitor.report.material import Material

NOT_SAID = "owner not said"


@dataclass(frozen=True, slots=True)
class Owner:
    """What one owner's fixtures took, and what they want now."""

    name: str
    count: int
    bands: dict[Band, int]
    worst_used: float
    """Most allowances that one of them took"""
    worst: str
    """Its id"""
    duties: tuple[tuple[str, int, str], ...]
    """(what to do, fixtures, ids), the most urgent first"""


def owners(material: Material, lines: Sequence[Line]) -> tuple[Owner, ...]:
    """Every owner by name, those that are not said last; nothing where no row names one."""
    if not any(named(f) for f in material.show.fixtures):
        return ()
    order = {f.id: n for n, f in enumerate(material.show.fixtures)}
    mine: dict[str, list[tuple[Line, Fixture]]] = {}
    for line in lines:
        for fixture in line.fixtures:
            mine.setdefault(named(fixture), []).append((line, fixture))
    return tuple(
        _owner(name or NOT_SAID, mine[name], order)
        for name in sorted(mine, key=lambda name: (not name, name.casefold()))
    )


def named(fixture: Fixture) -> str:
    """The owner as typed, without what could hide or turn letters."""
    return one_line(fixture.owner or "")


def _owner(name: str, theirs: Sequence[tuple[Line, Fixture]], order: dict[str, int]) -> Owner:
    bands: dict[Band, int] = {}
    for line, fixture in theirs:
        bands[line.band] = bands.get(line.band, 0) + fixture.count
    worst_line, worst = max(theirs, key=lambda pair: pair[0].used_total)
    return Owner(
        name,
        sum(fixture.count for _, fixture in theirs),
        {band: bands[band] for band in BANDS if band in bands},
        worst_line.used_total,
        worst.id,
        tuple(_duties(theirs, order)),
    )


def _duties(
    theirs: Sequence[tuple[Line, Fixture]], order: dict[str, int]
) -> list[tuple[str, int, str]]:
    wanted: dict[Do, list[Fixture]] = {do: [] for do in DOES if do != "none"}
    for line, fixture in theirs:
        for care in line.cares:
            if care.do != "none":
                wanted[care.do].append(fixture)
    found = []
    for do, fixtures in wanted.items():
        if fixtures:
            said, left = id_ranges(sorted((f.id for f in fixtures), key=order.__getitem__))
            ids = ", ".join(said) + (f" and {left} more" if left else "")
            found.append((ORDERS[do], sum(f.count for f in fixtures), ids))
    return found
