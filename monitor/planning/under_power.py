"""Whether power is on, as the log tells it, and what has been on under its cover for too long."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.domain import LogEntry
from monitor.units import to_epoch


def power_since_s(
    log: Sequence[LogEntry], fixture: str, position: str, now_s: float
) -> float | None:
    """Since when power is on at a fixture (seconds).

    Infinite where it was isolated last; None where the log does not say.
    """
    told = [
        entry
        for entry in log
        if entry.entry in ("energised", "isolated")
        and to_epoch(entry.at) <= now_s
        and (entry.fixture == fixture if entry.fixture else entry.position == position)
    ]
    if not told:
        return None
    told.sort(key=lambda entry: entry.at)
    if told[-1].entry == "isolated":
        return np.inf
    off = [i for i, entry in enumerate(told) if entry.entry == "isolated"]
    return to_epoch(told[off[-1] + 1 if off else 0].at)
