"""Telling the next turn of contacts where an order is not answered, cannot be done, or is lost.

Where it stands is in the history alone: whom an alert was told to, what was answered, what
was delivered. A service that was killed takes it up from there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from monitor.alerts import wording
from monitor.alerts.answers import sentence
from monitor.alerts.clock import SiteClock
from monitor.alerts.turns import LEAST_WAIT, asking, next_due, next_turn, settled_by
from monitor.alerts.words import one_line
from monitor.service.telling import send_to
from monitor.service.turns import reachable
from monitor.store.answers import answers, answers_as_news, record_turn, turns
from monitor.store.history import open_alerts
from monitor.store.reached import reach_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.turns import Because
    from monitor.domain import Alert, Answered, Message, Show, Turn
    from monitor.store.history import StoredAlert
    from monitor.store.reached import Reach


@dataclass(frozen=True, slots=True)
class Standing:
    """How an open alert stands with those who were told of it."""

    stored: StoredAlert
    turns: tuple[Turn, ...]
    answers: tuple[Answered, ...]
    """All of them, in the order in which they were given"""
    news: tuple[Answered, ...]
    """Those that were news to whoever waits for one, in the order in which they came"""
    next_at: datetime | None
    """When the next turn is told if nobody answers; None: answered, or nobody is left"""
    because: Because | None = None

    @property
    def alert(self) -> Alert:
        """As it stands."""
        return self.stored.alert

    @property
    def is_waiting(self) -> bool:
        """Whether an answer is awaited."""
        return bool(asking(self.turns)) and settled_by(self.turns, self.news) is None


def standing(db: Database, show: Show, now: datetime) -> tuple[Standing, ...]:
    """Every open alert, oldest first."""
    told, given, new = turns(db), answers(db), answers_as_news(db)
    found = []
    for stored in open_alerts(db):
        alert = stored.alert
        before = tuple(turn for turn in told if turn.alert == alert.id)
        to_it, news = (
            tuple(answered for answered in some if answered.alert == alert.id)
            for some in (given, new)
        )
        due = None
        if before:
            contacts = reachable(show, wording.message(alert, now))
            reach = _of_turn(reach_of(db, alert.id, before[-1].at), before[-1], show)
            due = next_due(contacts, before, news, _unreached(reach, show), _heard_at(reach))
        at, because = (None, None) if due is None else due
        if at is not None and (because != "no-answer" or before[-1].at > now + LEAST_WAIT):
            # The clock was put back since: how long has been waited is not known, so no longer.
            at = min(at, now)
        found.append(Standing(stored, before, to_it, news, at, because))
    return tuple(found)


def call_next(
    db: Database, show: Show, now: datetime
) -> tuple[tuple[Message, ...], datetime | None]:
    """Tell every next turn that is due, in the caller's transaction.

    Returns
    -------
    told : what was queued, one for each turn
    next_at : when the next one is due, as seen now
    """
    told: list[Message] = []
    ahead: list[datetime] = []
    for stands in standing(db, show, now):
        if stands.next_at is None or stands.because is None:
            continue
        if stands.next_at > now:
            ahead.append(stands.next_at)
            continue
        alert = stands.alert
        contacts = reachable(show, wording.message(alert, now))
        turn = next_turn(alert, contacts, stands.turns, stands.news, stands.because, now)
        record_turn(db, turn)
        said = _told_before(db, show, stands, now)
        words = replace(alert, facts=replace(alert.facts, extra=(said, *alert.facts.extra)))
        called = turn.contacts
        send_to(db, show, words, called, now, woken=called, because=turn.because)
        told.append(wording.message(words, now))
        if turn.until is not None:
            ahead.append(turn.until)
    return tuple(told), min(ahead, default=None)


def _of_turn(reach: Sequence[Reach], last: Turn, show: Show) -> list[Reach]:
    """What became of a turn's word with people; a folder is none."""
    folders = {contact.name for contact in show.contacts if contact.kind == "folder"}
    return [r for r in reach if r.contact in last.contacts and r.contact not in folders]


def _unreached(reach: Sequence[Reach], show: Show) -> set[str]:
    """The contacts where the word was given up with every recipient: nobody has it there.

    A folder reaches nobody either, where there are people beside it.
    """
    kept = {r.contact for r in reach if r.state != "given-up"}
    lost = {r.contact for r in reach} - kept
    folders = {contact.name for contact in show.contacts if contact.kind == "folder"}
    return lost | folders if lost else set()


def _heard_at(reach: Sequence[Reach]) -> datetime | None:
    """When the first person has the word; of a word that is held, when it is sent."""
    sent = [r.sent_at for r in reach if r.sent_at is not None]
    held = [r.held_until for r in reach if r.held_until is not None]
    return min(sent or held, default=None)


def _told_before(db: Database, show: Show, stands: Standing, now: datetime) -> str:
    """Who has had it and since when, and why that is not enough."""
    clock = SiteClock(show.site.timezone, now)
    asked = asking(stands.turns) or stands.turns[-1:]
    names = [name for turn in asked for name in turn.contacts]
    if stands.because == "not-delivered":
        whom = ", ".join(one_line(name) for name in dict.fromkeys(names))
        return f"It did not reach those told before, and is given up there: {whom}"
    whom = _whom_it_reached(reach_of(db, stands.alert.id, asked[0].at), names, clock)
    if stands.because == "cannot":
        said = sentence(stands.news[-1], show, now)
        return f"{said}. Told before: {whom}" if whom else said
    if not whom:
        return "Nobody has answered, and it is not known to have reached anybody before"
    return f"Told before, and nobody has answered: {whom}"


def _whom_it_reached(reach: Sequence[Reach], names: Sequence[str], clock: SiteClock) -> str:
    """`crew, radio desk at 15:05; deputies at 15:08`: the moments at which it was sent."""
    first: dict[str, datetime] = {}
    for one in reach:
        if one.sent_at is not None and one.contact in names:
            first[one.contact] = min(one.sent_at, first.get(one.contact, one.sent_at))
    by_time: dict[str, list[str]] = {}
    for name in sorted(first, key=lambda name: (first[name], names.index(name))):
        by_time.setdefault(clock.at(first[name]), []).append(one_line(name))
    return "; ".join(f"{', '.join(told)} at {at}" for at, told in by_time.items())
