"""Moments on the site's clock, with the day always said, and the ticks of a time axis."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.alerts.clock import DAYS, MONTHS, SiteClock
from monitor.units import SECONDS_PER_DAY, to_moment

_HOUR_STEPS = (1, 2, 3, 6, 12)
_DAY_STEPS = (1, 2, 7, 14, 30, 60, 120, 365)


@dataclass(frozen=True, slots=True)
class SiteTimes:
    """A site's clock as written all through one report."""

    zone: ZoneInfo
    first: datetime
    """Begin of the report: its offset is the one said once, at the top"""

    def at(self, moment: datetime) -> str:
        """`Fri 16 Jul 04:20`; with the offset beside it after a change of the clocks."""
        local = moment.astimezone(self.zone)
        first = self.first.astimezone(self.zone)
        said = f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]}"
        if local.year != first.year:
            said += f" {local.year}"
        said += f" {local:%H:%M}"
        return said if local.utcoffset() == first.utcoffset() else f"{said} {_offset(local)}"

    def dated(self, moment: datetime) -> str:
        """The same with its year."""
        local = moment.astimezone(self.zone)
        day = f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local.year}"
        return f"{day} {local:%H:%M}"

    def span(self, start: datetime, end: datetime) -> str:
        """`Fri 16 Jul 04:00 to 05:00`."""
        first, last = start.astimezone(self.zone), end.astimezone(self.zone)
        if first.date() == last.date() and first.utcoffset() == last.utcoffset():
            return f"{self.at(start)} to {last:%H:%M}"
        return f"{self.at(start)} to {self.at(end)}"

    def iso(self, moment: datetime) -> str:
        """`2027-07-16T04:20:00+01:00`: site time that no program can misread."""
        return moment.astimezone(self.zone).isoformat(timespec="seconds")

    @property
    def name(self) -> str:
        """`BST (UTC+1)`."""
        return SiteClock(self.zone, self.first).zone_name


class Tick(NamedTuple):
    """A mark on a time axis; `day` where a day begins there and is to be named."""

    at_s: float
    label: str
    day: str


def ticks(start_s: float, end_s: float, zone: ZoneInfo, width: float) -> list[Tick]:
    """Ticks in round site hours, no denser than can be read on `width` units.

    Parameters
    ----------
    start_s, end_s : of the axis [s]
    zone : of the site
    width : of the axis, in the units of a picture whose digits are about 6 wide
    """
    days = max((end_s - start_s) / SECONDS_PER_DAY, 1e-9)
    per_day = width / days
    each_h = next((h for h in _HOUR_STEPS if per_day * h / 24 >= 22.0), 24)
    each_day = next((d for d in _DAY_STEPS if per_day * d >= 62.0), _DAY_STEPS[-1])
    found: dict[float, Tick] = {}
    for number, day in enumerate(_days(start_s, end_s, zone)):
        named = number % each_day == 0
        for hour in range(0, 24, each_h):
            if each_day > 1 and not (named and hour == 0):
                continue
            local = datetime.combine(day, time(hour), tzinfo=zone)
            at = local.astimezone(UTC).timestamp()
            if start_s <= at <= end_s and at not in found:
                label = f"{hour:02d}" if each_h < 24 else ""
                begins = f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"
                found[at] = Tick(at, label, begins if named and hour == 0 else "")
    return sorted(found.values())


def _days(start_s: float, end_s: float, zone: ZoneInfo) -> Iterator[date]:
    day = to_moment(start_s).astimezone(zone).date()
    last = to_moment(end_s).astimezone(zone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)


def _offset(local: datetime) -> str:
    total = int((local.utcoffset() or timedelta(0)).total_seconds() // 60)
    hours, minutes = divmod(abs(total), 60)
    if not total:
        return "UTC"
    return f"UTC{'+' if total > 0 else '-'}{hours}" + (f":{minutes:02d}" if minutes else "")
