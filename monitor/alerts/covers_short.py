"""Covers that the plan needs at one moment beside those in stock, in words. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.losses import Found
from monitor.alerts.words import one_line
from monitor.planning.covers_in_stock import how_many
from monitor.units import to_moment

if TYPE_CHECKING:
    from monitor.alerts.clock import SiteClock
    from monitor.domain import Show
    from monitor.planning.covers_at_once import AtOnce

_NAMED = 4
"""So many jobs are named; more are counted."""
_HELP = (
    "What gets none is to be brought in or isolated: more covers by then, or others named in the "
    "show files, would do"
)


def covers_needed(one: AtOnce, show: Show, clock: SiteClock) -> str:
    """As in "8 hoods needed at once, Fri 04:20, and 6 in stock: 2 too few"."""
    wanted = how_many(one.most, show.covers[one.cover])
    said = f"{wanted} needed at once, {clock.at(to_moment(one.at_s))}, and {one.stock} in stock"
    said += f" ({one.on} of them on or out already)" if one.on else ""
    return f"{said}: {one.missing} too few" if one.missing else said


def left_without(one: AtOnce, show: Show, clock: SiteClock) -> tuple[str, ...]:
    """The jobs that get none, with how many they want and by when."""
    said = tuple(
        f"None for {one_line(show.positions[want.position].name)}: {want.number} wanted by "
        f"{clock.at(to_moment(want.from_s))}"
        for want in one.without[:_NAMED]
    )
    rest = one.without[_NAMED:]
    more = sum(want.number for want in rest)
    return (*said, f"None for {len(rest)} more places: {more} wanted") if rest else said


def covers_found(one: AtOnce, show: Show, clock: SiteClock) -> Found | None:
    """What is to be told of one kind of cover; None where there are enough."""
    if not one.missing:
        return None
    return Found(
        "notice", covers_needed(one, show, clock), (*left_without(one, show, clock), _HELP)
    )
