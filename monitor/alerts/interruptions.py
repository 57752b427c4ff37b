"""The budget of interruptions: at most one buzz for a person in so many minutes. Pure.

A stop, what is overdue and an order to isolate now are never held. Whatever else waits for
a person goes with the next message to them, the most urgent in full and the others as a line
each, so that waiting never grows into a row of buzzes. No start waits until it is too late.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from monitor.alerts import radio
from monitor.alerts.delivery import recipients
from monitor.alerts.quiet import TURN_BECAUSE, start_of
from monitor.alerts.words import one_line

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.alerts.clock import SiteClock
    from monitor.domain import Message, Person, Show, Stage

LEAST_LEAD = timedelta(minutes=5)
"""A start is told so long before its start-by at the latest, whatever was told before it."""
UNDER_WAY = timedelta(seconds=5)
"""How soon to look again where a message to the same person is being sent."""

ISOLATE_SOON = timedelta(hours=1)
"""Power to be cut within this is told at once, though no start is planned for it."""
COUNTS_FOR = timedelta(minutes=2)
"""A text that waited longer tells its times without "in 16 min": that was reckoned before."""

_COUNTDOWN = re.compile(r" \((?:now|in \d+ min|\d+ min ago)\)")
_NEVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Listener:
    """Who is behind a recipient of a contact."""

    id: str
    people: tuple[Person, ...] = ()
    """Those of the show folder whose contact it is; none: nobody in particular"""


@dataclass(frozen=True, slots=True)
class Buzz:
    """A message that somebody got, by any of their contacts."""

    thread: str
    stage: Stage | None
    queued_at: datetime
    at: datetime | None
    """When it was sent; None: it is under way"""


def listeners(show: Show) -> dict[tuple[str, str], Listener]:
    """By (contact, recipient): who it reaches. A folder, and a receiver of webhooks that is
    nobody's contact, are machines and not in it.

    The same mailbox in several contacts is one person, and so is all that reaches somebody
    whose contact is theirs alone.
    """
    behind = {
        contact.name: tuple(p for p in show.crew.people if p.contact == contact.name)
        for contact in show.contacts
    }
    same: dict[str, str] = {}

    def root(key: str) -> str:
        while key in same:
            key = same[key]
        return key

    keys: dict[tuple[str, str], str] = {}
    for contact in show.contacts:
        people = behind[contact.name]
        if contact.kind == "folder" or (contact.kind == "webhook" and not people):
            continue
        for recipient in recipients(contact):
            machine = contact.kind == "webhook"
            key = f"contact {contact.name}" if machine else f"to {recipient.strip().lower()}"
            keys[contact.name, recipient] = key
            if len(people) == 1 and root(key) != (one := root(f"person {people[0].name}")):
                same[root(key)] = one
    found: dict[str, list[Person]] = {}
    for (name, _), key in keys.items():
        known = found.setdefault(root(key), [])
        known += [person for person in behind[name] if person not in known]
    return {where: Listener(root(key), tuple(found[root(key)])) for where, key in keys.items()}


def is_sheet(message: Message) -> bool:
    """What is read at its own time and buzzes nobody: on watch, the night's outlook, a test."""
    return message.kind in {"watch", "test"}


def goes_at_once(message: Message) -> bool:
    """Whether it is never held: nor is what those before did not act on, whatever it is."""
    if message.stage in ("stop", "overdue") or message.data.get(TURN_BECAUSE):
        return True
    if message.kind != "work" or message.data.get("action") != "isolate":
        return False
    due = message.data.get("do_by")
    soon = (
        message.data.get("start_by") is None
        and isinstance(due, str)
        and datetime.fromisoformat(due) - message.at <= ISOLATE_SOON
    )
    return message.stage == "start" or (message.stage == "notice" and soon)


def told_late(message: Message, now: datetime) -> Message:
    """The message as it is sent at `now`: one that had to wait gives the times by themselves."""
    if now - message.at <= COUNTS_FOR:
        return message
    data = dict(message.data)
    if isinstance(data.get("says"), str):
        data["says"] = _COUNTDOWN.sub("", data["says"])
    return replace(message, text=_COUNTDOWN.sub("", message.text), data=data)


