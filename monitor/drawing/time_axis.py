"""The ticks of a time axis, in round hours of the site's clock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.alerts.clock import DAYS, MONTHS
from monitor.units import SECONDS_PER_DAY, to_moment

_HOUR_STEPS = (1, 2, 3, 6, 12)
_DAY_STEPS = (1, 2, 7, 14, 30, 60, 120, 365)


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
                # Where clocks are put forward the hour left out is the next one's moment.
                label = f"{to_moment(at).astimezone(zone):%H}" if each_h < 24 else ""
                begins = f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"
                found[at] = Tick(at, label, begins if named and hour == 0 else "")
    return sorted(found.values())


def _days(start_s: float, end_s: float, zone: ZoneInfo) -> Iterator[date]:
    day = to_moment(start_s).astimezone(zone).date()
    last = to_moment(end_s).astimezone(zone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)
