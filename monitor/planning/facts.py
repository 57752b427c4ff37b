"""What a message says beside what to do: the rain, the wind, where it comes in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from monitor.domain import Bools, Facts, Fixture, Floats, Position, Show
from monitor.exposure.pool import mean_direction_deg, mean_known, reached_at_risk
from monitor.exposure.results import Exposure
from monitor.exposure.rig import place_of
from monitor.exposure.shelter import SIDES, ray_to_edge
from monitor.planning.workable import gust_at_position
from monitor.units import to_moment


def fixture_names(fixtures: Sequence[Fixture]) -> tuple[str, ...]:
    """What the fixtures are, most numerous first: "6 moving beam, IP54"."""
    kinds: Counter[str] = Counter()
    for fixture in fixtures:
        what = fixture.type or fixture.name or "fixture"
        kinds[f"{what}, {fixture.code.canonical}"] += fixture.count
    return tuple(f"{count} {what}" for what, count in kinds.most_common())


def plain_facts(show: Show, position: Position, fixtures: Sequence[Fixture], used: float) -> Facts:
    """Facts of a job that no wet spell asks for."""
    return Facts(
        site_name=show.site.name,
        timezone=show.site.timezone.key,
        position_name=position.name,
        fixture_names=fixture_names(fixtures),
        used=used,
        access=position.access,
        access_limit_mps=position.access_limit_mps,
    )


def gap_into(position: Position, show: Show, wind_from_deg: float) -> str:
    """Where the water comes in, in crew words."""
    spot = place_of(position, show).spot
    if spot is None:
        return "open sky" if position.roof is None else "the roof's edge"
    if np.isnan(wind_from_deg):
        return "the roof's nearest open side"
    distance, is_open = ray_to_edge(spot, np.array([wind_from_deg]))
    if not is_open[0]:
        return "a closed side; slanting rain from beside it"
    across = {
        side: abs(spot.distance(side) - distance[0])
        for side in SIDES
        if side not in spot.roof.closed
    }
    side = min(across, key=lambda s: across[s])
    return (
        f"under the {side} edge of the roof, {distance[0]:.1f} m in, {spot.rise_m:.1f} m below it"
    )


def weather_facts(
    show: Show,
    position: Position,
    ahead: Exposure,
    group: int,
    steps: slice,
    fixtures: Sequence[Fixture],
) -> Facts:
    """Facts of a wet spell at a position.

    Parameters
    ----------
    ahead : the forecast's exposure
    group : the worst one of the job
    steps : of the spell, from now on
    fixtures : of the job, for their names
    """
    weather = ahead.steps.weather
    shares = np.repeat(weather.weights[:, np.newaxis], len(weather.starts[steps]), axis=1)

    def mean(values: Floats, known: Bools) -> Floats:
        """Of the members that know; 0 where none does."""
        return np.asarray(np.nan_to_num(mean_known(np.where(known, values, np.nan), shares)[0]))

    says = ~ahead.steps.unknown[:, steps]
    rain = mean(weather.rain_mm[:, steps], says)
    wettest = int(rain.argmax()) if len(rain) else 0
    driven = mean(ahead.wetting_mm[:, steps, group], says)
    gust = gust_at_position(ahead.steps, position, show.site)[:, steps]
    peak = np.nan_to_num(reached_at_risk(gust, shares, show.policy.risk)[0], nan=-1.0)
    known_gust = len(peak) > 0 and peak.max() >= 0.0
    starts, ends = weather.starts[steps], weather.ends[steps]
    wind = mean_known(weather.wind_mps[:, steps], shares)[0]
    come_from = mean_direction_deg(
        weather.wind_mps[:, steps], weather.wind_from_deg[:, steps], shares
    )[0]
    known = len(wind) > 0
    toward = float(come_from[wettest]) if known else float("nan")
    return Facts(
        site_name=show.site.name,
        timezone=show.site.timezone.key,
        position_name=position.name,
        fixture_names=fixture_names(fixtures),
        rain_mm=float(rain.sum()),
        driven_mm=float(driven.sum()),
        wet_from=to_moment(starts[0]) if known else None,
        wet_to=to_moment(ends[-1]) if known else None,
        wind_mps=float(wind[wettest]) if known and not np.isnan(wind[wettest]) else None,
        wind_from_deg=None if np.isnan(toward) else toward,
        gust_mps=float(peak.max()) if known_gust else None,
        gust_at=to_moment(starts[int(peak.argmax())]) if known_gust else None,
        gap=gap_into(position, show, toward),
        access=position.access,
        access_limit_mps=position.access_limit_mps,
    )
