"""Answers to alerts, kept: by the command line, by the server, by the page behind a link.

An answer is bound to the order it was given to: position, family and fixtures as the alert
stood then, so that the plan can follow it after the alert has changed. A page says which change
of the alert it showed, so that what was done is logged as what was done: a tap on "cover" is
never kept as "isolated" because the order has become that meanwhile.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from monitor.domain import Answered, BadInputError, Problem
from monitor.service.crew_word import Kept, is_known, notes_on, record_entries
from monitor.service.entries import Said, entries_of
from monitor.service.watch_state import watch_state
from monitor.show.clock import ClockError, moment
from monitor.show.nearest import suggestion
from monitor.store.answers import record_answer
from monitor.store.database import immediate
from monitor.store.history import alerts_as_they_stand, change_of, log_entries

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Alert, AnswerKind, CannotBecause, EntryKind, LogEntry, Show

_ENTRY_OF: dict[str, EntryKind] = {
    "cover": "covered",
    "bring-in": "brought-in",
    "isolate": "isolated",
    "uncover": "uncovered",
    "clean": "cleaned",
}
_FAMILY_OF = {
    "cover": "protect",
    "bring-in": "protect",
    "isolate": "protect",
    "uncover": "uncover",
    "inspect": "inspect",
    "clean": "clean",
}
"""Where the lifecycle does not hold the alert any more; it knows better where it does."""
_TIME_OF_DAY = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)


@dataclass(frozen=True, slots=True)
class AnswerSaid:
    """One answer as typed, posted or tapped; None: not given."""

    alert: str
    answer: AnswerKind
    because: CannotBecause | None = None
    until: str | None = None
    by: str | None = None
    note: str | None = None
    shown: str | None = None
    """The number of the alert's change that was answered; None: the alert as it stands"""


def keep_answer(
    db: Database,
    said: AnswerSaid,
    show: Show,
    now: datetime,
    spelt: Callable[[str], str],
    word_id: str | None = None,
    sender: str | None = None,
    sent: object = None,
    tapped_at: datetime | None = None,
) -> Kept:
    """Keep an answer to an alert; `done` logs that its work was done now, for all it names.

    `sender` is who answers where the answer names nobody. `sent` is the word as it came, where
    what was said was made of it with what changes, such as the moment of receipt.

    `tapped_at` is when it was given, where it had to wait for a signal since: the answer and
    the work count from then. A `done` whose alert has ended meanwhile, or asks for other work
    by now, is logged all the same, as the work that was shown.

    Raises
    ------
    BadInputError : no such alert, one that has ended or asks for other work by now, or no work
        that could be done; a reason or a time that does not belong; or another word of this id
    """
    with immediate(db):
        if is_known(db, word_id, sender, "answer", _word(said) if sent is None else sent):
            return Kept(is_new=False)
        said = replace(said, by=said.by or sender)
        alerts = alerts_as_they_stand(db)
        at = tapped_at or now
        stands, shown = alerts.get(said.alert), _shown(db, said, alerts)
        over = _overtaken(stands, shown)
        if shown is not None:
            alerts[said.alert] = shown
        may_be_late = tapped_at is not None or said.shown is not None
        if over and may_be_late and said.answer == "done" and shown and can_be_done(shown):
            entry = _ENTRY_OF[shown.action or ""]
            word = Said(entry, alert=said.alert, by=said.by, note=said.note)
            done = entries_of(word, show, alerts, at, spelt)
            record_entries(db, done, now, word_id)
            remarks = notes_on(done, show, now, log_entries(db))
            says = f"{over}; what was done there is logged all the same."
            return Kept(is_new=True, entries=done, notes=(says, *remarks))
        problems: list[Problem] = []
        target = _target(said.alert, alerts, spelt("alert"), problems)
        if target is not None and over:
            remedy = "Read it as it stands, and answer it."
            problems.append(Problem("order-changed", f"{over}.", remedy, key=spelt("answer")))
        until = _until(said, show, at, spelt, problems)
        log_as = None
        if target is not None and said.answer == "done":
            log_as = _entry_of(target, spelt("answer"), problems)
        if problems or target is None:
            raise BadInputError(problems)
        entries: tuple[LogEntry, ...] = ()
        if log_as is not None:
            word = Said(log_as, alert=said.alert, by=said.by)
            entries = entries_of(word, show, alerts, at, spelt)
        answered = Answered(
            at,
            said.alert,
            said.answer,
            position=target.position,
            family=_family(db, target),
            fixtures=target.fixtures,
            because=said.because,
            until=until,
            by=said.by,
            note=said.note,
            action=target.action,
        )
        record_entries(db, entries, now, word_id)
        record_answer(db, answered, now)
    notes = tuple(notes_on(entries, show, now, log_entries(db)))
    return Kept(is_new=True, entries=entries, notes=notes, answered=answered)


