"""What fell over the period, and how much of it is known from what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.domain import Floats
from monitor.exposure.wetting import driving_rain_index
from monitor.exposure.wind import gust_10m, wind_10m
from monitor.report.material import Material
from monitor.units import SECONDS_PER_HOUR

WALLS = (
    (0.0, "north"),
    (45.0, "north-east"),
    (90.0, "east"),
    (135.0, "south-east"),
    (180.0, "south"),
    (225.0, "south-west"),
    (270.0, "west"),
    (315.0, "north-west"),
)
_SLACK_S = 1.0
"""A gap shorter than this is a matter of rounding [s]."""


@dataclass(frozen=True, slots=True)
class Rainfall:
    """Figures of the whole site."""

    rain_mm: float
    """On open ground, as far as known"""
    by_kind_mm: dict[str, float]
    hours_by_kind: dict[str, float]
    """What the known hours rest on"""
    unknown_h: float
    """Hours of the period with no usable weather, gaps included"""
    worst_hour_mm: float
    worst_hour_s: float
    """Begin of the 60 minutes with most rain"""
    wall: str
    wall_deg: float
    driving_rain: float
    """Airfield driving-rain index of the worst wall [L/m2]"""
    left_out_steps: int
    """Wet steps without wind or direction, which the index leaves out"""
    gust_mps: float
    """Strongest gust at 10 m, NaN not known"""
    gust_s: float
    unknown_spans: tuple[tuple[float, float], ...]


def rainfall(material: Material) -> Rainfall:
    """What fell, out of the weather that the exposure was computed from."""
    steps = material.exposure.steps
    weather, site = steps.weather, material.show.site
    rain = weather.rain_mm[0]
    known = np.nan_to_num(rain)
    kinds = np.array(material.kinds(), dtype=object)
    usable = ~steps.unknown[0]
    source = (weather.wind_basis, weather.wind_height_m, site.terrain)
    wind = wind_10m(weather.wind_mps[0], *source)
    index = [
        driving_rain_index(rain, steps.hours, wind, weather.wind_from_deg[0], deg)
        for deg, _ in WALLS
    ]
    worst = int(np.argmax(index))
    lost = np.isnan(weather.wind_mps[0])
    lost |= np.isnan(weather.wind_from_deg[0]) & (weather.wind_mps[0] > 0.0)
    gust = gust_10m(weather.gust_mps, weather.wind_mps, *source)[0]
    most, begins = worst_hour(weather.starts, weather.ends, known)
    blown = np.isfinite(gust).any()
    spans = unknown_spans(material)
    return Rainfall(
        rain_mm=float(known.sum()),
        by_kind_mm={k: float(known[kinds == k].sum()) for k in ("measured", "record", "forecast")},
        hours_by_kind={
            k: float(steps.hours[(kinds == k) & usable].sum())
            for k in ("measured", "record", "forecast")
        },
        unknown_h=sum(end - start for start, end in spans) / SECONDS_PER_HOUR,
        worst_hour_mm=most,
        worst_hour_s=begins,
        wall=WALLS[worst][1],
        wall_deg=WALLS[worst][0],
        driving_rain=float(index[worst]),
        left_out_steps=len(np.unique(steps.middle_s[lost & (known > 0.0)])),
        gust_mps=float(np.nanmax(gust)) if blown else float("nan"),
        gust_s=float(weather.starts[int(np.nanargmax(gust))]) if blown else float("nan"),
        unknown_spans=spans,
    )


def unknown_spans(material: Material) -> tuple[tuple[float, float], ...]:
    """Spans of the period in which what fell is not known, rising and apart [s]."""
    steps = material.exposure.steps
    start, end = material.period
    found: list[tuple[float, float]] = []
    reached = start
    for begins, ends, unknown in zip(
        steps.weather.starts.tolist(),
        steps.weather.ends.tolist(),
        steps.unknown[0].tolist(),
        strict=True,
    ):
        if begins > reached + _SLACK_S:
            found.append((reached, min(begins, end)))
        if unknown:
            found.append((max(begins, start), min(ends, end)))
        reached = max(reached, ends)
    if end > reached + _SLACK_S:
        found.append((reached, end))
    joined: list[tuple[float, float]] = []
    for begins, ends in found:
        if joined and begins <= joined[-1][1] + _SLACK_S:
            joined[-1] = (joined[-1][0], max(ends, joined[-1][1]))
        elif ends > begins:
            joined.append((begins, ends))
    return tuple(joined)


def worst_hour(starts: Floats, ends: Floats, rain_mm: Floats) -> tuple[float, float]:
    """Most rain in any 60 minutes, spread evenly within a step, and when they begin.

    What fell until a moment is a line with corners at the edges of steps, so the most is found
    with one end of the hour on an edge.
    """
    if not len(starts):
        return 0.0, float("nan")
    edges = np.stack([starts, ends], axis=1).ravel()
    fallen = np.stack([np.zeros_like(rain_mm), rain_mm], axis=1).ravel().cumsum()
    begins = np.unique(np.concatenate([edges, edges - SECONDS_PER_HOUR]))
    begins = begins[begins >= starts[0]]
    within = np.interp(begins + SECONDS_PER_HOUR, edges, fallen) - np.interp(begins, edges, fallen)
    most = int(within.round(9).argmax())  # of equals the first, whatever the last bits say
    return float(within[most]), float(begins[most])
