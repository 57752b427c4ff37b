"""When somebody is at work on site, and when the day's message is due. Pure."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.domain import Show

USUAL_MORNING = time(8)
"""Of the daily message where the show has no quiet hours, at whose end it comes."""


def in_show_hours(show: Show, now: datetime) -> bool:
    """Whether somebody is at work on site; with no hours given, always."""
    hours = show.event.show_hours
    if hours is None:
        return True
    local = now.astimezone(show.site.timezone).time()
    if hours.start <= hours.end:
        return hours.start <= local < hours.end
    return local >= hours.start or local < hours.end


def last_morning(show: Show, now: datetime) -> datetime:
    """The latest moment of the daily message at or before `now`."""
    return max(m for m in _mornings(show, now) if m <= now)


def next_morning(show: Show, now: datetime) -> datetime:
    """The next moment of the daily message after `now`."""
    return min(m for m in _mornings(show, now) if m > now)


def _mornings(show: Show, now: datetime) -> list[datetime]:
    """Those around `now`, in UTC; site time decides, so a clock change moves none."""
    zone = show.site.timezone
    quiet = show.event.quiet_hours
    at = USUAL_MORNING if quiet is None else quiet.end
    today = now.astimezone(zone).date()
    days = (today + timedelta(days=d) for d in (-1, 0, 1))
    return [datetime.combine(day, at, tzinfo=zone).astimezone(UTC) for day in days]
