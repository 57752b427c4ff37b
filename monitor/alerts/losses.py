"""Alerts about the monitor itself: weather lost, messages not arriving, a fault of its own.

Each is raised once, told again every hour of the show while it lasts, and ends aloud. None
of them stands down anything else: no forecast is not a dry forecast. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.alerts.clock import SiteClock, age, utc_stamp
from monitor.alerts.show_times import in_show_hours
from monitor.alerts.words import one_line
from monitor.domain import Alert, AlertKind, Facts, Show, Stage

if TYPE_CHECKING:
    from collections.abc import Sequence

AGAIN_AFTER = timedelta(hours=1)
LEAST_AHEAD_S = 7200.0
"""A forecast that reaches less far than this decides nothing more [s]."""
ISSUE_DELAY_S = 1200.0
"""A run comes this much after its time without anything being wrong [s]."""

TRIES_BEFORE_ALARM = 3
"""So many failed attempts at one message, about three minutes, make a contact a failing one."""

FeedState = Literal["unread", "current", "ageing", "lost"]


@dataclass(frozen=True, slots=True)
class Trouble:
    """A lasting trouble as last told."""

    id: str
    stage: Stage
    opened_at: datetime
    told_at: datetime


@dataclass(frozen=True, slots=True)
class Found:
    """What is wrong now: `start` where nothing is left to rely on, `notice` where something is."""

    stage: Literal["notice", "start"]
    reason: str
    extra: tuple[str, ...] = ()


def follow(
    kind: AlertKind,
    name: str,
    trouble: Trouble | None,
    found: Found | None,
    show: Show,
    now: datetime,
    *,
    over: str,
    next_word_at: datetime | None = None,
    again: bool = True,
) -> tuple[Alert | None, Trouble | None]:
    """One step in the life of a trouble: what to tell, if anything, and what to remember.

    Parameters
    ----------
    name : begins the alert's id, which is new for every time it comes up
    trouble : as the last call returned it
    found : what is wrong now, None where nothing is
    over : the reason to give when it is over
    next_word_at : when something is heard in any case
    again : whether it is told again while it lasts
    """
    if found is None:
        if trouble is None:
            return None, None
        return _alert(kind, trouble.id, "stood-down", over, (), show, now, next_word_at), None
    if trouble is None:
        trouble = Trouble(f"{name}-{utc_stamp(now)}", found.stage, now, now)
    elif trouble.stage == found.stage:
        due = now - trouble.told_at >= AGAIN_AFTER and in_show_hours(show, now)
        # A clock that was put back must not keep it quiet for longer than the hour.
        if not again or (not due and now >= trouble.told_at - AGAIN_AFTER):
            return None, trouble
    if again and in_show_hours(show, now):
        soon = now + AGAIN_AFTER
        next_word_at = soon if next_word_at is None else min(soon, next_word_at)
    alert = _alert(
        kind, trouble.id, found.stage, found.reason, found.extra, show, now, next_word_at
    )
    return alert, replace(trouble, stage=found.stage, told_at=now)


def _alert(
    kind: AlertKind,
    alert_id: str,
    stage: Stage,
    reason: str,
    extra: tuple[str, ...],
    show: Show,
    now: datetime,
    next_word_at: datetime | None,
) -> Alert:
    return Alert(
        id=alert_id,
        kind=kind,
        stage=stage,
        action=None,
        position=None,
        fixtures=(),
        count=0,
        people=0,
        minutes=None,
        isolate_at=None,
        start_by=None,
        do_by=None,
        members=0,
        probability=None,
        at=now,
        reason=one_line(reason),
        facts=Facts(
            site_name=show.site.name,
            timezone=show.site.timezone.key,
            next_word_at=next_word_at,
            extra=extra,
        ),
    )


# ---------------------------------------------------------------- weather


@dataclass(frozen=True, slots=True)
class FeedSight:
    """One feed as seen now. `max_age_s` None: it does not grow old, a record on disk."""

    source: str
    asked: bool
    """Whether it has been asked at all since it was set up."""
    failing: str | None
    """What the last attempt said, where it failed."""
    said_at: datetime | None
    """When its newest run was issued, else fetched; None where it never gave one."""
    reaches_to: datetime | None
    """The end of the first unbroken stretch that it knows, from now."""
    max_age_s: float | None
    issued: bool = False
    """Whether `said_at` is the issue time."""
    usual_s: float | None = None
    """How long it usually is from one issue to the next."""
    same_seen: int = 0
    """How often the very same forecast has come again, where no issue time is known."""
    same_limit: int | None = None
    """So often says that its server is stuck; None: its age alone says so."""
    hole: tuple[datetime, datetime] | None = None
    """The first stretch after that of which it says nothing, though it says more later."""
    kind: str | None = None
    """passing | throttled | config-fault, where it fails"""
    fault: str | None = None
    host: str = ""
    least_ahead_s: float = LEAST_AHEAD_S
    """A forecast of this feed that reaches less far decides nothing more."""
    failures: int = 0
    next_try_at: datetime | None = None
    skew_s: float | None = None
    """How far our clock is ahead of its server's."""
    notices: tuple[str, ...] = ()
    """What its server has said beside the forecast, in the last day."""


