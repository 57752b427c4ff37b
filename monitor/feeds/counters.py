"""Rain out of what gauges count: growth between readings, resets, jumps, overlaps. Pure.

A counter is kept as it was sent and differenced here, each time anew, so a reading that
comes in late sorts itself in and mends what follows from it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from monitor.feeds.record import most_rain_mm
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_moment

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from monitor.domain import CounterResets

DOUBTFUL_MM_H = 300.0
"""A counter that grew faster than this is not believed until the next reading bears it out."""
WAVER_MM = 0.05
"""A counter that falls by no more than this has wavered, not begun anew."""
LONGEST_DRY_S = SECONDS_PER_HOUR
"""J: a counter that stood still while nothing was heard for longer says nothing: it may have
had no power, and one that has none counts nothing."""
JITTER = 0.25
"""J: two periods that overlap by no more than this share of the later one are neighbours."""
_LATE_RESET = timedelta(hours=2)
"""A station's own midnight may be an hour off the site's, for it may know no summer time."""


class Span(NamedTuple):
    """Rain over [start, end) as a gauge has it; NaN where the gauge does not know."""

    start: float
    end: float
    mm: float


class Count(NamedTuple):
    """What a counter read at a moment."""

    at: float
    total: float


class _Growth(NamedTuple):
    mm: float
    why: str | None

    def doubtful(self, seconds: float) -> bool:
        """A tip within seconds of another is no cloudburst: a minute is the least."""
        return self.mm / max(seconds, SECONDS_PER_MINUTE) * SECONDS_PER_HOUR > DOUBTFUL_MM_H


def growth_steps(
    counts: Sequence[Count],
    resets: CounterResets,
    zone: tzinfo,
    told: list[str],
    longest_dry_s: float = LONGEST_DRY_S,
) -> list[Span]:
    """The rain between the readings of one counter.

    Parameters
    ----------
    counts : of one counter, in order of time, no moment twice
    resets : when it begins anew of itself, on the calendar of `zone`
    told : gets a sentence for each reset, each reading that was left out, each gap
    longest_dry_s : a stand-still over a longer silence is not known to be dry [s]

    Notes
    -----
    The first reading is only where counting begins. From then on, between two readings:

    - it grew: that much rain fell, some time between them (one step, however long);
    - it fell by up to 0.05 mm: it wavered, no rain;
    - it fell by more: it began anew, and what it reads now fell since;
    - a counter that resets every day, month or year was read on both sides of such a moment,
      at least two hours after it: it began anew even if it stands higher than before;
    - the growth is over 300 mm/h (taken over a minute at least): the reading is kept aside,
      and there is no step up to it, until the next reading. If that one stands on it (is not
      below it, and after a fall not back at the old level either), it was so: both count. If
      not, the one kept aside is left out for good and the next is held against the one before.
      A jump that was so, but is more than ever fell anywhere, is another counter: counting
      begins there, and what fell is not known;
    - it stood still over more than `longest_dry_s` without a word: not known.
    """
    spans: list[Span] = []
    base: Count | None = None
    aside: Count | None = None
    for count in counts:
        if base is None:
            base = count
            continue
        if aside is not None:
            if _bears_out(base, aside, count):
                spans.append(_confirmed(base, aside, resets, zone, told))
                base = aside
            else:
                told.append(f"{_z(aside.at)}: {aside.total:g} mm stood alone and was left out")
            aside = None
        grown = _grown(base, count, resets, zone)
        if grown.doubtful(count.at - base.at):
            aside = count
            continue
        if grown.why:
            told.append(f"{_z(count.at)}: {grown.why}")
        if grown.mm == 0 and count.at - base.at > longest_dry_s:
            told.append(
                f"{_z(count.at)}: the counter stood still over {(count.at - base.at) / 3600:.1f} h"
                " without a word, which says nothing"
            )
        else:
            spans.append(Span(base.at, count.at, grown.mm))
        wavered = -WAVER_MM <= count.total - base.total < 0 and not grown.why
        base = Count(count.at, base.total) if wavered else count
    if aside is not None:
        told.append(f"{_z(aside.at)}: {aside.total:g} mm is kept aside until the next reading")
    return spans


def _grown(base: Count, count: Count, resets: CounterResets, zone: tzinfo) -> _Growth:
    # To the micrometre: a counter in hundredths is no exact number.
    change = round(count.total - base.total, 6)
    if change < -WAVER_MM:
        return _Growth(count.total, f"the counter began anew; {count.total:g} mm fell since")
    if _began_anew(base.at, count.at, resets, zone):
        why = f"the counter began anew in the gap before; {count.total:g} mm fell since"
        return _Growth(count.total, why)
    return _Growth(max(change, 0.0), None)


def _began_anew(start: float, end: float, resets: CounterResets, zone: tzinfo) -> bool:
    """Whether the moment at which it resets lies between, well before `end`."""
    if resets == "never":
        return False
    before = to_moment(start).astimezone(zone)
    after = (to_moment(end) - _LATE_RESET).astimezone(zone)
    if resets == "yearly":
        return after.year > before.year
    if resets == "monthly":
        return (after.year, after.month) > (before.year, before.month)
    return after.date() > before.date()


def _bears_out(base: Count, aside: Count, count: Count) -> bool:
    stands = count.total >= aside.total - WAVER_MM
    fell = aside.total < base.total
    return stands and (not fell or count.total < base.total)


def _confirmed(
    base: Count, aside: Count, resets: CounterResets, zone: tzinfo, told: list[str]
) -> Span:
    grown = _grown(base, aside, resets, zone)
    hours = max(aside.at - base.at, SECONDS_PER_MINUTE) / SECONDS_PER_HOUR
    if grown.mm > most_rain_mm(hours):
        told.append(
            f"{_z(aside.at)}: the counter went from {base.total:g} to {aside.total:g} mm, which no"
            " rain does; counting begins there"
        )
        return Span(base.at, aside.at, math.nan)
    told.append(f"{_z(aside.at)}: {grown.mm:g} mm at once, borne out by the next reading")
    return Span(base.at, aside.at, grown.mm)


def period_steps(spans: Sequence[Span], told: list[str]) -> list[Span]:
    """Amounts that were sent with their period, as steps that do not overlap.

    The shortest periods are taken first, then the earliest. One that overlaps those taken by
    up to a quarter of itself was sent by an unsteady clock: it is cut to what is left, with
    all its rain. One that overlaps more says again what is known, as the sum of the last hour
    does that is sent every few minutes: it is left out, never added.
    """
    taken: list[Span] = []
    left_out = 0
    for span in sorted(spans, key=lambda s: (round(s.end - s.start), s.end)):
        i = bisect_right(taken, span)
        start, end = span.start, span.end
        if i:
            start = max(start, taken[i - 1].end)
        if i < len(taken):
            end = min(end, taken[i].start)
        if end - start < (1.0 - JITTER) * (span.end - span.start):
            left_out += 1
        else:
            taken.insert(i, Span(start, end, span.mm))
    if left_out:
        told.append(f"{left_out} amounts were left out: others already cover their time")
    return taken


def beside(taken: list[Span], more: Sequence[Span]) -> list[Span]:
    """`taken` with those of `more` that overlap none of them, in order of time."""
    out = list(taken)
    for span in more:
        i = bisect_right(out, span)
        after = i == 0 or out[i - 1].end <= span.start
        before = i == len(out) or span.end <= out[i].start
        if after and before:
            out.insert(i, span)
    return out


def _z(epoch_s: float) -> str:
    return f"{to_moment(epoch_s):%Y-%m-%dT%H:%MZ}"
