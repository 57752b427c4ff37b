"""What every fixture would have taken had nobody kept water off: the log without shelter.

It is what alerts are held against: one that was followed left nothing to see in what the
fixtures really took.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.exposure.assess import assess
from monitor.report.fixture_log import SENT_LATE
from monitor.report.jobs import SHELTERS, jobs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import LogEntry, Weather
    from monitor.report.material import Material


def with_bare(material: Material, weather: Weather, out_from_s: float) -> Material:
    """The material with the exposure of a rig that was left bare.

    `weather` is that of the period as it was, not cut by the log. Only what it adds in a wet
    spell is read, so it begins at nothing and no inspection sets it back.
    """
    log = bare_log(material.log, _sheltering(material))
    return replace(material, bare=assess(material.rig, weather, log, out_from_s=out_from_s))


Sheltering = tuple["datetime", "datetime", frozenset[str], str | None]
"""(from, to, fixtures, position) of an order to keep water off."""


def bare_log(log: Sequence[LogEntry], orders: Sequence[Sheltering]) -> tuple[LogEntry, ...]:
    """The log with every cover off, and in the weather what an order had brought in.

    What was brought in without one left the site or was put away: it stays so. Each entry
    that is taken out of force stands as "uncovered", so that the fixture stays out.
    """
    return tuple(
        replace(entry, entry="uncovered", count=None) if _keeps_off(entry, orders) else entry
        for entry in log
        if entry.entry != "inspected"
    )


def _keeps_off(entry: LogEntry, orders: Sequence[Sheltering]) -> bool:
    if entry.entry == "covered":
        return True
    if entry.entry != "brought-in":
        return False
    return any(
        begin <= entry.at <= end
        and (entry.fixture in fixtures if entry.fixture is not None else entry.position == position)
        for begin, end, fixtures, position in orders
    )


def _sheltering(material: Material) -> list[Sheltering]:
    found: list[Sheltering] = []
    for job in jobs(material):
        if job.asked not in SHELTERS:
            continue
        last = job.told[-1]
        ended = last.at if last.alert.stage == "stood-down" else material.ends_at
        named = frozenset(f for told in job.told for f in told.alert.fixtures)
        found.append((job.told[0].at - SENT_LATE, ended, named, job.alert.position))
    return found
