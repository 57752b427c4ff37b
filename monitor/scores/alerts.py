"""How good the alerts were: what would have been spent, and who had been told by then. Pure.

A crossing is a fixture that water would have spent with nobody keeping it off, whether it was
kept off in the end or not: an alert that was followed is judged like one that was not. An
order is one life of an alert that asks to keep water off or to cut the power.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE

Verdict = Literal["hit", "missed", "false", "kept-off-before", "not-known", "open"]
VERDICTS: tuple[Verdict, ...] = (
    "hit", "missed", "false", "kept-off-before", "not-known", "open",
)  # fmt: skip
STILL_MEANT_S = 6 * SECONDS_PER_HOUR
"""Rain that comes so long after an order's deadline is still the rain it was about (judgement,
the dry gap that parts two wet spells)."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """One fixture whose allowance the water of one wet spell spends, left bare. Times in s."""

    fixture: str
    position: str
    at_s: float
    spell_s: float
    """Begin of the wet spell"""
    kept_off: bool = False
    """It was covered or indoors when the spell began, and until it would have been spent"""
    setup_min: float = 0.0
    """What reaching its place takes"""
    work_min: float = 0.0
    """What keeping water off it takes once there"""


@dataclass(frozen=True, slots=True)
class Order:
    """One life of an alert, from its first word to its last."""

    alert: str
    position: str
    told_s: Mapping[str, float]
    """Fixture -> when the first message that names it left; those never told of are left out"""
    begin_s: float | None
    """When the first message left that said to begin; None: there was none, or only a notice"""
    ended_s: float
    """When it was stood down, infinite while it stands"""
    due_s: float | None
    minutes: float | None
    """Set-up and work"""
    done: frozenset[str] = frozenset()
    """Fixtures that were logged done"""
    spent: frozenset[str] = frozenset()
    """Fixtures whose allowance was gone before it was raised"""
    fixtures: frozenset[str] = frozenset()
    """Every fixture it names, told of or not"""

    @property
    def meant_until_s(self) -> float:
        """Until when rain counts as the rain it was about."""
        return max(self.ended_s, self.due_s or -math.inf) + STILL_MEANT_S


@dataclass(frozen=True, slots=True)
class Judged:
    """Fixtures at one place that came out alike: a row of the table."""

    verdict: Verdict
    position: str
    fixtures: tuple[str, ...]
    alert: str | None
    at_s: float | None
    """When the first of them would have been spent; None: none would"""
    told_s: float | None
    """When the first message to a person left"""
    given_min: float | None
    """Lead given: from that message until it would have been spent"""
    needed_min: float | None
    """Lead needed: set-up and work"""

    @property
    def enough(self) -> bool | None:
        """Whether the lead was enough; None where there is none to say it of."""
        if self.given_min is None or self.needed_min is None:
            return None
        return self.given_min >= self.needed_min


@dataclass(frozen=True, slots=True)
class AlertScores:
    """Rows in order of time, and how many came out how."""

    rows: tuple[Judged, ...]

    def count(self, verdict: Verdict) -> int:
        """Rows that came out so."""
        return sum(row.verdict == verdict for row in self.rows)

    @property
    def too_short(self) -> int:
        """Hits that were told, and too late for the work."""
        return sum(row.verdict == "hit" and row.enough is False for row in self.rows)

    @property
    def hit_rate(self) -> float | None:
        """Share of the crossings that was told before; None where there was none."""
        hits, missed = self.count("hit"), self.count("missed")
        return hits / (hits + missed) if hits + missed else None

    @property
    def false_ratio(self) -> float | None:
        """Share of the orders judged that nothing came of; None where there was none."""
        hits, false = self.count("hit"), self.count("false")
        return false / (hits + false) if hits + false else None


class _Alike(NamedTuple):
    """What crossings that make one row have in common."""

    verdict: Verdict
    position: str
    spell_s: float
    alert: str | None
    told_s: float | None
    needed_min: float | None


def judge(
    crossings: Sequence[Crossing],
    orders: Sequence[Order],
    until_s: float,
    unknown: Sequence[tuple[float, float]] = (),
) -> AlertScores:
    """Hold every crossing against the orders before it, and every order against what came.

    Parameters
    ----------
    crossings : one a fixture and wet spell
    orders : one a life of an alert
    until_s : what is known of the past ends here
    unknown : spans in which what fell is not known [s]

    Notes
    -----
    A crossing is a hit where an order that named the fixture had left before it, and stood or
    was done; it is missed where none had. Where water was kept off before the spell began and
    no order asked for that, there was nothing to tell, and it is not judged. An order to begin
    is false where nothing it named would have been spent until six hours after its deadline and
    its end, whichever is later; a notice that never became an order is called neither.
    """
    rows: dict[_Alike, list[Crossing]] = {}
    hit_by: set[int] = set()
    for crossing in sorted(crossings, key=lambda c: (c.at_s, c.position, c.fixture)):
        order = _answering(crossing, orders)
        if order is not None:
            hit_by.add(id(order))
            told = min(order.told_s[crossing.fixture], crossing.at_s)
            key = _Alike(
                "hit", crossing.position, crossing.spell_s, order.alert, told, order.minutes
            )
        else:
            verdict: Verdict = "kept-off-before" if crossing.kept_off else "missed"
            key = _Alike(verdict, crossing.position, crossing.spell_s, None, None, None)
        rows.setdefault(key, []).append(crossing)
    found: list[Judged | None] = [_row(key, group) for key, group in rows.items()]
    found += [
        _order_row(order, crossings, until_s, unknown)
        for order in orders
        if id(order) not in hit_by and order.begin_s is not None and not _about_spent(order)
    ]
    kept = [row for row in found if row is not None]
    return AlertScores(tuple(sorted(kept, key=_in_time)))


def _answering(crossing: Crossing, orders: Sequence[Order]) -> Order | None:
    """The order that told first of a crossing, None where nobody was told in time."""
    mine = [
        order
        for order in orders
        if order.told_s.get(crossing.fixture, math.inf) <= crossing.at_s
        and (
            order.ended_s >= crossing.at_s
            or (crossing.fixture in order.done and order.meant_until_s >= crossing.spell_s)
        )
    ]
    return min(mine, key=lambda o: o.told_s[crossing.fixture], default=None)


def _about_spent(order: Order) -> bool:
    """It was about gear that had nothing left to lose: to isolate it is no false alarm."""
    return bool(order.spent)


def _row(key: _Alike, group: Sequence[Crossing]) -> Judged:
    at = group[0].at_s
    given = None if key.told_s is None else (at - key.told_s) / SECONDS_PER_MINUTE
    needed = key.needed_min
    if needed is None and key.verdict != "kept-off-before":
        needed = max(c.setup_min for c in group) + sum(c.work_min for c in group)
    return Judged(
        key.verdict,
        key.position,
        tuple(crossing.fixture for crossing in group),
        key.alert,
        at,
        key.told_s,
        given,
        needed,
    )


def _order_row(
    order: Order,
    crossings: Sequence[Crossing],
    until_s: float,
    unknown: Sequence[tuple[float, float]],
) -> Judged | None:
    """An order that hit nothing: false, open, not known; None where it is counted elsewhere."""
    assert order.begin_s is not None
    begun, end = min(order.told_s.values(), default=order.begin_s), order.meant_until_s
    if any(c.fixture in order.fixtures and begun <= c.at_s <= end for c in crossings):
        return None  # an earlier order told of it, or it came after this one was taken back
    verdict: Verdict = "false"
    if any(start < end and stop > begun for start, stop in unknown):
        verdict = "not-known"
    elif end > until_s:
        verdict = "open"
    return Judged(
        verdict,
        order.position,
        tuple(sorted(order.fixtures)),
        order.alert,
        None,
        begun,
        None,
        order.minutes,
    )


def _in_time(row: Judged) -> tuple[float, str, str]:
    at = row.at_s if row.at_s is not None else row.told_s
    return (math.inf if at is None else at, row.position, row.verdict)