def feed_state(sight: FeedSight, now: datetime) -> FeedState:
    """How far a feed can be relied on (section 6 of the feeds' failure table).

    `ageing`: what it gave still holds, and it is time for more: the last attempt failed, it
    is past half its age, its next issue is overdue, or its server repeats itself. `lost`: too
    old, or it does not reach as far as the next decision.
    """
    if sight.said_at is None or sight.reaches_to is None:
        return "lost" if sight.asked else "unread"
    old_s = (now - sight.said_at).total_seconds()
    too_old = sight.max_age_s is not None and old_s > sight.max_age_s
    stuck = 0 if sight.same_limit is None else sight.same_seen // max(sight.same_limit, 1)
    if too_old or stuck >= 2 or _too_short(sight, sight.reaches_to, now):
        return "lost" if sight.asked else "unread"
    half_old = sight.max_age_s is not None and old_s > sight.max_age_s / 2
    overdue = sight.usual_s is not None and old_s > 2 * sight.usual_s + ISSUE_DELAY_S
    return "ageing" if sight.failing or half_old or overdue or stuck else "current"


def weather_found(sights: Sequence[FeedSight], show: Show, now: datetime) -> Found | None:
    """What is lost of the weather. With one feed left of several the forecast is in doubt."""
    if not sights:
        return Found("start", "The show folder names no weather feed.")
    states = [feed_state(sight, now) for sight in sights]
    lost = [s for s, state in zip(sights, states, strict=True) if state == "lost"]
    if not lost:
        return None
    clock = SiteClock.named(show.site.timezone.key, now)
    said = " ".join(lost_because(sight, clock) for sight in lost)
    held = tuple(line for sight in lost if (line := _held(sight, clock)) is not None)
    left = [s for s, state in zip(sights, states, strict=True) if state != "lost"]
    if left:
        read = ", ".join(_read_to(sight, clock) for sight in left)
        return Found("notice", said, (f"Still read: {read}", *held))
    return Found("start", said, held or ("No forecast of what is to come is held at all.",))


def lost_because(sight: FeedSight, clock: SiteClock) -> str:
    """Why one feed counts as lost, in a sentence."""
    now = clock.now
    why = f" {one_line(sight.failing)}" if sight.failing else ""
    if sight.said_at is None or sight.reaches_to is None:
        return f"{sight.source} has given no forecast yet.{why}"
    gap = ""
    if sight.hole is not None:
        gap = f" It says nothing for {clock.span(*sight.hole)}."
    if sight.reaches_to <= now:
        return f"{sight.source} ended at {clock.at(sight.reaches_to)}.{gap}{why}"
    if _too_short(sight, sight.reaches_to, now):
        return f"{sight.source} reaches only to {clock.at(sight.reaches_to)}.{gap}{why}"
    old_s = (now - sight.said_at).total_seconds()
    if sight.max_age_s is None or old_s <= sight.max_age_s:
        times = sight.same_seen + 1
        return f"{sight.source} has sent the very same forecast {times} times: it is stuck.{why}"
    return f"{sight.source} is {age(sight.said_at, now)}: too old to rely on.{why}"


