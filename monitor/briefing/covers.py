"""The covers: which are on, what is to be decided of them, and how many are left."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from monitor.alerts.covers_short import covers_needed, left_without
from monitor.alerts.words import listed, one_line, sentence, speed
from monitor.briefing.gear import spent_and_bare
from monitor.briefing.sheet import Section, bounded
from monitor.exposure.wind import gust_at
from monitor.planning.covers_on import on_part_of_a_row
from monitor.planning.uncover import is_to_decide
from monitor.units import SECONDS_PER_MINUTE, to_moment

if TYPE_CHECKING:
    from monitor.briefing.known import Known
    from monitor.planning.covers_on import CoverOn


# ---------------------------------------------------------------- on


def covered(known: Known, most: int) -> Section:
    """What is covered: since when, by whom, with what, and which gust it holds to.

    What is to be decided comes first, then covers that a gust takes or has taken. What there is
    no room for is counted by place: no cover is left out.
    """
    said = bounded([*notices(known), *_in_part(known)], max(most - 1, 1), "to decide on")
    pressing = [on for on in known.covers if _in_a_gust(known, on)]
    covers = [*pressing, *(on for on in known.covers if on not in pressing)]
    room = max(most - len(said), 1)
    shown = covers if len(covers) <= room else covers[: room - 1]
    lines = [*said, *(_cover_line(known, on) for on in shown)]
    rest: dict[str, int] = {}
    for on in covers[len(shown) :]:
        rest[on.position] = rest.get(on.position, 0) + on.count
    if rest:
        counted = "; ".join(f"{known.place(at)} {number}" for at, number in rest.items())
        lines.append(f"{'And ' if shown else ''}{sum(rest.values())} more: {counted}.")
    nothing = ("Nothing is logged as covered.",)
    return Section("covered", "Covered", tuple(lines) or nothing)


def _in_part(known: Known) -> list[str]:
    """Covers on some of a row only, which protect none of it for sure."""
    return [
        f"{known.place(position)}: {number} under {_name(known, cover)} on part of a row, which "
        "counts as uncovered."
        for (position, cover), number in _on_part(known).items()
    ]


def _on_part(known: Known) -> dict[tuple[str, str], int]:
    """By position and cover, how many are on part of a row."""
    present = known.present
    out = present.out - present.covered - present.blown
    bare = [
        (fixture, present.where[g])
        for fixture, g in zip(known.show.fixtures, known.found.ahead.group_of.tolist(), strict=True)
        if g in out
    ]
    return on_part_of_a_row(known.log, bare, known.now)


def _name(known: Known, cover_id: str) -> str:
    cover = known.show.covers.get(cover_id)
    return cover_id if cover is None else one_line(cover.name) or cover_id


def notices(known: Known) -> list[str]:
    """What is to be decided of covers that are on, as those that rain keeps on at doors."""
    return [
        f"{known.place(position)}: {sentence(line)}"
        for position, said in known.found.plan.cover_notices.items()
        for line in said
        if is_to_decide(line)
    ]


def to_decide(known: Known, most: int) -> Section:
    """Covers on which people decide."""
    shown = bounded(notices(known), most, "on the handover sheet")
    on = sum(one.count for one in known.covers)
    nothing = (f"{on} are on, and nothing is to be decided of them." if on else "No cover is on.",)
    return Section("decide", "Covers that are on", shown or nothing)


def _in_a_gust(known: Known, on: CoverOn) -> bool:
    cover = known.show.covers.get(on.cover)
    limit = None if cover is None else cover.gust_limit_mps
    return _counts_as_off(known, on) or _gust_over(known, on.position, limit) is not None


def _cover_line(known: Known, on: CoverOn) -> str:
    cover = known.show.covers.get(on.cover)
    said = f"{known.place(on.position)}: {on.count} under {_name(known, on.cover)}"
    said += f" since {known.clock.at(on.since)}"
    said += f", by {one_line(on.by)}" if on.by else ", by whom is not logged"
    limit = None if cover is None else cover.gust_limit_mps
    said += f"; holds to a gust of {speed(limit)}" if limit is not None else "; no gust limit given"
    longest = None if cover is None else cover.minutes_on_max
    if longest is not None and known.now > on.since:
        minutes = (known.now - on.since).total_seconds() / SECONDS_PER_MINUTE
        lit = f"; over the {longest / 60:g} h it may have power on"
        said += lit if minutes > longest else ""
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
    for (_, cover_id), number in _on_part(known).items():
        on[cover_id] = on.get(cover_id, 0) + number
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
    for one in known.found.plan.covers_at_once.values():
        if one.missing:
            said = (
                covers_needed(one, known.show, known.clock),
                *left_without(one, known.show, known.clock),
            )
            lines.append(" ".join(sentence(text) for text in said))
    rest = len(found) - len(rows)
    lines += ["And 1 kind more, enough of it."] if rest == 1 else []
    lines += [f"And {rest} kinds more, enough of each."] if rest > 1 else []
    spent = [f"{bare.over} at {bare.place}" for bare in spent_and_bare(known)]
    if spent:
        lines.append(
            f"Spent, and not covered again: {listed(tuple(spent), 4)}. Isolate, dry, inspect."
        )
    if known.found.plan.blind:
        lines.append("Not all is known: the forecast has gaps or ends early.")
    elif not found:
        others = " for what is not spent" if spent else ""
        lines.append(f"None wanted on this forecast{others}.")
    heads = ("Cover", "Wanted", "Left", "Short")
    return Section("covers", title, tuple(lines), heads if rows else (), rows)


def _short(one: Stock) -> str:
    missing = one.wanted - max(one.left, 0)
    return f"{missing}" if missing > 0 else ""


def _more_on(one: Stock) -> str:
    return f"{one.name}: {one.on} are logged on, {one.on + one.left} are in the show folder."
