"""The work ahead: next deadlines, alerts that stand, answers that are missing, what was done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.clock import DAYS
from monitor.alerts.words import VERBS, listed, one_line, people, verb
from monitor.briefing.sheet import Section, bounded
from monitor.units import to_moment

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from monitor.briefing.known import Known
    from monitor.domain import Alert, Answered, LogEntry
    from monitor.planning.job import Job
    from monitor.store.history import StoredAlert

_ANSWERS = {
    "doing": "doing it",
    "done": "done",
    "cannot": "cannot",
    "not-needed": "not needed",
}
_ENTRIES = {"brought-in": "brought in", "put-out": "put out", "wet": "reported wet"}


# ---------------------------------------------------------------- deadlines


_LATE = " (late)"


def due(known: Known) -> list[Job]:
    """Jobs with a deadline, the earliest start first."""
    jobs = [j for j in known.found.plan.jobs if j.do_by_s is not None and not j.not_needed]
    return sorted(jobs, key=lambda j: (_start_s(j), j.do_by_s or 0.0, j.position))


def deadlines(known: Known, most: int) -> Section:
    """The next ones: place, start by, done by, people, who."""
    title = "Next deadlines"
    jobs = due(known)
    plan = known.found.plan
    rows = tuple(_row(known, job) for job in jobs[:most])
    spoken = tuple(_spoken(row) for row in rows)
    lines = []
    if len(jobs) > most:
        places = tuple(known.place(job.position) for job in jobs[most:])
        lines.append(f"And {len(jobs) - most} more: {listed(places, 4)}.")
    if plan.blind:
        until = known.clock.at(to_moment(plan.known_until_s))
        gone = "not known at all" if plan.known_until_s <= known.now_s else f"known to {until} only"
        lines.append(f"The weather ahead is {gone}: there may be more.")
    elif not jobs:
        lines.append("None on this forecast, which is an estimate and no permission.")
    heads = ("What, where", "Start by", "Done by", "People", "Who")
    return Section("deadlines", title, tuple(lines), heads if rows else (), rows, spoken)


def _start_s(job: Job) -> float:
    return float("inf") if job.start_by_s is None else job.start_by_s


def _row(known: Known, job: Job) -> tuple[str, ...]:
    what = f"{VERBS[job.action].order} {job.count}, {known.place(job.position)}"
    by = "" if job.do_by_s is None else known.clock.at(to_moment(job.do_by_s))
    hands = people(job.people) if job.people else ""
    if job.minutes is not None:
        hands += f"{', ' if hands else ''}{job.minutes:.0f} min"
    return (what, start_said(known, job), by, hands, _who(known, job))


def _spoken(row: tuple[str, ...]) -> str:
    what, start, done, *rest = row
    begun = f"start by {start}" if start[:1].isdigit() or start[:3] in DAYS else start
    return f"{what}: {', '.join([begun, f'done by {done}', *rest])}"


def first_start(known: Known) -> tuple[str, str] | None:
    """Place and time of the first start that nothing stands against."""
    for job in due(known):
        held = job.blocked or job.cannot or job.under_way
        if not held and job.start_by_s is not None:
            return known.place(job.position), known.clock.at(to_moment(job.start_by_s))
    return None


def start_said(known: Known, job: Job) -> str:
    """When a job is to be begun; where nobody may work now, until when not."""
    if job.blocked is not None:
        return f"closed to {known.clock.at(to_moment(job.blocked.end_s))}"
    if job.cannot is not None:
        return "cannot, they say"
    if job.under_way:
        return "under way"
    if job.start_by_s is None:
        return "not known"
    late = _LATE if job.late or job.start_by_s < known.now_s else ""
    return f"{known.clock.at(to_moment(job.start_by_s))}{late}"


def _who(known: Known, job: Job) -> str:
    facts = job.facts
    if facts.who:
        said = ", ".join(one_line(name) for name in facts.who)
        if facts.handed_to and facts.handed_at is not None:
            later = ", ".join(one_line(name) for name in facts.handed_to)
            said += f"; from {known.clock.at(facts.handed_at)} {later}"
        return said
    return "nobody planned" if known.show.crew.people else "not named"


# ---------------------------------------------------------------- alerts


def unanswered_now(known: Known) -> list[StoredAlert]:
    """Alerts that ask for work now, or stop it, and that nobody has answered since."""
    return [
        stored
        for stored in known.alerts
        if stored.alert.kind in ("work", "stop")
        and stored.alert.stage in ("start", "overdue", "stop")
        and answer_to(known, stored) is None
    ]


def answer_to(known: Known, stored: StoredAlert) -> Answered | None:
    """The latest answer to an alert since it was opened."""
    return next(
        (
            said
            for said in reversed(known.answers)
            if said.alert == stored.alert.id and said.at >= stored.opened_at
        ),
        None,
    )


def unanswered(known: Known, most: int) -> Section:
    """What nobody has answered, and who was told."""
    lines = [f"{_order(known, s.alert)}: {_told(known, s)}" for s in unanswered_now(known)]
    nothing = ("Every alert that calls for work now has an answer, or there is none.",)
    shown = bounded(lines, most, "on the duty page")
    return Section("unanswered", "Told, and no answer", shown or nothing)


def _told(known: Known, stored: StoredAlert) -> str:
    words = {"sent": "told", "queued": "not delivered yet to", "given-up": "not reached"}
    by: dict[str, dict[str, list[datetime]]] = {how: {} for how in words}
    for told in known.told:
        if told.alert == stored.alert.id and told.state in words:
            times = by[told.state].setdefault(one_line(told.contact), [])
            times += [told.at] if told.at is not None and told.state == "sent" else []
    said = [
        f"{words[state]} {listed(tuple(_at_times(known, n, t) for n, t in names.items()), 4)}"
        for state, names in by.items()
        if names
    ]
    return "; ".join([*said, "no answer."]) if said else "nobody is known to be told."


def _at_times(known: Known, name: str, times: Sequence[datetime]) -> str:
    """A contact and when it was told, the first time and the last."""
    if not times:
        return name
    first, last = known.clock.at(min(times)), known.clock.at(max(times))
    return f"{name} {first}" if first == last else f"{name} {first}, last {last}"


def open_alerts(known: Known, most: int) -> Section:
    """Every other alert that stands, with its answer."""
    waiting = unanswered_now(known)
    lines = []
    for stored in known.alerts:
        if stored in waiting:
            continue
        answer = answer_to(known, stored)
        said = f"{_order(known, stored.alert)}, since {known.clock.at(stored.opened_at)}"
        if answer is not None:
            by = f" {one_line(answer.by)}" if answer.by else ""
            differs = answer.action not in (None, stored.alert.action)
            to = f" when asked to {_asked(answer)}" if differs else ""
            said += f"; answered{by}{to}: {_ANSWERS[answer.answer]}"
        lines.append(f"{said}.")
    nothing = ("No other alert stands.",) if waiting else ("No alert stands.",)
    shown = bounded(lines, most, "on the duty page")
    return Section("alerts", "Other alerts that stand", shown or nothing)


def _order(known: Known, alert: Alert) -> str:
    """An alert in a few words; where it stops work, it orders none."""
    stage = alert.stage.capitalize()
    if alert.kind in ("weather", "delivery"):
        return one_line(alert.reason).removesuffix(".") or stage
    if alert.kind == "stop" or alert.stage == "stop":
        return f"Stop, {known.place(alert.position)}"
    what = f"{verb(alert).order.lower()} {alert.count}, {known.place(alert.position)}"
    return f"{stage}: {what}"


# ---------------------------------------------------------------- what was done


def last_shift(known: Known, since: datetime | None, most: int) -> Section:
    """Log and answers since the shift before began, the latest first."""
    begin = known.show.event.load_in_at if since is None else since
    from_ = known.clock.at(begin)
    said: list[tuple[datetime, str]] = [
        (at, text) for at, text in _logged(known, known.log) if at >= begin
    ]
    said += [(a.at, _answered(known, a)) for a in known.answers if a.at >= begin]
    lines = [f"{known.clock.at(at)} {text}" for at, text in sorted(said, reverse=True)]
    shown = bounded(lines, most, "in the log")
    title = f"Log and answers since {from_}"
    return Section("log", title, shown or ("Nothing was logged or answered.",))


def _logged(known: Known, log: Sequence[LogEntry]) -> list[tuple[datetime, str]]:
    """Log entries of one moment, kind and hand as one."""
    together: dict[tuple[datetime, str], list[str]] = {}
    for entry in log:
        by = f", {one_line(entry.by)}" if entry.by else ""
        part = f" {entry.count[0]} of {entry.count[1]}" if entry.count else ""
        found = f" {entry.result}" if entry.result else ""
        what = f"{_ENTRIES.get(entry.entry, entry.entry)}{part}{found}"
        together.setdefault((entry.at, f"{what}|{by}"), []).append(known.place_of(entry))
    return [
        (at, f"{what.split('|')[0]}: {listed(tuple(places), 2)}{what.split('|')[1]}")
        for (at, what), places in together.items()
    ]


def _answered(known: Known, answered: Answered) -> str:
    by = f"{one_line(answered.by)} " if answered.by else ""
    where = f", {known.place(answered.position)}" if answered.position else ""
    why = f" ({answered.because.replace('-', ' ')})" if answered.because else ""
    to = "" if answered.action is None else f": {_asked(answered)}"
    return f"{by}answered {_ANSWERS[answered.answer]}{why}{to}{where}"


def _asked(answered: Answered) -> str:
    return (answered.action or "").replace("-", " ")
