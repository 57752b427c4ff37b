"""The stations on the site: their files followed, their readings kept at hand, their troubles."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.domain import WEATHER_VALUES, BadInputError
from monitor.feeds.crew_rain import crew_rain
from monitor.feeds.followed_csv import LeftOff, follow
from monitor.feeds.gauge import measured
from monitor.feeds.readings import CREW
from monitor.service.watched import place_of
from monitor.store.database import immediate
from monitor.store.history import recall, remember
from monitor.store.readings import add_reading, readings_after
from monitor.store.records import from_json, to_json
from monitor.units import SECONDS_PER_DAY, to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from sqlite_utils import Database

    from monitor.domain import Gauge, Problem, Reading, Show, Weather
    from monitor.feeds.crew_rain import Spell

_AT_ONCE = 16
"""So many pieces of a file are read in one call: a day of one-minute lines and more."""
_TOLD, _SPANS = 3, 12
_SETTLED_DAYS = 8
"""No reading of longer ago is taken in any more (`reading_checks.OLDEST`), and a day on top."""
_CONTEXT_DAYS = 2
"""What stands before a step decides on it: a counter's level, and a day that nothing moved in."""
_UNSETTLED = 20_000
"""So many readings are gone over in about an eighth of a second."""


# ---------------------------------------------------------------- files


def follow_files(db: Database, show: Show, folder: Path, now: datetime) -> list[str]:
    """Take in what was written to the CSV files of the gauges; what there is to say of it."""
    said: list[str] = []
    for gauge in show.gauges:
        if gauge.file is not None:
            said += _follow(db, gauge, folder / gauge.file, show.site.timezone, now)
    return said


def _follow(db: Database, gauge: Gauge, path: Path, zone: ZoneInfo, now: datetime) -> list[str]:
    key = f"gauge-file/{gauge.station}"
    kept: Any = recall(db, key) or {}
    left_off = from_json(LeftOff, to_json(kept["left_off"])) if "left_off" in kept else LeftOff()
    problems: list[Problem] = []
    fault = None
    for _ in range(_AT_ONCE):
        try:
            fresh = follow(path, left_off, gauge.station, zone, now)
        except OSError as refused:
            fault = refused.strerror or type(refused).__name__
            break
        problems += fresh.problems
        if fresh.left_off == left_off:
            break
        # Readings and where reading left off are kept together: nothing is lost or read twice.
        with immediate(db):
            for reading in fresh.readings:
                try:
                    add_reading(db, reading, now)
                except BadInputError as other:
                    problems += [replace(p, file=path.name) for p in other.problems]
            remember(db, key, {"left_off": fresh.left_off, "fault": None})
        left_off = fresh.left_off
        if not fresh.more:
            break
    said = [f"Gauge {gauge.station}: {line}" for line in _in_short(problems)]
    if fault != kept.get("fault"):
        remember(db, key, {"left_off": left_off, "fault": fault})
        if fault is not None:
            said.append(f"Gauge {gauge.station}: {gauge.file} cannot be read: {fault}.")
        else:
            said.append(f"Gauge {gauge.station}: {gauge.file} is read again.")
    return said


def _in_short(problems: Sequence[Problem]) -> list[str]:
    lines = [f"{place_of(p)}{p.says} {p.remedy}" for p in problems[:_TOLD]]
    more = len(problems) - _TOLD
    if more <= 0:
        return lines
    where = _ranges([p.line for p in problems[_TOLD:] if p.line is not None])
    named = f": line{'s' if more > 1 else ''} {where}" if where else ""
    return [*lines, f"And {more} more lines with faults{named}."]


def _ranges(numbers: Sequence[int]) -> str:
    """`5 to 9, 12 and more`: where to look, not every one of thousands."""
    spans: list[list[int]] = []
    for number in sorted(set(numbers)):
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    said = [f"{a}" if a == b else f"{a} to {b}" for a, b in spans[:_SPANS]]
    return ", ".join(said) + (" and more" if len(spans) > _SPANS else "")


# ---------------------------------------------------------------- readings at hand


class GaugesKept:
    """Readings, read from the database once; what they measure is worked out when they change.

    What is older than any reading that could still come in is settled: its weather is kept
    and its readings are let go.
    """

    def __init__(self) -> None:
        self._last_id = 0
        self._readings: dict[str, list[Reading]] = {}
        self._received: datetime | None = None
        self._listens_since: dict[str, datetime] = {}
        self._made: dict[str, tuple[Gauge, int, Weather]] = {}
        self._settled: dict[str, Weather] = {}

    def catch_up(self, db: Database) -> bool:
        """Take in what was received since; True where there was anything."""
        found = readings_after(db, self._last_id)
        for stored in found:
            self._last_id = stored.id
            self._readings.setdefault(stored.reading.station, []).append(stored.reading)
            if self._received is None or stored.received_at > self._received:
                self._received = stored.received_at
        return bool(found)

    def listens_since(self, station: str, now: datetime) -> datetime:
        """When this was first asked, which is when the monitor began to listen to the station."""
        since = self._listens_since.get(station)
        if since is None or now < since:
            self._listens_since[station] = since = now
        return since

    def of(self, station: str) -> Sequence[Reading]:
        """The readings of a station that are not settled, in the order they came."""
        return self._readings.get(station, ())

    def rained(self) -> tuple[Spell, ...]:
        """When it rained by the crew's word."""
        return crew_rain(self.of(CREW))

    def measured(self, show: Show) -> list[Weather]:
        """What each gauge of the show measured, in the show's order; without steps, left out.

        The source of each is its station's name.
        """
        made = [self._measured(gauge, show.site.timezone) for gauge in show.gauges]
        return [replace(w, fetched_at=self._received) for w in made if len(w.starts)]

    def _measured(self, gauge: Gauge, zone: ZoneInfo) -> Weather:
        readings = self._readings.get(gauge.station, [])
        before = self._made.get(gauge.station)
        if before is not None and before[:2] == (gauge, len(readings)):
            return before[2]
        settled = self._settled.get(gauge.station)
        weather = measured(readings, gauge, zone)
        if settled is not None:
            since = float(settled.ends[-1])
            weather = _one_after_another(settled, weather.between(since, np.inf))
        if len(readings) > _UNSETTLED:
            self._settle(gauge, weather, readings)
        self._made[gauge.station] = (gauge, len(self.of(gauge.station)), weather)
        return weather

    def _settle(self, gauge: Gauge, weather: Weather, readings: list[Reading]) -> None:
        newest = max(to_epoch(r.at) for r in readings)
        over = weather.ends <= newest - _SETTLED_DAYS * SECONDS_PER_DAY
        if not over.any():
            return
        old = weather.take(np.flatnonzero(over))
        since = old.ends[-1] - _CONTEXT_DAYS * SECONDS_PER_DAY
        self._settled[gauge.station] = old
        self._readings[gauge.station] = [r for r in readings if to_epoch(r.at) >= since]


def _one_after_another(old: Weather, new: Weather) -> Weather:
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(old, name), getattr(new, name)], axis=-1)
        for name in ("starts", "ends", "forecast", *WEATHER_VALUES)
    }
    return replace(new, **columns)
