"""The next 24 hours in a few sentences: rain, gust, and which access closes when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from monitor.briefing.access import ACCESS as SPELT
from monitor.briefing.access import Shut, shut
from monitor.briefing.known import Known
from monitor.briefing.picture import Limit, limits
from monitor.domain import Access
from monitor.page.labels import ACCESS, cause
from monitor.page.measures import Measures
from monitor.page.times import Times
from monitor.page.words import Words
from monitor.units import to_moment


@dataclass(frozen=True, slots=True)
class Closing:
    """One access that is closed or closes."""

    access: Access
    places: tuple[str, ...]
    begins: datetime
    until: datetime
    why: str
    limit_mps: float | None
    is_now: bool
    again: int
    """How often more within the 24 hours"""


def sky_lines(known: Known, words: Words, times: Times, measures: Measures) -> list[str]:
    """What the strip shows, for whoever does not see it."""
    seen = known.outlook
    lines = []
    rain = float(np.nansum(seen.rain_mm)) if len(seen.rain_mm) else 0.0
    wet = seen.wet_spans()
    if wet:
        first = times.at(to_moment(wet[0][0]))
        last = times.at(to_moment(wet[-1][1]))
        lines.append(
            words.say(
                "Rain in the next 24 h: {depth}, between {first} and {last}.",
                depth=measures.depth(rain),
                first=first,
                last=last,
            )
        )
    elif len(seen.rain_known) and bool(seen.rain_known.all()):
        lines.append(words.say("No rain in the next 24 h on this forecast."))
    if np.isfinite(seen.gust_mps).any():
        peak = int(np.nanargmax(seen.gust_mps))
        lines.append(
            words.say(
                "Greatest gust {speed} at 10 m, {time}.",
                speed=measures.speed(float(seen.gust_mps[peak])),
                time=times.at(to_moment(float(seen.starts[peak]))),
            )
        )
    for start, end in seen.thunder_spans():
        first, last = times.at(to_moment(start)), times.at(to_moment(end))
        lines.append(words.say("Thunder {first} to {last}.", first=first, last=last))
    known_to = seen.known_to_s
    if known_to < seen.end_s - 1.0:
        if known_to <= seen.now_s:
            lines.append(words.say("What comes is not known: look at the sky yourself."))
        else:
            until = times.at(to_moment(known_to))
            lines.append(words.say("Known to {time} only: more may come.", time=until))
    return lines


def closings(known: Known, words: Words, measures: Measures) -> list[Closing]:
    """Every access that closes within the 24 hours, soonest first."""
    return [_closing(known, one, words, measures) for one in shut(known) if one.spans]


def _closing(known: Known, one: Shut, words: Words, measures: Measures) -> Closing:
    span = one.spans[0]
    return Closing(
        one.access,
        one.places,
        to_moment(span.start_s),
        to_moment(span.end_s),
        cause(span, words, measures.speed(span.gust_mps)),
        one.limit_mps if span.by == "gust" else None,
        span.start_s <= known.now_s,
        len(one.spans) - 1,
    )


def named_limits(known: Known, words: Words) -> list[tuple[str, Limit]]:
    """The lowest limit of each kind of access, named, the lowest first."""
    access_of = {spelt: access for access, spelt in SPELT.items()}
    return [(words.say(ACCESS[access_of[one.access]]), one) for one in limits(known)]
