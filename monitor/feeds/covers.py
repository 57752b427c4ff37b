"""What each value of an answer covers: stamps and values as stated to samples over time."""

from __future__ import annotations

from bisect import bisect
from typing import TYPE_CHECKING

import numpy as np

from monitor.feeds.samples import PACKING_MM, Drops, Rejected, Samples, numbers, possible
from monitor.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from monitor.domain import Floats
    from monitor.feeds.samples import Stated
    from monitor.feeds.sheet_parts import Variable, VariablePart

_OVERLAP_S = 1e-6
_CALM_MPS = 1e-6


def samples_of(
    stated: Stated, name: Variable, part: VariablePart, run_start: float | None, told: list[str]
) -> Samples:
    """The samples of one variable, in order of time, in canonical units.

    A stamp repeated with another value is not known. Of values that overlap the shorter is
    kept, where lengths are stated; where they are the sheet's, the answer is not what the sheet
    describes and is rejected.

    Parameters
    ----------
    run_start : when totals were nought [s]; None: not stated, the first is only a baseline
    """
    drops = Drops(name)
    values, periods = _read(stated, name, part, drops)
    starts, ends = _spans(stated, part, periods)
    placed = np.isfinite(starts) & np.isfinite(ends)
    starts, ends, values = _merged(starts[placed], ends[placed], values[:, placed])
    if part.cover in ("since_last", "run_total"):
        starts, ends, values = _since_last(ends, values, part, run_start)
    elif part.cover == "until_next" or (part.cover == "instant" and part.stat == "rate"):
        starts, ends, values = _until_next(starts, values, name, part, told)
    if np.any(starts[1:] < ends[:-1] - _OVERLAP_S):
        if part.cover != "interval" and not part.first_of:
            raise Rejected("overlap", f"{name}: stamps lie closer together than what each covers")
        starts, ends, values = _shortest_first(starts, ends, values, name, told)
    lengths = (ends - starts) / SECONDS_PER_HOUR
    hours = np.where(lengths > 0, lengths, 1.0)
    if part.cover == "run_total":
        values = _falls(values, drops, told)
    values = possible(values, hours, name, part, drops)
    drops.settle(told)
    if part.stat == "rate":
        values = values * hours
    return Samples(starts, ends, values)


def _read(
    stated: Stated, name: Variable, part: VariablePart, drops: Drops
) -> tuple[Floats, Floats | None]:
    """Values (member, sample) of all sources together, and the period each is of [s]."""
    read = [numbers(source, part, drops) for source in stated.sources]
    if part.vector:
        east, north = read
        speed = np.hypot(east, north)
        if name != "direction":
            return speed, None
        # A calm has components and no direction: it is not known where it comes from.
        comes_from = np.degrees(np.arctan2(-east, -north)) % 360.0
        return np.where(speed > _CALM_MPS, comes_from, np.nan), None
    if not part.first_of:
        return read[0], None
    values = read[0].copy()
    periods = np.full(values.shape[1], part.by_length[0].period)
    open_yet = ~np.isfinite(values).any(axis=0)
    for one, longer in zip(part.by_length[1:], read[1:], strict=True):
        taken = open_yet & np.isfinite(longer).any(axis=0)
        values[:, taken] = longer[:, taken]
        periods[taken] = one.period
        open_yet &= ~taken
    return values, periods


def _spans(stated: Stated, part: VariablePart, periods: Floats | None) -> tuple[Floats, Floats]:
    """What each covers as far as its own record says; else the stamp for both ends."""
    stamps = stated.stamps
    period = periods if periods is not None else part.period or 0.0
    match part.cover:
        case "preceding":
            return stamps - period, stamps
        case "following":
            return stamps, stamps + period
        case "interval" if stated.starts is not None:
            # What ends before it begins is no interval.
            return np.where(stated.starts < stamps, stated.starts, np.nan), stamps
        case _:
            return stamps, stamps


def _merged(starts: Floats, ends: Floats, values: Floats) -> tuple[Floats, Floats, Floats]:
    """In order of time, each span once; NaN where a repeated one has another value."""
    order = np.lexsort((ends, starts))
    starts, ends, values = starts[order], ends[order], values[:, order]
    if not len(starts):
        return starts, ends, values
    new = np.concatenate(([True], (np.diff(starts) != 0) | (np.diff(ends) != 0)))
    if new.all():
        return starts, ends, values
    at = np.flatnonzero(new)
    least = np.minimum.reduceat(values, at, axis=1)
    agree = least == np.maximum.reduceat(values, at, axis=1)
    return starts[new], ends[new], np.where(agree, least, np.nan)


def _since_last(
    stamps: Floats, values: Floats, part: VariablePart, run_start: float | None
) -> tuple[Floats, Floats, Floats]:
    """From each stamp to the next, with the value of the later one, or what it adds to it."""
    total = part.cover == "run_total"
    if total and run_start is not None and len(stamps) and run_start < stamps[0]:
        stamps = np.concatenate(([run_start], stamps))
        values = np.concatenate((np.zeros((values.shape[0], 1)), values), axis=1)
    later = np.diff(values, axis=1) if total else values[:, 1:]
    return stamps[:-1], stamps[1:], later


def _falls(added: Floats, drops: Drops, told: list[str]) -> Floats:
    """Totals do not fall: a little is packing and adds nothing, more is not known."""
    little = (added < 0) & (added >= PACKING_MM)
    if little.any():
        told.append(
            f"{drops.name}: the total falls by packing {int(little.sum())} times, read as 0"
        )
    falls = added < PACKING_MM
    drops.dropped["the total falls"] += int(falls.sum())
    return np.where(little, 0.0, np.where(falls, np.nan, added))


def _until_next(
    stamps: Floats, values: Floats, name: Variable, part: VariablePart, told: list[str]
) -> tuple[Floats, Floats, Floats]:
    """Each value holds to the next stamp, no longer than the sheet's period where it has one."""
    if part.period is not None:
        held = np.full(len(stamps), part.period)
        held[:-1] = np.minimum(held[:-1], np.diff(stamps))
        return stamps, stamps + held, values
    if len(stamps):
        told.append(f"{name}: the last stamp has no next one and covers no time")
    return stamps[:-1], stamps[1:], values[:, :-1]


def _shortest_first(
    starts: Floats, ends: Floats, values: Floats, name: Variable, told: list[str]
) -> tuple[Floats, Floats, Floats]:
    """The samples without those that overlap a shorter one; never added together.

    What is known comes before what is not, whatever its length.
    """
    known = np.isfinite(values).sum(axis=0) > 0
    kept: list[int] = []
    opens: list[float] = []
    overlapping = 0
    for i in np.lexsort((starts, ends - starts, ~known)).tolist():
        # Those kept lie apart, in order of time: only the two beside it can overlap.
        after = bisect(opens, starts[i])
        before_it = after > 0 and ends[kept[after - 1]] > starts[i] + _OVERLAP_S
        behind_it = after < len(kept) and opens[after] < ends[i] - _OVERLAP_S
        if before_it or behind_it:
            overlapping += bool(known[i])
        else:
            kept.insert(after, i)
            opens.insert(after, float(starts[i]))
    if overlapping:
        told.append(f"{name}: {overlapping} longer periods dropped that overlap shorter ones")
    return starts[kept], ends[kept], values[:, kept]
