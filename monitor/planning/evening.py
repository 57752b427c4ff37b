"""The crew's evening: jobs to tasks, tasks to a schedule, and the schedule back on the jobs."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from monitor.domain import Answered, LogEntry, Position, Show
from monitor.planning.board import EPS
from monitor.planning.hands import Hand, Schedule, Task, Turn
from monitor.planning.in_hand import in_stretches, marked_as, one_turn, team_of
from monitor.planning.job import Job
from monitor.planning.on_shift_first import on_shift_first
from monitor.planning.on_site import hands, shifts_of
from monitor.planning.schedule import Effort, latest
from monitor.planning.short_of import BUSY, people_missing
from monitor.planning.standing import (
    Key,
    answer_to,
    cannot_span,
    last_fixture_s,
    order_of,
)
from monitor.planning.who import told
from monitor.planning.workable import Span, finish_s, latest_start_s, merged, workable_s
from monitor.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_MINUTE, to_epoch

_LEAST_LEFT_MINUTES = 1.0
"""What is in hand takes so much longer at least, until it is logged done."""
_SLACK_S = 1.0
_EFFORT = Effort(exact=4000, lists=8000)
"""A plan wants the best that is found soon, not its proof."""
_IN_HAND = 1e9
"""Value of what somebody is at: nothing else is done instead."""
_PLANNED = ("protect", "covered", "uncover")


@dataclass(frozen=True, slots=True)
class Evening:
    """The jobs as the crew's time lets them be done, and the schedule they stand on."""

    jobs: tuple[Job, ...]
    turns_s: tuple[float, ...]
    """Moments at which somebody begins, takes over or can begin again."""
    tasks: tuple[Task, ...]
    crew: tuple[Hand, ...] | int
    schedule: Schedule


