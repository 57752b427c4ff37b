"""What is to be known of a job beside its order: heat and damp under covers, and open tails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

import numpy as np

from monitor.domain import Cover, Fixture, Show
from monitor.exposure.damp import damp_sheltered
from monitor.exposure.results import Exposure
from monitor.planning.chance import at_risk
from monitor.planning.doors import doors
from monitor.units import to_moment

_NAMED = 4
"""So many fixtures are named; more are counted."""


def may_run_covered(fixture: Fixture, cover: Cover) -> bool:
    """Whether a fixture may be lit under its cover: both have to allow it."""
    return cover.may_run and fixture.may_run_covered


def cover_cautions(
    show: Show,
    fixtures: Sequence[Fixture],
    ahead: Exposure,
    from_s: float,
    rain_until_s: float | None,
) -> tuple[str, ...]:
    """What covering costs: heat in what a fan cools, damp in what is sealed.

    Parameters
    ----------
    show : its covers
    fixtures : that are covered, each by the cover it names
    ahead : the forecast's exposure
    from_s : when they are covered at the latest (seconds)
    rain_until_s : when the rain ends that they are covered for; None: not known
    """
    covers = [(f, show.covers[f.cover]) for f in fixtures if f.cover is not None]
    hot = sum(f.count for f, c in covers if f.fan_cooled and not may_run_covered(f, c))
    said = []
    if hot:
        is_ = "is" if hot == 1 else "are"
        whose = "Fan-cooled" if hot == sum(f.count for f in fixtures) else f"{hot} {is_} fan-cooled"
        said.append(f"{whose}: off before {'it' if hot == 1 else 'they'} {is_} covered.")
    if any(c.sealed for _, c in covers):
        open_by = _damp_until(show, ahead, from_s)
        if open_by is not None:
            when = "as soon as the rain is over"
            if rain_until_s is not None and rain_until_s <= open_by:
                when = f"by {_site_time(show, open_by)}"
            said.append(f"Under sealed covers damp builds up: open them {when}.")
    return tuple(said)


def bare_for_the_show(show: Show, fixtures: Sequence[Fixture], now_s: float) -> tuple[str, ...]:
    """Where nothing is due: what is not lit under its cover is covered after the show."""
    coming = doors(show, now_s)
    lit = all(f.cover is None or may_run_covered(f, show.covers[f.cover]) for f in fixtures)
    if coming is None or lit:
        return ()
    at = f"{coming.begins_at(show):%H:%M}"
    return (
        f"Not lit under covers: for the show at {at} they stay bare, and are covered after it.",
    )


def _damp_until(show: Show, ahead: Exposure, from_s: float) -> float | None:
    """End of the hours in nearly saturated air before noon; None where they are too few to harm."""
    steps, weather, policy = ahead.steps, ahead.steps.weather, show.policy
    noon = _next_noon(show, from_s)
    window = (weather.ends > from_s) & (weather.starts < noon)
    known = ~np.isnan(weather.temp_c + weather.dew_point_c)
    close = np.nan_to_num(damp_sheltered(weather.temp_c, weather.dew_point_c).astype(float))
    damp = window & at_risk(close, weather.weights, policy.risk, known, weather.feed_of)
    if float(steps.hours[damp].sum()) < policy.damp_hours_check:
        return None
    return min(noon, float(weather.ends[np.flatnonzero(damp)[-1]]))


def _next_noon(show: Show, moment_s: float) -> float:
    local = to_moment(moment_s).astimezone(show.site.timezone)
    noon = local.replace(hour=12, minute=0, second=0, microsecond=0)
    return (noon if noon > local else noon + timedelta(days=1)).timestamp()


def _site_time(show: Show, moment_s: float) -> str:
    at: datetime = to_moment(moment_s).astimezone(show.site.timezone)
    return f"{at:%a %H:%M}"


def open_tails(
    show: Show,
    ahead: Exposure,
    groups: Sequence[int],
    rows: Mapping[int, Sequence[Fixture]],
    now_s: float,
) -> tuple[str, ...]:
    """Tails to be capped: an open connector is what holds the chain back.

    Until load-in ends they count as open for want of a word that they are mated.
    """
    open_at = [
        fixture
        for g in groups
        if ahead.groups[g].open_at(now_s) and ahead.weakest_part(g) == "connector"
        for fixture in rows[g]
    ]
    if not open_at:
        return ()
    one = len(open_at) == 1 and open_at[0].count == 1
    tails = f"the tail{'' if one else 's'} of {_named(open_at)}"
    rigged = show.event.load_in_ends_at
    if rigged is not None and now_s < rigged.timestamp():
        until = _site_time(show, rigged.timestamp())
        said = f"Load-in to {until}: open connectors count, and one is the weakest part."
        return (f"{said} Mate or cap {tails}, and log it capped.",)
    return (f"An open connector is the weakest part: capping {tails} may be enough.",)


def _named(fixtures: Sequence[Fixture]) -> str:
    ids = [fixture.id for fixture in fixtures]
    if len(ids) > _NAMED:
        ids = [*ids[: _NAMED - 1], f"{len(ids) - _NAMED + 1} more"]
    return ids[0] if len(ids) == 1 else f"{', '.join(ids[:-1])} and {ids[-1]}"
