"""Whose turn it is to be told of an alert, and how long an answer is awaited. Pure.

An order goes to the first turn of contacts. Where nobody answers it, where somebody answers
that it cannot be done, or where it reaches nobody, the next turn is told of it, and so on.
Who was told of an alert is told whatever follows of it, so that nobody is left with an old
word. A stop goes to everybody.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.domain import Turn

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from monitor.domain import Alert, Answered, Contact

LEAST_WAIT = timedelta(minutes=3)
LEAD_SHARE = 0.1
"""Of the time that is left until the start."""
WEATHER_LOST_WAIT = timedelta(minutes=30)
"""Lost weather is no order that could be answered: it may come back by itself first."""

_SENT_AT_ONCE = timedelta(minutes=1)

Because = Literal["told", "no-answer", "cannot", "not-delivered"]


def patience(alert: Alert, now: datetime) -> timedelta | None:
    """How long until the next turn is told; None where one word to the first is enough."""
    if alert.kind == "work" and alert.stage in ("start", "overdue"):
        lead = timedelta(0) if alert.start_by is None else alert.start_by - now
        return max(LEAST_WAIT, lead * LEAD_SHARE)
    if alert.kind == "weather" and alert.stage == "start" and alert.facts.official is None:
        return WEATHER_LOST_WAIT
    return None


def told_now(
    alert: Alert,
    contacts: Sequence[Contact],
    before: Sequence[Turn],
    answers: Sequence[Answered],
    now: datetime,
    planned: Collection[str] = (),
) -> Turn:
    """Whom a change of an alert is told to.

    Parameters
    ----------
    contacts : who can be reached and wants this stage
    before : the turns of this alert until now
    answers : to this alert, oldest first
    planned : contacts of those who are planned by name to do it: a start is told to them at
        once, whatever their turn
    """
    told = {name for turn in before for name in turn.contacts}
    if alert.kind == "stop":
        names = [contact.name for contact in contacts]
    else:
        first = {contact.name for contact in following(contacts, ())}
        if alert.kind == "work" and alert.stage in ("start", "overdue"):
            first |= set(planned)
        names = [c.name for c in contacts if c.name in first or c.name in told]
    last = before[-1] if before else None
    because: Because = "told"
    wait, until, began = patience(alert, now), None, None
    if last is not None and _awaits(last) and _same_order(last, alert):
        # The same order with another time: the answers to it, and the wait, hold on.
        until, began = last.until, last.began
        if wait is not None and until is not None:
            until = min(until, now + wait)
    elif wait is not None:
        until, began = now + wait, now
    is_order = alert.kind == "work" and alert.stage != "stood-down"
    if is_order and last is not None and _refused(last, answers):
        names += [contact.name for contact in following(contacts, {*told, *names})]
        because, until, began = "cannot", now + (wait or LEAST_WAIT), began or now
    return Turn(
        now, alert.id, alert.stage, alert.action, tuple(names), because, len(answers), until, began
    )


def next_due(
    contacts: Sequence[Contact],
    before: Sequence[Turn],
    answers: Sequence[Answered],
    unreached: Collection[str] = (),
    heard_at: datetime | None = None,
) -> tuple[datetime, Because] | None:
    """When the next turn is to be told and why; None where nobody is left or it is answered.

    Parameters
    ----------
    unreached : contacts whom the last word on the alert will not reach any more
    heard_at : when the first of the last turn has it, where it is sent or held to a moment
    """
    asked = asking(before)
    if not before or not following(contacts, _names(asked or before)):
        return None
    last = before[-1]
    if _refused(last, answers):
        return answers[-1].at, "cannot"
    if not asked or settled_by(before, answers) is not None:
        return None
    if last.contacts and set(last.contacts) <= set(unreached):
        return last.at, "not-delivered"
    gaps = [contact.gap_minutes for contact in contacts if contact.name in last.contacts]
    return _patient_until(last, heard_at, timedelta(minutes=max(gaps, default=0.0))), "no-answer"


def next_turn(
    alert: Alert,
    contacts: Sequence[Contact],
    before: Sequence[Turn],
    answers: Sequence[Answered],
    because: Because,
    now: datetime,
) -> Turn:
    """The next turn of an order that `next_due` says is due."""
    asked = asking(before)
    names = tuple(contact.name for contact in following(contacts, _names(asked or before)))
    wait = patience(alert, now) or LEAST_WAIT
    return Turn(
        now,
        alert.id,
        alert.stage,
        alert.action,
        names,
        because,
        len(answers),
        now + wait,
        before[-1].began or now,
    )


def following(contacts: Sequence[Contact], told: Collection[str]) -> tuple[Contact, ...]:
    """The contacts of the lowest turn among those who were not told."""
    left = [contact for contact in contacts if contact.name not in told]
    lowest = min((contact.turn for contact in left), default=0)
    return tuple(contact for contact in left if contact.turn == lowest)


def asking(before: Sequence[Turn]) -> tuple[Turn, ...]:
    """The turns that were told the order as it stands; none where no answer is awaited."""
    if not before or not _awaits(before[-1]):
        return ()
    return tuple(turn for turn in before if turn.began == before[-1].began)


def settled_by(before: Sequence[Turn], answers: Sequence[Answered]) -> Answered | None:
    """The answer that somebody sees to the order as it stands; `cannot` is none."""
    asked = asking(before)
    given = answers[asked[0].answers :] if asked else answers
    return given[-1] if given and given[-1].answer != "cannot" else None


def _patient_until(last: Turn, heard_at: datetime | None, gap: timedelta) -> datetime:
    """A word may be held for its person's last buzz to be over: then the wait begins after that.

    Held for longer, as through the night, it is not waited for.
    """
    until = last.until or last.at
    if heard_at is None or not _SENT_AT_ONCE < heard_at - last.at <= gap:
        return until
    return max(until, heard_at + max(until - last.at, LEAST_WAIT))


def _refused(last: Turn, answers: Sequence[Answered]) -> bool:
    """Somebody answered last that it cannot be done, and the next do not know of it yet."""
    return len(answers) > last.answers and answers[-1].answer == "cannot"


def _awaits(turn: Turn) -> bool:
    return turn.began is not None


def _same_order(last: Turn, alert: Alert) -> bool:
    return last.stage == alert.stage and last.action == alert.action


def _names(asked: Sequence[Turn]) -> set[str]:
    return {name for turn in asked for name in turn.contacts}
