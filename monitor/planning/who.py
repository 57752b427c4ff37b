"""Who is planned for a job, as its message says it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from monitor.domain import Show
from monitor.planning.hands import Hand, Turn
from monitor.planning.job import Job
from monitor.planning.on_site import on_shift
from monitor.units import SECONDS_PER_MINUTE, to_moment


def told(
    job: Job, turn: Turn | None, crew: Sequence[Hand] | int, show: Show, *, alone_ok: bool
) -> Job:
    """A job with what its place in the schedule makes its message say.

    Parameters
    ----------
    job : with its times
    turn : its place, None where it has none
    crew : who there is
    alone_ok : whether it may be done by the only person on site
    """
    late_minutes = None
    if job.late and math.isfinite(job.late_by_s):
        late_minutes = job.late_by_s / SECONDS_PER_MINUTE
    facts = replace(job.facts, late=job.late, late_minutes=late_minutes)
    call_by_s = None
    if turn is not None and show.crew.people:
        called, said = _called(turn, crew, show, alone_ok=alone_ok)
        call_by_s = min(called.values(), default=None)
        after = next((leg for leg in turn.legs if leg.who != turn.who), None)
        facts = replace(
            facts,
            who=turn.who,
            handed_to=() if after is None else after.who,
            handed_at=None if after is None else to_moment(after.start_s),
            extra=(*facts.extra, *said),
        )
    return replace(job, facts=facts, call_by_s=call_by_s)


def _called(
    turn: Turn, crew: Sequence[Hand] | int, show: Show, *, alone_ok: bool
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Who has to be called in for it, each by when at the latest; and that in sentences."""
    people = {person.name: person for person in show.crew.people}
    timezone, said = show.site.timezone, []
    wanted = [(name, leg.start_s) for leg in turn.legs for name in leg.who]
    if not alone_ok and not isinstance(crew, int):
        for leg in turn.legs:
            there = [h.name for h in crew if any(a <= leg.start_s < b for a, b in h.there)]
            beside = [name for name in there if name not in leg.who]
            at_work = [n for n in there if on_shift(people[n], timezone, leg.start_s)]
            if len(leg.who) == 1 and beside and set(at_work) <= set(leg.who):
                soonest = min(beside, key=lambda n: people[n].call_out_minutes or 0.0)
                said.append(f"Nobody does this as the only person on site: {soonest} is there.")
                wanted.append((soonest, leg.start_s))
    called: dict[str, float] = {}
    for name, at in wanted:
        minutes = people[name].call_out_minutes if name in people else None
        if minutes is None or name in called or on_shift(people[name], timezone, at):
            continue
        called[name] = at - minutes * SECONDS_PER_MINUTE
        said.append(f"{name} is off shift then and takes {minutes:.0f} minutes to come.")
    return called, tuple(dict.fromkeys(said))
