"""When it is dark: places that are reached by daylight only are closed then."""

from __future__ import annotations

import numpy as np

from monitor.domain import Floats, Site
from monitor.exposure.damp import sun
from monitor.planning.workable import Span
from monitor.units import SECONDS_PER_MINUTE

SUNSET_DEG = -50.0 / 60.0
"""Elevation of the sun's middle when its upper edge is on the horizon: 34' of refraction and 16'
of its own radius, the convention of almanacs for sunrise and sunset (read)."""
_EVERY_S = 10 * SECONDS_PER_MINUTE
_HALVINGS = 12


def dark_spans(site: Site, from_s: float, until_s: float) -> tuple[Span, ...]:
    """Sunset to sunrise.

    Parameters
    ----------
    site : its place
    from_s, until_s : seconds

    Returns
    -------
    Spans that reach into [from, until), cut at its ends

    Notes
    -----
    By the sun of the damp hours, some minutes off an almanac's. Hills and cloud are not known:
    it can be too dark to work well before.
    """
    if until_s <= from_s:
        return ()
    moments = np.append(np.arange(from_s, until_s, _EVERY_S), until_s)
    dark = _elevation_deg(site, moments) <= SUNSET_DEG
    turns = np.flatnonzero(dark[1:] != dark[:-1])
    edges = [from_s, *_turning(site, moments[turns], moments[turns + 1]).tolist(), until_s]
    # Between two turns it is dark or light throughout, in turn.
    first = 0 if dark[0] else 1
    return tuple(
        Span(edges[i], edges[i + 1], "dark", says="it is dark there")
        for i in range(first, len(edges) - 1, 2)
    )


def _elevation_deg(site: Site, moments_s: Floats) -> Floats:
    sine = sun(moments_s, site.latitude, site.longitude).sine
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def _turning(site: Site, before_s: Floats, after_s: Floats) -> Floats:
    """When the sun crosses the horizon between two moments."""
    low, high = before_s.copy(), after_s.copy()
    was_dark = _elevation_deg(site, low) <= SUNSET_DEG
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        same = (_elevation_deg(site, middle) <= SUNSET_DEG) == was_dark
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return (low + high) / 2.0
