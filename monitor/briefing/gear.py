"""The gear as it stands: isolated, wet, and used up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from monitor.alerts.words import listed, one_line
from monitor.briefing.sheet import Section, bounded
from monitor.planning.inspection import LEAST_SHOWN, Inspect, percent
from monitor.planning.under_power import in_part, power_words

if TYPE_CHECKING:
    from monitor.briefing.known import Known
    from monitor.domain import Fixture

NO_PAST = "Not known: there is no weather since the gear went out."
HALF = 0.5


# ---------------------------------------------------------------- isolated


class Isolated(NamedTuple):
    """One place, or one fixture, whose power was logged as cut and not as put on again."""

    what: str
    at: datetime
    by: str | None
    live: tuple[str, ...] = ()
    """Fixtures there that were logged as on again since"""
    part: tuple[int, int] | None = None
    """(3, 15): some of them only"""
    position: str | None = None


def isolated_now(known: Known) -> list[Isolated]:
    """By the log: the latest word on the power of each fixture, drawn together by position."""
    where = {
        fixture.id: known.present.where.get(g, fixture.position)
        for fixture, g in zip(known.show.fixtures, known.found.ahead.group_of.tolist(), strict=True)
    }
    at: dict[str, list[str]] = {}
    for fixture_id, position in where.items():
        at.setdefault(position, []).append(fixture_id)
    words = power_words(known.log, where)
    cut = []
    for entry in dict.fromkeys(words.values()):
        if entry.entry == "isolated":
            near = () if entry.fixture else at.get(entry.position or "", ())
            live = tuple(i for i in near if words[i].entry == "energised")
            part = entry.count if in_part(entry) else None
            here = where.get(entry.fixture) if entry.fixture else entry.position
            cut.append(Isolated(known.place_of(entry), entry.at, entry.by, live, part, here))
    return sorted(cut, key=lambda one: (one.at, one.what))


def isolated(known: Known, most: int) -> Section:
    """What is isolated, since when and by whom."""
    found = isolated_now(known)
    shown = found if len(found) <= most else found[: most - 1]
    lines = [_isolated_line(known, one) for one in shown]
    rest = [one.what for one in found[len(shown) :]]
    lines += [f"And {len(rest)} more: {'; '.join(rest)}."] if rest else []
    nothing = ("Nothing is logged as isolated: take everything as live.",)
    return Section("isolated", "Isolated", tuple(lines) or nothing)


def _isolated_line(known: Known, one: Isolated) -> str:
    said = one.what if one.part is None else f"{one.what}: {one.part[0]} of {one.part[1]} only"
    said += f": since {known.clock.at(one.at)}"
    said += f", by {one_line(one.by)}" if one.by else ", by whom is not logged"
    if one.part is not None:
        said += ", take all as live"
    if one.live:
        said += f"; on again: {listed(one.live, 4)}"
    return f"{said}."


# ---------------------------------------------------------------- wet, and what to inspect


def wet_now(known: Known) -> list[Inspect]:
    """What is over its allowance or was seen wet, and no inspection has found dry since."""
    return [item for item in known.to_inspect if item.seen_wet or item.used >= 1.0]


def wet(known: Known, most: int) -> Section:
    """What is wet and waits for an inspection, by place, worst first."""
    at: dict[str, list[Inspect]] = {}
    for item in wet_now(known):
        at.setdefault(item.position, []).append(item)
    lines = []
    for position, items in at.items():
        pieces = sum(item.count for item in items)
        used = max(item.used for item in items)
        said = f"{known.place(position)}: {pieces} ({listed(tuple(i.fixture for i in items), 3)})"
        of = "" if used >= 1.0 else "of "
        said += f", used {share(used)} {of}its allowance" if used >= HALF else ""
        inside = tuple(item.fixture for item in items if item.water_inside)
        if inside:
            which = "" if len(inside) == len(items) else f" in {listed(inside, 3)}"
            said += f", water inside{which}: keep isolated"
        elif any(item.seen_wet for item in items):
            said += ", reported wet or found damp"
        lines.append(f"{said}.")
    shown = bounded(lines, most, "places, in the inspection list")
    dry = "Nothing is over its allowance or logged as wet."
    nothing = (dry if known.past_known else "Nothing is logged as wet.",)
    return Section("wet", "Wet, not yet found dry", (*_unsure(known), *(shown or nothing)))


def inspection(known: Known, most: int) -> Section:
    """The head of the inspection list."""
    items = [item for item in known.to_inspect if item.needed]
    alike = [list(same) for _, same in groupby(items, lambda i: (i.position, i.what, i.why))]
    shown = alike if len(alike) <= most else alike[: most - 1]
    lines = [
        f"{listed(tuple(i.fixture for i in same), 3)}, {known.place(same[0].position)}: "
        f"{one_line(same[0].what)}; {'; '.join(same[0].why[:2])}."
        for same in shown
    ]
    rest = pieces(items) - sum(pieces(same) for same in shown)
    lines += [f"And {rest} more in the inspection list."] if rest else []
    waits = "Nothing waits for an inspection."
    nothing = (waits if known.past_known else "Nothing that is logged asks for one.",)
    return Section("inspection", "Inspect first", (*_unsure(known), *(lines or nothing)))


def _unsure(known: Known) -> tuple[str, ...]:
    """What keeps the use of the allowance from being known."""
    if not known.past_known:
        return (f"{NO_PAST} Only what people logged is listed.",)
    past = known.found.past
    hours = 0.0 if past is None else float(past.unknown_hours.max(initial=0.0))
    if hours < 0.05:
        return ()
    return (f"At least: for {hours:.0f} h no rain was known." if hours >= 1 else _SOME_UNKNOWN,)


_SOME_UNKNOWN = "At least: for some minutes no rain was known."


# ---------------------------------------------------------------- used so far


class UsedAt(NamedTuple):
    """How far the worst fixture of a place is through its allowance."""

    place: str
    fixture: str
    used: float
    over: int
    """Fixtures there that are over their allowance"""
    pieces: int
    """Fixtures there that rain can use up"""
    inside: tuple[str, ...] = ()
    """Those that were found with water inside"""


def used_by_place(known: Known) -> list[UsedAt]:
    """Every place where something may be used up by rain, worst first."""
    at: dict[str, list[tuple[float, Fixture]]] = {}
    inside: dict[str, list[str]] = {}
    present, groups = known.present, known.found.ahead.groups
    for fixture, g in zip(known.show.fixtures, known.found.ahead.group_of.tolist(), strict=True):
        if g not in present.out:
            continue
        # What holds water is not worked on any more; that it was used up is told all the same.
        has_water = groups[g].track.out_of_service_s is not None
        if g in present.rain_alerts or has_water:
            at.setdefault(present.where[g], []).append((float(present.used[g]), fixture))
        if has_water:
            inside.setdefault(present.where[g], []).append(fixture.id)
    found = []
    for position, rows in at.items():
        most, worst = max(rows, key=lambda row: row[0])
        over = sum(fixture.count for so_far, fixture in rows if so_far >= 1.0)
        in_all = sum(fixture.count for _, fixture in rows)
        wet = tuple(inside.get(position, ()))
        found.append(UsedAt(known.place(position), worst.id, most, over, in_all, wet))
    return sorted(found, key=lambda one: (-one.used, one.place))


def used(known: Known, most: int) -> Section:
    """What was used up so far, per place."""
    title = "Used up so far"
    if not known.past_known:
        return Section("used", title, (NO_PAST,))
    places = used_by_place(known)
    begun = [one for one in places if one.used >= LEAST_SHOWN]
    rows = tuple(
        (one.place, share(one.used), one.fixture, f"{one.over} of {one.pieces}" if one.over else "")
        for one in begun[:most]
    )
    rest = begun[most:]
    lines = [f"And {len(rest)} more places, {share(rest[0].used)} at most."] if rest else []
    wet = [f"{one.place} ({listed(one.inside, 3)})" for one in places if one.inside]
    lines += [f"Water inside, keep isolated: {listed(tuple(wet), 4)}."] if wet else []
    dry = [one.place for one in places if one.used < LEAST_SHOWN and not one.inside]
    if not places:
        lines.append("Nothing that is out is used up by rain.")
    elif dry:
        lines.append(f"Nothing yet: {listed(tuple(dry), 5)}.")
    heads = ("Place", "Used", "Worst", "Over")
    return Section("used", title, (*_unsure(known), *lines), heads if rows else (), rows)


def spent_and_bare(known: Known) -> list[UsedAt]:
    """Places with gear that is over its allowance and stands uncovered: it is not covered again."""
    spared = known.present.covered
    at: dict[str, list[tuple[float, Fixture]]] = {}
    for fixture, g in zip(known.show.fixtures, known.found.ahead.group_of.tolist(), strict=True):
        used_up = float(known.present.used[g])
        if g in known.present.rain_alerts - spared and used_up >= 1.0:
            at.setdefault(known.present.where[g], []).append((used_up, fixture))
    found = []
    for position, rows in at.items():
        most, worst = max(rows, key=lambda row: row[0])
        over = sum(fixture.count for _, fixture in rows)
        found.append(UsedAt(known.place(position), worst.id, most, over, over))
    return sorted(found, key=lambda one: (-one.used, one.place))


def share(used: float) -> str:
    """`43 %`, `8.8 times`; rounded down, so that what is short of all never reads as all."""
    if used < 1.0:
        return f"{percent(used)} %"
    return f"{math.floor(used * 10 + 1e-9) / 10:.1f} times"


def pieces(items: Sequence[Inspect]) -> int:
    """How many pieces of gear that is."""
    return int(np.sum([item.count for item in items], dtype=int))
