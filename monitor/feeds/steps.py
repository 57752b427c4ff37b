"""Variables with their own covers laid onto one row of steps, the rain's.

Each step is cut where a variable's own stamps fall into it, and every piece is known from the
two moments, or the span, it lies in. A mean weighs the pieces by their length, between two
moments along a straight line; a greatest value takes the greater of both. What is not known in
the middle of a step leaves the step unknown. Only where the variable begins or ends inside a
step does what there is of it stand for the step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from monitor.domain import Floats
    from monitor.feeds.samples import Samples

_NO_DIRECTION = 1e-6
"""Below this length the mean of two unit vectors points nowhere."""


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Steps cut at a variable's own stamps.

    Parameters
    ----------
    step_begins : (step,) index of the first piece of each step
    left, right : (piece,) index of the samples at or before and at or after it; the same for a
        span, and beyond the first and the last moment
    part : (piece,) how far the middle of the piece lies from `left` to `right`
    weight : (piece,) its length [s]; 0 where the variable has not begun or has ended
    unknown : (piece,) True where nothing is known of it whatever the samples say
    """

    step_begins: NDArray[np.intp]
    left: NDArray[np.intp]
    right: NDArray[np.intp]
    part: Floats
    weight: Floats
    unknown: NDArray[np.bool_]


def mean_over_steps(samples: Samples, starts: Floats, ends: Floats) -> Floats:
    """Mean over each step (member, step)."""
    return _mean(_pieces(samples, starts, ends), samples.values)


def greatest_over_steps(samples: Samples, starts: Floats, ends: Floats) -> Floats:
    """Greatest value in each step, its own ends included (member, step)."""
    pieces = _pieces(samples, starts, ends)
    either = np.maximum(samples.values[:, pieces.left], samples.values[:, pieces.right])
    either = np.where(pieces.unknown, np.nan, either)
    # What lies outside the variable's own time adds nothing to the greatest.
    outside = (pieces.weight == 0) & ~pieces.unknown
    greatest = np.maximum.reduceat(np.where(outside, -np.inf, either), pieces.step_begins, axis=1)
    return np.where(np.isneginf(greatest), np.nan, greatest)


def flags_over_steps(samples: Samples, starts: Floats, ends: Floats) -> Floats:
    """1 where any of it says yes, 0 where all of it says no, NaN else (member, step)."""
    pieces = _pieces(samples, starts, ends)
    first, last = samples.values[:, pieces.left], samples.values[:, pieces.right]
    says = (first == 1) | (last == 1)
    denies = (first == 0) & (last == 0)
    outside = (pieces.weight == 0) & ~pieces.unknown
    any_yes = np.logical_or.reduceat(says & ~pieces.unknown & ~outside, pieces.step_begins, axis=1)
    all_no = np.logical_and.reduceat(
        (denies | outside) & ~pieces.unknown, pieces.step_begins, axis=1
    )
    covered = np.logical_or.reduceat(~outside, pieces.step_begins)
    return np.where(any_yes, 1.0, np.where(all_no & covered, 0.0, np.nan))


def direction_over_steps(
    direction: Samples, wind: Samples | None, starts: Floats, ends: Floats
) -> Floats:
    """Where the mean wind of each step comes from (member, step) [deg].

    Directions are averaged as vectors, weighted by their wind where that is known: the
    direction of an almost calm moment says little.
    """
    weight = np.ones_like(direction.values)
    together = (
        wind is not None
        and np.array_equal(wind.starts, direction.starts)
        and np.array_equal(wind.ends, direction.ends)
    )
    if wind is not None and together:
        weight = np.where(np.isfinite(wind.values), wind.values, 1.0)
    angle = np.radians(direction.values)
    # A calm has no direction to know, so it is not missing.
    still = weight == 0
    pieces = _pieces(direction, starts, ends)
    east = _mean(pieces, np.where(still, 0.0, weight * np.sin(angle)))
    north = _mean(pieces, np.where(still, 0.0, weight * np.cos(angle)))
    mean = np.degrees(np.arctan2(east, north)) % 360.0
    return np.where(np.hypot(east, north) > _NO_DIRECTION, mean, np.nan)


def _mean(pieces: _Pieces, values: Floats) -> Floats:
    first, last = values[:, pieces.left], values[:, pieces.right]
    # Not first + part * (last - first): a middle of two equal values is that value.
    middle = first * (1 - pieces.part) + last * pieces.part
    outside = (pieces.weight == 0) & ~pieces.unknown
    middle = np.where(pieces.unknown, np.nan, np.where(outside, 0.0, middle))
    total = np.add.reduceat(middle * pieces.weight, pieces.step_begins, axis=1)
    length = np.add.reduceat(pieces.weight, pieces.step_begins)
    return np.where(length > 0, total / np.where(length > 0, length, 1.0), np.nan)


def _pieces(samples: Samples, starts: Floats, ends: Floats) -> _Pieces:
    own = np.concatenate((samples.starts, samples.ends))
    knots = np.unique(np.concatenate((starts, ends, own)))
    begins, finishes = knots[:-1], knots[1:]
    step = np.searchsorted(starts, begins, side="right") - 1
    inside = (step >= 0) & (finishes <= ends[np.maximum(step, 0)])
    begins, finishes, step = begins[inside], finishes[inside], step[inside]
    place = _between_moments if samples.instant else _in_spans
    left, right, part, weight, unknown = place(samples, begins, finishes, starts[step], ends[step])
    return _Pieces(
        np.searchsorted(step, np.arange(len(starts))), left, right, part, weight, unknown
    )


def _between_moments(
    samples: Samples, begins: Floats, finishes: Floats, opens: Floats, closes: Floats
) -> tuple[Any, ...]:
    """Moments are joined where they lie no further apart than the step is long, or than the
    closest two of them: a stamp left out is a gap, and not bridged.
    """
    stamps = samples.starts
    weight = finishes - begins
    after = np.searchsorted(stamps, begins, side="right")
    left = np.clip(after - 1, 0, len(stamps) - 1)
    right = np.clip(after, 0, len(stamps) - 1)
    apart = stamps[right] - stamps[left]
    closest = np.diff(stamps).min() if len(stamps) > 1 else 0.0
    unknown = apart > np.maximum(closes - opens, closest)
    # Before the first and after the last moment, only a step that reaches it is known by it.
    unknown |= (after == 0) & (closes < stamps[0])
    unknown |= (after == len(stamps)) & (opens > stamps[-1])
    middle = (begins + finishes) / 2
    part = np.where(apart > 0, (middle - stamps[left]) / np.where(apart > 0, apart, 1.0), 0.0)
    return left, right, part, weight, unknown


def _in_spans(
    samples: Samples, begins: Floats, finishes: Floats, opens: Floats, closes: Floats
) -> tuple[Any, ...]:
    after = np.searchsorted(samples.starts, begins, side="right")
    at = np.clip(after - 1, 0, len(samples.starts) - 1)
    outside = (after == 0) | (begins >= samples.ends[-1])
    gap = ~outside & (begins >= samples.ends[at])
    away = outside & ((closes <= samples.starts[0]) | (opens >= samples.ends[-1]))
    weight = np.where(outside, 0.0, finishes - begins)
    return at, at, np.zeros(len(begins)), weight, gap | away
