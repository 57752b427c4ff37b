"""The night's outlook, sent before quiet hours: what is planned, and who is woken when. Pure.

Who sleeps must know what the silence means: what the night is planned to bring, what would
wake them, and the sum behind every time to get up.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts import cautions, radio, words
from monitor.alerts.clock import SiteClock
from monitor.alerts.out_of_reach import as_missing
from monitor.alerts.quiet import DRESS_AND_WALK, on_hand, to_come
from monitor.alerts.watch import SILENCE
from monitor.domain import Message
from monitor.units import SECONDS_PER_MINUTE, iso_utc, to_epoch, to_moment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.alerts.quiet import Span
    from monitor.domain import Show
    from monitor.planning.job import Job, Plan

SCHEMA = "dryspell.tonight/1"
ANYBODY = "Whoever is called"
"""Of a show that names nobody."""

_WOKEN = (
    "You will be woken only if a start comes due or is overdue while you are on shift or on "
    "call, if the weather can no longer be read, or if work has to stop: that everybody is told."
)


@dataclass(frozen=True, slots=True)
class Waking:
    """When somebody gets up, and for which job."""

    who: str
    job: Job
    start_by: datetime
    way: timedelta
    """How long they take to come"""

    @property
    def at(self) -> datetime:
        """When they get up."""
        return self.start_by - self.way - DRESS_AND_WALK


def planned(show: Show, plan: Plan, night: Span) -> tuple[Job, ...]:
    """The jobs that begin, or are due, before anybody has slept and got there; by start-by."""
    longest = max((p.call_out_minutes or 0.0 for p in show.crew.people), default=0.0)
    longest = max(longest, show.crew.call_out_minutes)
    until_s = to_epoch(night[1] + DRESS_AND_WALK + timedelta(minutes=longest))
    found = [
        (moment_s, job)
        for job in plan.jobs
        if not job.not_needed
        and (moment_s := job.do_by_s if job.start_by_s is None else job.start_by_s) is not None
        and moment_s < until_s
    ]
    return tuple(job for _, job in sorted(found, key=lambda one: one[0]))


def wakings(show: Show, jobs: Sequence[Job]) -> tuple[Waking, ...]:
    """The first time that each gets up for a job: those planned for it, else all who may be."""
    zone = show.site.timezone
    timed = [(job, to_moment(job.start_by_s)) for job in jobs if job.start_by_s is not None]
    if not show.crew.people:
        way = timedelta(minutes=show.crew.call_out_minutes)
        return tuple(Waking(ANYBODY, job, start_by, way) for job, start_by in timed[:1])
    found = []
    for person in show.crew.people:
        for job, start_by in timed:
            asked = not job.facts.who or person.name in job.facts.who
            if asked and on_hand(person, zone, start_by):
                way = to_come(person, start_by, zone)
                found.append(Waking(person.name, job, start_by, way))
                break
    return tuple(sorted(found, key=lambda waking: waking.at))


def outlook(show: Show, plan: Plan, night: Span, now: datetime) -> Message:
    """The message before the quiet hours `night`."""
    clock = SiteClock(show.site.timezone, now)
    site = words.one_line(show.site.name) or "the site"
    jobs = planned(show, plan, night)
    up = wakings(show, jobs)
    hours = clock.span(*night)
    known = plan.known_until_s >= to_epoch(night[1]) and not plan.blind
    if jobs:
        head = f"Tonight at {site}, {hours}: {_count(len(jobs))} planned."
    elif known:
        head = f"Nothing is expected tonight at {site}, {hours}."
    else:
        head = f"Nothing is planned tonight at {site}, {hours}, and not all of it can be foreseen."
    line = _radio(site, show, jobs, known=known, clock=clock)
    lines = [_job(show, job, clock) for job in jobs]
    sums = _sums(show, up, clock)
    gaps = [] if known else [f"The forecast is known without a break {_known_to(plan, clock)}."]
    blocks = [
        head,
        _WOKEN,
        _list("Planned", lines) if lines else "",
        _list("Wake-up times", sums) if sums else "",
        *gaps,
        SILENCE,
        f"Next word: by {clock.at(night[1])}, or when something changes.",
        f"Radio: {line}",
        _list("Cautions", [cautions.LIGHTNING, cautions.ESTIMATE]),
        f"Written {clock.at(now)} site time, {clock.zone_name}.",
    ]
    text = "\n\n".join(block for block in blocks if block) + "\n"
    data: dict[str, Any] = {
        "schema": SCHEMA,
        "at": iso_utc(now),
        "site": show.site.name,
        "from": iso_utc(night[0]),
        "to": iso_utc(night[1]),
        "planned": [
            {
                "position": job.position,
                "count": job.count,
                "start_by": _iso(job.start_by_s),
                "do_by": _iso(job.do_by_s),
            }
            for job in jobs
        ],
        "wake": [{"person": w.who, "at": iso_utc(w.at), "position": w.job.position} for w in up],
        "foreseen": known,
        "radio": line,
        "says": text,
    }
    return Message(
        alert_id="tonight",
        kind="watch",
        stage=None,
        subject=radio.shorten(words.one_line(head).rstrip("."), words.LONGEST_SUBJECT),
        text=text,
        radio=line,
        data=data,
        thread=f"tonight-{iso_utc(night[0])}",
        at=now,
    )


def _place(show: Show, job: Job) -> str:
    return words.one_line(show.positions[job.position].name) or job.position


def _job(show: Show, job: Job, clock: SiteClock) -> str:
    said = []
    start = None if job.start_by_s is None else to_moment(job.start_by_s)
    due = None if job.do_by_s is None else to_moment(job.do_by_s)
    never = as_missing(job).missing
    if never is not None:
        cut_off = words.one_line(show.positions[job.position].isolate_at or "")
        power = f"isolate at {cut_off}" if cut_off else "isolate it"
        by = "" if due is None else f" by {clock.at(due)}"
        said.append(f"cannot be done by who is there, {words.one_line(never)}: {power}{by}")
    else:
        if start is not None:
            said.append(f"start by {clock.at(start)}")
        done = words.over_by(start, job.facts.access_closes_at, due)
        if done is not None:
            said.append(f"{'' if done == due else 'down and '}done by {clock.at(done)}")
        if start is None or job.late_by_s > 0:
            said.append("not to be had in time by these people")
        names = [words.one_line(name) for name in job.facts.who]
        said.append(" and ".join(names) or words.people(job.people))
    return f"{_place(show, job)} ({words.fixtures(job.count)}): {', '.join(said)}"


def _sums(show: Show, up: Sequence[Waking], clock: SiteClock) -> list[str]:
    lines = [_sum(show, waking, clock) for waking in up]
    woken = {waking.who for waking in up}
    lines += [
        f"{words.one_line(person.name)}: nothing is expected"
        for person in show.crew.people
        if person.name not in woken
    ]
    return lines


def _sum(show: Show, waking: Waking, clock: SiteClock) -> str:
    less = [f"{_minutes(waking.way)} min to come"] if waking.way else []
    less.append(f"{_minutes(DRESS_AND_WALK)} min to dress and walk")
    return (
        f"{words.one_line(waking.who)}: {clock.at(waking.at)} = start by "
        f"{clock.at(waking.start_by)} less {' and '.join(less)}, {_place(show, waking.job)}"
    )


def _minutes(span: timedelta) -> int:
    return round(span.total_seconds() / SECONDS_PER_MINUTE)


def _known_to(plan: Plan, clock: SiteClock) -> str:
    known = to_moment(plan.known_until_s)
    return "for nothing of it" if known <= clock.now else f"only to {clock.at(known)}"


def _radio(site: str, show: Show, jobs: Sequence[Job], *, known: bool, clock: SiteClock) -> str:
    tail = ". Woken for start, overdue, stop. Silence is not safety."
    first = next((job for job in jobs if job.start_by_s is not None), None)
    said = "nothing expected" if known else "nothing planned, not all foreseen"
    if jobs:
        said = _count(len(jobs))
    more = []
    if first is not None and first.start_by_s is not None:
        at = clock.at(to_moment(first.start_by_s))
        more = [f"First start by {at} at {radio.plain(_place(show, first))}."]
    return radio.fit("TONIGHT at ", radio.plain(site), f": {said}{tail}", more)


def _count(number: int) -> str:
    return "1 job" if number == 1 else f"{number} jobs"


def _iso(moment_s: float | None) -> str | None:
    return None if moment_s is None else iso_utc(to_moment(moment_s))


def _list(label: str, lines: Sequence[str]) -> str:
    return "\n".join([label, *(f"- {line}" for line in lines)])
