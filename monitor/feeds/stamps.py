"""Stamps of an answer to seconds since 1970-01-01T00:00Z, whatever clock they are on."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from monitor.feeds.samples import Rejected

if TYPE_CHECKING:
    from monitor.domain import Floats
    from monitor.feeds.sheet_parts import TimePart

LATEST_FIRST = timedelta(hours=3)
"""A forecast whose first stamp is further ahead than this is on another clock."""

_YEARS_S = (0.0, 7258118400.0)
"""1970 to 2199, as seconds."""


def epochs(raw: list[Any], time: TimePart, told: list[str]) -> Floats:
    """Seconds (sample,) of each stamp; NaN, and told, where a wall time is doubled or skipped."""
    zone = ZoneInfo(time.zone) if time.zone else UTC
    out = np.array([_epoch(item, time, zone) for item in raw], dtype=np.float64)
    if np.any((out < _YEARS_S[0]) | (out > _YEARS_S[1])):
        raise Rejected("time", "a stamp lies before 1970 or after 2199: seconds or milliseconds?")
    unplaced = int(np.isnan(out).sum())
    if unplaced:
        told.append(f"{unplaced} stamps fall into an hour that {time.zone} has twice or not at all")
    return out


def check_first(first: float, fetched_at: datetime, time: TimePart) -> None:
    """Reject an answer that begins nowhere near the moment it was fetched."""
    ahead = first - fetched_at.timestamp()
    if not -time.reach_back <= ahead <= LATEST_FIRST.total_seconds():
        raise Rejected(
            "time",
            f"the first stamp is {datetime.fromtimestamp(first, UTC):%Y-%m-%dT%H:%MZ}, too far "
            f"from the fetch at {fetched_at.astimezone(UTC):%Y-%m-%dT%H:%MZ}",
        )


def check_offset(stated: Any, first: float, time: TimePart) -> None:
    """Reject an answer that says its stamps are on another clock than the sheet's."""
    if stated is None:
        return
    zone = ZoneInfo(time.zone or "UTC")
    offset = datetime.fromtimestamp(first, zone).utcoffset()
    expected = offset.total_seconds() if offset else 0.0
    if isinstance(stated, bool) or stated != expected:
        raise Rejected(
            "time", f"the stamps are {stated} s from UTC, but {time.zone} is {expected:g} s"
        )


def _epoch(item: Any, time: TimePart, zone: Any) -> float:
    if time.format in ("unix_s", "unix_ms"):
        if isinstance(item, bool) or not isinstance(item, (int, float)):
            raise Rejected("time", f"{str(item)[:40]!r} is not a count of seconds")
        return float(item) / (1000.0 if time.format == "unix_ms" else 1.0)
    try:
        moment = (
            datetime.fromisoformat(item)
            if time.format == "iso"
            else datetime.strptime(item, time.format.removeprefix("strptime:"))  # noqa: DTZ007
        )
    except (TypeError, ValueError):
        raise Rejected("time", f"{str(item)[:40]!r} is not a stamp as the sheet has it") from None
    if moment.tzinfo is not None:
        return moment.timestamp()
    earlier = moment.replace(tzinfo=zone, fold=0)
    later = moment.replace(tzinfo=zone, fold=1)
    if earlier.utcoffset() != later.utcoffset():
        return math.nan
    return earlier.timestamp()


def moment_of(stated: Any) -> datetime | None:
    """An aware moment from ISO 8601, an HTTP date or seconds; None where it is none of them."""
    if isinstance(stated, (int, float)) and not isinstance(stated, bool):
        in_years = _YEARS_S[0] <= stated <= _YEARS_S[1]
        return datetime.fromtimestamp(stated, UTC) if in_years else None
    if not isinstance(stated, str):
        return None
    for read in (datetime.fromisoformat, parsedate_to_datetime):
        try:
            moment = read(stated)
        except ValueError:
            continue
        return moment.replace(tzinfo=moment.tzinfo or UTC).astimezone(UTC)
    return None