class _Plans:
    """Jobs by key, and what each is as a task."""

    def __init__(
        self,
        show: Show,
        shut: Mapping[str, Sequence[Span]],
        answers: Mapping[Key, Answered],
        log: Sequence[LogEntry],
        now_s: float,
        told: Mapping[Key, tuple[str, ...]],
    ) -> None:
        self._show, self._shut, self._answers = show, shut, answers
        self._log, self._now_s, self._told = log, now_s, told

    def answered(self, job: Job) -> Job:
        """A job with what the crew has said of it."""
        answer = answer_to(job, self._answers)
        if answer is None:
            return job
        if answer.answer == "not-needed":
            return replace(job, not_needed=True, start_by_s=None)
        if answer.answer == "doing":
            return replace(job, under_way=True, start_by_s=to_epoch(answer.at), no_time=None)
        return replace(job, cannot=cannot_span(answer))

    def closed(self, job: Job) -> tuple[Span, ...]:
        spans = tuple(self._shut[job.position])
        return merged((*spans, job.cannot)) if job.cannot is not None else spans

    def closing(self, job: Job) -> Job:
        """A job that nobody may begin now, since its place closes before one fixture is done."""
        if job.under_way or job.blocked is not None or job.minutes is None:
            return job
        closes = next((s for s in self.closed(job) if s.end_s > self._now_s), None)
        if closes is None or closes.start_s <= self._now_s:
            return job
        short = closes.start_s - self._now_s < self._first_s(job) - EPS
        return replace(job, no_time=closes) if short else job

    def _first_s(self, job: Job) -> float:
        """Set-up and one fixture [s]."""
        set_up = self._show.positions[job.position].setup_minutes
        rest = max(0.0, (job.minutes or 0.0) - set_up)
        return (set_up + rest / max(job.count, 1)) * SECONDS_PER_MINUTE

    def task(self, job: Job) -> Task | None:
        """What a job asks of the crew; None: nothing, or nothing that can be planned."""
        if job.family not in _PLANNED or job.minutes is None or job.do_by_s is None:
            return None
        if job.start_by_s is None or job.under_way:
            return None
        if job.cannot is not None and math.isinf(job.cannot.end_s):
            return None
        position = self._show.positions[job.position]
        return Task(
            key=key_of(job),
            minutes=job.minutes,
            people=job.people,
            tickets=frozenset() if job.action == "isolate" else frozenset(position.tickets),
            blocked=self.closed(job),
            do_by_s=job.do_by_s,
            value=job.value,
            alone_ok=self.alone_ok(position),
            ready_s=-math.inf if job.no_time is None else job.no_time.end_s,
            first_minutes=self._first_s(job) / SECONDS_PER_MINUTE,
        )

    def alone_ok(self, position: Position) -> bool:
        return position.access == "none" or position.access in self._show.crew.alone

    def in_hand(
        self, jobs: Sequence[Job], crew: tuple[Hand, ...] | int
    ) -> tuple[dict[str, tuple[Task, ...]], tuple[Hand, ...] | int]:
        """What somebody is at, as tasks of their own, and the people with those who are."""
        fixed: dict[str, tuple[Task, ...]] = {}
        at_it: set[str] = set()
        for job in jobs:
            if not job.under_way or job.minutes is None:
                continue
            team, with_them = self._team(job, crew, at_it)
            tickets = frozenset(self._show.positions[job.position].tickets)
            # Fewer people than it takes are on site, or none with the tickets: they are at it all
            # the same, and whoever said so is not planned elsewhere.
            attempts = [(tickets, job.people)]
            if team:
                attempts += [(frozenset(), job.people), (frozenset(), len(team)), (frozenset(), 1)]
            laid = [task for tasks in fixed.values() for task in tasks]
            for held, people in attempts:
                tasks = in_stretches(self.rest(job), team[:people], held, people, self._now_s)
                if latest((*laid, *tasks), with_them, self._now_s, _EFFORT).feasible:
                    fixed[key_of(job)], crew = tasks, with_them
                    at_it.update(hand.name for hand in team[:people])
                    break
        return fixed, crew

    def _team(
        self, job: Job, crew: tuple[Hand, ...] | int, at_it: Collection[str]
    ) -> tuple[tuple[Hand, ...], tuple[Hand, ...] | int]:
        """Who is at it, whoever said so first, and the people with them marked as those."""
        if isinstance(crew, int):
            return (), crew
        said = self._answers[order_of(job)].by
        elsewhere = {a.by for a in self._answers.values() if a.answer == "doing"} | set(at_it)
        told = self._told.get((job.position, job.family), ())
        told = tuple(name for name in told if name not in elsewhere)
        stays = (self._now_s, self.ends_s(job) + _SLACK_S)
        team = team_of(said, told, crew, self._show.positions[job.position], job.people, stays)
        marked = {hand.name: marked_as(hand, key_of(job)) for hand in team}
        people = tuple(marked.get(hand.name, hand) for hand in crew)
        return tuple(marked[hand.name] for hand in team), people

    def ends_s(self, job: Job) -> float:
        """When a job in hand is done."""
        left = self._left_minutes(job, self._answers[order_of(job)])
        return finish_s(self._shut[job.position], self._now_s, left)

    def rest(self, job: Job) -> Task:
        """The rest of a job in hand, from now on."""
        return Task(
            key=key_of(job),
            minutes=self._left_minutes(job, self._answers[order_of(job)]),
            people=job.people,
            tickets=frozenset(),
            blocked=tuple(self._shut[job.position]),
            do_by_s=self.ends_s(job) + _SLACK_S,
            value=_IN_HAND,
            alone_ok=True,
        )

    def _left_minutes(self, job: Job, answer: Answered) -> float:
        since_s = to_epoch(answer.at)
        minutes = job.minutes or 0.0
        logged_s = last_fixture_s(answer, self._log, self._show, self._now_s)
        if logged_s > since_s:
            # What is logged has left the job; its set-up is done.
            since_s, minutes = logged_s, minutes - self._show.positions[job.position].setup_minutes
        worked_s = workable_s(self._shut[job.position], since_s, self._now_s)
        return max(minutes - worked_s / SECONDS_PER_MINUTE, _LEAST_LEFT_MINUTES)

    def with_turn(self, job: Job, turn: Turn, late_s: float) -> Job:
        """A job as its turn has it."""
        start_s = turn.start_s
        notice_s = self._show.policy.notice_hours * SECONDS_PER_HOUR
        early = job.no_time is not None and start_s - notice_s > max(self._now_s, job.no_time.end_s)
        return replace(
            job,
            start_by_s=start_s,
            ends_s=turn.end_s,
            late_by_s=late_s,
            late=late_s > 0,
            # What closes now is nothing to a job that is not even told of yet.
            no_time=None if early else job.no_time,
        )

    def too_late(self, job: Job, task: Task, crew: tuple[Hand, ...] | int) -> Job:
        """A job that is begun when it is due already: what can wait longer is still saved."""
        if job.start_by_s is None or job.do_by_s is None or job.start_by_s < job.do_by_s - EPS:
            return job
        waits = sorted(to_epoch(wait.do_by) for wait in job.facts.can_wait)
        due_s = next((at for at in waits if at > job.start_by_s + EPS), None)
        if due_s is None or job.ends_s is None:
            missing = people_missing(task, crew, self._now_s, job.do_by_s)
            closed = (job.blocked, job.no_time, job.cannot) != (None, None, None)
            return replace(job, missing=missing if closed else missing or BUSY)
        late_s = max(0.0, job.ends_s - due_s)
        reason = f"{job.reason}; who is there cannot save the first of them"
        return replace(
            job,
            do_by_s=due_s,
            lost_by_s=job.do_by_s,
            late_by_s=late_s,
            late=late_s > 0.0,
            reason=reason,
        )

    def never(self, job: Job, task: Task | None, crew: tuple[Hand, ...] | int) -> Job:
        """A job that these people never get done: told as early as others could still do it."""
        assert job.do_by_s is not None
        assert job.minutes is not None
        start_s = latest_start_s(self._shut[job.position], job.do_by_s, job.minutes)
        missing = None
        if task is not None:
            missing = people_missing(task, crew, self._now_s, job.do_by_s) or BUSY
        return replace(
            job, start_by_s=start_s, ends_s=None, late_by_s=math.inf, late=True, missing=missing
        )