def can_be_done(alert: Alert) -> bool:
    """Whether `done` says all there is to say: an inspection needs what was found."""
    return alert.action in _ENTRY_OF


def target_of(alert_id: str, alerts: Mapping[str, Alert], key: str) -> Alert:
    """The open alert of that id; BadInputError where there is none. `key` is what gave the id."""
    problems: list[Problem] = []
    found = _target(alert_id, alerts, key, problems)
    if found is None:
        raise BadInputError(problems)
    return found


def _word(said: AnswerSaid) -> list[str | None]:
    """What makes it this word; the later fields only where given, so that older ones hold."""
    word: list[str | None] = [said.alert, said.answer, said.by]
    more = [said.because, said.until, said.note]
    return word + more if any(more) else word


def _target(
    alert_id: str, alerts: Mapping[str, Alert], key: str, problems: list[Problem]
) -> Alert | None:
    found = alerts.get(alert_id)
    if found is None:
        remedy = suggestion(alert_id, alerts) if alerts else "None has been raised yet."
        says = f"Alert {alert_id[:80]} is not known here."
        problems.append(Problem("unknown-alert", says, remedy, key=key))
    elif found.stage == "stood-down":
        says = f"Alert {found.id} has ended: {found.reason or 'it is no longer needed'}."
        remedy = "Nothing is to be answered. What was done there is kept as a log entry."
        problems.append(Problem("alert-ended", says, remedy, key=key))
        return None
    return found


def _shown(db: Database, said: AnswerSaid, alerts: Mapping[str, Alert]) -> Alert | None:
    """The alert as it was answered; ended since, it is still what it was."""
    change = None if said.shown is None else change_of(db, int(said.shown))
    if change is None or change.alert.id != said.alert:
        return alerts.get(said.alert)
    return change.alert


def _overtaken(stands: Alert | None, shown: Alert | None) -> str | None:
    """What has become of an order since it was shown, where it is not to be answered any more."""
    if stands is None or shown is None:
        return None
    if stands.stage == "stood-down":
        return "The alert has ended"
    if stands.action != shown.action:
        return (
            f"The order has changed: it is to {(stands.action or 'isolate').replace('-', ' ')} now"
        )
    return None


def _until(
    said: AnswerSaid,
    show: Show,
    now: datetime,
    spelt: Callable[[str], str],
    problems: list[Problem],
) -> datetime | None:
    """Until when it cannot be done; a time of day is the next one on the site's clock."""
    if said.answer != "cannot":
        problems += [
            Problem(
                "not-for-answer",
                f"{spelt(name)} is given with {said.answer}.",
                "Leave it out: it belongs to cannot.",
                key=spelt(name),
            )
            for name, value in (("because", said.because), ("until", said.until))
            if value is not None
        ]
        return None
    if said.until is None:
        return None
    try:
        until = _next(said.until.strip(), show, now)
    except ClockError as fault:
        remedy = f"{fault.remedy} A time of day alone is the next one, like 23:30."
        problems.append(Problem(fault.code, fault.says, remedy, key=spelt("until")))
        return None
    if until <= now:
        says = f"{said.until[:40]} is past."
        remedy = "Give the time from which it can be done, or leave it out where nobody knows."
        problems.append(Problem("past-time", says, remedy, key=spelt("until")))
    return until


def _next(text: str, show: Show, now: datetime) -> datetime:
    clock = _TIME_OF_DAY.fullmatch(text)
    if clock is None:
        return moment(text, show.site.timezone)
    today = now.astimezone(show.site.timezone).date()
    hour = f"T{int(clock[1]):02d}:{clock[2]}"
    at = moment(f"{today}{hour}", show.site.timezone)
    return at if at > now else moment(f"{today + timedelta(days=1)}{hour}", show.site.timezone)


def _family(db: Database, alert: Alert) -> str:
    held = next((o for o in watch_state(db).open if o.alert.id == alert.id), None)
    return _FAMILY_OF.get(alert.action or "", "") if held is None else held.family


def _entry_of(alert: Alert, key: str, problems: list[Problem]) -> EntryKind | None:
    """The log entry that an alert's work ends with."""
    if alert.action in _ENTRY_OF:
        return _ENTRY_OF[alert.action]
    if alert.action == "inspect":
        says, remedy = (
            "An inspection needs its result.",
            f"Use: dryspell log inspected --alert {alert.id} --result RESULT. Or post that.",
        )
    else:
        says, remedy = (
            f"Alert {alert.id} is about {alert.kind}; it asks for no work that could be done.",
            "Answer doing, cannot or not-needed.",
        )
    problems.append(Problem("no-entry", says, remedy, key=key))
    return None
