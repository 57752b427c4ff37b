"""Official warnings in the service: those that still matter, what they close, what is told."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts.losses import Trouble, follow
from monitor.alerts.official import OfficialState, advance_official
from monitor.alerts.official_reading import (
    cannot_be_read,
    none_line,
    short_line,
    unread_found,
    unread_line,
    whole_lines,
)
from monitor.domain import Official
from monitor.feeds.cap_area import SiteArea, concerns
from monitor.feeds.cap_force import TakenBack, can_stand, in_force, thunder_spans
from monitor.service.telling import tell
from monitor.service.warned_polling import listening, service_sights
from monitor.store.history import recall, remember
from monitor.store.records import from_json, to_json
from monitor.store.warnings import stored_messages

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlite_utils import Database

    from monitor.alerts.official_reading import ServiceSight
    from monitor.domain import Message, Show
    from monitor.feeds.cap_force import Listening
    from monitor.planning.official import OfficialWarning
    from monitor.planning.workable import Span
    from monitor.store.warnings import StoredMessage

STATE_KEY = "official/state"
TROUBLE_KEY = "trouble/official-warnings"

STILL_MATTERS = timedelta(days=7)
"""So long after it is over a message is still looked at: a late cancel may name it."""


@dataclass(frozen=True, slots=True)
class WarningRow:
    """One official warning for a report: when it came, and whether the site was named."""

    received_at: datetime
    warning: OfficialWarning
    placed: bool
    later: OfficialWarning | None = None
    """The message that took it back; None: none did"""


class WarningsKept:
    """The messages that still matter, read from the database once, and how they are read."""

    def __init__(self) -> None:
        self._last_id = 0
        self._messages: list[StoredMessage] = []
        self._sights: list[ServiceSight] = []
        self._for: tuple[object, ...] = ()

    def catch_up(self, db: Database, show: Show, now: datetime) -> bool:
        """Take in what was received since; True where there was anything.

        First words for elsewhere are not held: a country has thousands of them.
        """
        since = now - STILL_MATTERS
        is_for = (show.site.latitude, show.site.longitude, show.warnings)
        if is_for != self._for:
            self._for, self._last_id, self._messages = is_for, 0, []
        found = stored_messages(db, self._last_id, matters_after=since)
        if found:
            self._last_id = found[-1].id
            held = (m for m in self._messages if any(_last_moment(w) >= since for w in m.warnings))
            heard = listening(show, [])
            new = (m for m in found if any(_may_matter(w, show, heard) for w in m.warnings))
            self._messages = [*held, *new]
        self._sights = service_sights(db, show)
        return bool(found)

    @property
    def warnings(self) -> tuple[OfficialWarning, ...]:
        """Every one that is kept, also those taken back."""
        return tuple(w for message in self._messages for w in message.warnings)

    @property
    def sights(self) -> tuple[ServiceSight, ...]:
        """Every service of the show as seen at the last `catch_up`."""
        return tuple(self._sights)

    def in_force(self, show: Show, now: datetime) -> tuple[OfficialWarning, ...]:
        """Those that stand and are for the site, or may be, gravest first."""
        return in_force(self.warnings, show.site, listening(show, self._sights), now)

    def closed(self, show: Show, now: datetime) -> tuple[Span, ...]:
        """Time in which they close all work outdoors: for `evaluate(closed=...)`."""
        return thunder_spans(self.warnings, show.site, listening(show, self._sights), now)


def _last_moment(warning: OfficialWarning) -> datetime:
    return max(warning.until, warning.sent)


def _may_matter(warning: OfficialWarning, show: Show, heard: Mapping[str, Listening]) -> bool:
    """Whether it may be for the site, or take back what was."""
    if warning.references or not warning.areas:
        return True
    known = heard.get(warning.service)
    return known is not None and concerns(warning, show.site, known.area) != "elsewhere"


def warnings_told(
    db: Database, show: Show, kept: WarningsKept, now: datetime, next_word_at: datetime | None
) -> list[Message]:
    """Tell what is new of the official warnings, in the caller's transaction."""
    found: Any = recall(db, STATE_KEY)
    before = OfficialState() if found is None else from_json(OfficialState, to_json(found))
    heard = listening(show, list(kept.sights))
    changes, after = advance_official(before, kept.warnings, heard, show, now, next_word_at)
    if after != before:
        remember(db, STATE_KEY, after)
    told = [tell(db, show, change.alert, change.reason, now) for change in changes]
    trouble = _unread_told(db, show, kept, now, next_word_at)
    return told if trouble is None else [*told, trouble]


