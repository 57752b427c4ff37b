"""When to ask again. Pure; every wait is in seconds from `now`."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

BACKOFF_S = (60.0, 120.0, 300.0, 600.0)
CONFIG_FAULT_S = 3600.0
"""A setting is wrong: asking faster mends nothing and gets the address blocked."""
MOST_EXPIRES_S = 7200.0
"""An expiry further ahead than this would hide that a new forecast is out."""
MOST_RETRY_AFTER_S = 86400.0
WIDE_S = 86400.0
"""For so long after a refusal for too many requests the poll is twice as wide."""

Clock = Literal["minute", "hour", "day"]


def until_fresh(expires: str | None, poll_s: float, now: datetime) -> float:
    """Until the next answer may be worth asking for: `Expires`, kept to [poll, 2 h]."""
    ahead = 0.0
    moment = http_date(expires)
    if moment is not None:
        ahead = (moment - now).total_seconds()
    return min(max(ahead, poll_s), max(MOST_EXPIRES_S, poll_s))


def back_off(failures: int) -> float:
    """After the `failures`th failure in a row."""
    return BACKOFF_S[min(max(failures, 1), len(BACKOFF_S)) - 1]


def retry_after(headers: Mapping[str, str], now: datetime) -> float | None:
    """What the server asks for: `Retry-After` (seconds or a date) or `ratelimit-reset`."""
    stated = headers.get("Retry-After") or headers.get("ratelimit-reset")
    if stated is None:
        return None
    text = stated.strip()
    if text.isascii() and text.isdigit():
        wait = float(text[:9])
    else:
        moment = http_date(text)
        if moment is None:
            return None
        wait = (moment - now).total_seconds()
    return min(max(wait, 0.0), MOST_RETRY_AFTER_S)


def until_limit_clears(
    reason: str, limits: Mapping[str, Clock], now: datetime
) -> tuple[Clock, float] | None:
    """Which limit the reason names, and how long until the UTC clock clears it."""
    for word, unit in limits.items():
        if word in reason.lower():
            return unit, _to_next(unit, now.astimezone(UTC))
    return None


def http_date(text: str | None) -> datetime | None:
    """The moment of an HTTP date; None where it is none, as in `Expires: 0`."""
    if text is None:
        return None
    try:
        moment = parsedate_to_datetime(text)
    except ValueError:
        return None
    return moment.replace(tzinfo=moment.tzinfo or UTC)


def kept_moment(text: Any) -> datetime | None:
    """A moment as it was kept in a memory; None where it is none, or has no offset."""
    try:
        moment = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return moment if moment.tzinfo else None


def _to_next(unit: Clock, now: datetime) -> float:
    begun = now.replace(second=0, microsecond=0)
    if unit == "minute":
        end = begun + timedelta(minutes=1)
    elif unit == "hour":
        end = begun.replace(minute=0) + timedelta(hours=1)
    else:
        end = begun.replace(hour=0, minute=0) + timedelta(days=1)
    return (end - now).total_seconds()
