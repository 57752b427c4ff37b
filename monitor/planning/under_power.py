"""Whether power is on, as the log tells it, and what has been on under its cover for too long."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

import numpy as np

from monitor.domain import LogEntry
from monitor.planning.covers_in_stock import crew_name
from monitor.planning.present import RowOn
from monitor.units import SECONDS_PER_MINUTE, to_epoch, to_moment


def power_since_s(
    log: Sequence[LogEntry], fixture: str, position: str, now_s: float
) -> float | None:
    """Since when power is on at a fixture (seconds).

    Infinite where it was isolated last; None where the log does not say. Isolated in part is
    not isolated.
    """
    told = [
        entry
        for entry in log
        if (entry.entry == "energised" or (entry.entry == "isolated" and not in_part(entry)))
        and to_epoch(entry.at) <= now_s
        and (entry.fixture == fixture if entry.fixture else entry.position == position)
    ]
    if not told:
        return None
    told.sort(key=lambda entry: entry.at)
    if told[-1].entry == "isolated":
        return np.inf
    off = [i for i, entry in enumerate(told) if entry.entry == "isolated"]
    return to_epoch(told[off[-1] + 1 if off else 0].at)


def power_words(log: Sequence[LogEntry], where: Mapping[str, str]) -> dict[str, LogEntry]:
    """The latest word on the power of each fixture of which the log has one.

    Parameters
    ----------
    log : oldest first
    where : fixture -> the position it is at
    """
    at: dict[str, list[str]] = {}
    for fixture, position in where.items():
        at.setdefault(position, []).append(fixture)
    words: dict[str, LogEntry] = {}
    for entry in log:
        if entry.entry in ("isolated", "energised"):
            meant = [entry.fixture] if entry.fixture else at.get(entry.position or "", ())
            words.update(dict.fromkeys(meant, entry))
    return words


def in_part(entry: LogEntry) -> bool:
    """Whether it was done for some only, as in "3 of 15"."""
    return entry.count is not None and entry.count[0] < entry.count[1]


def on_too_long(
    on: Sequence[RowOn], log: Sequence[LogEntry], now_s: float, zone: ZoneInfo
) -> tuple[list[tuple[RowOn, str]], tuple[str, ...]]:
    """What is on longer with power than its cover may be.

    Returns
    -------
    rows that are, each with the sentence that says so; and a sentence for each cover of which
    the log does not tell whether there is power
    """
    found: list[tuple[RowOn, str]] = []
    not_known: dict[str, RowOn] = {}
    for one in on:
        most = one.cover.minutes_on_max
        if most is None or now_s - one.since_s <= most * SECONDS_PER_MINUTE:
            continue
        power = power_since_s(log, one.fixture.id, one.position, now_s)
        if power is None:
            longest = not_known.setdefault(one.cover.id, one)
            if one.since_s < longest.since_s:
                not_known[one.cover.id] = one
            continue
        since = max(power, one.since_s)
        if now_s - since > most * SECONDS_PER_MINUTE:
            why = (
                f"under the {crew_name(one.cover)} with power since {_clock(since, zone)}, and "
                f"it may be for {most:g} minutes"
            )
            found.append((one, why))
    return found, tuple(
        f"Under the {crew_name(one.cover)} since {_clock(one.since_s, zone)}: with power on it "
        f"may be for {one.cover.minutes_on_max:g} minutes, and the log does not say whether it is."
        for one in not_known.values()
    )


def _clock(moment_s: float, zone: ZoneInfo) -> str:
    return f"{to_moment(moment_s).astimezone(zone):%a %H:%M}"
