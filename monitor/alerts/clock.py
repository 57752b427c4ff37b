"""Moments in the words of the site's own clock.

A crew reads a watch, not UTC. Today's times are bare, other days carry the day, and a time
on the far side of a clock change carries its own zone so that a doubled hour cannot be
misread. Day and month names are spelled here: a server's locale must not change a message.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

COUNTDOWN_UNDER = timedelta(hours=2)
WEEKDAY_UNDER_DAYS = 6
"""Further away than this a weekday alone could be taken for the wrong week."""


@dataclass(frozen=True, slots=True)
class SiteClock:
    """The site's clock, read at `now`."""

    zone: ZoneInfo
    now: datetime

    @classmethod
    def named(cls, timezone: str, now: datetime) -> SiteClock:
        """The clock of an IANA zone. An unknown name falls back to UTC, which is then said
        beside every time: a message must not be lost over the name of its zone.
        """
        try:
            return cls(ZoneInfo(timezone), now)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            return cls(ZoneInfo("UTC"), now)

    def at(self, moment: datetime) -> str:
        """`22:40`, `Fri 03:30` on another day, `Fri 16 Jul 03:30` further away."""
        local = moment.astimezone(self.zone)
        today = self.now.astimezone(self.zone)
        days = abs((local.date() - today.date()).days)
        day = ""
        if days > WEEKDAY_UNDER_DAYS:
            day = f"{DAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} "
        elif days:
            day = f"{DAYS[local.weekday()]} "
        other_side = "" if local.utcoffset() == today.utcoffset() else f" {_label(local)}"
        return f"{day}{local.hour:02d}:{local.minute:02d}{other_side}"

    def near(self, moment: datetime) -> str:
        """The time with its countdown under two hours: `22:40 (in 40 min)`."""
        gap = moment - self.now
        if abs(gap) < timedelta(minutes=1):
            return f"{self.at(moment)} (now)"
        if timedelta(0) <= gap < COUNTDOWN_UNDER:
            return f"{self.at(moment)} (in {int(gap.total_seconds() // 60)} min)"
        if timedelta(0) < -gap < COUNTDOWN_UNDER:
            return f"{self.at(moment)} ({int(-gap.total_seconds() // 60)} min ago)"
        return self.at(moment)

    def span(self, start: datetime, end: datetime) -> str:
        """`01:00 to 11:00`, `Fri 01:00 to 11:00`, `22:00 to Fri 04:00`."""
        first, last = start.astimezone(self.zone), end.astimezone(self.zone)
        if first.date() == last.date() and first.utcoffset() == last.utcoffset():
            return f"{self.at(start)} to {last.hour:02d}:{last.minute:02d}"
        return f"{self.at(start)} to {self.at(end)}"

    @property
    def zone_name(self) -> str:
        """`BST (UTC+1)`; zones without letters of their own are `UTC+3`."""
        return _label(self.now.astimezone(self.zone), with_offset=True)


def age(since: datetime, now: datetime) -> str:
    """`40 min old`, `3 h old`, `2 days old`."""
    minutes = max(0, int((now - since).total_seconds() // 60))
    if minutes < 120:
        return f"{minutes} min old"
    if minutes < 48 * 60:
        return f"{minutes // 60} h old"
    return f"{minutes // (24 * 60)} days old"


def _label(local: datetime, *, with_offset: bool = False) -> str:
    offset = local.utcoffset() or timedelta(0)
    total = int(offset.total_seconds() // 60)
    hours, minutes = divmod(abs(total), 60)
    numeric = "UTC"
    if total:
        numeric += f"{'+' if total > 0 else '-'}{hours}" + (f":{minutes:02d}" if minutes else "")
    letters = local.tzname() or ""
    if not letters.isalpha() or letters == "UTC":
        return numeric
    return f"{letters} ({numeric})" if with_offset else letters


def utc_stamp(moment: datetime) -> str:
    """`20270715T204000Z`: sorts by time in any file list."""
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