def _unread_told(
    db: Database, show: Show, kept: WarningsKept, now: datetime, next_word_at: datetime | None
) -> Message | None:
    """One step of the trouble that official warnings cannot be read."""
    remembered: Any = recall(db, TROUBLE_KEY)
    trouble = None if remembered is None else from_json(Trouble, to_json(remembered))
    alert, after = follow(
        "weather",
        "official-warnings",
        trouble,
        unread_found(kept.sights, show, now),
        show,
        now,
        over="every official warning service is read again, or no longer asked",
        next_word_at=next_word_at,
    )
    if after != trouble:
        remember(db, TROUBLE_KEY, after)
    if alert is None:
        return None
    unread = [s.service for s in kept.sights if cannot_be_read(s, now)]
    facts = replace(alert.facts, official=Official(service=", ".join(unread)))
    return tell(db, show, replace(alert, facts=facts), alert.reason, now)


# ---------------------------------------------------------------- where else they are shown


def is_placed(show: Show, warning: OfficialWarning) -> bool:
    """Whether a warning is for the site without doubt."""
    heard = listening(show, [])
    area = heard[warning.service].area if warning.service in heard else SiteArea()
    return concerns(warning, show.site, area) == "site"


def lines_ahead(show: Show, kept: WarningsKept, now: datetime) -> list[str]:
    """For `dryspell ahead`: what is in force in full, and what could not be read."""
    lines: list[str] = []
    for warning in kept.in_force(show, now):
        lines += whole_lines(warning, show, placed=is_placed(show, warning))
    return [*lines, *_about_services(show, kept, now, any_in_force=bool(lines))]


def lines_on_watch(show: Show, kept: WarningsKept, now: datetime) -> list[str]:
    """For the on-watch message: one sentence for each warning, and on the services."""
    lines = [short_line(w, show, placed=is_placed(show, w)) for w in kept.in_force(show, now)]
    return [*lines, *_about_services(show, kept, now, any_in_force=bool(lines))]


def _about_services(
    show: Show, kept: WarningsKept, now: datetime, *, any_in_force: bool
) -> list[str]:
    if not show.warnings:
        return ["No official warning service is read: look at the warnings yourself."]
    unread = [s for s in kept.sights if s.asked and s.failing is not None]
    lines = [unread_line(sight, show, now) for sight in unread]
    read = [s.service for s in kept.sights if s.asked and s.failing is None]
    if read and not any_in_force:
        lines.append(none_line(read))
    return lines


def warning_rows(db: Database, show: Show, start: datetime, end: datetime) -> Sequence[WarningRow]:
    """For the report: the warnings in force within a period that were, or may have been, for
    the site, in the order they came. One that takes another back without a word of its own is
    no row: it stands beside what it took back.
    """
    heard = listening(show, [])
    rows = []
    messages = stored_messages(db, matters_after=start)
    back = TakenBack(w for message in messages for w in message.warnings)
    for message in messages:
        for warning in message.warnings:
            area = heard[warning.service].area if warning.service in heard else SiteArea()
            where = concerns(warning, show.site, area)
            within = warning.begins < end and warning.until > start
            if can_stand(warning) and within and where != "elsewhere":
                later = back.by(warning)
                rows.append(WarningRow(message.received_at, warning, where == "site", later))
    return rows
