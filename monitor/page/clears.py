"""Three things that end a stop, kept apart: the rain, work at height, and power.

The monitor says the first. People declare the others, and the page says who did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from monitor.domain import Show
from monitor.page.work import place_name
from monitor.units import to_moment

if TYPE_CHECKING:
    from monitor.planning.rain_over import Spell
    from monitor.service.declared import Stands


@dataclass(frozen=True, slots=True)
class Opened:
    """A declaration that stands, or the last one and what ended it."""

    place: str | None
    """None: the whole site"""
    at: datetime
    by: str
    ended_by: Literal["stop", "rain"] | None
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class Clears:
    """How the three stand."""

    rain_since: datetime | None
    """It rains on gear since then"""
    rain_over_at: datetime | None
    stopped: bool
    """The whole site stands under a stop"""
    height: tuple[Opened, ...]
    power: tuple[Opened, ...]


def clears(
    spells: Sequence[Spell], declared: Sequence[Stands], show: Show, *, stopped: bool
) -> Clears:
    """From the spells of rain and the declarations, both oldest first."""
    last = spells[-1] if spells else None
    over_s = None if last is None else last.over_s
    return Clears(
        rain_since=None if last is None or over_s is not None else to_moment(last.from_s),
        rain_over_at=None if over_s is None else to_moment(over_s),
        stopped=stopped,
        height=_of("height", declared, show),
        power=_of("power", declared, show),
    )


def _of(
    what: Literal["height", "power"], declared: Sequence[Stands], show: Show
) -> tuple[Opened, ...]:
    """Those that stand, the last word on each place; where none does, the last that ended."""
    mine = [one for one in declared if one.declared.what == what]
    latest = {one.declared.position: one for one in mine}
    shown = [one for one in latest.values() if one.stands] or mine[-1:]
    return tuple(
        Opened(
            None if one.declared.position is None else place_name(show, one.declared.position),
            one.declared.at,
            one.declared.by,
            one.ended_by,
            one.ended_at,
        )
        for one in shown
    )
