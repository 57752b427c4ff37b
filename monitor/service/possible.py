"""What cannot be true of a log entry: a time still to come or before the gear was there, and a
count of other gear than hangs there.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from monitor.alerts.words import one_line
from monitor.domain import Problem
from monitor.show.clock import CLOCKS_DIFFER

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from monitor.domain import Alert, Fixture, LogEntry, Show

OUT_ONLY = (
    "covered", "uncovered", "brought-in", "isolated", "energised", "capped", "uncapped", "moved",
)  # fmt: skip
"""What is done to gear that is out. An inspection or a cleaning may come before that."""
_EARLIEST = timedelta(days=7)
"""Gear goes out no longer than this before the load-in that the show folder gives."""


class Hangs(NamedTuple):
    """Where a fixture is by the log."""

    position: str
    out: bool


def hanging(show: Show, log: Sequence[LogEntry], at: datetime) -> dict[str, Hangs]:
    """Where each fixture is at a moment by the log: what was moved or brought in part stays."""
    found = {fixture.id: Hangs(fixture.position, out=True) for fixture in show.fixtures}
    for entry in sorted((e for e in log if e.at <= at), key=lambda e: e.at):
        in_part = entry.count is not None and entry.count[0] < entry.count[1]
        if entry.entry not in ("moved", "brought-in", "put-out") or in_part:
            continue
        for fixture_id in _meant(entry.position, entry.fixture, found):
            if entry.entry == "moved" and entry.to is not None:
                found[fixture_id] = found[fixture_id]._replace(position=entry.to)
            else:
                found[fixture_id] = found[fixture_id]._replace(out=entry.entry == "put-out")
    return found


def _meant(
    position: str | None, fixture: str | None, hangs: Mapping[str, Hangs]
) -> tuple[str, ...]:
    if fixture is not None:
        return (fixture,) if fixture in hangs else ()
    return tuple(name for name, there in hangs.items() if there.position == position)


# ---------------------------------------------------------------- the time


def time_fault(
    entry: str,
    at: datetime,
    places: Sequence[str],
    show: Show,
    log: Sequence[LogEntry],
    now: datetime,
    key: str,
) -> Iterator[Problem]:
    """What is wrong with the time that was given for an entry.

    Parameters
    ----------
    places : the position, fixture or alert it was given for
    log : what stands in the log already
    """
    zone, load_in = show.site.timezone, show.event.load_in_at
    if at > now + CLOCKS_DIFFER:
        yield Problem(
            "still-to-come",
            f"{_dated(at, zone)} is still to come; it is {_dated(now, zone)} on site.",
            f"Log it when it is done, or give the time at which it was. Without {key} it is now.",
            key=key,
        )
    elif entry == "put-out" and at < load_in - _EARLIEST:
        yield Problem(
            "before-load-in",
            f"{_dated(at, zone)} is over {_EARLIEST.days} days before load-in, "
            f"{_dated(load_in, zone)}.",
            "Give the time at which it went out, or correct load_in_at in show.toml.",
            key=key,
        )
    elif entry in OUT_ONLY and at < load_in and not _was_put_out(places, show, log, at):
        yield Problem(
            "before-load-in",
            f"{_dated(at, zone)} is before load-in, {_dated(load_in, zone)}, and nothing there "
            "was logged as put out by then.",
            "Give the time at which it was done. What went out before load-in: log it put-out "
            "first.",
            key=key,
        )


def _was_put_out(places: Sequence[str], show: Show, log: Sequence[LogEntry], at: datetime) -> bool:
    """Whether something of what is meant was logged as put out by then."""
    homes = {fixture.id: fixture.position for fixture in show.fixtures}
    named = {*places, *(homes[place] for place in places if place in homes)}
    out = [e for e in log if e.entry == "put-out" and e.at <= at]
    return any(
        e.position in named or e.fixture in named or homes.get(e.fixture or "") in places
        for e in out
    )


def _dated(moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    return f"{local:%a} {local.day} {local:%B %Y %H:%M}"


# ---------------------------------------------------------------- the count


def count_fault(
    count: tuple[int, int],
    position: str | None,
    fixture: str | None,
    alert: Alert | None,
    show: Show,
    log: Sequence[LogEntry],
    at: datetime,
    key: str,
    by_fixture: str,
) -> Iterator[Problem]:
    """That a count is of another number than there are of what is meant.

    A position has as many as hang there, by the files or by the log, with what is brought in
    or without; an alert also those that it names.
    """
    rows = {f.id: f for f in show.fixtures}
    if fixture is not None:
        numbers, where = {rows[fixture].count} if fixture in rows else set(), fixture
    else:
        place = position if alert is None else alert.position
        numbers = _numbers(place, show, log, at)
        known = show.positions.get(place or "")
        where = place or "" if known is None else one_line(known.name) or known.id
        if alert is not None:
            named = [rows[name] for name in alert.fixtures if name in rows]
            numbers = {*numbers, *([_pieces(named)] if named else [])}
            where = where or alert.id
    if not numbers or count[1] in numbers:
        return
    there = " or ".join(f"{number}" for number in sorted(numbers))
    says = f'count is "{count[0]} of {count[1]}", and there are {there} of {where}.'
    if fixture is None:
        says = f'count is "{count[0]} of {count[1]}", and {there} hang at {where}.'
    most = max(numbers)
    remedy = f'Write it like "{min(count[0], most)} of {most}"'
    remedy += "." if fixture is not None else f", or give one row with {by_fixture} ID."
    yield Problem("other-count", says, remedy, key=key)


def _numbers(position: str | None, show: Show, log: Sequence[LogEntry], at: datetime) -> set[int]:
    hangs = hanging(show, log, at)
    by_file = [f for f in show.fixtures if f.position == position]
    by_log = [f for f in show.fixtures if hangs[f.id].position == position]
    out = [f for f in by_log if hangs[f.id].out]
    return {n for n in map(_pieces, (by_file, by_log, out)) if n}


def _pieces(fixtures: Sequence[Fixture]) -> int:
    return sum(fixture.count for fixture in fixtures)
