"""What a station was heard to say, as arrays over its readings: since when, and what is stuck.

Pure. Axis (reading,), in order of time; NaN is not said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from monitor.exposure.damp import dew_point_c
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.domain import Bools, Floats, Gauge, Reading

LEAST_GAP_S = 10 * SECONDS_PER_MINUTE
STUCK_S = 24 * SECONDS_PER_HOUR
STUCK_READINGS = 6

AIR = ("wind_mps", "gust_mps", "temp_c", "dew_point_c")
"""What moves within a day wherever there is air; humidity stands at 100 for days of rain."""
_WIND = ("wind_mps", "gust_mps")


class Heard(NamedTuple):
    """What a station was heard to say."""

    readings: tuple[Reading, ...]
    at: Floats
    since: Floats
    """From when on each speaks: from the one before, but for no longer than a gap [s]."""
    values: dict[str, Floats]
    """AIR and wind_from_deg, without what is stuck."""
    stuck: dict[str, Bools]
    """Where each of AIR has not moved to its last digit for a day."""
    repeats: Bools
    """Where that goes for all that it says of the air, and is more than a calm."""


def heard(readings: Sequence[Reading], gauge: Gauge) -> Heard:
    """The readings of one station, in any order; of two of one moment the first counts."""
    by_time: dict[datetime, Reading] = {}
    for reading in readings:
        by_time.setdefault(reading.at, reading)
    ordered = tuple(by_time[at] for at in sorted(by_time))
    at = np.array([to_epoch(r.at) for r in ordered], dtype=np.float64)
    gap_s = max(LEAST_GAP_S, 2 * gauge.every_minutes * SECONDS_PER_MINUTE)
    since = np.maximum(np.concatenate([at[:1] - gap_s, at[:-1]]), at - gap_s)
    sent = {
        name: np.array([getattr(r, name) for r in ordered], dtype=np.float64)
        for name in (*AIR, "wind_from_deg", "humidity_pct")
    }
    humidity = sent.pop("humidity_pct")
    dew = np.asarray(dew_point_c(sent["temp_c"], humidity), dtype=np.float64)
    sent["dew_point_c"] = np.where(np.isnan(sent["dew_point_c"]), dew, sent["dew_point_c"])
    stuck = {name: _stuck(at, sent[name]) for name in AIR}
    values = {name: np.where(stuck[name], np.nan, sent[name]) for name in AIR}
    values["wind_from_deg"] = np.where(stuck["wind_mps"], np.nan, sent["wind_from_deg"])
    return Heard(ordered, at, since, values, stuck, _repeats(sent, stuck))


def _stuck(at: Floats, values: Floats) -> Bools:
    """Where a value stands in a row of equal ones that lasts a day or more."""
    out = np.zeros(len(at), dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(values))
    changes = np.flatnonzero(np.diff(values[known]) != 0) + 1
    for row in np.split(known, changes):
        if len(row) >= STUCK_READINGS and at[row[-1]] - at[row[0]] >= STUCK_S:
            out[row] = True
    return out


def _repeats(sent: dict[str, Floats], stuck: dict[str, Bools]) -> Bools:
    stands = [stuck[name] | np.isnan(sent[name]) for name in AIR]
    more = [stuck[name] & ~((sent[name] == 0) & (name in _WIND)) for name in AIR]
    repeats: Bools = np.all(stands, axis=0) & np.any(more, axis=0)
    return repeats