def _too_short(sight: FeedSight, reaches_to: datetime, now: datetime) -> bool:
    return reaches_to < now + timedelta(seconds=sight.least_ahead_s)


def _read_to(sight: FeedSight, clock: SiteClock) -> str:
    if sight.reaches_to is None:
        return f"{sight.source} (not yet answered)"
    return f"{sight.source} to {clock.at(sight.reaches_to)}"


def _held(sight: FeedSight, clock: SiteClock) -> str | None:
    """What there still is of a lost feed's forecast, how old, and as far as where."""
    if sight.said_at is None or sight.reaches_to is None or sight.reaches_to <= clock.now:
        return None
    return (
        f"Still held, and reckoned with: {sight.source}, {said_when(sight, clock)}, "
        f"to {clock.at(sight.reaches_to)}"
    )


def said_when(sight: FeedSight, clock: SiteClock) -> str:
    """`issued 06:00, 9 h old`, or `read 06:00, ...` where no issue time is known."""
    if sight.said_at is None:
        return "never read"
    how = "issued" if sight.issued else "read"
    return f"{how} {clock.at(sight.said_at)}, {age(sight.said_at, clock.now)}"


# ---------------------------------------------------------------- deliveries


@dataclass(frozen=True, slots=True)
class Failing:
    """A contact that messages do not reach, and which of its recipients."""

    contact: str
    recipients: tuple[str, ...]
    trouble: Trouble


@dataclass(frozen=True, slots=True)
class Attempt:
    """What came of one attempt to send, as far as it matters here."""

    contact: str
    recipient: str
    subject: str
    result: Literal["sent", "retry", "given-up", "cancelled"]
    attempt: int
    detail: str


def after_attempt(
    failing: Sequence[Failing], attempt: Attempt, show: Show, now: datetime
) -> tuple[Alert | None, tuple[Failing, ...]]:
    """What to tell the others after an attempt, and which contacts fail from now on.

    A contact fails from its third failed attempt at one message, or from the first message
    that is given up; it works again when each recipient that failed has been sent one.
    """
    at = next((f for f in failing if f.contact == attempt.contact), None)
    rest = tuple(f for f in failing if f.contact != attempt.contact)
    name = f"delivery-{slug(attempt.contact)}"
    if attempt.result == "sent":
        if at is None or attempt.recipient not in at.recipients:
            return None, tuple(failing)
        left = tuple(r for r in at.recipients if r != attempt.recipient)
        if left:
            return None, (*rest, replace(at, recipients=left))
        over = f"a message to {attempt.contact} was delivered"
        alert, _ = follow("delivery", name, at.trouble, None, show, now, over=over)
        return alert, rest
    given_up = attempt.result == "given-up"
    if not given_up and (attempt.result != "retry" or attempt.attempt < TRIES_BEFORE_ALARM):
        return None, tuple(failing)
    whom = attempt.contact
    if attempt.recipient != attempt.contact:
        whom += f" ({attempt.recipient})"
    how = "was given up" if given_up else f"has failed {attempt.attempt} times and is tried again"
    found = Found(
        "start",
        f'The message "{one_line(attempt.subject)}" to {whom} {how}: {one_line(attempt.detail)}',
    )
    trouble = None if at is None else at.trouble
    alert, after = follow("delivery", name, trouble, found, show, now, over="")
    recipients = () if at is None else at.recipients
    assert after is not None
    if attempt.recipient not in recipients:
        recipients = (*recipients, attempt.recipient)
    return alert, (*rest, Failing(attempt.contact, recipients, after))


def slug(name: str) -> str:
    """The name in letters, digits and hyphens, for an id."""
    return "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in name).split()) or "x"
