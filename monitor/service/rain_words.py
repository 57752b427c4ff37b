"""Rain on site that no forecast has: one message at once, and one when that has changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.alerts import words
from monitor.alerts.clock import SiteClock
from monitor.alerts.lifecycle import Source, WatchState
from monitor.alerts.losses import Found
from monitor.alerts.show_times import next_morning
from monitor.evaluation import judge
from monitor.exposure.results import Carried
from monitor.feeds.crew_rain import HOLDS_S, LIGHT_RAIN_MM_H
from monitor.feeds.rain_now import LEAST_MM_H, LOOKS_BACK_S
from monitor.feeds.readings import CREW
from monitor.planning.present import Present, rows_by_group
from monitor.service.telling import follow_trouble
from monitor.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import LogEntry, Message, Show
    from monitor.evaluation import Evaluation
    from monitor.exposure.rig import Rig
    from monitor.feeds.rain_now import RainNow
    from monitor.planning.job import Job
    from monitor.service.sky import Sky

_NAMED = 4
"""So many places are named in one message"""


@dataclass(frozen=True, slots=True)
class Unforeseen:
    """Rain that falls now and that no forecast has, and what it comes to if it goes on."""

    rain: RainNow
    forecast_mm_h: float | None
    """What the forecasts have now; None: no forecast says anything of it"""
    bare: tuple[tuple[str, int], ...]
    """(place, pieces) of the gear that rain harms, that nothing covers and that has some left"""
    spent: tuple[tuple[str, int], ...]
    """The same of what has nothing left"""
    first: Job | None
    """What would be due first if it went on"""


def unforeseen(
    sky: Sky, show: Show, rig: Rig, log: Sequence[LogEntry], found: Evaluation, now: datetime
) -> Unforeseen | None:
    """What falls now, where no forecast has any rain; None where one has, or none falls.

    Notes
    -----
    The exposure is run forward from what everything has taken, with the rate of the last half
    hour as far as a notice looks: persistence, and said to be that.
    """
    rain, forecast = sky.rain(show, now), sky.forecast_now(show, now)
    if rain is None or (forecast is not None and forecast >= LEAST_MM_H):
        return None
    now_s, past = to_epoch(now), found.past
    so_far = Carried.nothing(len(found.ahead.groups)) if past is None else past.carried
    lasting = rain.lasting(now_s + show.policy.notice_hours * SECONDS_PER_HOUR)
    judged = judge(
        rig,
        so_far=so_far,
        ahead=sky.ahead(show, now, lasting),
        log=log,
        state=WatchState(),
        now=now,
        source=Source(),
        out_from_s=to_epoch(show.event.load_in_at),
        closed=sky.warned.closed(show, now),
    )
    due = [j for j in judged.plan.jobs if j.family == "protect" and j.do_by_s is not None]
    first = min(due, key=lambda j: j.do_by_s or 0.0, default=None)
    present = Present(judged.ahead, so_far, now_s)
    open_ones = present.rain_alerts - present.covered
    gone = {g for g in open_ones if present.used[g] >= 1.0}
    rows = rows_by_group(rig, judged.ahead)

    def by_place(groups: Iterable[int]) -> tuple[tuple[str, int], ...]:
        pieces: dict[str, int] = {}
        for g in sorted(groups):
            place = show.positions[present.where[g]].name
            pieces[place] = pieces.get(place, 0) + sum(row.count for row in rows.get(g, ()))
        most = sorted(pieces.items(), key=lambda item: -item[1])
        return tuple((place, count) for place, count in most if count)

    return Unforeseen(rain, forecast, by_place(open_ones - gone), by_place(gone), first)


def rain_found(seen: Unforeseen | None, show: Show, now: datetime) -> Found | None:
    """The trouble in words."""
    if seen is None:
        return None
    clock = SiteClock.named(show.site.timezone.key, now)
    rain = seen.rain
    none = "no forecast says so" if seen.forecast_mm_h is not None else "no forecast tells of now"
    if rain.mm is None:
        says = f"It is raining on site by the crew's word; {none}"
        rate = f"at {LIGHT_RAIN_MM_H:g} mm/h, the most that is called light"
    else:
        minutes = rain.in_s / SECONDS_PER_MINUTE
        fell = f"{rain.mm:.1f} mm in {minutes:.0f} min by {rain.by}"
        says = f"It is raining on site, {fell}; {none}"
        rate = f"at {rain.mm_h:.1f} mm/h as in those {minutes:.0f} min"
    lines = [_bare(seen), *_if_it_goes_on(seen, rate, show, clock)]
    if rain.by == CREW:
        lines.append("If it rains on after half an hour, say so again; if it stops, say that too")
    return Found("notice", says, (*lines, "Trust the sky before the forecast while they disagree"))


def _bare(seen: Unforeseen) -> str:
    if not seen.bare and not seen.spent:
        return "Nothing that rain harms is out and bare by the log"
    said = [f"Bare: {_places(seen.bare)}"] if seen.bare else []
    if seen.spent:
        said.append(f"Wet already, with no allowance left: {_places(seen.spent)}")
    return ". ".join(said)


def _places(there: Sequence[tuple[str, int]]) -> str:
    named = ", ".join(f"{count} at {words.one_line(place)}" for place, count in there[:_NAMED])
    more = sum(count for _, count in there[_NAMED:])
    return named + (f" and {more} elsewhere" if more else "")


def _if_it_goes_on(seen: Unforeseen, rate: str, show: Show, clock: SiteClock) -> list[str]:
    job = seen.first
    if not seen.bare:
        return []
    if job is None or job.do_by_s is None:
        hours = f"{show.policy.notice_hours:g} h"
        return [f"If it goes on {rate}, no bare allowance is reached within {hours}"]
    position = show.positions[job.position]
    place, at = words.one_line(position.name), clock.near(to_moment(job.do_by_s))
    said = [f"If it goes on {rate}, {place} reaches its allowance first, {at}"]
    cut_off = words.one_line(position.isolate_at or "")
    if job.blocked is not None:
        power = f" at {cut_off}" if cut_off else ""
        return [*said, f"Nobody works at {place} now: isolate it{power}"]
    order = {"cover": "Cover", "bring-in": "Bring in"}.get(job.action, "Isolate")
    if job.do_by_s > seen.rain.until_s:
        return [*said, f"Be ready for it: {order.lower()} {place} first"]
    return [*said, f"{order} {place} first; the message of that place says how"]


def rain_over(sky: Sky, show: Show, now: datetime) -> str:
    """Why that rain is no longer told: never more than is known."""
    clock = SiteClock.named(show.site.timezone.key, now)
    if (sky.forecast_now(show, now) or 0.0) >= LEAST_MM_H:
        return "a forecast has rain for now too"
    said = [r for r in sky.gauges.of(CREW) if r.raining is not None and r.at <= now]
    last = max(said, key=lambda r: r.at, default=None)
    if last is not None and not last.raining:
        return f"the crew said at {clock.at(last.at)} that it has stopped"
    heard = [w.ends[w.ends <= to_epoch(now)] for w in sky.gauges.measured(show)]
    latest = max((float(ends[-1]) for ends in heard if len(ends)), default=None)
    if latest is not None and to_epoch(now) - latest <= LOOKS_BACK_S:
        minutes = LOOKS_BACK_S / SECONDS_PER_MINUTE
        return f"no rain was measured on site in the last {minutes:.0f} min"
    if last is not None and (latest is None or to_epoch(last.at) + HOLDS_S > latest):
        return (
            f"nobody has said since {clock.at(last.at)} that it rains: say so again if it does. "
            "No forecast has rain for now"
        )
    return "the gauges have not been heard of since, and no forecast has rain for now"


def tell_rain(
    db: Database, show: Show, sky: Sky, seen: Unforeseen | None, now: datetime
) -> Message | None:
    """One step of that trouble, in the caller's transaction."""
    return follow_trouble(
        db,
        show,
        "rain-unforeseen",
        rain_found(seen, show, now),
        now,
        over="" if seen is not None else rain_over(sky, show, now),
        next_word_at=next_morning(show, now),
    )
