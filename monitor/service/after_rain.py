"""After the rain: that it is over, said once for each spell, and what to look at first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.alerts import cautions
from monitor.alerts.clock import SiteClock, utc_stamp
from monitor.alerts.show_times import next_morning
from monitor.alerts.words import listed
from monitor.domain import Alert, Facts
from monitor.exposure.assess import assess
from monitor.planning.inspection import queue
from monitor.planning.rain_over import DRY_AHEAD_S, Spell, followed
from monitor.service.sky import Sky
from monitor.service.telling import tell
from monitor.service.tested_words import FIRST_WET_KEY, first_wet
from monitor.show import rig_through_time
from monitor.store.history import log_entries, recall, remember
from monitor.store.records import from_json, to_json
from monitor.units import to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import LogEntry, Message, Show, Weather
    from monitor.evaluation import Evaluation
    from monitor.exposure.results import Exposure
    from monitor.exposure.rig import Rig
    from monitor.planning.inspection import Inspect
    from monitor.show import ShowFolder

SPELLS_KEY = "rain/spells"
NAME = "rain-over"

OPENS_NOTHING = (
    "Rain over is not work at height again and not power again: people on site declare each of "
    "those (dryspell declare)."
)
_HEAD = 5
"""So many of the queue are named in the message."""


def rain_over(
    db: Database,
    rig: Rig,
    found: Evaluation,
    log: Sequence[LogEntry],
    now: datetime,
) -> list[Message]:
    """One step of the rain's spells, in the caller's transaction; the message where one is over.

    Parameters
    ----------
    rig : as evaluated
    found : this evaluation
    log : entries known now
    """
    show, now_s = rig.show, to_epoch(now)
    before = rain_spells(db)
    after = followed(before, found.past, found.ahead, found.plan.known_until_s, now_s, show.policy)
    if after != before:
        remember(db, SPELLS_KEY, after)
    _note_first_wet(db, rig, found.past)
    if not after or after[-1].over_s != now_s or after[-1] in before:
        return []
    waiting = queue(rig, found.past, log, now)
    alert = _alert(show, after[-1], waiting, now)
    return [tell(db, show, alert, alert.reason, now)]


def rain_spells(db: Database) -> tuple[Spell, ...]:
    """The spells of rain that wetted something, oldest first; the last may still run."""
    kept: Any = recall(db, SPELLS_KEY)
    return tuple(from_json(Spell, to_json(spell)) for spell in kept or ())


@dataclass(frozen=True, slots=True)
class Waiting:
    """What wants looking at, in order, and how far the weather behind it is known."""

    queue: tuple[Inspect, ...]
    weather_known: bool = True
    """False: gear is out and no weather of that time is known, so rain put nothing on it"""
    unknown_hours: float = 0.0
    """Of the time since, so long no rain was known for some of the gear [h]"""


def waiting_now(
    db: Database, folder: ShowFolder, environ: Mapping[str, str], now: datetime
) -> Waiting:
    """What wants looking at now, from a show's history."""
    rig, log, weather = until(db, folder, environ, now)
    load_in = folder.show.event.load_in_at
    if weather is None:
        out = now > load_in or any(entry.entry == "put-out" for entry in log)
        return Waiting(queue(rig, None, log, now), weather_known=not out)
    past = assess(rig, weather, log, out_from_s=to_epoch(load_in))
    unknown = float(past.unknown_hours.max(initial=0.0))
    return Waiting(queue(rig, past, log, now), unknown_hours=unknown)


def until(
    db: Database, folder: ShowFolder, environ: Mapping[str, str], now: datetime
) -> tuple[Rig, tuple[LogEntry, ...], Weather | None]:
    """The rig with its history, the log and the weather until now; None where none is known."""
    show = folder.show
    rig = rig_through_time(db, folder, environ, now)
    log = tuple(entry for entry in log_entries(db) if entry.at <= now)
    sky = Sky()
    sky.catch_up(db, show, now)
    weather = sky.past(show, log, now)
    return rig, log, weather if weather is not None and len(weather.starts) else None


def _note_first_wet(db: Database, rig: Rig, past: Exposure | None) -> None:
    if past is None:
        return
    wet = np.asarray((past.wetting_mm > 0.0).any(axis=0))
    starts = past.steps.weather.starts
    begun = {g: float(starts[wet[:, g].argmax()]) for g in range(wet.shape[1]) if wet[:, g].any()}
    fixtures = zip(rig.show.fixtures, past.group_of.tolist(), strict=True)
    found = {fixture.id: begun[g] for fixture, g in fixtures if g in begun}
    if found != first_wet(db):
        remember(db, FIRST_WET_KEY, found)


def _alert(show: Show, spell: Spell, waiting: Sequence[Inspect], now: datetime) -> Alert:
    clock = SiteClock(show.site.timezone, now)
    until = clock.at(to_moment(to_epoch(now) + DRY_AHEAD_S))
    since = clock.at(to_moment(spell.from_s))
    reason = (
        "This opens neither work at height nor power: people declare those. No rain now, and "
        f"none at risk before {until}"
    )
    return Alert(
        id=f"{NAME}-{utc_stamp(to_moment(spell.from_s))}",
        kind="weather",
        stage="stood-down",
        action=None,
        position=None,
        fixtures=tuple(item.fixture for item in waiting[:_HEAD]),
        count=sum(item.count for item in waiting),
        people=0,
        minutes=None,
        isolate_at=None,
        start_by=None,
        do_by=None,
        members=0,
        probability=None,
        at=now,
        reason=reason,
        cautions=(cautions.WET_AND_LIVE, cautions.THREE_THINGS, cautions.HEIGHT),
        facts=Facts(
            site_name=show.site.name,
            timezone=show.site.timezone.key,
            position_name=show.site.name,
            next_word_at=next_morning(show, now),
            extra=(
                f"Rain reached gear from {since} on",
                OPENS_NOTHING,
                *first_to_inspect(show, waiting),
            ),
        ),
    )


def first_to_inspect(show: Show, waiting: Sequence[Inspect]) -> tuple[str, ...]:
    """The head of the queue in sentences."""
    if not waiting:
        return ("Nothing stands in the inspection queue on these figures: look all the same",)
    head = [
        f"{item.fixture} at {show.positions[item.position].name} ({', '.join(item.why)})"
        for item in waiting[:_HEAD]
    ]
    more = len(waiting) - len(head)
    rest = f", and {more} more: dryspell inspect lists them" if more else ""
    return (f"To inspect, in this order: {listed(tuple(head), _HEAD)}{rest}",)
