"""The gear as it stands: covered, isolated, wet, used up, and the covers that are left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from monitor.alerts.words import listed, one_line, sentence, speed
from monitor.briefing.sheet import Section, bounded
from monitor.exposure.wind import gust_at
from monitor.planning.inspection import LEAST_SHOWN, Inspect, percent, queue
from monitor.planning.under_power import in_part
from monitor.units import SECONDS_PER_MINUTE, to_moment

if TYPE_CHECKING:
    from monitor.briefing.known import Known
    from monitor.domain import LogEntry
    from monitor.planning.covers_on import CoverOn

NO_PAST = "Not known: there is no weather since the gear went out."
HALF = 0.5


# ---------------------------------------------------------------- covered


def covered(known: Known, most: int) -> Section:
    """What is covered: since when, by whom, with what, and which gust it holds to."""
    lines = [_cover_line(known, on) for on in known.covers]
    for position in dict.fromkeys(on.position for on in known.covers):
        said = known.found.plan.cover_notices.get(position, ())
        lines += [f"{known.place(position)}: {sentence(line)}" for line in said]
    nothing = ("Nothing is logged as covered.",)
    return Section("covered", "Covered", bounded(lines, most, "in the log") or nothing)


def _cover_line(known: Known, on: CoverOn) -> str:
    cover = known.show.covers.get(on.cover)
    name = on.cover if cover is None else one_line(cover.name) or on.cover
    said = f"{known.place(on.position)}: {on.count} under {name} since {known.clock.at(on.since)}"
    said += f", by {one_line(on.by)}" if on.by else ", by whom is not logged"
    limit = None if cover is None else cover.gust_limit_mps
    said += f"; holds to a gust of {speed(limit)}" if limit is not None else "; no gust limit given"
    longest = None if cover is None else cover.minutes_on_max
    if longest is not None and known.now > on.since:
        minutes = (known.now - on.since).total_seconds() / SECONDS_PER_MINUTE
        said += f"; over its {longest / 60:g} h" if minutes > longest else ""
    over = _gust_over(known, on.position, limit)
    said += f", and a gust over that comes {over}" if over else ""
    if _counts_as_off(known, on):
        said += "; a gust has passed that since: counts as off, look at it"
    return f"{said}."


def _gust_over(known: Known, position_id: str, limit: float | None) -> str | None:
    """When a gust at the position's height is forecast to pass a cover's limit."""
    if limit is None:
        return None
    position, seen = known.show.positions[position_id], known.outlook
    terrain = position.terrain or known.show.site.terrain
    over = np.flatnonzero(gust_at(seen.gust_mps, position.height_m, terrain) > limit)
    return known.clock.at(to_moment(seen.starts[over[0]])) if len(over) else None


def _counts_as_off(known: Known, on: CoverOn) -> bool:
    groups = {int(known.found.ahead.group_of[known.rig.index_of[i]]) for i in on.fixtures}
    return not groups & known.present.covered


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


def isolated_now(known: Known) -> list[Isolated]:
    """By the log: the latest word on the power of each fixture, drawn together by position."""
    words: dict[str, LogEntry] = {}
    at: dict[str, list[str]] = {}
    for fixture, g in zip(known.show.fixtures, known.found.ahead.group_of.tolist(), strict=True):
        at.setdefault(known.present.where.get(g, fixture.position), []).append(fixture.id)
    for entry in known.log:
        if entry.entry not in ("isolated", "energised"):
            continue
        for fixture_id in [entry.fixture] if entry.fixture else at.get(entry.position or "", ()):
            words[fixture_id] = entry
    cut = []
    for entry in dict.fromkeys(words.values()):
        if entry.entry == "isolated":
            near = () if entry.fixture else at.get(entry.position or "", ())
            live = tuple(i for i in near if words[i].entry == "energised")
            part = entry.count if in_part(entry) else None
            cut.append(Isolated(known.place_of(entry), entry.at, entry.by, live, part))
    return sorted(cut, key=lambda one: (one.at, one.what))


def isolated(known: Known, most: int) -> Section:
    """What is isolated, since when and by whom."""
    lines = [_isolated_line(known, one) for one in isolated_now(known)]
    nothing = ("Nothing is logged as isolated: take everything as live.",)
    return Section("isolated", "Isolated", bounded(lines, most, "in the log") or nothing)


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
    return [item for item in _queue(known) if item.seen_wet or item.used >= 1.0]


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
        said += ", seen wet" if any(item.seen_wet for item in items) else ""
        lines.append(f"{said}.")
    shown = bounded(lines, most, "places, in the inspection list")
    nothing = ("Nothing is over its allowance or logged as wet.",)
    return Section("wet", "Wet, not yet found dry", (*_unsure(known), *(shown or nothing)))


def inspection(known: Known, most: int) -> Section:
    """The head of the inspection list."""
    items = [item for item in _queue(known) if item.needed]
    lines = [
        f"{item.fixture}, {known.place(item.position)}: {one_line(item.what)}; "
        f"{'; '.join(item.why[:2])}."
        for item in items
    ]
    shown = bounded(lines, most, "in the inspection list")
    nothing = ("Nothing waits for an inspection.",)
    return Section("inspection", "Inspect first", (*_unsure(known), *(shown or nothing)))


def _queue(known: Known) -> tuple[Inspect, ...]:
    return queue(known.rig, known.found.past, known.log, known.now)


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


def used_by_place(known: Known) -> list[UsedAt]:
    """Every place where something may be used up by rain, worst first."""
    at: dict[str, list[tuple[float, str, int]]] = {}
    present = known.present
    for fixture, g in zip(known.show.fixtures, known.found.ahead.group_of.tolist(), strict=True):
        if g in present.out and g in present.rain_alerts:
            row = (float(present.used[g]), fixture.id, fixture.count)
            at.setdefault(present.where[g], []).append(row)
    found = []
    for position, rows in at.items():
        most, worst, _ = max(rows, key=lambda row: row[0])
        over = sum(count for so_far, _, count in rows if so_far >= 1.0)
        in_all = sum(count for _, _, count in rows)
        found.append(UsedAt(known.place(position), worst, most, over, in_all))
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
    dry = [one.place for one in places if one.used < LEAST_SHOWN]
    if not places:
        lines.append("Nothing that is out is used up by rain.")
    elif dry:
        lines.append(f"Nothing yet: {listed(tuple(dry), 5)}.")
    heads = ("Place", "Used", "Worst", "Over")
    return Section("used", title, (*_unsure(known), *lines), heads if rows else (), rows)


def share(used: float) -> str:
    """`43 %`, `8.8 times`; rounded down, so that what is short of all never reads as all."""
    if used < 1.0:
        return f"{percent(used)} %"
    return f"{math.floor(used * 10 + 1e-9) / 10:.1f} times"


# ---------------------------------------------------------------- the store of covers


class Stock(NamedTuple):
    """One kind of cover."""

    name: str
    wanted: int
    """By the jobs that are ahead"""
    left: int
    on: int


def stock(known: Known) -> list[Stock]:
    """Every kind of cover of the show: how many are on, left and wanted."""
    on: dict[str, int] = {}
    for cover_on in known.covers:
        on[cover_on.cover] = on.get(cover_on.cover, 0) + cover_on.count
    wanted: dict[str, int] = {}
    for job in known.found.plan.jobs:
        if job.action != "cover" or job.not_needed:
            continue
        for fixture_id in job.fixtures:
            fixture = known.show.fixtures[known.rig.index_of[fixture_id]]
            if fixture.cover is not None:
                wanted[fixture.cover] = wanted.get(fixture.cover, 0) + fixture.count
    for cover, (at_once, _) in known.found.plan.covers_short.items():
        wanted[cover] = max(at_once, wanted.get(cover, 0))
    return [
        Stock(
            one_line(cover.name) or key,
            wanted.get(key, 0),
            cover.in_stock - on.get(key, 0),
            on.get(key, 0),
        )
        for key, cover in known.show.covers.items()
    ]


def covers_left(known: Known) -> Section:
    """Covers left in stock, in one line."""
    found = stock(known)
    said = "; ".join(f"{one.left} {one.name}" for one in found if one.left > 0)
    out = [one.name for one in found if one.left <= 0]
    lines = [f"{said}."] if said else []
    lines += [f"None left: {', '.join(out)}."] if out else []
    lines += [_more_on(one) for one in found if one.left < 0]
    nothing = ("The show folder names no covers.",)
    return Section("stock", "Covers left in stock", tuple(lines) or nothing)


def covers_wanted(known: Known, most: int) -> Section:
    """Covers wanted by the jobs ahead against what is left."""
    title = "Covers wanted against stock"
    found = sorted((one for one in stock(known) if one.wanted), key=lambda o: o.left - o.wanted)
    rows = tuple((o.name, f"{o.wanted}", f"{max(o.left, 0)}", _short(o)) for o in found[:most])
    lines = [_more_on(one) for one in stock(known) if one.left < 0]
    rest = len(found) - len(rows)
    lines += ["And 1 kind more, enough of it."] if rest == 1 else []
    lines += [f"And {rest} kinds more, enough of each."] if rest > 1 else []
    if known.found.plan.blind:
        lines.append("Not all is known: the forecast has gaps or ends early.")
    elif not found:
        lines.append("None wanted on this forecast.")
    heads = ("Cover", "Wanted", "Left", "Short")
    return Section("covers", title, tuple(lines), heads if rows else (), rows)


def _short(one: Stock) -> str:
    missing = one.wanted - max(one.left, 0)
    return f"{missing}" if missing > 0 else ""


def _more_on(one: Stock) -> str:
    return f"{one.name}: {one.on} are logged on, {one.on + one.left} are in the show folder."


def pieces(items: Sequence[Inspect]) -> int:
    """How many pieces of gear that is."""
    return int(np.sum([item.count for item in items], dtype=int))
