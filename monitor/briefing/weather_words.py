"""The coming weather in a sentence, what of it is not heard, and the three things kept apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from monitor.alerts.clock import age
from monitor.alerts.words import depth, listed, one_line, sentence, speed
from monitor.briefing.gear import isolated_now, wet_now
from monitor.briefing.sheet import Section, bounded
from monitor.units import to_moment

if TYPE_CHECKING:
    from monitor.briefing.known import Known, Opened


def forecast(known: Known) -> str:
    """The next 24 hours in one sentence, with its source, issue time and age."""
    seen, clock = known.outlook, known.clock
    if not len(seen.starts) or not seen.rain_known.any():
        return f"Forecast: not known. {_source(known)}"
    reaches = "the next 24 h"
    if seen.known_to_s < seen.end_s:
        first = seen.unknown_spans()[0]
        reaches = f"the next 24 h, nothing known from {clock.at(to_moment(first[0]))}"
    spans = seen.wet_spans()
    said = "no rain"
    if spans:
        # what is dry at the risk, and what is not known, adds nothing
        total = float(np.nansum(np.where(seen.wet, seen.rain_mm, 0.0)))
        when = clock.span(to_moment(spans[0][0]), to_moment(spans[-1][1]))
        rate = np.nan_to_num(seen.rain_mm) / ((seen.ends - seen.starts) / 3600.0)
        most = int(np.argmax(np.where(seen.wet, rate, 0.0)))
        heaviest = clock.at(to_moment(seen.starts[most]))
        stops = " with breaks" if len(spans) > 1 else ""
        said = f"{depth(total)} of rain {when}{stops}, most from {heaviest} ({rate[most]:.1f} mm/h)"
    return f"Forecast for {reaches}: {said}; {_gust(known)}; {_thunder(known)}. {_source(known)}"


def _gust(known: Known) -> str:
    gust = known.outlook.gust_mps
    if not np.isfinite(gust).any():
        return "gust not known"
    peak = int(np.nanargmax(gust))
    at = known.clock.at(to_moment(known.outlook.starts[peak]))
    said = f"gust to {speed(float(gust[peak]))} at {at} (10 m up)"
    return said if np.isfinite(gust).all() else f"{said}, some hours not known"


def _thunder(known: Known) -> str:
    spans, seen = known.outlook.thunder_spans(), known.outlook
    if spans:
        when = ", ".join(known.clock.span(to_moment(a), to_moment(b)) for a, b in spans[:2])
        return f"thunder {when}"
    return "no thunder in it" if seen.thunder_known.all() else "of thunder it does not say all"


def _source(known: Known) -> str:
    source = known.source
    if not source.names:
        return "No forecast is held."
    said = f"From {', '.join(one_line(name) for name in source.names)}"
    issued = source.issued_at
    if issued is not None and len(source.names) == 1:
        said += f", issued {known.clock.at(issued)}, {age(issued, known.now)}"
    elif issued is None:
        old = "" if known.said_at is None else f", {age(known.said_at, known.now)}"
        said += f"{old}; when it was issued is not known"
    return f"{said}."


def heard(known: Known, most: int) -> Section:
    """Feeds and stations that are lost."""
    lines = bounded([sentence(line) for line in known.lost], most, "on the duty page")
    if not lines:
        good = "All feeds and stations are heard." if known.sources else "No feed is set up."
        lines = (good,)
    return Section("heard", "Feeds and gauges", lines)


# ---------------------------------------------------------------- the three clears


def clears(known: Known) -> Section:
    """Rain over, work at height open, power on: the first is said, the others are declared."""
    return Section(
        "clears",
        "Three things, each on its own",
        (
            f"Rain: {rain(known)}",
            f"Work at height: {_declared(known, 'height')}{_stopped(known)}",
            f"Power on again: {_declared(known, 'power')}{_stays_off(known)}",
        ),
    )


def rain(known: Known) -> str:
    """Whether the rain is over, as far as is known."""
    seen, clock = known.outlook, known.clock
    if seen.known_to_s <= seen.now_s:
        return "not known; no forecast tells of this hour."
    spans = seen.wet_spans()
    if spans and spans[0][0] <= seen.now_s:
        return f"not over, to {clock.at(to_moment(spans[0][1]))} by the forecast."
    until = clock.at(to_moment(seen.known_to_s))
    last = _last_rain(known)
    begun = "dry now" if last is None else f"dry since {clock.at(to_moment(last))}"
    if spans and spans[0][0] < seen.known_to_s + 1.0:
        return f"{begun}; rain again from {clock.at(to_moment(spans[0][0]))}."
    return f"over as far as is known, to {until}; {begun}."


def _last_rain(known: Known) -> float | None:
    """When the last rain since load-in ended; None: there was none, or it is not known."""
    past = known.found.past
    if past is None:
        return None
    wet = np.flatnonzero((np.nan_to_num(past.steps.rate_mm_h) > 0.0).any(axis=0))
    return float(past.steps.weather.ends[wet[-1]]) if len(wet) else None


def _declared(known: Known, what: str) -> str:
    """Who declared it open last: for the site, and for places since then."""
    said = [one for one in known.declared if one.declared.what == what]
    if not said:
        return "nobody has declared it open."
    whole = next((one for one in reversed(said) if one.declared.position is None), None)
    named = [] if whole is None else [whole]
    latest = {one.declared.position: one for one in said if one.declared.position is not None}
    named += [o for o in latest.values() if whole is None or o.declared.at > whole.declared.at]
    return f"{'; '.join(bounded([_opened(known, one) for one in named], 3, 'in the history'))}."


def _opened(known: Known, one: Opened) -> str:
    made, clock = one.declared, known.clock
    said = f"{known.place(made.position)} declared open by {one_line(made.by)}, {clock.at(made.at)}"
    if one.ended_at is None:
        return said
    when = "in" if one.ended_at <= made.at else "before"
    return f"{said}, but {when} the {one.ended_by} of {clock.at(one.ended_at)}: not since"


def _stays_off(known: Known) -> str:
    """What power that was declared on again does not reach: isolated, or found wet."""
    power = [o.declared.position for o in known.declared if o.declared.what == "power" and o.stands]
    if not power:
        return ""
    places = None if None in power else {position for position in power if position is not None}
    cut = [one.what for one in isolated_now(known) if places is None or one.position in places]
    wet = [
        item.fixture
        for item in wet_now(known)
        if item.seen_wet and (places is None or item.position in places)
    ]
    said = f" Not where isolated: {listed(tuple(cut), 4)}." if cut else ""
    return f"{said} Not found dry: {listed(tuple(wet), 4)}." if wet else said


def _stopped(known: Known) -> str:
    """What stands against it now."""
    stop = next((s for s in known.alerts if s.alert.kind == "stop"), None)
    if known.found.plan.thunder is None and stop is None:
        return ""
    since = "" if stop is None else f" since {known.clock.at(stop.opened_at)}"
    return f" A stop stands{since}: nobody works at height."