def latest(message: Message) -> datetime | None:
    """Past this it is not held any longer; None where it has no such moment."""
    start_by = start_of(message) if message.stage in ("notice", "start") else None
    return None if start_by is None else start_by - LEAST_LEAD


def opens_at(
    message: Message, queued_at: datetime, before: Sequence[Buzz], gap: timedelta, now: datetime
) -> datetime | None:
    """When the person may be buzzed with a message; None: now.

    Parameters
    ----------
    before : what the person got lately; copies of this very message, by another contact of
        theirs, are no further buzz
    gap : from one buzz to the next
    """
    if not gap or is_sheet(message) or goes_at_once(message):
        return None
    end = latest(message)
    if end is not None and end <= now:
        return None
    # The stage too: of one alert, more than one change may be told in a moment.
    same = (message.thread, message.stage, queued_at)
    others = [b for b in before if (b.thread, b.stage, b.queued_at) != same]
    sent = [buzz.at for buzz in others if buzz.at is not None]
    opens = max(sent) + gap if sent else now
    if len(sent) < len(others):
        opens = max(opens, now + UNDER_WAY)
    if opens <= now:
        return None
    return opens if end is None else min(opens, end)


def urgency(message: Message) -> tuple[bool, datetime, bool]:
    """Sorts the most urgent first: by start-by, and what has ended last."""
    return (
        message.stage == "stood-down",
        start_of(message) or _NEVER,
        message.stage != "start",
    )


def joined(
    message: Message, others: Sequence[Message], names: Mapping[str, str], clock: SiteClock
) -> Message:
    """The message with a line for each of the others under it.

    `names` gives the position's name by its id. In the radio line stands what has room.
    """
    if not others:
        return message
    lines = [_line(other, names, clock) for other in others]
    body, mark, rest = message.text.partition("\n\nRadio: ")
    under = "\n".join(["Then", *(f"- {line}" for line in lines)])
    said = radio_with(message, others, names, clock)[0]
    rest = rest.replace(message.radio, said, 1)
    text = f"{body}\n\n{under}{mark}{rest}" if mark else f"{body.rstrip()}\n\n{under}\n"
    data = dict(message.data)
    data["then"] = [dict(other.data) for other in others]
    if "radio" in data:
        data["radio"] = said
    if "says" in data:
        data["says"] = text
    return replace(message, text=text, radio=said, data=data)


def radio_with(
    message: Message, others: Sequence[Message], names: Mapping[str, str], clock: SiteClock
) -> tuple[str, int]:
    """The radio line with the others behind it, and how many of them have room."""
    said = message.radio
    for count, other in enumerate(others):
        more = f"{said} Then {radio.plain(_short(other, names, clock))}."
        if len(more) > radio.LONGEST:
            return said, count
        said = more
    return said, len(others)


def _line(message: Message, names: Mapping[str, str], clock: SiteClock) -> str:
    """One of the others: where, and by when. The order itself comes with its own message."""
    answer = next((link["url"] for link in message.data.get("links", ()) if "url" in link), None)
    more = f". Answer it here: {one_line(answer)}" if answer else ""
    people = message.data.get("people") if message.stage in ("notice", "start") else None
    if people and message.kind == "work":
        more = f", {people} {'person' if people == 1 else 'people'}{more}"
    return f"{_short(message, names, clock)}{_numbered(message)}{more}"


def _numbered(message: Message) -> str:
    return f" (alert {one_line(message.alert_id)})" if message.kind == "work" else ""


def _short(message: Message, names: Mapping[str, str], clock: SiteClock) -> str:
    place = message.data.get("position")
    if message.kind != "work" or not isinstance(place, str):
        return one_line(message.subject).rstrip(".")
    where = one_line(names.get(place) or place)
    if message.stage == "stood-down":
        return f"{where}: no longer needed"
    times = []
    down = isinstance(message.data.get("down_by"), str)
    done = ("down and done by", "down_by") if down else ("done by", "do_by")
    for word, key in (("start by", "start_by"), done):
        at = message.data.get(key)
        if isinstance(at, str):
            times.append(f"{word} {clock.at(datetime.fromisoformat(at))}")
    return f"{where}: {', '.join(times)}" if times else one_line(message.subject).rstrip(".")
