"""Which access is closed, which closes next, and until when."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from monitor.alerts.words import listed, speed
from monitor.briefing.sheet import Section, bounded
from monitor.planning.workable import Span, gust_spans, merged, thunder_spans
from monitor.units import to_moment

if TYPE_CHECKING:
    from monitor.briefing.known import Known
    from monitor.domain import Access

ACCESS: dict[Access, str] = {
    "ground": "On the ground",
    "ladder": "Ladders",
    "platform": "Platform",
    "climb": "Climbing",
    "lowered-truss": "Lowering a truss",
    "none": "Out of reach",
}


@dataclass(frozen=True, slots=True)
class Shut:
    """An access, where it leads, and when nobody may use it within the next 24 hours."""

    access: Access
    places: tuple[str, ...]
    limit_mps: float | None
    spans: tuple[Span, ...]
    known: bool
    """Whether the gusts of all those hours are known, where a gust closes it"""


def shut(known: Known) -> list[Shut]:
    """Every access that is used on site, those that close first before the others."""
    found: dict[tuple[object, ...], Shut] = {}
    for position_id in dict.fromkeys(fixture.position for fixture in known.show.fixtures):
        position = known.show.positions[position_id]
        if position.access == "none":
            continue
        spans = closed_spans(known, position_id)
        limit = position.access_limit_mps
        key = (position.access, tuple((s.start_s, s.end_s) for s in spans))
        here = Shut(
            position.access,
            (known.place(position_id),),
            limit,
            spans,
            _gusts_known(known, limit),
        )
        before = found.get(key)
        found[key] = here if before is None else _together(before, here)
    return sorted(found.values(), key=_soonest)


def _together(one: Shut, other: Shut) -> Shut:
    """Places that close for the same hours, under the lowest of their limits."""
    limits = [limit for limit in (one.limit_mps, other.limit_mps) if limit is not None]
    return replace(
        one,
        places=(*one.places, *other.places),
        limit_mps=min(limits, default=None),
        known=one.known and other.known,
    )


def closed_spans(known: Known, position_id: str) -> tuple[Span, ...]:
    """When nobody may work at a position within the next 24 hours."""
    steps, show, position = known.found.ahead.steps, known.show, known.show.positions[position_id]
    past = known.found.past
    thunder_until_s = float("-inf") if past is None else past.carried.thunder_until_s
    spans = (
        *thunder_spans(steps, show.policy.risk, thunder_until_s),
        *known.closed,
        *gust_spans(steps, position, show.site, show.policy.risk),
        *(known.dark if position.daylight else ()),
    )
    return tuple(
        span
        for span in merged(spans)
        if span.end_s > known.now_s and span.start_s < known.outlook.end_s
    )


def _gusts_known(known: Known, limit: float | None) -> bool:
    seen = known.outlook
    return limit is None or (bool(np.isfinite(seen.gust_mps).all()) and _whole(known))


def _whole(known: Known) -> bool:
    """The forecast has no gap and reaches to the end of the 24 hours."""
    seen = known.outlook
    at = seen.now_s
    for start, end in zip(seen.starts.tolist(), seen.ends.tolist(), strict=True):
        if start > at:
            return False
        at = end
    return at >= seen.end_s


def _soonest(one: Shut) -> tuple[float, str]:
    return (one.spans[0].start_s if one.spans else float("inf"), one.access)


def access(known: Known, most: int) -> Section:
    """Closed now, and closing next."""
    found = shut(known)
    lines = [_line(known, one) for one in found if one.spans]
    shown = bounded(lines, most, "on the duty page")
    silent = [] if all(one.known for one in found) else ["gust"]
    silent += [] if known.outlook.thunder_known.all() and _whole(known) else ["thunder"]
    more = [f"Not every hour's {' and '.join(silent)} is known: more may close."] if silent else []
    if not lines and not silent:
        more.append("Nothing is closed, and nothing closes in the next 24 h by the forecast.")
    return Section("access", "Access that closes", (*shown, *more))


def _line(known: Known, one: Shut) -> str:
    clock, first = known.clock, one.spans[0]
    until = clock.at(to_moment(first.end_s))
    if first.start_s <= known.now_s:
        when = f"closed now, to {until}"
    else:
        when = f"closes {clock.at(to_moment(first.start_s))}, to {until}"
    if len(one.spans) > 1:
        again = ", ".join(clock.at(to_moment(span.start_s)) for span in one.spans[1:3])
        when += f"; again from {again}"
    why = _why(first, one.limit_mps)
    # The places come last: where a line has to be cut, the hours stay.
    return f"{ACCESS[one.access]}: {when}. {f'{why} ' if why else ''}{listed(one.places, 4)}."


def _why(span: Span, limit_mps: float | None) -> str:
    if span.by == "thunder":
        return "Official warning." if span.says else "Thunder."
    if span.by == "dark":
        return "Dark there."
    if span.gust_mps is None or limit_mps is None:
        return ""
    return f"Gust to {speed(span.gust_mps)}, limit {speed(limit_mps)}."
