"""Moments on the site's clock, in the words of whoever looks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.page.words import JOIN, Words, later
from monitor.units import iso_utc

DAYS = (
    later("Mon"),
    later("Tue"),
    later("Wed"),
    later("Thu"),
    later("Fri"),
    later("Sat"),
    later("Sun"),
)
_COUNTED_UNDER = timedelta(hours=2)


@dataclass(frozen=True, slots=True)
class Times:
    """The site's clock, read at `now`."""

    zone: ZoneInfo
    now: datetime
    words: Words

    def at(self, moment: datetime | None) -> str:
        """`22:40`; another day with its name, further away with its date; a dash for none.

        On one line: nobody reads the day of another hour.
        """
        if moment is None:
            return "–"
        local, today = moment.astimezone(self.zone), self.now.astimezone(self.zone)
        days = (local.date() - today.date()).days
        day = "" if not days else f"{self.words.say(DAYS[local.weekday()])}{JOIN}"
        if abs(days) > 6:
            day += f"{local:%d.%m.}{JOIN}"
        # Across a change of the clocks an hour may come twice: the offset tells which.
        other = "" if local.utcoffset() == today.utcoffset() else f"{JOIN}UTC{local:%z}"
        return f"{day}{local:%H:%M}{other}"

    def until(self, moment: datetime) -> str:
        """How long from now: `40 min`, `3 h 20 min`, `5 min late`."""
        gap = moment - self.now
        said = self.span(abs(gap))
        if gap < timedelta(0):
            return self.words.say("{time} late", time=said)
        return self.words.say("in {time}", time=said)

    def ago(self, moment: datetime | None) -> str:
        """`12 min ago`; what is not a minute old is `just now`."""
        if moment is None:
            return self.words.say("never")
        gap = self.now - moment
        if gap < timedelta(minutes=1):
            return self.words.say("just now")
        return self.words.say("{time} ago", time=self.span(gap))

    def span(self, gap: timedelta) -> str:
        """`40 min`, `3 h 20 min`, `2 d 4 h`."""
        minutes = int(gap.total_seconds() // 60)
        if gap < _COUNTED_UNDER:
            return self.words.say("{minutes} min", minutes=minutes)
        hours, minutes = divmod(minutes, 60)
        if hours < 48:
            return self.words.say("{hours} h {minutes} min", hours=hours, minutes=minutes)
        days, hours = divmod(hours, 24)
        return self.words.say("{days} d {hours} h", days=days, hours=hours)

    def iso(self, moment: datetime | None) -> str:
        """UTC, for a program: the target of a countdown."""
        return iso_utc(moment) or ""
