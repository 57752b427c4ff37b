"""A part of the service that fails is an alert of its own, and never brings the rest down."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from monitor.alerts import wording
from monitor.alerts.clock import utc_stamp
from monitor.alerts.delivery import attempt, recipients
from monitor.alerts.losses import Found, follow, slug
from monitor.domain import BadInputError, DryspellError
from monitor.service.telling import follow_trouble
from monitor.service.watched import in_short
from monitor.store.database import immediate

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlite_utils import Database

    from monitor.domain import Message, Show
    from monitor.service.watched import FolderWatch

Part = Literal["polling", "reading warnings", "evaluating", "summing up", "delivering"]

SHOUT_AGAIN = timedelta(hours=1)
SAY_AGAIN = timedelta(minutes=1)

_OVER = "it works again"
_MEANS: dict[Part, str] = {
    "polling": "no new weather is read",
    "reading warnings": "official warnings are not read: look at them yourself",
    "evaluating": "what is needed cannot be worked out",
    "summing up": "the night's outlook, the word that rain is over or a sheet may be missing; "
    "orders and stops are still told",
    "delivering": "messages may not arrive",
}

_log = logging.getLogger(__name__)


class Faults:
    """Tells of a part that fails: through the outbox, and past it where that is what fails."""

    def __init__(self, watch: FolderWatch, say: Callable[[str], None]) -> None:
        self._watch, self._say = watch, say
        # A fault told before the last stop is ended by the first success after it.
        self._may_be_open: set[Part] = set(_MEANS)
        self._said: dict[Part, datetime] = {}
        self._shouted: dict[Part, datetime] = {}

    def works(self, db: Database, part: Part, now: datetime) -> None:
        """The part has done its work: its trouble, if there was one, is over."""
        if part not in self._may_be_open:
            return
        with immediate(db):
            follow_trouble(
                db, self._show, f"fault-{slug(part)}", None, now, over=f"{part}: {_OVER}"
            )
        self._may_be_open.discard(part)

    def fails(
        self, opened: Callable[[], Database], part: Part, fault: Exception, now: datetime
    ) -> None:
        """The part has failed; `opened` makes a connection, which is closed again."""
        self._may_be_open.add(part)
        if _due(self._said, part, now, SAY_AGAIN):
            if not isinstance(fault, DryspellError):
                _log.error("a fault while %s", part, exc_info=fault)
            self._say(f"A fault while {part}: {_why(fault)}")
        try:
            db = opened()
            try:
                with immediate(db):
                    found = _found(part, fault)
                    follow_trouble(db, self._show, f"fault-{slug(part)}", found, now, over=_OVER)
            finally:
                db.conn.close()
        except Exception as second:  # noqa: BLE001 - then it is told without the database
            self._shout(part, second if isinstance(second, DryspellError) else fault, now)
            return
        if part == "delivering":
            # The message about it would wait in the very queue that does not move.
            self._shout(part, fault, now)

    @property
    def _show(self) -> Show:
        return self._watch.current.show

    def _shout(self, part: Part, fault: Exception, now: datetime) -> None:
        """Tell everybody directly, at most once an hour."""
        if not _due(self._shouted, part, now, SHOUT_AGAIN):
            return
        found = _found(part, fault)
        name = f"fault-{slug(part)}"
        alert, _ = follow("weather", name, None, found, self._show, now, over=_OVER)
        assert alert is not None
        row_id = f"{name}-{utc_stamp(now)}"
        arrived = self._sent(wording.message(alert, now), row_id, now)
        self._say("Told directly." if arrived else "Nobody could be told directly either.")

    def _sent(self, message: Message, row_id: str, now: datetime) -> bool:
        outcomes = [
            attempt(message, contact, recipient, row_id, secret=self._watch.secret, now=now)
            for contact in self._show.contacts
            for recipient in recipients(contact)
        ]
        return any(outcome.sent for outcome in outcomes)


def _due(last: dict[Part, datetime], part: Part, now: datetime, pause: timedelta) -> bool:
    before = last.get(part)
    if before is not None and timedelta(0) <= now - before < pause:
        return False
    last[part] = now
    return True


def _found(part: Part, fault: Exception) -> Found:
    return Found(
        "notice",
        f"The monitor has a fault and {_MEANS[part]}: {_why(fault)}",
        ("It goes on trying. Until it says otherwise, decide without it",),
    )


def _why(fault: Exception) -> str:
    """In words; the text of a foreign exception may hold a secret."""
    if isinstance(fault, BadInputError):
        return in_short(fault)
    if isinstance(fault, DryspellError):
        return str(fault)
    return f"a fault of the program ({type(fault).__name__})"
