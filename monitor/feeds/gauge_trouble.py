"""What is wrong with a station on the site: silent, stuck, or dry where rain is forecast. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from monitor.feeds.heard import STUCK_S, heard
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import Gauge, Reading

SILENT_AFTER = 3
"""So many times `every_minutes` without a word, and a station is silent."""
LEAST_SILENCE_S = 10 * SECONDS_PER_MINUTE
"""But never sooner than this: one lost word of a station of minutes is no silence."""
DRY_S = 3 * SECONDS_PER_HOUR
"""J: how far back a gauge is held against the forecasts."""
DRY_FROM_MM = 2.0
"""J: a gauge that measured none of so much forecast rain is doubted. Were half of it wrong,
five tips would still be missing."""

_LOOKS_BACK_S = 2 * STUCK_S
_HOURS_FROM_MINUTES = 120.0
_SAID = {
    "wind_mps": "wind",
    "gust_mps": "gust",
    "temp_c": "temperature",
    "dew_point_c": "dew point",
}


class Trouble(NamedTuple):
    """What is wrong with a station."""

    says: str
    counts_as_dry: bool = False
    """Its word that no rain fell is doubted, and stands all the same: it is a measurement."""


def silent_after_s(gauge: Gauge) -> float:
    """So long without a word, and a station is silent [s]."""
    return max(LEAST_SILENCE_S, SILENT_AFTER * gauge.every_minutes * SECONDS_PER_MINUTE)


def gauge_trouble(
    readings: Sequence[Reading],
    gauge: Gauge,
    forecast_rain_mm: float | None,
    now: datetime,
) -> Trouble | None:
    """What is wrong with a station now; None where nothing is known to be.

    Parameters
    ----------
    readings : of this station, in any order
    forecast_rain_mm : what the forecasts had for the last three hours (`DRY_S`); None where
        that is not known

    Notes
    -----
    Silent: nothing for three times `every_minutes`, or ten minutes. Stuck: a value that has not
    moved to its last digit for a day (`heard`). Dry where rain is forecast: no growth over the
    last three hours, for more than half of which it was heard of, and 2 mm or more in the
    forecasts: a blocked funnel measures nothing for ever. Last, a battery that the station says
    is low.
    """
    now_s = to_epoch(now)
    said = heard([r for r in readings if to_epoch(r.at) >= now_s - _LOOKS_BACK_S], gauge)
    if not len(said.at):
        return Trouble("nothing was ever heard of it" if not readings else "nothing heard for days")
    quiet = now_s - float(said.at[-1])
    if quiet > silent_after_s(gauge):
        return Trouble(f"nothing heard for {_long(quiet)}")
    if said.repeats[-1]:
        return Trouble("it has sent the same over and over for a day")
    stuck = [_SAID[name] for name, where in said.stuck.items() if where[-1]]
    if stuck:
        return Trouble(f"its {' and '.join(stuck)} did not move to the last digit for a day")
    if forecast_rain_mm is not None and forecast_rain_mm >= DRY_FROM_MM:
        late = [r for r in said.readings if to_epoch(r.at) >= now_s - DRY_S]
        if _measured_none(late, now_s):
            return Trouble(
                f"it measured no rain in {DRY_S / SECONDS_PER_HOUR:g} h for which the forecasts"
                f" had {forecast_rain_mm:.1f} mm",
                counts_as_dry=True,
            )
    return Trouble("its battery is low") if said.readings[-1].battery_ok is False else None


def _measured_none(late: Sequence[Reading], now_s: float) -> bool:
    """Whether over more than half of these hours it measured, and measured no rain."""
    counts = [r for r in late if r.rain_total_mm is not None]
    periods = [r for r in late if r.rain_mm is not None]
    if not counts and not periods:
        return False
    first = min(
        [to_epoch(r.at) for r in counts] + [to_epoch(r.at) - (r.period_s or 0.0) for r in periods]
    )
    stood = len({(r.resets, r.rain_total_mm) for r in counts}) == len({r.resets for r in counts})
    return now_s - first > DRY_S / 2 and stood and not any(r.rain_mm for r in periods)


def _long(seconds: float) -> str:
    minutes = seconds / SECONDS_PER_MINUTE
    if minutes < _HOURS_FROM_MINUTES:
        return f"{minutes:.0f} min"
    return f"{seconds / SECONDS_PER_HOUR:.0f} h"
