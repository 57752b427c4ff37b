"""Weather as a table for the screen."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from datetime import UTC
from typing import TYPE_CHECKING

import numpy as np

from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import tzinfo

    from monitor.domain import Weather

_WIDTH = 80
_UNKNOWN = "-"


def table(weather: Weather, sheet_id: str, zone: tzinfo | None) -> Iterator[str]:
    """Lines: what it is, a row for each step and member, what was dropped, whose data it is.

    Parameters
    ----------
    zone : the site's clock; None: UTC
    """
    clock = zone or UTC
    first, last = to_moment(weather.starts[0]), to_moment(weather.ends[-1])
    members = len(weather.members)
    yield (
        f"{sheet_id}: {len(weather.starts)} steps"
        f"{f' of {members} members' if members > 1 else ''}, "
        f"{first.astimezone(clock):%Y-%m-%d %H:%M} to {last.astimezone(clock):%Y-%m-%d %H:%M} "
        f"{'site time' if zone else 'UTC'}."
    )
    yield _lengths(weather)
    if weather.issued_at is not None:
        yield f"Issued {weather.issued_at.astimezone(clock):%Y-%m-%d %H:%M}."
    yield f"Wind at {weather.wind_height_m:g} m; - is not known."
    yield ""
    member_head = "  member" if members > 1 else ""
    yield (f"starts             min  rain  wind  gust from  temp   dew cloud thunder{member_head}")
    yield f"                          mm   m/s   m/s  deg     C     C     %{' ' * 8}".rstrip()
    yield from _rows(weather, clock)
    yield ""
    if weather.dropped:
        yield "Dropped or read in an unusual way:"
        for told in weather.dropped:
            yield from textwrap.wrap(told, _WIDTH, initial_indent="  ", subsequent_indent="    ")
    else:
        yield "Nothing was dropped."
    if weather.credit:
        yield from textwrap.wrap(weather.credit, _WIDTH)


def _lengths(weather: Weather) -> str:
    """How long the steps are, in the order in which the lengths first come."""
    minutes = Counter(np.round((weather.ends - weather.starts) / 60.0, 1).tolist())
    parts = [f"{count} of {_span(length)}" for length, count in minutes.items()]
    return f"Steps: {', '.join(parts)}."


def _span(minutes: float) -> str:
    whole = minutes / 60.0
    return f"{whole:g} h" if whole >= 1 and whole == int(whole) else f"{minutes:g} min"


def _rows(weather: Weather, clock: tzinfo) -> Iterator[str]:
    minutes = (weather.ends - weather.starts) / 60.0
    several = len(weather.members) > 1
    for i, start in enumerate(weather.starts.tolist()):
        stamp = f"{to_moment(start).astimezone(clock):%Y-%m-%d %H:%M}"
        for m, member in enumerate(weather.members):
            yield (
                f"{stamp}  {minutes[i]:4.0f} "
                f"{_number(weather.rain_mm[m, i], 5, 2)} "
                f"{_number(weather.wind_mps[m, i], 5, 1)} "
                f"{_number(weather.gust_mps[m, i], 5, 1)} "
                f"{_number(weather.wind_from_deg[m, i], 4, 0)} "
                f"{_number(weather.temp_c[m, i], 5, 1)} "
                f"{_number(weather.dew_point_c[m, i], 5, 1)} "
                f"{_number(weather.cloud_pct[m, i], 5, 0)} "
                f"{_flag(weather.thunder[m, i]):>7}"
                f"{f'  {member}' if several else ''}"
            )


def _number(value: float, width: int, places: int) -> str:
    return f"{_UNKNOWN:>{width}}" if math.isnan(value) else f"{value:{width}.{places}f}"


def _flag(value: float) -> str:
    return _UNKNOWN if math.isnan(value) else "yes" if value else "no"
