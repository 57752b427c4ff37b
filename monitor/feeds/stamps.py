"""Stamps of an answer to seconds since 1970-01-01T00:00Z, whatever clock they are on."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from monitor.feeds.samples import Rejected
from monitor.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from monitor.domain import Floats
    from monitor.feeds.sheet_parts import TimePart

LATEST_FIRST = timedelta(hours=3)
"""A forecast whose first stamp is further ahead than this is on another clock."""

_PLACES = 3
"""Stamps are told apart to the millisecond."""

_YEARS_S = (0.0, 7258118400.0)
"""1970 to 2199, as seconds."""


_DURATION = re.compile(
    r"P(?:(\d{1,4})W)?(?:(\d{1,5})D)?"
    r"(?:T(?:(\d{1,6})H)?(?:(\d{1,8})M)?(?:(\d{1,9})(?:\.0*)?S)?)?",
    re.ASCII,
)
_DURATION_S = (7 * SECONDS_PER_DAY, SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_MINUTE, 1.0)


def epochs(raw: list[Any], time: TimePart, told: list[str]) -> Floats:
    """Seconds (sample,) of each stamp; NaN, and told, where a wall time is doubled or skipped."""
    zone = ZoneInfo(time.zone) if time.zone else UTC
    return _placed([_epoch(item, time, zone) for item in raw], time, told)


def starts_of(raw: list[Any], time: TimePart, told: list[str]) -> Floats:
    """Seconds (sample,) of each stated start; NaN, and told, where a record states none."""
    said = [item is not None for item in raw]
    out = np.full(len(raw), np.nan)
    out[said] = epochs([item for item in raw if item is not None], time, told)
    tells = f"{len(raw) - sum(said)} stamps do not say since when"
    if not all(said) and tells not in told:
        told.append(tells)
    return out


def intervals_of(raw: list[Any], time: TimePart, told: list[str]) -> tuple[Floats, Floats]:
    """Start and end (sample,) of each `start/duration` or `start/end`, as ISO 8601 has them [s]."""
    zone = ZoneInfo(time.zone) if time.zone else UTC
    both = [_interval(item, time, zone) for item in raw]
    starts = _placed([start for start, _ in both], time, told)
    return starts, _placed([end for _, end in both], time, told)


def _placed(seconds: list[float], time: TimePart, told: list[str]) -> Floats:
    out = np.array(seconds, dtype=np.float64)
    if np.any((out < _YEARS_S[0]) | (out > _YEARS_S[1])):
        raise Rejected("time", "a stamp lies before 1970 or after 2199: seconds or milliseconds?")
    unplaced = int(np.isnan(out).sum())
    tells = f"{unplaced} stamps fall into an hour that {time.zone} has twice or not at all"
    if unplaced and tells not in told:
        told.append(tells)
    return np.round(out, _PLACES)


def _interval(item: Any, time: TimePart, zone: Any) -> tuple[float, float]:
    begins, slash, rest = item.partition("/") if isinstance(item, str) else ("", "", "")
    if not slash:
        raise _no_stamp(item)
    start = _epoch(begins, time, zone)
    if not rest.startswith("P"):
        return start, _epoch(rest, time, zone)
    match = _DURATION.fullmatch(rest)
    if match is None or not any(match.groups()):
        raise _no_stamp(item)
    return start, start + sum(
        int(n) * s for n, s in zip(match.groups(), _DURATION_S, strict=True) if n
    )


def _no_stamp(item: Any) -> Rejected:
    return Rejected("time", f"{str(item)[:40]!r} is not a stamp as the sheet has it")


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
        try:
            return float(item) / (1000.0 if time.format == "unix_ms" else 1.0)
        except OverflowError:
            raise _no_stamp(item) from None
    try:
        moment = (
            datetime.strptime(item, time.format.removeprefix("strptime:"))  # noqa: DTZ007
            if time.format.startswith("strptime:")
            else datetime.fromisoformat(item)
        )
        if moment.tzinfo is not None:
            return moment.timestamp()
        earlier = moment.replace(tzinfo=zone, fold=0)
        later = moment.replace(tzinfo=zone, fold=1)
        if earlier.utcoffset() != later.utcoffset():
            return math.nan
        return earlier.timestamp()
    except (TypeError, ValueError, OverflowError):
        raise _no_stamp(item) from None


def moment_of(stated: Any, zone: str | None = None) -> datetime | None:
    """An aware moment from ISO 8601, an HTTP date or seconds; None where it is none of them.

    ISO 8601 without an offset is on the clock of `zone`, else of UTC; of an hour that this clock
    has twice it is the first. An HTTP date is always of UTC.
    """
    if isinstance(stated, (int, float)) and not isinstance(stated, bool):
        in_years = _YEARS_S[0] <= stated <= _YEARS_S[1]
        return datetime.fromtimestamp(stated, UTC) if in_years else None
    if not isinstance(stated, str):
        return None
    clock = ZoneInfo(zone) if zone else UTC
    for read, own in ((datetime.fromisoformat, clock), (parsedate_to_datetime, UTC)):
        try:
            moment = read(stated)
            return moment.replace(tzinfo=moment.tzinfo or own).astimezone(UTC)
        except (ValueError, OverflowError):
            continue
    return None
