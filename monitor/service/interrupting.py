"""Holding messages back, and joining them, by the rules on interruptions and quiet hours.

What decides is read from the database at the moment of sending, so a service that was killed
decides the same when it comes back.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.alerts.clock import SiteClock
from monitor.alerts.delivery import wants
from monitor.alerts.interruptions import (
    Buzz,
    goes_at_once,
    is_sheet,
    joined,
    listeners,
    opens_at,
    radio_with,
    told_late,
    urgency,
)
from monitor.alerts.quiet import held_until, on_hand, quiet_now
from monitor.service.failing import not_reached
from monitor.store.holding import got_lately, told_alike, waiting_beside, was_told
from monitor.store.outbox import Hold, Send

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.alerts.interruptions import Listener
    from monitor.domain import Message, Show
    from monitor.store.outbox import OutboxRow


class Interruptions:
    """The rules of one show over its outbox."""

    def __init__(self, db: Database, show: Show) -> None:
        self._db, self._show = db, show
        self._listeners = listeners(show)
        self._short = {contact.name for contact in show.contacts if contact.short}
        self._gaps = {c.name: timedelta(minutes=c.gap_minutes) for c in show.contacts}
        self._names = {key: position.name for key, position in show.positions.items()}

    def choose(self, row: OutboxRow, now: datetime) -> Hold | Send:
        """What to do with a row that is due: send it, send another with it, or wait."""
        listener = self._listeners.get((row.contact, row.recipient))
        if listener is None or is_sheet(row.message):
            return Send(row.number)
        quiet = self._quiet(row, listener, now)
        if quiet is not None:
            return Hold(quiet)
        if goes_at_once(row.message):
            return Send(row.number)
        gap = self._gaps[row.contact]
        lately = self._lately(listener, gap, now)
        opens = opens_at(row.message, row.queued_at, lately, gap, now)
        if opens is not None:
            return Hold(opens)
        return self._with_others(row, listener, now) if gap else Send(row.number)

    def words(self, row: OutboxRow, now: datetime) -> Message:
        """The message as it is sent now, with what is told with it."""
        others = [other.message for other in row.joined]
        clock = SiteClock(self._show.site.timezone, row.message.at)
        return told_late(joined(row.message, others, self._names, clock), now)

    def _with_others(self, row: OutboxRow, listener: Listener, now: datetime) -> Send:
        beside = [
            other
            for other in waiting_beside(self._db, row, now)
            if not is_sheet(other.message)
            and not goes_at_once(other.message)
            and self._quiet(other, listener, now) is None
        ]
        rows = sorted((row, *beside), key=lambda one: (urgency(one.message), one.number))
        first, others = rows[0], [one for one in rows[1:] if not one.attempt]
        if first.attempt:
            # It may have arrived: what is tried again is the same as before.
            return Send(first.number)
        if row.contact in self._short:
            clock = SiteClock(self._show.site.timezone, first.message.at)
            said = [one.message for one in others]
            others = others[: radio_with(first.message, said, self._names, clock)[1]]
        return Send(first.number, tuple(one.number for one in others))

    def _lately(self, listener: Listener, gap: timedelta, now: datetime) -> list[Buzz]:
        whom = [where for where, who in self._listeners.items() if who.id == listener.id]
        return [
            Buzz(got.thread, got.stage, got.queued_at, got.at)
            for got in got_lately(self._db, whom, now - gap, now)
        ]

    def _quiet(self, row: OutboxRow, listener: Listener, now: datetime) -> datetime | None:
        quiet = quiet_now(self._show, now)
        if quiet is None:
            return None
        return held_until(
            row.message,
            listener.people,
            self._show,
            now,
            told_tonight=was_told(self._db, row, quiet[0]),
            somebody_hears=self._somebody_hears(row, now),
        )

    def _somebody_hears(self, row: OutboxRow, now: datetime) -> bool:
        """Whether others may sleep on: the word comes to somebody who is there or to be called.

        A contact that does not want it, or is known not to be reached, hears nothing. Of work
        it is enough that their turn comes; any other word is only told to whom it is queued.
        """
        zone = self._show.site.timezone
        lost, told = not_reached(self._db), told_alike(self._db, row)
        wanting = {c.name for c in self._show.contacts if wants(c, row.message)}
        return any(
            not who.people or any(on_hand(person, zone, now) for person in who.people)
            for where, who in self._listeners.items()
            if where[0] in wanting
            and where not in lost
            and (row.message.kind == "work" or where in told)
        )