def key_of(job: Job) -> str:
    """What a job is called in the schedule."""
    return f"{job.position}/{job.family}"


def evening(
    show: Show,
    jobs: Sequence[Job],
    shut: Mapping[str, Sequence[Span]],
    answers: Mapping[Key, Answered],
    log: Sequence[LogEntry],
    now_s: float,
    told_before: Mapping[Key, tuple[str, ...]] | None = None,
) -> Evening:
    """Plan the crew's time.

    Parameters
    ----------
    show : its crew and its positions
    jobs : what wants hands, each with its deadline
    shut : by position, when nobody may work there, joined
    answers : what the crew has said and still holds, see `standing`
    log : the crew's entries
    now_s : seconds
    told_before : by job, who was told last that it is theirs

    Returns
    -------
    Evening

    Notes
    -----
    What somebody is at goes on first, with whoever said so and those who were told with them; the
    rest is planned round it.
    """
    plans = _Plans(show, shut, answers, log, now_s, told_before or {})
    found = [plans.closing(plans.answered(job)) for job in jobs]
    asked = {key_of(job): task for job in found if (task := plans.task(job)) is not None}
    last_s = max((task.do_by_s for task in asked.values()), default=now_s)
    at_hand = hands(show.crew, show.site.timezone, now_s, last_s + SECONDS_PER_DAY)
    fixed, crew = plans.in_hand(found, at_hand)
    tasks = (*(task for parts in fixed.values() for task in parts), *asked.values())
    schedule = latest(tasks, crew, now_s, _EFFORT)
    if not isinstance(crew, int):
        until_s = max((turn.end_s for turn in schedule.turns), default=now_s)
        shifts = shifts_of(show.crew, show.site.timezone, now_s, until_s)
        schedule = on_shift_first(schedule, tasks, crew, shifts)
    turns = {turn.key: turn for turn in schedule.turns}
    late = {entry.key: entry.by_s for entry in schedule.late}
    out = []
    for job in found:
        key = key_of(job)
        if job.under_way:
            held = [turns[task.key] for task in fixed.get(key, ()) if task.key in turns]
            out.append(_goes_on(job, plans.ends_s(job), one_turn(held), show))
        elif key in turns:
            planned = plans.with_turn(job, turns[key], late.get(key, 0.0))
            planned = plans.too_late(planned, asked[key], crew)
            out.append(told(planned, turns[key], crew, show, alone_ok=asked[key].alone_ok))
        elif key in asked or (job.cannot is not None and job.start_by_s is not None):
            out.append(
                told(plans.never(job, asked.get(key), crew), None, crew, show, alone_ok=True)
            )
        else:
            out.append(job)
    edges = {leg.start_s for turn in schedule.turns for leg in turn.legs}
    edges |= {job.no_time.end_s for job in out if job.no_time is not None}
    edges |= {job.cannot.end_s for job in out if job.cannot is not None}
    return Evening(
        tuple(out),
        tuple(sorted(t for t in edges if now_s < t < math.inf)),
        tasks,
        crew,
        schedule,
    )


def _goes_on(job: Job, ends_s: float, turn: Turn | None, show: Show) -> Job:
    over_s = 0.0 if job.do_by_s is None else max(0.0, ends_s - job.do_by_s)
    job = replace(job, ends_s=ends_s, late_by_s=over_s, late=over_s > 0.0)
    return told(job, turn, (), show, alone_ok=True)
