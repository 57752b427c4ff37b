"""When a cover that was logged on counted as on: until a gust passes its limit."""

from __future__ import annotations

import numpy as np

from monitor.exposure.scene import Span
from monitor.exposure.wind import gust_10m, gust_at
from monitor.report.material import Material


def cover_spans(material: Material, g: int) -> tuple[tuple[float, float], ...]:
    """Spans in which the cover of one exposure counted as on [s].

    As the exposure counts it; in hours of no weather it stays as it was.
    """
    track = material.exposure.groups[g].track
    steps = material.exposure.steps
    weather, site = steps.weather, material.show.site
    open_gust = gust_10m(
        weather.gust_mps,
        weather.wind_mps,
        weather.wind_basis,
        weather.wind_height_m,
        site.terrain,
    )
    before = material.before
    blown = before is not None and bool(before.blown[g])
    begin, end = material.period
    found = []
    for segment in track.segments:
        kind = segment.kind
        start, stop = max(segment.start_s, begin), min(segment.end_s, end)
        if not segment.covered or kind.cover is None or stop <= start:
            continue
        gust = gust_at(open_gust, segment.place.height_m, segment.place.terrain)
        # What blew a cover off before the period says nothing of one put on within it.
        span = Span(
            segment, kind, steps, gust, blown=blown and (segment.covered_since_s or begin) < begin
        )
        off = span.blown_s[0]
        stop = stop if np.isnan(off) else min(stop, float(off))
        if stop > start:
            found.append((start, stop))
    return tuple(found)
