"""When nobody may work at a position, and the latest start that still leaves enough time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.domain import Floats, Position, Site
from monitor.exposure.steps import Steps
from monitor.exposure.wind import gust_10m, gust_at
from monitor.planning.chance import at_risk
from monitor.units import SECONDS_PER_MINUTE

AFTER_THUNDER_S = 30 * SECONDS_PER_MINUTE
"""The 30/30 rule's wait after the last thunder (published)."""

CAUSES = ("thunder", "gust", "dark", "crew")
"""What blocks work, the most dangerous first."""


@dataclass(frozen=True, slots=True)
class Span:
    """Blocked time, half-open, and what blocks it: "gust", "thunder", "dark" or "crew"."""

    start_s: float
    end_s: float
    by: str
    gust_mps: float | None = None
    says: str | None = None
    """Who says so, where it is not the forecast: "official warning: thunderstorm (SERVICE)"."""


def gust_at_position(steps: Steps, position: Position, site: Site) -> Floats:
    """Gust at a position's height (member, step) [m/s]."""
    weather = steps.weather
    at_10m = gust_10m(
        weather.gust_mps,
        weather.wind_mps,
        weather.wind_basis,
        weather.wind_height_m,
        site.terrain,
    )
    return gust_at(at_10m, position.height_m, position.terrain or site.terrain)


def thunder_spans(steps: Steps, risk: float, past_until_s: float = -np.inf) -> tuple[Span, ...]:
    """Each thunder step whole, and 30 minutes after its end; the last one past included.

    Not known blocks nothing; the caller says so.
    """
    weather = steps.weather
    risky = at_risk(
        np.nan_to_num(weather.thunder),
        weather.weights,
        risk,
        ~np.isnan(weather.thunder),
        weather.feed_of,
    )
    ahead = [
        Span(float(weather.starts[i]), float(weather.ends[i]) + AFTER_THUNDER_S, "thunder")
        for i in np.flatnonzero(risky)
    ]
    if np.isfinite(past_until_s):
        ahead.append(Span(past_until_s, past_until_s + AFTER_THUNDER_S, "thunder"))
    return tuple(ahead)


def gust_spans(steps: Steps, position: Position, site: Site, risk: float) -> tuple[Span, ...]:
    """Steps whose gust at the position's height is over its access limit."""
    limit = position.access_limit_mps
    if limit is None:
        return ()
    gust = gust_at_position(steps, position, site)
    weather = steps.weather
    over = (gust > limit).astype(float)
    risky = at_risk(over, weather.weights, risk, ~np.isnan(gust), weather.feed_of)
    return tuple(
        Span(
            float(steps.weather.starts[i]),
            float(steps.weather.ends[i]),
            "gust",
            float(np.nanmax(gust[:, i])),
        )
        for i in np.flatnonzero(risky)
    )


def known_gust_now(steps: Steps, site: Site, now_s: float) -> bool:
    """Whether the gust of the running step is known, given or derived."""
    weather = steps.weather
    if not len(weather.starts) or weather.starts[0] > now_s:
        return False
    at_10m = gust_10m(
        weather.gust_mps[:, :1],
        weather.wind_mps[:, :1],
        weather.wind_basis,
        weather.wind_height_m,
        site.terrain,
    )
    return not bool(np.isnan(at_10m).all())


def merged(spans: Sequence[Span]) -> tuple[Span, ...]:
    """Spans joined where they touch; the first that blocks names the reason."""
    out: list[Span] = []
    for span in sorted(spans, key=lambda s: (s.start_s, CAUSES.index(s.by))):
        if out and span.start_s <= out[-1].end_s:
            last = out[-1]
            gusts = [g for g in (last.gust_mps, span.gust_mps) if g is not None]
            out[-1] = Span(
                last.start_s,
                max(last.end_s, span.end_s),
                last.by,
                max(gusts) if gusts else None,
                last.says,
            )
        else:
            out.append(span)
    return tuple(out)


def blocking(spans: Sequence[Span], moment_s: float) -> Span | None:
    """The whole blocked time a moment lies in, named by what blocks at that very moment."""
    causes = [s for s in spans if s.start_s <= moment_s < s.end_s]
    if not causes:
        return None
    whole = next(s for s in merged(spans) if s.start_s <= moment_s < s.end_s)
    by = min((s.by for s in causes), key=CAUSES.index)
    told = (s.says for s in causes if s.by == by and s.says is not None)
    return replace(whole, by=by, says=next(told, None))


def latest_start_s(blocked: Sequence[Span], do_by_s: float, minutes: float) -> float:
    """Latest moment from which enough unblocked minutes are left before a deadline.

    Jobs may pause between fixtures, so workable time adds up across blocked spans. Every
    start after it leaves too little (tests/planning checks that against a search).
    """
    left = minutes * SECONDS_PER_MINUTE
    end = do_by_s
    for span in reversed(merged(blocked)):
        if span.start_s >= end:
            continue
        free = max(0.0, end - max(span.end_s, -np.inf)) if span.end_s < end else 0.0
        if free >= left:
            return end - left
        left -= free
        end = min(end, span.start_s)
    return end - left


def before_closed_s(closed: Sequence[Span], due_s: float, minutes: float, now_s: float) -> float:
    """A deadline that lies in closed time, or too soon after it, moved to before that began.

    Where it has begun already the deadline stands.
    """
    moved_s = due_s
    for span in reversed(merged(closed)):
        if span.start_s < moved_s and moved_s - span.end_s < minutes * SECONDS_PER_MINUTE:
            moved_s = span.start_s
    return moved_s if moved_s > now_s else due_s


def workable_s(blocked: Sequence[Span], start_s: float, end_s: float) -> float:
    """Unblocked seconds in [start, end)."""
    taken = sum(max(0.0, min(s.end_s, end_s) - max(s.start_s, start_s)) for s in merged(blocked))
    return max(0.0, end_s - start_s - taken)


def finish_s(blocked: Sequence[Span], start_s: float, minutes: float) -> float:
    """When work begun at `start_s` is done, pausing while blocked."""
    left, at = minutes * SECONDS_PER_MINUTE, start_s
    for span in merged(blocked):
        if span.end_s <= at:
            continue
        free = max(0.0, span.start_s - at)
        if free >= left:
            return at + left
        left -= free
        at = span.end_s
    return at + left
