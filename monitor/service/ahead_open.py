"""What is open in a look ahead: its times now, how late it is, and what the crew said of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts import words
from monitor.alerts.answers import sentence
from monitor.units import SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from datetime import datetime

    from monitor.alerts.clock import SiteClock
    from monitor.domain import Alert, Answered, AnswerKind, Facts, Show

_INSTEAD = ("it cannot be done", "not one fixture can be done")
"""How a reason begins that takes the work back and leaves the power to be cut"""
ANSWERED: dict[AnswerKind, str] = {"doing": "under way", "not-needed": "not needed"}


@dataclass(frozen=True, slots=True)
class Open:
    """An alert that is open, with what is known and said of it now."""

    alert: Alert
    facts: Facts
    answer: Answered | None
    said: str

    @property
    def waits_for_nobody(self) -> bool:
        """Whether somebody is at it, or says that it is not needed: nobody is to start."""
        return self.answer is not None and self.answer.answer in ("doing", "not-needed")

    @property
    def late(self) -> bool:
        """Whether the plan has it late, now or when it was last told."""
        return self.facts.late or self.alert.facts.late


def what_was_said(answer: Answered | None, show: Show, now: datetime) -> str:
    """The answer as a sentence; nothing where none holds."""
    return "" if answer is None else words.sentence(sentence(answer, show, now))


def instead(alert: Alert) -> str:
    """Why its power is cut where it was to be kept dry: the first part of the reason."""
    why = alert.reason.split("; ")[0]
    says = alert.action == "isolate" and why.startswith(_INSTEAD)
    return words.sentence(why) if says else ""


def times(one: Open, clock: SiteClock) -> str:
    """`: start by 20:31 (in 20 min), done by 21:00`; who has answered is not asked to start."""
    alert, parts = one.alert, []
    if one.answer is not None and one.waits_for_nobody:
        parts.append(ANSWERED[one.answer.answer])
    elif alert.start_by is not None:
        begun = alert.start_by <= clock.now
        parts.append("start at once" if begun else f"start by {clock.near(alert.start_by)}")
    done = words.hands_off_by(alert)
    if done is not None:
        at = clock.at(done) if alert.start_by is not None else clock.near(done)
        parts.append(f"{'down and ' if done != alert.do_by else ''}done by {at}")
    parts += [late] if (late := how_late(one, clock)) else []
    return f": {', '.join(parts)}" if parts else ""


def how_late(one: Open, clock: SiteClock) -> str:
    """By how much it cannot be done in time, where nobody is at it; nothing where it can.

    The plan's word on it, or what a start at this moment comes to.
    """
    alert, done = one.alert, words.hands_off_by(one.alert)
    if one.waits_for_nobody or alert.action == "isolate" or done is None:
        return ""
    minutes = words.late_at_best(one.facts) or words.late_at_best(alert.facts)
    if alert.start_by is not None and alert.start_by <= clock.now and alert.minutes is not None:
        over = clock.now + timedelta(minutes=alert.minutes) - done
        minutes = max(minutes or 0.0, over.total_seconds() / SECONDS_PER_MINUTE)
    if minutes is not None and minutes > 0.0:
        return f"{words.duration(minutes)} late at best"
    return "not all of it in time" if one.late else ""
