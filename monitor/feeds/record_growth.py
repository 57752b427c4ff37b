"""A record that grows: what a longer copy says that the shorter one did not. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from monitor.domain import WEATHER_VALUES

if TYPE_CHECKING:
    from monitor.domain import Floats, Weather


def grown(longer: Weather, shorter: Weather, now_s: float) -> Weather:
    """The steps of `longer` that `shorter` lacks or has otherwise, and all that are to come.

    What is to come is taken whole, because a run stands for all of it.
    """
    known = {row.tobytes() for row in _rows(shorter)}
    new = np.array([row.tobytes() not in known for row in _rows(longer)], dtype=np.bool_)
    return longer.take(np.flatnonzero(new | (longer.ends > now_s)))


def _rows(weather: Weather) -> Floats:
    """(step, figure) begin, end and every value of a record, which has one member."""
    values = [getattr(weather, name)[0] for name in WEATHER_VALUES]
    return np.ascontiguousarray(np.column_stack([weather.starts, weather.ends, *values]))
