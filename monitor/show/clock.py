"""Times as crews write them: site time unless an offset stands with them."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

from monitor.domain import DryspellError, Hours

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

_STAMP = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ]+(\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?)\s*([Zz]|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
_SPAN = re.compile(r"(\d{1,2}):(\d\d)\s*[-\u2013]\s*(\d{1,2}):(\d\d)", re.ASCII)
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)
_YEARS = range(1900, 2200)
CLOCKS_DIFFER = timedelta(minutes=5)
"""No further ahead than this, a time is not taken as still to come."""


class ClockError(DryspellError):
    """A time that cannot be used; `code`, `says` and `remedy` are a problem's."""

    def __init__(self, code: str, says: str, remedy: str) -> None:
        self.code = code
        self.says = says
        self.remedy = remedy
        super().__init__(f"{says} {remedy}")


def moment(text: str, zone: ZoneInfo) -> datetime:
    """The moment of a time, in UTC; an hour that comes twice or never is refused.

    Parameters
    ----------
    text : like 2027-07-15T13:00, in site time, or with Z or an offset
    zone : the site's
    """
    found = _STAMP.fullmatch(text.strip())
    try:
        local = datetime.fromisoformat(f"{found[1]}T{found[2]}") if found else None
    except ValueError:
        local = None
    if found is None or local is None or local.year not in _YEARS:
        raise ClockError(
            "bad-time",
            f'"{text[:40]}" is not a time.',
            "Write it like 2027-07-15T13:00 in site time, or with an offset like +01:00.",
        )
    if found[3] is not None:
        offset = found[3].upper()
        try:
            return datetime.fromisoformat(f"{local.isoformat()}{offset}").astimezone(UTC)
        except ValueError:
            raise ClockError(
                "bad-time", f"{offset} is not an offset from UTC.", "Write it like +01:00 or Z."
            ) from None
    return _site_time(local, zone)


def lately(text: str, zone: ZoneInfo, now: datetime) -> datetime:
    """As `moment`; of a time of day alone (23:30), the last one that has been at the site.

    Clocks that differ by a few minutes make nobody's word a day old: what is that little
    ahead is today's.
    """
    clock = _CLOCK.fullmatch(text.strip())
    if clock is None:
        try:
            return moment(text, zone)
        except ClockError as fault:
            if fault.code != "bad-time":
                raise
            remedy = f"{fault.remedy} A time of day alone, like 23:30, is the last one."
            raise ClockError(fault.code, fault.says, remedy) from None
    today = now.astimezone(zone).date()
    hour = f"T{int(clock[1]):02d}:{clock[2]}"
    for day in (today + timedelta(days=1), today):
        try:
            at = moment(f"{day}{hour}", zone)
        except ClockError:
            if day > today:
                continue
            raise
        if at <= now + CLOCKS_DIFFER:
            return at
    return moment(f"{today - timedelta(days=1)}{hour}", zone)


def _site_time(local: datetime, zone: ZoneInfo) -> datetime:
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    shown = local.isoformat(timespec="minutes")
    forms = [f"{shown}{_offset(m.utcoffset())}" for m in (first, second)]
    # The gap of a skipped hour: going to UTC and back ends on another wall-clock time.
    back = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    if back == local:
        raise ClockError(
            "doubled-hour",
            f"{shown} comes twice at {zone.key}, since the clocks go back.",
            f"Write {forms[0]} for the first or {forms[1]} for the second.",
        )
    raise ClockError(
        "skipped-hour",
        f"{shown} never comes at {zone.key}, since the clocks go forward.",
        f"Write {forms[0]} or {forms[1]}, whichever is meant.",
    )


def _offset(offset: timedelta | None) -> str:
    minutes = int((offset or timedelta()).total_seconds() // 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def daily_hours(text: str) -> Hours:
    """A daily span of site time: "14:00-23:00"; an end before the start runs over midnight."""
    found = _SPAN.fullmatch(text.strip())
    if found is not None:
        start, end = ((int(found[i]), int(found[i + 1])) for i in (1, 3))
        end = (0, 0) if end == (24, 0) else end
        if max(start[0], end[0]) < 24 and max(start[1], end[1]) < 60:
            if start != end:
                return Hours(time(*start), time(*end))
            raise ClockError(
                "bad-hours",
                f'"{text[:40]}" is no time at all, or the whole day.',
                "For the whole day leave the key out; else write a start and another end.",
            )
    raise ClockError(
        "bad-hours",
        f'"{text[:40]}" is not a span of hours.',
        'Write it like "14:00-23:00", in site time.',
    )
