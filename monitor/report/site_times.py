"""Moments on the site's clock, with the day always said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.alerts.clock import DAYS, MONTHS, SiteClock


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

    def local(self, moment: datetime) -> datetime:
        """The same moment on the site's clock, to the second."""
        return moment.astimezone(self.zone).replace(microsecond=0)

    def maybe(self, moment: datetime | None) -> datetime | None:
        """The same, where there is one."""
        return None if moment is None else self.local(moment)

    @property
    def name(self) -> str:
        """`BST (UTC+1)`."""
        return SiteClock(self.zone, self.first).zone_name


def _offset(local: datetime) -> str:
    total = int((local.utcoffset() or timedelta(0)).total_seconds() // 60)
    hours, minutes = divmod(abs(total), 60)
    if not total:
        return "UTC"
    return f"UTC{'+' if total > 0 else '-'}{hours}" + (f":{minutes:02d}" if minutes else "")
